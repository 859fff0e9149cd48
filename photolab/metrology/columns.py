"""Columns of a table of readings, checked: present, finite, labelled."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]


def require_columns(table: pd.DataFrame, *columns: str) -> None:
    """Refuse a table that lacks a column.

    Parameters
    ----------
    table : DataFrame
        Table of readings.
    *columns : str
        Names it must hold.

    Raises
    ------
    ValueError
        If one is missing.
    """
    for column in columns:
        if column not in table.columns:
            message = f"table must hold the column {column!r}; got {', '.join(map(str, table.columns))}"
            raise ValueError(message)


def finite_column(table: pd.DataFrame, column: str) -> FloatArray:
    """Return a column of finite numbers.

    Parameters
    ----------
    table : DataFrame
        Table of readings.
    column : str
        Column of the numbers. [any unit]

    Returns
    -------
    ndarray
        Its values. [unit of the column]

    Raises
    ------
    ValueError
        If there is no row, or a value is missing or not finite.
    """
    values = np.asarray(table[column], dtype=np.float64)
    if not len(values):
        message = f"{column} must hold at least one value; got none"
        raise ValueError(message)
    if not np.isfinite(values).all():
        bad = np.flatnonzero(~np.isfinite(values))
        message = (
            f"{column}[{bad[0]}] must be finite; got {values[bad[0]]} ({bad.size} of {len(values)} values)"
        )
        raise ValueError(message)
    return values


def label_codes(table: pd.DataFrame, column: str) -> tuple[IntArray, list[object]]:
    """Return the groups of a column as numbers, and their labels in order of appearance.

    Parameters
    ----------
    table : DataFrame
        Table of readings.
    column : str
        Column of the labels.

    Returns
    -------
    codes : ndarray
        Group of each row. [1]
    labels : list
        Label of each group.

    Raises
    ------
    ValueError
        If a label is missing.
    """
    codes, labels = pd.factorize(table[column].to_numpy())
    if len(codes) and codes.min() < 0:
        message = f"{column}[{int(np.argmin(codes))}] must name a group; got nothing"
        raise ValueError(message)
    return codes, list(labels)

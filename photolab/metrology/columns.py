"""Columns of a table of readings, checked: present, finite, labelled."""

import numpy as np
import pandas as pd

from photolab.errors import demand
from photolab.metrology.arguments import Floats, Indices, finite


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
        got = ", ".join(map(str, table.columns))
        demand(column in table.columns, f"table must hold the column {column!r}", got)


def finite_column(table: pd.DataFrame, column: str) -> Floats:
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
    demand(len(table), f"{column} must hold at least one value", "none")
    return finite(column, table[column], missing=False)


def label_codes(table: pd.DataFrame, column: str) -> tuple[Indices, list[object]]:
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
    for place in np.flatnonzero(codes < 0):
        demand(False, f"{column}[{place}] must name a group", "nothing")
    return codes, list(labels)

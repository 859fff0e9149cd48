"""Columns of one length as arrays, and the rows that agree in some of them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import pandas as pd

Array = NDArray[np.float64]
Integers = NDArray[np.intp]
Table: TypeAlias = "pd.DataFrame | Mapping[str, Any] | Columns"


@dataclass(frozen=True, eq=False)
class Groups:
    """Rows that agree.

    Attributes
    ----------
    code : ndarray of int, shape (rows,)
        Group of each row, numbered as they first appear.
    first : ndarray of int, shape (groups,)
        First row of each group.
    """

    code: Integers
    first: Integers

    def __len__(self) -> int:
        return len(self.first)

    @property
    def size(self) -> Integers:
        """Rows of each group [1]."""
        return np.bincount(self.code, minlength=len(self))

    def sum(self, values: Array) -> Array:
        """Return the sum of a column in each group [its unit]."""
        return np.asarray(np.bincount(self.code, values, len(self)), dtype=np.float64)

    def mean(self, values: Array) -> Array:
        """Return the mean of a column in each group, without blank cells; NaN where all are blank [its unit]."""
        start = values[self.first]
        away = values - start[self.code]  # what does not scatter has no scatter from rounding either
        known = ~np.isnan(away)
        if known.all():
            return start + self.sum(away) / self.size
        known = ~np.isnan(values)
        with np.errstate(invalid="ignore"):  # all cells blank
            return self.sum(np.where(known, values, 0.0)) / np.bincount(self.code, known, len(self))

    def apart(self, values: NDArray[Any]) -> list[NDArray[Any]]:
        """Return a column of each group [its unit]."""
        order = np.argsort(self.code, kind="stable")
        return np.split(values[order], np.cumsum(self.size))[: len(self)]

    def least(self, values: Array) -> Array:
        """Return the smallest value of each group [its unit]."""
        order = np.argsort(self.code, kind="stable")
        starts = np.concatenate(([0], np.cumsum(self.size)[:-1]))
        return np.minimum.reduceat(values[order], starts)


class Columns:
    """Columns of one length; groups are found once.

    Parameters
    ----------
    table : DataFrame, mapping or Columns
        One entry a row in each column.
    rows : ndarray of int, optional
        Rows that are meant; all of them where not given.
    """

    def __init__(self, table: Table, rows: Integers | None = None) -> None:
        self._table = table
        self._at = rows
        self._arrays: dict[str, NDArray[Any]] = {}
        self._groups: dict[tuple[str, ...], Groups] = {}
        whole = table.rows if isinstance(table, Columns) else len(table[str(next(iter(table)))])
        self.rows: int = whole if rows is None else len(rows)

    @classmethod
    def of(cls, table: Table) -> Columns:
        """Return a table as columns."""
        return table if isinstance(table, Columns) else cls(table)

    def __iter__(self) -> Iterator[str]:
        return (str(column) for column in self._table)

    def __getitem__(self, column: str) -> NDArray[Any]:
        if column not in self._arrays:
            whole = np.asarray(self._table[column])
            self._arrays[column] = whole if self._at is None else whole[self._at]
        return self._arrays[column]

    def __setitem__(self, column: str, values: NDArray[Any]) -> None:
        self._arrays[column] = values

    def __contains__(self, column: str) -> bool:
        return column in self._arrays or column in self._table

    def numbers(self, column: str) -> Array:
        """Return a column as numbers [its unit]."""
        return np.asarray(self[column], dtype=np.float64)

    def among(self, rows: Integers) -> Columns:
        """Return some of the rows, in that order."""
        return Columns(self, rows)

    def table(self) -> pd.DataFrame:
        """Return the columns that were given as a table."""
        import pandas as pd  # two readings do without

        return pd.DataFrame({column: self[column] for column in self})

    def groups(self, *columns: str) -> Groups:
        """Return the rows that agree in some columns; all rows agree in none."""
        if columns not in self._groups:
            if not columns:
                found = Groups(np.zeros(self.rows, dtype=np.intp), np.zeros(1, dtype=np.intp))
            elif len(columns) == 1:
                found = equal(self[columns[0]])
            else:
                found, last = self.groups(*columns[:-1]), self.groups(columns[-1])
                found = equal(found.code * len(last) + last.code) if len(last) > 1 else found
            self._groups[columns] = found
        return self._groups[columns]


def equal(values: NDArray[Any]) -> Groups:
    """Return equal values as groups, numbered as they first appear; blank numbers are equal."""
    if values.dtype.kind == "f":
        values = np.unique(values, return_inverse=True)[1]
    rows = values.tolist()
    numbers = {value: k for k, value in enumerate(dict.fromkeys(rows))}
    code = np.fromiter(map(numbers.__getitem__, rows), dtype=np.intp, count=len(rows))
    first = np.empty(len(numbers), dtype=np.intp)
    first[code[::-1]] = np.arange(len(rows) - 1, -1, -1)  # the last one written is the first row
    return Groups(code, first)

"""Faults and cautions of a bench folder: how they are worded and collected.

::

    fault 1     the schema or a required key is missing
    fault 2     bench.toml: syntax, type or unknown key
    fault 3     a file or folder is absent, unreadable, a link, too large or has a doubled ending
    fault 4     cells of a row do not match the header, or a header is named twice
    fault 5     a required cell is blank
    fault 6     a date or clock is not in ISO form
    fault 7     an id is used twice
    fault 8     a value needs another one beside it
    fault 10    a column is missing
    fault 11    an empty file, another encoding or another separator
    fault 12    an unknown code
    fault 13    not a number
    fault 14    out of range
    fault 15    above the meter's range
    fault 16    an overload is not a reading
    fault 17    the same reading twice
    fault 18    out of order
    fault 19    a row is excluded without a note
    fault 20    a percentage that looks like a fraction
    fault 23    a header in an unsupported unit
    fault 24    lists of a specification do not fit together
    fault 25    both or neither of two alternatives
    fault 26    two codes that differ in a sign nobody sees
    fault 27    a path that leaves the folder
    caution 20  two rows are identical in every cell
    caution 21  the range is unknown, or differs within a comparison
    caution 22  one mounting only
    caution 23  a suspiciously small value
    caution 24  a short rest before switch-on
    caution 25  a filament lamp without volts
    caution 26  an old price, or one from after the last day
    caution 27  an old calibration, or one from after the last day
    caution 28  repeats scatter more than the campaign's
    caution 29  no single baseline
    caution 30  an unknown column or file
    caution 31  power differs from volts times amperes
    caution 32  values that look like another unit
    caution 33  a formula's stored value is used
    caution 34  a value far from the usual
    caution 35  a word that is read as another
    caution 36  two codes that look alike
    caution 37  days or clock times out of order
    caution 38  readings that enter no comparison
    caution 39  hidden rows, columns or sheets
    caution 40  a claim, and not where it is printed
"""

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

    Row = Mapping[Any, Any] | pd.Series

ALONE = 3
"""So many rows with the same fault are said one by one; more of them in one line."""
_VARYING = re.compile(r'"(?:[^"]|"(?=\w))*"|[-+]?[0-9][0-9.,e+-]*')


def shown(text: str, *, limit: int = 60) -> str:
    """Return text from a folder fit for one printed line: control characters escaped, long text cut.

    Parameters
    ----------
    text : str
        Text from a folder.
    limit : int, default 60
        Longest text printed.

    Returns
    -------
    str
        Printable text.
    """
    cut = text if len(text) <= limit else text[: limit - 1] + "…"
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in cut)


def closest(name: str, known: Iterable[str], *, cutoff: float = 0.6) -> str:
    """Return the known name nearest to a typed one, or nothing.

    Parameters
    ----------
    name : str
        What was typed.
    known : iterable of str
        Names that would do.
    cutoff : float, default 0.6
        Least similarity, 0 to 1. [1]

    Returns
    -------
    str
        The nearest name, or nothing.
    """
    names = list(known)
    folded = {other.casefold(): other for other in names}
    if name.casefold() in folded:
        return folded[name.casefold()]
    if len(names) > 2_000:
        return ""
    found = difflib.get_close_matches(name.casefold()[:80], list(folded), n=1, cutoff=cutoff)
    return folded[found[0]] if found else ""


def hint(name: str, known: Iterable[str], words: str = '; closest is "{}"') -> str:
    """Return words that name the nearest known name, or nothing.

    Parameters
    ----------
    name : str
        What was typed.
    known : iterable of str
        Names that would do.
    words : str
        How to say it.

    Returns
    -------
    str
        The words.
    """
    near = closest(name, known)
    return words.format(shown(near)) if near else ""


def stands_in(row: "Row", file: str) -> str:
    """Return the file that a row stands in.

    Parameters
    ----------
    row : mapping
        The row, with ``log_file`` where it stands in a file of its own.
    file : str
        The file of its table.

    Returns
    -------
    str
        File name.
    """
    return str(row.get("log_file") or file)


@dataclass(frozen=True)
class Problem:
    """One fault or caution.

    Attributes
    ----------
    code : str
        ``fault`` or ``caution`` and a number, as listed above.
    file : str
        File name inside the folder.
    line : int or None
        Row as a spreadsheet shows it.
    column : str
        Column, or nothing.
    message : str
        What was found, what was wanted, what to type.
    more : int
        So many further rows have the same fault.
    last : int or None
        The last of them.
    """

    code: str
    file: str
    line: int | None
    column: str
    message: str
    more: int = 0
    last: int | None = None

    @property
    def is_caution(self) -> bool:
        """Whether the folder can be used all the same."""
        return self.code.startswith("caution")

    def __str__(self) -> str:
        place = shown(self.file, limit=200) + (f":{self.line}" if self.line is not None else "")
        column = f"{shown(self.column)}: " if self.column else ""
        also = f" The same in {self.more} more rows, to line {self.last}." if self.more else ""
        return f"{place}: {column}{shown(self.message, limit=600)}{also} [{self.code}]"


@dataclass
class Faults:
    """Collects everything that is wrong with a folder, so that all of it is said at once.

    A fault that more than `ALONE` rows of a column share, but for what is quoted and the figures, is one problem.
    """

    found: dict[object, list[Problem]] = field(default_factory=dict)
    lines: dict[tuple[str, str], set[int | None]] = field(default_factory=dict)
    """Lines of a file whose cell in a column has a fault."""

    def add(self, code: str, file: str, message: str, *, line: int | None = None, column: str = "") -> None:
        """Keep one fault or caution.

        Parameters
        ----------
        code : str
            Fault or caution code.
        file : str
            File name.
        message : str
            Found, wanted, to type.
        line : int, optional
            Row as a spreadsheet shows it.
        column : str
            Column.
        """
        problem = Problem(code, file, line, column, message)
        if not problem.is_caution:
            self.lines.setdefault((file, column), set()).add(line)
        same = (code, file, column, _VARYING.sub("", message)) if line is not None else len(self.found)
        group = self.found.setdefault(same, [])
        if len(group) <= ALONE:
            group.append(problem)
        else:  # the last one kept counts the others
            group[-1] = replace(problem, more=group[-1].more + 1)

    def sound(self, table: "pd.DataFrame", file: str, *columns: str) -> "pd.DataFrame":
        """Return the rows of a table without a fault in any of these columns: what follows from one is not said.

        Parameters
        ----------
        table : DataFrame
            Rows, with ``line``.
        file : str
            Where they stand.
        *columns : str
            Canonical names of columns.

        Returns
        -------
        DataFrame
            Those rows.
        """
        other = ("_minutes", "_in", "_fc")  # headers in other units that keys and choices may have
        heads = {*columns, *(column.rpartition("_")[0] + unit for column in columns for unit in other)}
        at = set[int | None]().union(
            *(lines for (n, c), lines in self.lines.items() if n == file and c in heads)
        )
        return table[~table["line"].isin(at)]

    def at(self, code: str, file: str, row: "Row", words: str, column: str = "") -> None:
        """Keep one fault or caution of a row, where that row stands.

        Parameters
        ----------
        code : str
            Fault or caution code.
        file : str
            File of the row's table.
        row : mapping
            The row, with ``line``, and ``log_file`` where it stands in a file of its own.
        words : str
            Found, wanted, to type.
        column : str
            Column.
        """
        self.add(code, stands_in(row, file), words, line=int(row["line"]), column=column)

    def where(
        self, code: str, file: str, rows: "pd.DataFrame", column: str, words: str, **more: object
    ) -> None:
        """Keep a fault or caution for every row of a table.

        Parameters
        ----------
        code : str
            Fault or caution code.
        file : str
            File name.
        rows : DataFrame
            The rows, with ``line``, and ``log_file`` where they stand in a file of their own.
        column : str
            Column, or nothing.
        words : str
            Found, wanted, to type; ``{name}`` is the cell of that column, ``{value}`` that of the column at fault.
        **more : object
            What else the words name.
        """
        for row in rows.to_dict("records") if len(rows) else ():  # the rows with a fault alone
            cells: dict[Any, Any] = {**row, "value": row.get(column), **more}
            said = {str(name): shown(cell) if isinstance(cell, str) else cell for name, cell in cells.items()}
            self.at(code, file, row, words.format_map(said), column)

    @property
    def problems(self) -> list[Problem]:
        """Everything kept, one for rows that share a fault."""
        said: list[Problem] = []
        for group in self.found.values():
            if len(group) <= ALONE:
                said += group
            else:
                more = ALONE + group[-1].more
                said.append(replace(group[0], more=more, last=group[-1].line))
        return said

    @property
    def faults(self) -> list[Problem]:
        """What the folder cannot be used with."""
        return [problem for problem in self.problems if not problem.is_caution]

    @property
    def cautions(self) -> list[Problem]:
        """What should be known before using it."""
        return [problem for problem in self.problems if problem.is_caution]

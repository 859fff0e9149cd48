"""What a notebook shows: sentences and tables in a form that is compared, printed and published alike.

A notebook never shows a bare number, a ``DataFrame`` or a ``print``. It shows `say` (sentences), `table`
(rows, each number through the decimal formatter) or a `photolab.publication.figures.common.Picture`. Text
is data: nothing in it is read as markup.
"""

import html
import inspect
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from importlib.util import find_spec
from typing import Any

import pandas as pd

from photolab.metrology.reporting import decimal

_SPECIAL = re.compile(r"([\\`*_{}\[\]<>#|$~&!])")
_BLANKS = re.compile(r"[ \t\n\r\f\v\u2028\u2029]+")
_LIST_START = re.compile(r"^(\s*)([-+=]|\d+(?=[.)]))")


def one_line(text: str) -> str:
    """Return text on one line, blanks drawn together; a no-break space stays.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    str
        One line without blanks at its ends.
    """
    return _BLANKS.sub(" ", text).strip(" ")


def escape_markdown(text: str) -> str:
    r"""Return text that markdown shows as it stands.

    Parameters
    ----------
    text : str
        One line or several; line ends become spaces.

    Returns
    -------
    str
        The text with every mark of markdown escaped.
    """
    line = one_line(str(text))
    line = _SPECIAL.sub(r"\\\1", line)
    start = _LIST_START.match(line)
    if start is None:
        return line
    mark = start.group(2)
    return f"\\{line}" if not mark.isdigit() else f"{mark}\\{line[len(mark) :]}"


@dataclass(frozen=True)
class Words:
    """Sentences as a notebook shows them.

    Attributes
    ----------
    paragraphs : tuple of str
        Plain text, one paragraph or one list item each.
    bullets : bool, default False
        Show them as a list.
    """

    paragraphs: tuple[str, ...]
    bullets: bool = False

    def __str__(self) -> str:
        mark = "- " if self.bullets else ""
        return "\n".join(mark + one_line(text) for text in self.paragraphs)

    __repr__ = __str__

    def _repr_mimebundle_(self, **_asked: object) -> dict[str, str]:
        """Return the sentences as markdown and as plain text."""
        mark, gap = ("- ", "\n") if self.bullets else ("", "\n\n")
        shown = gap.join(mark + escape_markdown(text) for text in self.paragraphs)
        return {"text/markdown": shown, "text/plain": str(self)}


@dataclass(frozen=True, eq=False)
class Table:
    """A table as a notebook shows it: every cell is text already.

    Attributes
    ----------
    header : tuple of str
        Column heads, with their units.
    rows : tuple of tuple of str
        The cells.
    numeric : tuple of bool
        Which columns stand to the right.
    caption : str, default ""
        One sentence above the table.
    """

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: tuple[bool, ...]
    caption: str = ""

    def __str__(self) -> str:
        lines = [self.header, *self.rows]
        widths = [max(len(line[i]) for line in lines) for i in range(len(self.header))]
        text = [self.caption] if self.caption else []
        for line in lines:
            cells = zip(line, widths, self.numeric, strict=True)
            padded = (cell.rjust(width) if right else cell.ljust(width) for cell, width, right in cells)
            text.append("  ".join(padded).rstrip())
        return "\n".join(text)

    __repr__ = __str__

    def to_html(self) -> str:
        """Return the table as HTML without style, text escaped."""
        caption = f"<caption>{html.escape(self.caption)}</caption>\n" if self.caption else ""
        kinds = ["num" if right else "txt" for right in self.numeric]

        def row(cells: Sequence[str], opening: str, tag: str) -> str:
            both = zip(cells, kinds, strict=True)
            inner = (f'<{opening} class="{kind}">{html.escape(cell)}</{tag}>' for cell, kind in both)
            return f"<tr>{''.join(inner)}</tr>"

        head = row(self.header, 'th scope="col"', "th")
        body = "\n".join(row(cells, "td", "td") for cells in self.rows)
        return f"<table>\n{caption}<thead>\n{head}\n</thead>\n<tbody>\n{body}\n</tbody>\n</table>"

    def _repr_mimebundle_(self, **_asked: object) -> dict[str, str]:
        """Return the table as HTML and as plain text."""
        return {"text/html": self.to_html(), "text/plain": str(self)}


def table(
    rows: pd.DataFrame | Mapping[str, Any] | Iterable[Any],
    *,
    places: Mapping[str, int] | int = 2,
    heads: Mapping[str, str] | None = None,
    columns: Sequence[str] | Mapping[str, str] | None = None,
    caption: str = "",
) -> Table | None:
    """Return a table of results with every number through the decimal formatter; nothing of no rows.

    Parameters
    ----------
    rows : DataFrame, mapping or iterable
        Tidy rows; the index is not shown. Of tuples or dicts, `columns` names what stands in them; a mapping holds
        columns by their names.
    places : mapping or int, default 2
        Decimal places a column, or one number for all; whole-number columns need none.
    heads : mapping, optional
        What to print above a column; the unit belongs here.
    columns : sequence of str or mapping, optional
        Which columns, in this order; all of them otherwise. As a mapping, with what to print above each.
    caption : str, default ""
        One sentence above the table.

    Returns
    -------
    Table or None
        Put it on the last line of a cell.
    """
    chosen = None if columns is None else list(columns)
    frame = rows if isinstance(rows, pd.DataFrame) else pd.DataFrame(rows, columns=chosen)
    if frame.empty:
        return None
    shown = chosen or [str(name) for name in frame.columns]
    heads = columns if isinstance(columns, Mapping) else heads or {}
    numeric, cells = [], []
    for name in shown:
        column, kinds = frame[name], pd.api.types
        number, whole = kinds.is_numeric_dtype(column), kinds.is_integer_dtype(column)
        wanted = places.get(name, 2) if isinstance(places, Mapping) else places
        numeric.append(bool(number and not kinds.is_bool_dtype(column)))
        cells.append([_cell(value, (0 if whole else wanted) if number else None) for value in column])
    named = tuple(heads.get(name, name) for name in shown)
    return Table(named, tuple(zip(*cells, strict=True)), tuple(numeric), caption)


def _cell(value: object, places: int | None) -> str:
    """Return one cell as text; a missing value is an empty cell in text and "n/a" among numbers."""
    if isinstance(value, str):
        return one_line(value)
    if value is None or value is pd.NA or value is pd.NaT or (places is None and value != value):
        return ""
    if isinstance(value, bool) or type(value).__name__ in {"bool_", "bool"}:
        return "yes" if value else "no"
    if isinstance(value, int | float) or hasattr(value, "__float__"):
        return decimal(float(value), 2 if places is None else places)
    return str(value)


def sliders(
    answer: Callable[..., Any], *, said: Callable[[Any], Any], **ranges: tuple[float, float, float]
) -> Any:
    """Return sliders over the arguments of an answer, and the answer below them.

    Parameters
    ----------
    answer : callable
        Called with every argument by name when a slider is let go. Its defaults are where the sliders begin.
    said : callable
        Makes what is shown of what the answer returns: `photolab.publication.words.say`, as a rule.
    **ranges : tuple of numbers, length 3
        Lowest, highest and step of each argument; widened to its default. An argument whose figures are all whole
        stays whole.

    Returns
    -------
    ipywidgets.Widget or None
        Put it on the last line of a cell; None where ipywidgets is not installed.

    Notes
    -----
    What a slider shows is a what-if of this moment: it is kept in no output, and no result depends on it.
    """
    if find_spec("ipywidgets") is None:
        return None
    import ipywidgets

    begin = {name: parameter.default for name, parameter in inspect.signature(answer).parameters.items()}
    look = {"style": {"description_width": "initial"}, "layout": {"width": "30em"}}
    made = {}
    for name, (low, high, step) in ranges.items():
        at, words = begin[name], name.replace("_", " ")
        figures = {"value": at, "min": min(low, at), "max": max(high, at), "step": step}
        whole = all(isinstance(figure, int) for figure in figures.values())
        slider = ipywidgets.IntSlider if whole else ipywidgets.FloatSlider
        made[name] = slider(**figures, description=words, continuous_update=False, **look)
    options = {"manual": False, "auto_display": True}
    return ipywidgets.interactive(lambda **moved: said(answer(**moved)), options, **made)

"""Style, colours and the form in which a figure is shown, stored and published.

A figure is made with `new_figure`, drawn on by one of the modules of this room, and turned into a
`Picture` by `picture`. The same drawing gives the same bytes: one font, no date, no program name.
"""

import base64
import functools
import io
import textwrap
from collections.abc import Callable, Mapping, Sequence, Sized
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import matplotlib as mpl
import matplotlib.style
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure as Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.layout_engine import ConstrainedLayoutEngine
from matplotlib.transforms import Bbox
from numpy.typing import NDArray

from photolab.errors import demand

_DIGITS = 9  # of a position, as a share of the figure: far finer than a pixel, far coarser than a float
_NOT_SHOWN = "\N{REPLACEMENT CHARACTER}"
# no date, no program in a file
_NAMELESS = {"png": {"Software": None}, "svg": {"Date": None, "Creator": None}}
Draw = Callable[..., object]
Floats = NDArray[np.float64]
Look = dict[str, Any]
"""How something is drawn: keywords of the library that draws."""

#: Eight colours that colour-blind readers tell apart (Okabe and Ito, Color Universal Design, 2008).
COLOURS = {
    "blue": "#0072B2",
    "orange": "#E69F00",
    "green": "#009E73",
    "vermilion": "#D55E00",
    "purple": "#CC79A7",
    "sky": "#56B4E9",
    "yellow": "#F0E442",
    "black": "#000000",
}
BLUE, RED, SKY = COLOURS["blue"], COLOURS["vermilion"], COLOURS["sky"]
INK = "#1a1a1a"
GREY = "#6b6b6b"
PALE = "#d9d9d9"

#: What the style of every figure says beyond the library's own defaults.
STYLE: dict[str, object] = {
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 9.0,
    "axes.titlesize": 10.0,
    "axes.titlelocation": "left",
    "axes.edgecolor": GREY,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "text.color": INK,
    "text.parse_math": False,  # a name with two dollar signs is a name
    "axes.labelcolor": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "grid.color": PALE,
    "grid.linewidth": 0.6,
    "legend.frameon": False,
    "hatch.linewidth": 0.8,
    "figure.dpi": 110.0,
    "svg.hashsalt": "photolab",
    "path.simplify": False,
}


styled = mpl.style.context(STYLE, after_reset=True)  # type: ignore[arg-type]
"""Decorates a function that draws in the style, whatever the reader's own settings are."""


def shown_name(text: str, most: int = 24) -> str:
    """Return a name as a figure can carry it.

    Parameters
    ----------
    text : str
        A name, or words with names in them; signs that the font lacks become the mark of a sign not shown.
    most : int, default 24
        Longest text; a longer one loses its middle. [1]

    Returns
    -------
    str
        The name; a no-break space stands before a line at its beginning, which would keep it out of a legend.
    """
    text = shown_signs(text)
    fits = text if len(text) <= most else f"{text[: most - most // 2 - 1]}…{text[len(text) - most // 2 :]}"
    return f"\N{NO-BREAK SPACE}{fits}" if fits.startswith("_") else fits


def shown_signs(text: str) -> str:
    """Return text with the mark of a sign not shown in place of each that the font of the figures lacks.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    str
        As long as the text.
    """
    return "".join(one if ord(one) in _signs() or one == "\n" else _NOT_SHOWN for one in text)


def font_file() -> Path:
    """Return the file of the font of the figures, which comes with the library that draws.

    Returns
    -------
    Path
        DejaVu Sans.
    """
    return Path(findfont(FontProperties(family="DejaVu Sans")))


@functools.cache
def _signs() -> frozenset[int]:
    """Return the signs that the font of the figures has."""
    return frozenset(get_font(font_file()).get_charmap())


class SteadyLayout(ConstrainedLayoutEngine):
    """Constrained layout with positions rounded to nine decimals.

    The solver behind the constrained layout visits its constraints in an order that is not fixed, so that positions may
    differ by a rounding of floats; a few pixels of a line then differ by one shade, and the picture by its bytes.
    """

    def execute(self, fig: Figure) -> Any:
        """Lay out a figure.

        Parameters
        ----------
        fig : Figure
            The figure.

        Returns
        -------
        dict
            As the constrained layout returns it.
        """
        done = super().execute(fig)
        for axes in fig.axes:
            for which in ("original", "active"):
                corners = axes.get_position(original=which == "original").get_points()
                rounded = [[float(f"{x:.{_DIGITS}f}") for x in corner] for corner in corners]
                axes._set_position(Bbox(rounded), which=which)  # type: ignore[attr-defined]
        return done


@styled
def new_figure(
    rows: int = 1,
    columns: int = 1,
    *,
    width: float | None = None,
    height: float | None = None,
    sharex: bool = False,
    sharey: bool = False,
    height_ratios: Sequence[float] | None = None,
) -> tuple[Figure, list[Axes]]:
    """Return an empty figure with its panels.

    Parameters
    ----------
    rows, columns : int, default 1
        Panels.
    width, height : float, optional
        Size of the whole figure; by the columns and the rows where not given. [in]
    sharex, sharey : bool, default False
        Whether all panels have one scale across, and one upwards.
    height_ratios : sequence of float, optional
        Heights of the rows, relative to one another; all alike by default. [1]

    Returns
    -------
    Figure, list of Axes
        The panels row by row.
    """
    size = width or max(7.0, 3.6 * columns), height or 1.4 + 1.6 * rows
    figure = Figure(figsize=size, layout=SteadyLayout())
    FigureCanvasAgg(figure)
    how: Look = {"sharex": sharex, "sharey": sharey, "height_ratios": height_ratios}
    panels = figure.subplots(rows, columns, squeeze=False, **how)
    return figure, [*panels.flat]


def name_rows(
    axes: Axes, names: Sequence[str], shown: str, *, margin: float, edge: float = 0.6, row: float
) -> None:
    """Name rows that are drawn at 0, 1, 2 from the top, and what they show, in a figure as high as they need.

    Parameters
    ----------
    axes : Axes
        Where they are drawn.
    names : sequence of str
        One a row.
    shown : str
        What they show, with its unit.
    margin : float
        Room at the left and the right, as a share of what is shown; none, and zero at the left, where it is 0. [1]
    edge : float, default 0.6
        Room above the first and below the last row, in rows. [1]
    row : float
        Height of a row. [in]
    """
    axes.figure.set(figheight=1.4 + row * len(names))
    axes.set_yticks(range(len(names)), names)
    axes.set(ylim=(len(names) - 1.0 + edge, -edge), xlabel=shown)
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x")
    if margin:
        axes.margins(x=margin)
    else:
        axes.set_xlim(left=0.0)


@dataclass(frozen=True, eq=False)
class Picture:
    """A figure as it is shown: the image and, in words, what it shows.

    Attributes
    ----------
    png : bytes
        The image.
    alt : str
        What the figure shows, with its key numbers; read aloud, and compared when a notebook is tested.
    """

    png: bytes
    alt: str

    def __repr__(self) -> str:
        return self.alt

    def _repr_mimebundle_(self, **_asked: object) -> tuple[dict[str, str], dict[str, dict[str, str]]]:
        """Return the image and its words."""
        image = base64.b64encode(self.png).decode("ascii")
        return {"image/png": image, "text/plain": self.alt}, {"image/png": {"alt": self.alt}}


@styled
def picture(
    figure: Figure, *, alt: str, invented: bool = False, mark_size: float = 8.0, room: float = 0.045
) -> Picture:
    """Return a drawn figure in the form in which it is shown.

    Parameters
    ----------
    figure : Figure
        The drawn figure.
    alt : str
        What it shows in one or two sentences, with its key numbers and units.
    invented : bool, default False
        Mark the figure as drawn from invented readings.
    mark_size : float, default 8.0
        Size of the letters of that mark. [pt]
    room : float, default 0.045
        Room for it, as a share of the height. [1]

    Returns
    -------
    Picture
        Put it on the last line of a cell.

    Raises
    ------
    ValueError
        If `alt` says nothing.
    """
    words = " ".join(alt.split())
    demand(len(words) >= 10, "alt must say what the figure shows", repr(alt))
    if invented:
        _foot(figure, "invented data", size=mark_size, room=room, right=True)
        words = f"Invented data. {words}"
    return Picture(_saved(figure, figure.dpi, "png")["png"], words)


def drawn(
    draw: Draw,
    *things: object,
    alt: str = "",
    invented: bool = False,
    rows: int | None = None,
    across: int | None = None,
    height: float | None = None,
    **options: Any,
) -> Picture | None:
    """Return what one function draws, in the form in which it is shown; nothing of no rows.

    Parameters
    ----------
    draw : callable
        Takes the panel, or the list of them where rows or how many across are given, the things and the options.
    *things : object
        What is drawn; nothing where the first is empty.
    alt : str, default ""
        What it shows in words, as `picture` takes it; what `draw` says of it, if anything, follows.
    invented : bool, default False
        Mark it as drawn from invented readings.
    rows, across : int, optional
        Panels, 1 by default; those below one another have one scale across. [1]
    height : float, optional
        Of the whole figure; as high as its panels or rows need where not given. [in]
    **options : object
        Go to `draw`.

    Returns
    -------
    Picture or None
        Put it on the last line of a cell.
    """
    if things and isinstance(things[0], Sized) and not len(things[0]):
        return None
    shape = rows or 1, across or 1
    figure, panels = new_figure(*shape, height=height, sharex=shape[0] > 1)
    said = draw(panels if rows or across else panels[0], *things, **options)
    return picture(figure, alt=f"{alt} {said}" if isinstance(said, str) else alt, invented=invented)


def panels(
    draw: Draw, things: Mapping[str, object], *, alt: str, invented: bool = False, rows: int = 1, **shape: Any
) -> Picture | None:
    """Return a figure with a panel for each of several things, on one scale upwards; nothing of none.

    Parameters
    ----------
    draw : callable
        Takes the panel, the thing and its title.
    things : mapping
        Title and thing of each panel, row by row.
    alt : str
        What they show in words, as `picture` takes it.
    invented : bool, default False
        Mark it as drawn from invented readings.
    rows : int, default 1
        Rows of panels. [1]
    **shape : object
        Width, height and a scale across that is shared, as `new_figure` takes them.

    Returns
    -------
    Picture or None
        Put it on the last line of a cell.
    """
    if not things:
        return None
    figure, axes = new_figure(rows, -(-len(things) // rows), sharey=True, **shape)
    for panel, (title, thing) in zip(axes, things.items(), strict=False):
        draw(panel, thing, title=title)
    return picture(figure, alt=alt, invented=invented)


@styled
def stored(figure: Figure, foot: str, *, dpi: float = 220.0, size: float = 8.0) -> dict[str, bytes]:
    """Return a drawn figure as files; letters are drawn as shapes, so that it looks the same without its font.

    Parameters
    ----------
    figure : Figure
        The drawn figure.
    foot : str
        Where it comes from; written below it.
    dpi : float, default 220.0
        Pixels of an inch. [1/in]
    size : float, default 8.0
        Size of the letters below it. [pt]

    Returns
    -------
    dict
        "png" and "svg" to bytes.
    """
    lines = textwrap.wrap(shown_signs(foot), int(100.0 * figure.get_figwidth() / size))
    room = 0.0175 * size * len(lines) / figure.get_figheight()
    _foot(figure, "\n".join(lines), size=size, room=room)
    return _saved(figure, dpi, *_NAMELESS)


def _saved(figure: Figure, dpi: float, *kinds: str) -> dict[str, bytes]:
    """Return a figure as the bytes of files, by their kind."""
    figure.set_dpi(dpi)
    figure.get_layout_engine().execute(figure)  # type: ignore[union-attr]
    figure.set_layout_engine(None)  # laid out once: each file would draw it once more for its layout
    files = {kind: io.BytesIO() for kind in kinds}
    for kind, file in files.items():
        figure.savefig(file, format=kind, dpi=dpi, metadata=_NAMELESS[kind])
    return {kind: file.getvalue() for kind, file in files.items()}


def _foot(figure: Figure, text: str, *, size: float, room: float, right: bool = False) -> None:
    """Write below a figure, and leave room for it as a share of its height."""
    place, side = (0.997, "right") if right else (0.003, "left")
    figure.text(place, 0.005, text, ha=side, va="bottom", fontsize=size, color=GREY, style="italic")
    figure.get_layout_engine().set(rect=(0, room, 1, 1.0 - room))  # type: ignore[union-attr, call-arg]

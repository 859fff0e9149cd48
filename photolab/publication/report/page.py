"""One self-contained HTML page from words, tables, figures and chosen notebook cells.

The page holds no script and asks no network: equations are drawn as SVG with their words as label, figures
are part of the file with their words, tables are written anew from their cells, and any markup in a text is
shown as text.
"""

import base64
import functools
import html
import importlib
import itertools
import re
import warnings
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import mistune
from bs4 import BeautifulSoup, Tag
from mistune.plugins.math import math as math_plugin
from mistune.plugins.table import table as table_plugin

from photolab.bench.terms.model import Photo
from photolab.errors import demand
from photolab.publication.sentences.display import Table, one_line
from photolab.publication.sentences.equation_words import in_words

_STYLE = """
:root { color-scheme: light dark; --ink: #1a1a1a; --soft: #444; --paper: #fff; --line: #d9d9d9; --edge: #6b6b6b;
  --code: #f5f5f5; --link: #00508a; }
body { font-family: "DejaVu Sans", Verdana, sans-serif; font-size: 15px; line-height: 1.5; color: var(--ink);
  background: var(--paper); margin: 0; overflow-wrap: break-word; }
main { max-width: 50em; margin: 0 auto; padding: 1.5em 1.2em 4em; }
a { color: var(--link); }
:focus-visible { outline: 3px solid var(--link); outline-offset: 2px; }
h1 { font-size: 1.6em; line-height: 1.2; margin: .4em 0; }
h2 { font-size: 1.25em; margin: 2.2em 0 .5em; border-top: 1px solid var(--line); padding-top: 1em; }
h3 { font-size: 1.08em; margin: 1.6em 0 .4em; }
h4 { font-size: 1em; margin: 1.3em 0 .3em; }
p, ul, ol { margin: .5em 0; }
p.mark { border: 2px solid var(--ink); padding: .5em .8em; font-weight: bold; letter-spacing: .02em; }
p.back { font-size: .88em; }
figure { margin: 1.2em 0; break-inside: avoid; }
figcaption { font-size: .88em; color: var(--soft); overflow-wrap: anywhere; }
img { max-width: 100%; height: auto; background: #fff; }
.scroll { overflow-x: auto; margin: 1em 0; border-right: 1px dashed var(--edge); }
table { border-collapse: collapse; font-size: .88em; }
caption { text-align: left; padding: .3em 0; color: var(--soft); }
th, td { border-bottom: 1px solid var(--line); padding: .3em .7em; text-align: left; vertical-align: top;
  overflow-wrap: normal; }
thead th { border-bottom: 1.5px solid var(--edge); vertical-align: bottom; }
tr[id] td:last-child { min-width: 9em; }
tr:target > * { background: var(--code); }
.num { text-align: right; font-variant-numeric: tabular-nums; }
td.num { white-space: nowrap; }
pre { white-space: pre-wrap; background: var(--code); padding: .7em; font-size: .88em; }
code { font-family: "DejaVu Sans Mono", monospace; font-size: .92em; overflow-wrap: anywhere; }
.equation { display: block; margin: .9em 0; }
.equation svg, .inline-equation svg { max-width: 100%; height: auto; }
nav ol { columns: 2; }
@page { size: A4; margin: 18mm 16mm; }
details { margin: .8em 0; }
summary { cursor: pointer; color: var(--soft); }
@media (max-width: 40em) { main { padding: 1em .8em 3em; } nav ol { columns: 1; } th, td { padding: .3em .45em; } }
@media screen and (min-width: 75em) { .scroll { width: max-content; max-width: calc(100% + 14em); } }
@media (prefers-color-scheme: dark) { :root { --ink: #e8e8e8; --soft: #bdbdbd; --paper: #161616; --line: #3d3d3d;
  --edge: #9a9a9a; --code: #262626; --link: #8cc8ff; }
  .equation svg, .inline-equation svg { filter: invert(1); } }
@media print { :root { color-scheme: light; --ink: #1a1a1a; --soft: #444; --paper: #fff; --line: #d9d9d9;
  --edge: #6b6b6b; --code: #f5f5f5; --link: #00508a; }
  .equation svg, .inline-equation svg { filter: none; }
  details, p.back { display: none; } .scroll { border: none; }
  body { font-size: 10.5pt; } main { padding: 0; max-width: none; } tr { break-inside: avoid; }
  h2, h3, h4 { break-after: avoid; } }
""".strip()
PUBLISHED = "appendix"
"""Tag of the cells of a notebook that are published."""
_FEW = 6
"""So many parts need no contents. [1]"""
_SCROLL = '<div class="scroll" role="group" aria-label="Table" tabindex="0">'
_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"


@dataclass(frozen=True)
class Section:
    """One part of the page under its own heading.

    Attributes
    ----------
    title : str
        The heading, plain text.
    blocks : tuple of str
        HTML made by the functions of this module.
    note : str, default ""
        A remark under the heading, plain text.
    """

    title: str
    blocks: tuple[str, ...]
    note: str = ""


@functools.lru_cache(maxsize=512)
def equation(tex: str, *, block: bool = False) -> str:
    """Return an equation as inline SVG, labelled with its words.

    Parameters
    ----------
    tex : str
        The equation without its dollar signs.
    block : bool, default False
        Set it on a line of its own.

    Returns
    -------
    str
        HTML.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # its font reader names an old codecs call
        ziamath: Any = importlib.import_module("ziamath")
        ziamath.config.svg2 = False
        drawn = ziamath.Latex(tex.strip(), size=19 if block else 16, inline=not block)
        image = re.sub(r'\s+xmlns(:\w+)?="[^"]*"', "", str(drawn.svg()))
        drop = float(drawn.getyofst())
    label = html.escape(in_words(tex), quote=True)
    if block:
        return f'<span class="equation" role="img" aria-label="{label}">{image}</span>'
    style = f"vertical-align:{drop:.1f}px"
    return f'<span class="inline-equation" role="img" aria-label="{label}" style="{style}">{image}</span>'


class _Renderer(mistune.HTMLRenderer):
    """Markdown to HTML with headings moved down and pictures only from the text itself."""

    def __init__(self, attachments: dict[str, Any]) -> None:
        super().__init__(escape=True, allow_harmful_protocols=False)
        self._attachments = attachments

    def heading(self, text: str, level: int, **_attributes: Any) -> str:
        """Return a heading, a level lower: the page's own is the first."""
        rank = min(level + 1, 6)
        return f"<h{rank}>{text}</h{rank}>\n"

    def image(self, text: str, url: str, title: str | None = None) -> str:
        """Return an attached picture, or its words: nothing is fetched."""
        del title
        name = url.removeprefix("attachment:")
        data = self._attachments.get(name, {}).get("image/png") if name != url else None
        words = html.escape(html.unescape(text), quote=True)
        return words if data is None else f'<img alt="{words}" src="data:image/png;base64,{_base64(data)}">'

    def link(self, text: str, url: str, title: str | None = None) -> str:
        """Return a link to a page outside; one to a neighbouring file is left as words."""
        del title
        outside = re.match(r"https?://", url)
        return f'<a href="{html.escape(url, quote=True)}">{text}</a>' if outside else text


def _base64(data: Any) -> str:
    """Return base64 text on one line, refusing anything else; an image as such is packed."""
    text = base64.b64encode(data).decode("ascii") if isinstance(data, bytes) else "".join(data)
    packed = "".join(text.split())
    demand(re.fullmatch(r"[A-Za-z0-9+/]*={0,2}", packed), "image must be base64 text", "other characters")
    return packed


def markdown(text: str, *, attachments: dict[str, Any] | None = None) -> str:
    """Return markdown as HTML, its headings a level lower; raw HTML in it is shown as text.

    Parameters
    ----------
    text : str
        Markdown with ``$…$`` and ``$$…$$`` equations and pipe tables.
    attachments : dict, optional
        Pictures of a notebook cell, by name.

    Returns
    -------
    str
        HTML.
    """
    renderer = _Renderer(attachments or {})
    convert = mistune.create_markdown(renderer=renderer, plugins=[table_plugin, math_plugin])
    renderer.register("inline_math", lambda _renderer, tex: equation(html.unescape(tex)))
    renderer.register("block_math", lambda _renderer, tex: equation(html.unescape(tex), block=True) + "\n")
    result = str(convert(re.sub(r"<!--.*?-->", "", text, flags=re.DOTALL)))
    alone = r'<p><img alt="([^"]*)" src="[^"]*?base64,([^"]*)"></p>'  # a picture in a paragraph by itself
    result = re.sub(alone, lambda found: figure(found[2], html.unescape(found[1])), result)
    return result.replace("<table>", f"{_SCROLL}<table>").replace("</table>", "</table></div>")


def figure(png: str | bytes, alt: str, caption: str = "") -> str:
    """Return a figure that is part of the page; the page gives it its number.

    Parameters
    ----------
    png : str or bytes
        The image, as base64 text or as it is.
    alt : str
        What it shows, in words.
    caption : str, optional
        What stands below it; the beginning of `alt` where not given.

    Returns
    -------
    str
        HTML.

    Raises
    ------
    ValueError
        If the words are missing or the image is not base64 text.
    """
    demand(alt.strip(), "alt must say what the figure shows", "nothing")
    words, mark = html.escape(" ".join(alt.split()), quote=True), "Invented data. "
    first = re.split(r"[.:;] ", f"{alt.removeprefix(mark)} ", maxsplit=1)[0].strip()
    below = html.escape(caption or f"{first}{' (invented data)' if alt.startswith(mark) else ''}.")
    image = f'<img alt="{words}" src="data:image/png;base64,{_base64(png)}">'
    return f"<figure>{image}<figcaption>{below}</figcaption></figure>"


def photograph(photo: Photo) -> str:
    """Return a photograph that is part of the page, smaller than its pixels and thus sharp, with its note under it.

    Parameters
    ----------
    photo : Photo
        The photograph.

    Returns
    -------
    str
        HTML.
    """
    words = ": ".join(filter(None, (f"{photo.lamp}, photograph {photo.file}", photo.note)))
    said = html.escape(one_line(words), quote=True)
    data = _base64(photo.jpeg)
    image = f'<img alt="{said}" width="{photo.width * 3 // 4}" src="data:image/jpeg;base64,{data}">'
    return f"<figure>{image}<figcaption>{said}</figcaption></figure>"


def read_html(source: str) -> BeautifulSoup:
    """Return a page as a tree; an end without its beginning is passed over.

    Parameters
    ----------
    source : str
        HTML.

    Returns
    -------
    BeautifulSoup
        What holds its outermost elements; attributes are as they are written.
    """
    return BeautifulSoup(source, "html.parser", multi_valued_attributes=None)


def is_number(cell: Tag) -> bool:
    """Return whether a cell of a table stands to the right.

    Parameters
    ----------
    cell : Tag
        The cell.

    Returns
    -------
    bool
        True of class ``num``.
    """
    return "num" in str(cell.get("class", "")).split()


def clean_table(source: str | Table | None) -> str:
    """Return the tables of an HTML output written anew from the text of their cells.

    Parameters
    ----------
    source : str or Table, optional
        HTML as a notebook holds it, or a table.

    Returns
    -------
    str
        HTML with tables only: no style, no attribute, no markup inside a cell.
    """
    held = source.to_html() if isinstance(source, Table) else source or ""
    tables = []
    for one in read_html(held)("table"):
        parts: dict[str, list[str]] = {"th": [], "td": []}
        for row in one("tr"):
            tag, scope = ("th", ' scope="col"') if row.find_parent("thead") else ("td", "")
            kinds = {True: ' class="num"', False: ""}
            cells = (f"{scope}{kinds[is_number(one)]}>{_plain(one)}" for one in row(["td", "th"]))
            parts[tag].append(f"<tr>{''.join(f'<{tag}{cell}</{tag}>' for cell in cells)}</tr>")
        caption = "".join(f"<caption>{_plain(above)}</caption>\n" for above in one("caption"))
        tables.append(table_html(parts["th"], parts["td"], caption))
    return "\n".join(tables)


def _plain(element: Tag) -> str:
    """Return the text of an element without any form, on one line."""
    return html.escape(one_line(element.get_text()))


def table_html(head: Iterable[str], body: Iterable[str], caption: str = "") -> str:
    """Return a table that scrolls by itself where it is wider than the page.

    Parameters
    ----------
    head, body : iterable of str
        Rows, HTML.
    caption : str, optional
        HTML.

    Returns
    -------
    str
        HTML.
    """
    lines = [f"{_SCROLL}<table>", f"{caption}<thead>", *head, "</thead>", "<tbody>", *body, "</tbody>"]
    return "\n".join([*lines, "</table></div>"])


def notebook_blocks(notebook: Any, *, folded: bool = False) -> tuple[str, ...]:
    """Return the chosen cells of an executed notebook as HTML; of the code, only the cells tagged ``law``, in a fold.

    A part (from one heading to the next) whose chosen code shows nothing is left out, its prose and its law with it:
    nothing is said of what a folder does not hold.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
        An executed notebook. Cells tagged ``appendix`` are taken; what the answer at the top shows already is not
        shown again.
    folded : bool, default False
        Parts whose heading is tagged ``working`` stand in a fold, which has no place on paper.

    Returns
    -------
    tuple of str
        HTML, one for each cell or output, in order.
    """
    parts: list[list[Any]] = [[]]
    for cell in notebook.cells:
        if cell.cell_type == "markdown" and cell.source.startswith("#"):
            parts.append([])
        if {PUBLISHED, "law"} & set(cell.metadata.get("tags", [])):
            parts[-1].append(cell)
    chosen = []
    for part in filter(None, parts):
        code = [cell for cell in part if cell.cell_type == "code" and PUBLISHED in cell.metadata.tags]
        if not code or any(cell.outputs for cell in code):
            chosen.append(part)
    answered = any("answer" in cell.metadata.tags for part in chosen for cell in part)
    blocks: list[str] = []
    for part in chosen:
        made = [block for cell in part for block in _cell_blocks(cell, answered=answered)]
        if folded and "working" in part[0].metadata.tags:
            title = part[0].source.partition("\n")[0].lstrip("# ")
            made[0] = re.sub(r"^<h\d>.*?</h\d>\n", "", made[0])
            made = [f"<details><summary>{html.escape(title)}</summary>", *made, "</details>"]
        blocks += made
    return tuple(blocks)


def _cell_blocks(cell: Any, *, answered: bool) -> list[str]:
    """Return a chosen cell as HTML; a law stands in a fold, which is closed at first and has no place on paper."""
    blocks = []
    if "law" in cell.metadata.tags:
        law = f"<pre><code>{html.escape(cell.source)}</code></pre>"
        blocks.append(f'<details class="law"><summary>The law as it was computed</summary>{law}</details>')
    if PUBLISHED not in cell.metadata.tags or (answered and "answer-source" in cell.metadata.tags):
        return blocks
    if cell.cell_type == "markdown":
        return [*blocks, markdown(cell.source, attachments=dict(cell.get("attachments", {})))]
    return [*blocks, *filter(None, (_output_html(output) for output in cell.outputs))]


def _output_html(output: Any) -> str:
    """Return one output as HTML; what has no form here is shown as text."""
    if output.output_type == "stream":
        return f"<pre>{html.escape(output.text.rstrip())}</pre>"
    data = output.get("data", {})
    plain = str(data.get("text/plain", ""))
    if "image/png" in data:
        alt = output.get("metadata", {}).get("image/png", {}).get("alt") or plain
        return figure(data["image/png"], alt)
    if "text/markdown" in data:
        return markdown(data["text/markdown"])
    if "<table" in data.get("text/html", ""):
        return clean_table(data["text/html"])
    return f"<pre>{html.escape(plain)}</pre>" if plain else ""


def page(title: str, front: Sequence[str], sections: Sequence[Section]) -> str:
    """Return the whole page.

    Parameters
    ----------
    title : str
        Title, plain text; front and sections follow it.
    front : sequence of str
        HTML of page one.
    sections : sequence of Section
        What follows the contents.

    Returns
    -------
    str
        One HTML document.
    """
    contents, parts = [], []
    for number, section in enumerate(sections, start=1):
        note, heading = html.escape(section.note), html.escape(section.title)
        contents.append(f'<li><a href="#part-{number}">{heading}</a></li>')
        above = [f'<h2 id="part-{number}">{heading}</h2>', *([f"<p>{note}</p>"] if note else [])]
        parts.append("\n".join(["<section>", *above, "\n".join(section.blocks), "</section>"]))
    listed = ['<nav aria-label="Contents">', "<h2>Contents</h2>", "<ol>", *contents, "</ol>", "</nav>"]
    name, nav = html.escape(title), "\n".join(listed)
    head = f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="{_POLICY}">
<title>{name}</title>
<style>\n{_STYLE}\n</style>
</head>
<body>
<main>
<h1>{name}</h1>"""
    end = "</main>\n</body>\n</html>\n"
    whole = "\n".join([head, *front, nav if len(sections) > _FEW else "", *parts, end])
    numbers = itertools.count(1)
    return re.sub("<figcaption>", lambda _: f"<figcaption>Figure {next(numbers)}. ", whole)

"""The published page as a paged document: PDF with tags, alternative texts and bookmarks.

The page is read back from its HTML, whose few tags are all made in `photolab.publication.report.page`, and set by
typst with its own fonts. The same page gives the same bytes: no clock, no font of the machine and no network
take part.
"""

import base64
import re
import struct
import tempfile
from collections.abc import Callable, Mapping
from itertools import zip_longest
from pathlib import Path

from bs4 import Tag
from bs4.element import NavigableString

from photolab.errors import MethodError
from photolab.publication.figures.common import font_file, shown_signs
from photolab.publication.report.page import is_number, read_html

_POINT = 10.0 / 15.0  # points of the paper for one pixel of the page: both set their text so
_TEXT_WIDTH = 504.0  # points between the margins of an A4 page
_BLOCKS = frozenset(
    {"html", "body", "main", "section", "nav", "div", "ul", "ol", "tr", "figure", "blockquote"}
)
_NO_WORDS = "picture without words"
_SIDES = {True: "right", False: "left"}
_STYLE = """
#set page(paper: "a4", margin: (x: 16mm, y: 18mm), numbering: "1 / 1")
#set text(font: "Libertinus Serif", size: 10pt, lang: LANGUAGE)
#set table(stroke: none, inset: (x: 4pt, y: 2.5pt))
#show raw: set text(font: "DejaVu Sans Mono", size: 8pt)
#show heading: set block(above: 1.4em, below: 0.7em)
#show link: underline
#let sheet(sides, head, ..cells) = block(text(size: if sides.len() > 8 { 6.5pt } else { 8pt }, table(
  columns: sides.len(), align: sides, head, table.hline(stroke: 0.6pt), ..cells, table.hline(stroke: 0.4pt))))
"""


class _Setter:
    """Turns the tree into typst and keeps the pictures it names."""

    def __init__(self, drawings: list[str], headings: frozenset[str]) -> None:
        self._headings = headings
        self.files: dict[str, bytes] = {}
        self._drawings = drawings
        self._level = 0

    def inside(self, node: Tag) -> str:
        """Return what stands inside an element."""
        return "".join(
            self.element(child) if isinstance(child, Tag) else _text(str(child), node)
            for child in node.children
            if type(child) in (Tag, NavigableString)
        )

    def element(self, node: Tag) -> str:
        """Return one element."""
        if re.fullmatch("h[1-6]", node.name):
            self._level = min(int(node.name[1]), self._level + 1)  # a level left out would break the outline
            name = f" #label({quoted(str(node['id']))})" if "id" in node.attrs else ""
            return f"\n#[#heading(level: {self._level})[{self.inside(node)}]{name}]\n"
        special: dict[str, Callable[[Tag], str]] = {
            "a": self._link,
            "figcaption": lambda one: f"\n\n#text(size: 8.5pt)[{self.inside(one)}]\n",
            "figure": lambda one: f"\n#block(breakable: false)[{self.inside(one)}]\n",
            "img": self._picture,
            "nav": self._contents,
            "p": self._paragraph,
            "pre": lambda one: f"\n#block(raw({quoted(one.get_text().strip(chr(10)))}, block: true))\n",
            "code": lambda one: f"#raw({quoted(one.get_text())})",
            "span": self._equation,
            "table": self._table,
        }
        if node.name in special:
            return special[node.name](node)
        plain = {"em": "#emph", "strong": "#strong", "blockquote": "\n#quote(block: true)"}
        if node.name in plain:
            return f"{plain[node.name]}[{self.inside(node)}]"
        if node.name in {"ul", "ol"}:
            items = ", ".join(f"[{self.inside(one)}]" for one in node.children if isinstance(one, Tag))
            return f"\n#{'list' if node.name == 'ul' else 'enum'}({items})\n"
        alone = {
            "br": "#linebreak()",
            "hr": "\n#line(length: 100%, stroke: 0.4pt)\n",
            "head": "",
            "details": "",
        }
        return alone[node.name] if node.name in alone else self.inside(node)

    def _paragraph(self, node: Tag) -> str:
        """Return a paragraph; the mark of invented data stands in a frame, and nobody clicks on paper."""
        if node.get("class") == "back":
            return ""
        if node.get("class") == "mark":
            return f"\n#block(stroke: 1pt, inset: 6pt, strong[{self.inside(node)}])\n"
        return f"\n\n{self.inside(node)}\n\n"

    def _link(self, node: Tag) -> str:
        """Return a link to a page outside or to a heading, or the text of another one."""
        target, text = str(node.get("href", "")), self.inside(node)
        if target.removeprefix("#") in self._headings:
            return f"#link(label({quoted(target.removeprefix('#'))}))[{text}]"
        return f"#link({quoted(target)})[{text}]" if "://" in target else text

    def _contents(self, node: Tag) -> str:
        """Return the contents with page numbers in place of links."""
        title = node("h2")[0]
        return f"{self.element(title)}#context outline(title: none, target: heading.where(level: 2).after(here()))\n"

    def _picture(self, node: Tag) -> str:
        """Return a picture as wide as on the page, at most as the text."""
        form, _, packed = str(node["src"]).partition(";base64,")
        data = base64.b64decode(packed)
        width = float(str(node.get("width", "")) or struct.unpack(">I", data[16:20])[0]) * _POINT
        return f"#{self._image(form.rpartition('/')[2], data, str(node['alt']) or _NO_WORDS, width)}"

    def _equation(self, node: Tag) -> str:
        """Return an equation as its drawing, its words as alternative text."""
        drawing = self._drawings[int(str(node("svg")[0]["data-number"]))]
        width = float(re.findall(r'width="([0-9.]+)"', drawing)[0]) * _POINT
        data = drawing.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1).encode("utf-8")
        image = self._image("svg", data, str(node["aria-label"]), width)
        if str(node["class"]) == "equation":
            return f"\n#block({image})\n"
        drop = -float(re.findall(r"vertical-align:(-?[0-9.]+)px", str(node["style"]))[0]) * _POINT
        return f"#box(baseline: {drop:.2f}pt, {image})"

    def _image(self, kind: str, data: bytes, words: str, width: float) -> str:
        """Return a call that shows a picture, and keep the picture."""
        name = f"{len(self.files):04d}.{kind}"
        self.files[name] = data
        return f'image("{name}", alt: {quoted(words)}, width: {min(width, _TEXT_WIDTH):.2f}pt)'

    def _table(self, node: Tag) -> str:
        """Return a table whose heads are repeated on every page; short rows are filled up."""
        heads = [row("th") for row in node("thead")[0]("tr")]
        rows = [row(["td", "th"]) for row in node("tbody")[0]("tr")]
        columns = list(zip_longest(*heads, *rows, fillvalue=Tag(name="td")))
        if not columns:
            return ""
        numeric = [any(is_number(cell) for cell in column) for column in columns]
        sides = ", ".join(_SIDES[one] for one in numeric)
        lines = list(zip(*columns, strict=True))
        head = ", ".join(f"[#strong[{self.inside(cell)}]]" for row in lines[: len(heads)] for cell in row)
        body = "".join(f", {self._cell(cell)}" for row in lines[len(heads) :] for cell in row)
        caption = "".join(f"\n#block(emph[{self.inside(one)}])\n" for one in node("caption"))
        return f"{caption}\n#sheet(({sides},), table.header({head}){body})\n"

    def _cell(self, node: Tag) -> str:
        """Return a cell; a number stays on one line."""
        return f"box[{self.inside(node)}]" if is_number(node) else f"[{self.inside(node)}]"


def _text(text: str, parent: Tag) -> str:
    """Return text as it stands; blanks between blocks are none."""
    if parent.name in _BLOCKS and not text.strip(" \n\t"):
        return ""
    shown = re.sub(r"[ \n\t]+", " ", text)
    return f"#{quoted(shown)};" if shown else ""


def quoted(text: str) -> str:
    """Return a string of typst: nothing in it is read as markup, control characters are left out.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    str
        The string in quotation marks. A sign that no font at hand has becomes the mark of a sign not shown; the page
        shows it as it is.
    """
    printed = shown_signs("".join(one for one in text if one.isprintable() or one in "\n\u00a0"))
    escaped = printed.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
    return f'"{escaped}"'


def typst_date(day: str) -> str:
    """Return a date as typst takes it.

    Parameters
    ----------
    day : str
        ISO 8601; blank for none.

    Returns
    -------
    str
        Its expression.
    """
    if not day:
        return "none"
    year, month, number = (int(part) for part in day.split("-"))
    return f"datetime(year: {year}, month: {month}, day: {number})"


def paper(page: str, *, last_day: str = "") -> bytes:
    """Return a page as PDF.

    Parameters
    ----------
    page : str
        HTML made by `photolab.publication.report.page.page`.
    last_day : str, default ""
        Date of the document, ISO 8601; none where empty.

    Returns
    -------
    bytes
        PDF 1.7 that follows PDF/UA-1 as far as its maker checks it.

    Raises
    ------
    MethodError
        If the document cannot be set, or its setting gives a warning.
    """
    drawings: list[str] = []

    def keep(found: re.Match[str]) -> str:
        drawings.append(found.group())
        return f'<svg data-number="{len(drawings) - 1}"></svg>'

    whole = read_html(re.sub(r"<svg .*?</svg>", keep, page, flags=re.DOTALL))("html")[0]
    named = whole(re.compile("^h[1-6]$"))
    setter = _Setter(drawings, frozenset(str(one.get("id", "")) for one in named) - {""})
    body = setter.inside(whole("body")[0])
    title = quoted(whole("title")[0].get_text())
    style = _STYLE.replace("LANGUAGE", quoted(str(whole.get("lang", "en"))))
    source = f"#set document(title: {title}, date: {typst_date(last_day)})\n{style}\n{body}"
    return as_pdf(source, setter.files)


def as_pdf(source: str, files: Mapping[str, bytes] | None = None) -> bytes:
    """Return a typst source as PDF, with the fonts of the paper alone.

    Parameters
    ----------
    source : str
        The source; text of a folder in it as `quoted` gives it.
    files : mapping, optional
        What it names, by file name.

    Returns
    -------
    bytes
        PDF 1.7 that follows PDF/UA-1 as far as its maker checks it.

    Raises
    ------
    MethodError
        If the document cannot be set, or its setting gives a warning (code ``paper_not_set``).
    """
    import typst

    with tempfile.TemporaryDirectory(prefix="photolab-") as scratch:
        for name, data in (files or {}).items():
            (Path(scratch) / name).write_bytes(data)
        main = Path(scratch) / "main.typ"
        main.write_text(source, encoding="utf-8")
        compiler = typst.Compiler(
            main, root=Path(scratch), ignore_system_fonts=True, font_paths=[font_file()]
        )
        said: list[str] = []
        made: bytes | list[bytes] | None = None
        try:
            made, warnings = compiler.compile_with_warnings(format="pdf", pdf_standards=["ua-1"])
            said = [one.message for one in warnings]
        except typst.TypstError as error:
            said = [error.message]
    if said or not isinstance(made, bytes):
        message = f"the page must be set on paper without a warning; got {'; '.join(said)}"
        raise MethodError(message, code="paper_not_set")
    return made

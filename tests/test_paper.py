"""The paged document. Oracle: pypdf, a second reader of PDF, and text put in on purpose."""

import base64
import io
import re

import matplotlib.image
import numpy as np
import pytest
from pypdf import PdfReader

from photolab.errors import MethodError
from photolab.publication.report import paper as setting
from photolab.publication.report.page import Section, clean_table, equation, figure, markdown, page
from photolab.publication.report.paper import paper

AWKWARD = r"""\ \n \u{41} \\ # $ * _ @ < > [ ] ~ = + - / ` " ' // /* */ #let x #"y" ± µ 25 °C x² 3–4 “so”"""


def png(width, height=8):
    buffer = io.BytesIO()
    matplotlib.image.imsave(buffer, np.ones((height, width, 3)), format="png")
    return base64.b64encode(buffer.getvalue()).decode("ascii")


def sheet(rows, heads=("lamp", "light (%)")):
    head = "".join(f"<th>{one}</th>" for one in heads)
    body = "".join(f"<tr><td>{a}</td><td class='num'>{b}</td></tr>" for a, b in rows)
    return clean_table(f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>")


def read(*blocks, title="A title", last_day="2026-06-03", front=()):
    made = paper(page(title, list(front), [Section("Is it so?", blocks, "A note.")]), last_day=last_day)
    return PdfReader(io.BytesIO(made))


def text_of(reader):
    return " ".join(" ".join(one.extract_text() for one in reader.pages).split())


def elements(reader):
    """Return the structure of the document: type and alternative text of every element."""
    found = []

    def walk(node):
        node = node.get_object()
        if isinstance(node, list):
            for one in node:
                walk(one)
        elif isinstance(node, dict):
            if "/S" in node:
                found.append((node["/S"], str(node.get("/Alt", ""))))
            if "/K" in node:
                walk(node["/K"])

    walk(reader.trailer["/Root"]["/StructTreeRoot"])
    return found


def test_text_is_shown_as_it_was_typed():
    # Oracle: the characters typed; every mark of the setting language among them.
    reader = read(f"<p>{AWKWARD.replace('<', '&lt;')}</p>", title=AWKWARD)
    assert text_of(reader).count(AWKWARD) == 2
    assert reader.metadata.title == AWKWARD


def test_control_characters_are_left_out():
    # Oracle: the text without them.
    assert "before after" in text_of(read("<p>be\x07fore \x08after</p>"))


def test_document_is_tagged_and_dated_by_the_data():
    # Oracle: the keys of PDF 1.7 (ISO 32000-1, 14.7 and 14.8) and of PDF/UA-1 (ISO 14289-1), from memory.
    reader = read("<p>Text.</p>")
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert b"<pdfuaid:part>1</pdfuaid:part>" in root["/Metadata"].get_object().get_data()
    assert reader.metadata.creation_date.date().isoformat() == "2026-06-03"
    assert read("<p>Text.</p>", last_day="").metadata.creation_date is None


def test_same_page_gives_the_same_bytes():
    # Oracle: the bytes of the first run.
    whole = page("T", [figure(png(40), "A white field.")], [Section("Q", (equation("x^2", block=True),))])
    assert paper(whole) == paper(whole)


def test_pictures_and_equations_carry_their_words():
    # Oracle: the words given, those of the equations.
    tex = r"\frac{a}{b} < 1"
    found = elements(
        read(figure(png(900), "A white field."), markdown(f"Inline ${tex}$ here.\n\n$$\ny = k\n$$"))
    )
    words = [alt for kind, alt in found if kind == "/Figure"]
    assert words == ["A white field.", "a over b is less than 1", "y equals k"]


@pytest.mark.parametrize(("pixels", "points"), [(150, 100.0), (900, 504.0)])
def test_picture_is_as_wide_as_on_the_page_and_never_wider_than_the_text(pixels, points):
    # Oracle: 10 pt of text stand for 15 px; 210 mm less two margins of 16 mm are 504.6 pt.
    widths = []
    reader = read(figure(png(pixels), "A white field."))

    def keep(operator, arguments, current, _text):
        if operator == b"Do":
            widths.append(current[0])

    for one in reader.pages:
        one.extract_text(visitor_operand_before=keep)
    assert widths == [pytest.approx(points, abs=0.01)]


def test_heads_of_a_long_table_stand_on_every_page():
    # Oracle: the head typed once; 150 rows take more than two pages.
    reader = read(sheet([(f"K{n}", f"{n}.5") for n in range(150)]))
    pages = [one.extract_text() for one in reader.pages]
    with_rows = [one for one in pages if ".5" in one]
    assert len(with_rows) >= 2
    assert all("light (%)" in one for one in with_rows)
    kinds = [kind for kind, _ in elements(reader)]
    assert kinds.count("/TH") == 2
    assert kinds.count("/TD") == 300


def test_numbers_stand_to_the_right():
    # Oracle: lamps begin at one place; 1234.5 begins three digits before 1.5, so that both end at one place.
    places = []

    def keep(operator, _arguments, current, text):
        if operator in {b"TJ", b"Tj"}:
            places.append(current[4] + current[0] * text[4])

    for one in read(sheet([("K1", "1.5"), ("K2 long", "1234.5")])).pages:
        one.extract_text(visitor_operand_before=keep)
    first_lamp, short, second_lamp, long = places[-5:-1]  # the number of the page comes last
    assert first_lamp == pytest.approx(second_lamp, abs=0.01)
    assert short - long == pytest.approx(3 * 0.465 * 8.0, abs=0.2)  # a digit of the font is 0.465 em wide


def test_contents_name_the_page_of_each_part():
    # Oracle: the part stands on the last page, whose number the contents give.
    rows = "".join(f"<p>Line {n}.</p>" for n in range(120))
    parts = [Section("First?", (rows,)), *[Section("Between?", ())] * 5, Section("Second?", ("<p>End.</p>",))]
    whole = page("T", [], parts)
    reader = PdfReader(io.BytesIO(paper(whole)))
    contents, last = reader.pages[0].extract_text(), len(reader.pages)
    assert last > 2
    line = next(one for one in contents.splitlines() if one.startswith("Second?"))
    assert line.split()[-1] == str(last)
    assert "Second?" in reader.pages[-1].extract_text()


def test_no_level_of_headings_is_left_out():
    # Oracle: PDF/UA-1, 7.4.2, from memory: levels descend one at a time; the page has 1, 2 and 4.
    kinds = [kind for kind, _ in elements(read("<h4>Deep</h4><p>Text.</p><h3>Less deep</h3>"))]
    assert [one for one in kinds if one.startswith("/H")] == ["/H1", "/H2", "/H3", "/H3"]


def test_lists_links_and_marks():
    # Oracle: the words typed and the address.
    text = markdown(
        "- one\n- two\n\n1. first\n\n[a page](https://example.org/x)\n\n`code = 1`\n\n> said\n\n**b** *e*"
    )
    reader = read(text, front=['<p class="mark">INVENTED</p>', "<pre>a  b\nc</pre>"])
    shown = text_of(reader)
    for words in ("• one", "• two", "1. first", "a page", "code = 1", "said", "INVENTED", "b e"):
        assert words in shown
    targets = [
        note.get_object()["/A"]["/URI"]
        for one in reader.pages
        for note in one.get("/Annots", [])
        if "/URI" in note.get_object().get("/A", {})
    ]
    assert targets == ["https://example.org/x"]


def test_short_rows_are_filled_up_and_empty_tables_left_out():
    # Oracle: the cells typed; a head of two rows, the second shorter.
    heads = "<thead><tr><th>a</th><th>b</th></tr><tr><th>c</th></tr></thead>"
    source = f"<table>{heads}<tbody><tr><td>d</td></tr></tbody></table>"
    kinds = [kind for kind, _ in elements(read(clean_table(source), "<p>after</p>"))]
    assert kinds.count("/TH") == 4
    assert kinds.count("/TD") == 2
    empty = clean_table("<table><thead></thead><tbody></tbody></table>")
    assert "after" in text_of(read(empty, "<p>after</p>"))


def test_what_cannot_be_set_is_refused():
    # Oracle: a picture that is none.
    broken = base64.b64encode(b"\x89PNG" + bytes(40)).decode("ascii")
    with pytest.raises(MethodError, match="the page must be set on paper without a warning") as refusal:
        read(figure(broken, "Nothing."))
    assert refusal.value.code == "paper_not_set"


def test_contents_leave_out_what_stands_before_them():
    # Oracle: the headings typed: one before the contents, one after.
    made = paper(page("A title", ["<h2>Before</h2>"], [Section(f"Is it {n}?", ()) for n in range(7)]))
    shown = text_of(PdfReader(io.BytesIO(made)))
    assert shown.count("Before") == 1
    assert shown.count("Is it 3?") == 2


def test_links_inside_lead_to_headings_and_nobody_clicks_back_on_paper():
    # Oracle: the names typed; a link to what is no heading is text.
    front = ['<p><a href="#lamp-1">To K1</a> <a href="#row-1">To a row</a></p>']
    reader = read('<h3 id="lamp-1">K1</h3><p class="back"><a href="#found-1">Back</a></p>', front=front)
    notes = [note.get_object() for one in reader.pages for note in one.get("/Annots", [])]
    assert len(notes) == 1
    assert "To a row" in text_of(reader)
    assert "Back" not in text_of(reader)


def test_mark_of_invented_data_stands_in_a_frame():
    # Oracle: a stroked path that the same words without the mark do not have.
    strokes = []
    for kind in ("", ' class="mark"'):
        content = read(front=[f"<p{kind}>INVENTED</p>"]).pages[0].get_contents().get_data()
        strokes.append(content.split().count(b"S"))
    assert strokes[1] == strokes[0] + 1


def test_inline_equation_hangs_below_the_line():
    # Oracle: where paths begin; without its offset the same drawing stands higher by two thirds of the pixels.
    source = markdown("before $p_q$ after")
    (drop,) = re.findall(r"vertical-align:-([0-9.]+)px", source)
    heights = []
    for one in (source, source.replace(f"vertical-align:-{drop}px", "vertical-align:-0px")):
        places = []

        def keep(operator, arguments, current, _text, places=places):
            if operator == b"m":
                places.append(current[5] + current[3] * float(arguments[1]))

        def line(operator, _arguments, current, _text, places=places):
            if operator in {b"TJ", b"Tj"}:
                places.append(current[5])

        content = read(one)
        content.pages[-1].extract_text(visitor_operand_before=keep)
        path = places[0]
        places.clear()
        content.pages[-1].extract_text(visitor_operand_before=line)
        heights.append(path - places[-2])  # the words after it; the number of the page comes last
    assert heights[1] - heights[0] == pytest.approx(float(drop) / 1.5, abs=0.02)


def test_a_warning_is_no_document(monkeypatch):
    # Oracle: a font that is none.
    monkeypatch.setattr(setting, "_STYLE", setting._STYLE.replace("Libertinus Serif", "No Such Font"))
    with pytest.raises(MethodError, match="without a warning; got unknown font family: no such font"):
        read("<p>Text.</p>")

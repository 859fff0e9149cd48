"""The page. Oracle: HTML's own parser on what was written, and text put in on purpose."""

import html
import io
import re
from html.parser import HTMLParser
from pathlib import Path

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output
from pypdf import PdfReader

from photolab.publication.report.page import (
    Section,
    clean_table,
    equation,
    figure,
    markdown,
    notebook_blocks,
    page,
)
from photolab.publication.report.paper import paper
from photolab.publication.sentences.equation_words import in_words

NOTEBOOKS = Path(__file__).parents[1] / "notebooks"
PICTURE = {"image/png": "AAAA"}
VOID = {"meta", "img", "br", "hr", "link", "input"}


class Reader(HTMLParser):
    """Collects tags and attributes; notes a tag that is closed out of order."""

    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.tags, self.attributes, self.open, self.wrong, self.text = [], [], [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.wrong.append(tag)

    def handle_data(self, data):
        self.text.append(data)


def read(source):
    reader = Reader()
    reader.feed(source)
    reader.close()
    return reader


# ---- words


def test_markup_in_text_is_shown_as_text():
    """Oracle: the characters typed."""
    source = "Lamp <script>alert(1)</script> and <img src=x onerror=y>\n\n<div>block</div>"
    reader = read(markdown(source))
    assert set(reader.tags) <= {"p"}
    assert "<script>alert(1)</script>" in "".join(reader.text)
    assert "<div>block</div>" in "".join(reader.text)


def test_headings_are_lowered():
    """Oracle: the levels typed, and one more."""
    assert re.findall(r"<(h\d)>", markdown("# a\n\n## b\n\n###### c")) == ["h2", "h3", "h6"]


@pytest.mark.parametrize(
    "url", ["https://example.org/x.png", "x.png", "data:image/svg+xml,<svg>", "attachment:none"]
)
def test_no_picture_is_fetched(url):
    """Oracle: an image address becomes its words."""
    reader = read(markdown(f"![the words]({url})"))
    assert "img" not in reader.tags
    assert "the words" in "".join(reader.text)


def test_attached_picture_is_part_of_the_page():
    """Oracle: the base64 text typed."""
    result = markdown('![a "word"](attachment:a.png)', attachments={"a.png": {"image/png": "AAAA\n"}})
    assert dict(read(result).attributes) == {"alt": 'a "word"', "src": "data:image/png;base64,AAAA"}


@pytest.mark.parametrize(
    ("url", "kept"),
    [("https://example.org/a?b=1&c=2", True), ("javascript:alert(1)", False), ("02_x.ipynb", False)],
)
def test_links_lead_to_pages_only(url, kept):
    """Oracle: the address typed."""
    reader = read(markdown(f"[text]({url})"))
    assert [value for key, value in reader.attributes if key == "href"] == ([url] if kept else [])
    assert "text" in "".join(reader.text)


def test_comments_are_left_out():
    """Oracle: the comment typed."""
    assert markdown("a\n\n<!-- not shown -->\n\nb") == "<p>a</p>\n<p>b</p>\n"


def test_table_in_markdown():
    """Oracle: the cells typed."""
    reader = read(markdown("| a | b |\n|---|---:|\n| <i> | 2 |"))
    assert reader.tags == ["div", "table", "thead", "tr", "th", "th", "tbody", "tr", "td", "td"]
    assert "<i>" in reader.text


# ---- equations


def test_equation_is_drawn_and_labelled():
    """Oracle: the words typed are the label; the drawing is SVG without a script, a style or an address."""
    tex = r"I = E\,(d + o)^2 / \cos\theta < 3"
    words = "I equals E (d plus o) squared over cos theta is less than 3"
    result = equation(tex, block=True)
    reader = read(result)
    assert ("aria-label", words) in reader.attributes
    assert reader.tags[:2] == ["span", "svg"]
    assert set(reader.tags) <= {"span", "svg", "path", "rect"}
    assert "http" not in result


def test_a_longer_equation_is_wider():
    """Oracle: three terms take more room than one."""
    width = [float(re.search(r'width="([\d.]+)"', equation(tex))[1]) for tex in ("a", "a + b + c")]
    assert width[1] > 3 * width[0]


def test_equations_in_markdown():
    """Oracle: one inline and one display equation typed, with characters HTML escapes."""
    result = markdown("Inline $a < b$ here.\n\n$$\nc & d\n$$\n".replace(" & ", r" \cdot "))
    labels = [value for key, value in read(result).attributes if key == "aria-label"]
    assert labels == ["a is less than b", "c times d"]
    assert result.count('class="equation"') == 1


# ---- figures and tables


def test_figure_needs_words():
    """Oracle: no words; other characters than base64."""
    with pytest.raises(ValueError, match="alt must say what the figure shows"):
        figure("AAAA", " ")
    with pytest.raises(ValueError, match="image must be base64 text"):
        figure('AA" onload="x', "words")


def test_every_figure_has_a_number_and_says_what_it_shows():
    """Oracle: the words typed; without a caption the beginning of the words stands below."""
    source = markdown(
        "![Invented data. Two bars: one is 3.5 lx. More.](attachment:a)", attachments={"a": PICTURE}
    )
    blocks = (figure("AAAA", "A field, white.", "Said <below>"), source)
    made = page("T", [figure("AAAA", "First. Second.")], [Section("One", blocks)])
    below = re.findall("<figcaption>(.*?)</figcaption>", made)
    assert below == [
        "Figure 1. First.",
        "Figure 2. Said &lt;below&gt;",
        "Figure 3. Two bars (invented data).",
    ]
    assert "<p><figure>" not in made


def test_few_parts_need_no_contents():
    """Oracle: six parts, and seven."""
    assert "<nav" not in page("T", [], [Section("Q", ())] * 6)
    assert "<nav" in page("T", [], [Section("Q", ())] * 7)


def test_working_of_a_small_bench_stands_in_a_fold_and_not_on_paper():
    """Oracle: the headings typed, and the tag."""
    tags = {"The law: a": ["appendix", "working"], "The answer": ["appendix"]}
    cells = [new_markdown_cell(f"## {x}\n\n{x} said", metadata={"tags": tags[x]}) for x in tags]
    blocks = notebook_blocks(new_notebook(cells=cells), folded=True)
    joined = "".join(blocks)
    assert "<details><summary>The law: a</summary><p>The law: a said</p>" in joined.replace("\n", "")
    assert joined.count("<details>") == joined.count("</details>") == 1
    text = PdfReader(io.BytesIO(paper(page("T", [], [Section("Q", blocks)])))).pages[0].extract_text()
    assert "The answer said" in text
    assert "The law" not in text
    assert "details" not in "".join(notebook_blocks(new_notebook(cells=cells)))


TEX = {
    r"U = k\,u(\ln R)": "U equals k u (natural logarithm of R)",
    r"\frac{a}{b^2}": "a over (b squared)",
    r"\frac{V_0}{V}^{n}": "(V sub 0) over V to the power n",
    r"\sum_i c_i^2": "sum over i of c sub i squared",
    r"\sqrt 2 \text{ of near-field}": "square root of 2 of near-field",
    r"E_\mathrm{hold}": "E sub hold",
    "f_1'": "f sub 1 prime",
    r"\int |s^* - V|\,d\lambda": "integral of bar s star minus V bar d lambda",
}


@pytest.mark.parametrize("tex", TEX)
def test_equations_are_read_in_words(tex):
    """Oracle: as they are read aloud."""
    assert in_words(tex) == TEX[tex]


def test_every_equation_of_the_notebooks_has_words_without_a_mark_of_tex():
    """Oracle: the marks of TeX, and its commands."""
    known = 0
    for path in NOTEBOOKS.glob("*.ipynb"):
        for cell in nbformat.read(path, as_version=4).cells:
            found = re.findall(r"\$\$(.+?)\$\$|(?<!\\)\$([^$\n]+?)\$", cell.source, re.DOTALL)
            for tex in (one or other for one, other in found if cell.cell_type == "markdown"):
                words = in_words(tex)
                known += 1
                assert not re.search(r"[\\{}^_$&]|frac|mathrm|infty|cdot|qquad|iint", words), tex
    assert known > 50


def test_figure_keeps_its_words():
    """Oracle: the words typed."""
    assert dict(read(figure("AA\nAA", 'a "b" <c>')).attributes)["alt"] == 'a "b" <c>'


def test_table_is_written_anew():
    """Oracle: the cells typed; styles, attributes, scripts and markup inside cells are gone."""
    source = (
        "<div><style scoped>td {color: red}</style><table border='1' onclick='x'>"
        "<caption>C &lt;1&gt;</caption>"
        "<thead><tr><th>a</th><th class='num x'>b</th></tr></thead>"
        "<tbody><tr><td><b>K</b><script>evil()</script></td>"
        "<td class='num'>1 &amp; 2</td></tr></tbody></table></div>"
    )
    result = clean_table(source)
    reader = read(result)
    assert [text for text in reader.text if text.strip()] == ["C <1>", "a", "b", "K", "1 & 2"]
    assert {key for key, _ in reader.attributes} == {"class", "scope", "role", "aria-label", "tabindex"}
    assert not {"style", "script", "b"} & set(reader.tags)
    assert result.count('class="num"') == 2


# ---- notebooks and the page


def notebook():
    """Return a notebook with a cell of each kind."""
    tag = {"tags": ["appendix"]}
    cells = [
        new_markdown_cell("# Title & more", metadata=tag),
        new_markdown_cell("left out"),
        new_code_cell("secret_input = 1", metadata=tag),
        new_code_cell("also left out"),
    ]
    cells[2].outputs = [
        new_output("stream", name="stdout", text="<b>plain</b>\n"),
        new_output("execute_result", data={"text/markdown": r"a \< b", "text/plain": "a < b"}),
        new_output(
            "execute_result", data={"text/html": "<table><tr><td>t</td></tr></table>", "text/plain": "t"}
        ),
        new_output(
            "execute_result", data={"text/html": "<i onclick='x'>i</i>", "text/plain": "only text <i>"}
        ),
        new_output(
            "execute_result",
            data={"image/png": "AAAA", "text/plain": "p"},
            metadata={"image/png": {"alt": "w"}},
        ),
    ]
    cells[3].outputs = [new_output("stream", name="stdout", text="hidden")]
    return new_notebook(cells=cells)


def test_chosen_cells_only_and_no_inputs():
    """Oracle: the cells typed above."""
    blocks = notebook_blocks(notebook())
    joined = "\n".join(blocks)
    assert len(blocks) == 6
    for absent in ("left out", "secret_input", "hidden", "onclick"):
        assert absent not in joined
    for present in (
        "<h2>Title &amp; more</h2>",
        "&lt;b&gt;plain",
        "a &lt; b",
        "<td>t</td>",
        "only text &lt;i&gt;",
        'alt="w"',
    ):
        assert present in joined


def test_answer_at_the_top_is_not_shown_twice():
    """Oracle: the words of the answer typed here, in the cell at the top and in the cell they come from."""
    top = new_markdown_cell("The answer is five.", metadata={"tags": ["answer", "appendix"]})
    source = new_code_cell("say(x)", metadata={"tags": ["answer-source", "appendix"]})
    source.outputs = [new_output("execute_result", data={"text/markdown": "The answer is five."})]
    assert "".join(notebook_blocks(new_notebook(cells=[top, source]))).count("The answer is five.") == 1
    assert "".join(notebook_blocks(new_notebook(cells=[source]))).count("The answer is five.") == 1


@pytest.fixture
def whole():
    blocks = notebook_blocks(notebook())
    return page(
        "T <1>",
        [markdown("front $x$")],
        [Section("One & two", blocks, "note <n>"), *(Section(f"Three {n}", ()) for n in range(6))],
    )


def test_page_is_well_formed(whole):
    """Oracle: every tag is closed in order; each link of the contents leads to an existing part."""
    reader = read(whole)
    assert reader.open == []
    assert reader.wrong == []
    targets = [value for key, value in reader.attributes if key == "href"]
    identifiers = [value for key, value in reader.attributes if key == "id"]
    assert targets == [f"#part-{n}" for n in range(1, 8)]
    assert identifiers == [f"part-{n}" for n in range(1, 8)]
    assert reader.tags.count("h1") == 1


def test_page_asks_no_network_and_runs_nothing(whole):
    """Oracle: the attributes and tags through which a page can load or run something."""
    reader = read(whole)
    assert not {"script", "link", "iframe", "object", "embed", "base", "form", "video", "audio"} & set(
        reader.tags
    )
    assert all(
        value.startswith("data:") for key, value in reader.attributes if key in {"src", "srcset", "poster"}
    )
    assert not [key for key, _ in reader.attributes if key.startswith("on")]
    assert "url(" not in whole
    assert "@import" not in whole
    assert "http://" not in whole
    policy = dict(reader.attributes)["http-equiv"], [v for k, v in reader.attributes if k == "content"][-1]
    assert policy == (
        "Content-Security-Policy",
        "default-src 'none'; img-src data:; style-src 'unsafe-inline'",
    )


def test_titles_are_text(whole):
    """Oracle: the titles typed."""
    assert "<title>T &lt;1&gt;</title>" in whole
    assert html.escape("note <n>") in whole
    assert ">One &amp; two</a>" in whole


def test_a_law_stands_in_a_fold_and_not_on_paper():
    """Oracle: the code typed here; the text of the paper is read back by another reader."""
    law = new_code_cell("intensity = E * d**2  # <law>", metadata={"tags": ["law"]})
    law.outputs = [new_output("execute_result", data={"text/plain": "hidden"})]
    blocks = notebook_blocks(new_notebook(cells=[law]))
    assert len(blocks) == 1
    assert blocks[0].startswith('<details class="law"><summary>')
    assert "E * d**2  # &lt;law&gt;" in blocks[0]
    made = paper(page("T", [], [Section("One", ("<p>seen</p>", *blocks))]))
    text = PdfReader(io.BytesIO(made)).pages[0].extract_text()
    assert "seen" in text
    assert "intensity" not in text


def test_a_part_whose_code_shows_nothing_is_left_out_with_its_prose():
    """Oracle: the words typed: a part that shows, one that does not, and one of prose alone."""

    def part(words, *, shows):
        tags = {"tags": ["appendix"]}
        outputs = [new_output("execute_result", data={"text/plain": "shown"})] if shows else []
        law = new_code_cell(f"law = {words!r}", metadata={"tags": ["law"]})
        code = new_code_cell("x", metadata=tags, outputs=outputs)
        return [new_markdown_cell(f"## {words}", metadata=tags), law, code]

    prose = new_markdown_cell("## Stands by itself", metadata={"tags": ["appendix"]})
    cells = [*part("It is there", shows=True), *part("It is absent", shows=False), prose]
    page_of = "".join(notebook_blocks(new_notebook(cells=cells)))
    assert "It is there" in page_of
    assert "Stands by itself" in page_of
    assert "absent" not in page_of

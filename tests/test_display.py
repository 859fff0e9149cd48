"""Words and tables of a notebook. Oracle: what a markdown and an HTML reader make of them."""

import html
import re

import mistune
import numpy as np
import pandas as pd
import pytest

from photolab.publication.sentences.display import escape_markdown, table
from photolab.publication.words import say

HARD = [
    "a *b* _c_ `d` [e](f) <g> & #h | $i$ ~j~ !k \\l",
    "# heading",
    "- item",
    "+ item",
    "1. item",
    "2) item",
    "> quote",
    "= line",
    "K1__x__ and 3 * 4 * 5",
    "&lt; stays",
    "| a | b |",
    "-4 % to +15 %",
    "318 lx",
]


@pytest.mark.parametrize("text", HARD)
def test_text_is_never_markup(text):
    """Oracle: a markdown reader gives one paragraph with exactly the text typed."""
    result = mistune.create_markdown(plugins=["table", "strikethrough", "math"])(escape_markdown(text))
    assert html.unescape(re.sub(r"^<p>|</p>\n$", "", result)) == text


def test_words_in_both_forms():
    """Oracle: the text typed."""
    words = say("One  <b>.", "", "Two.")
    bundle = words._repr_mimebundle_()
    assert bundle["text/plain"] == "One <b>.\nTwo."
    assert mistune.html(bundle["text/markdown"]) == "<p>One &lt;b&gt;.</p>\n<p>Two.</p>\n"
    assert repr(words) == "One <b>.\nTwo."


def test_words_as_a_list():
    """Oracle: the items typed."""
    bundle = say("one", "two", bullets=True)._repr_mimebundle_()
    assert mistune.html(bundle["text/markdown"]) == "<ul>\n<li>one</li>\n<li>two</li>\n</ul>\n"
    assert bundle["text/plain"] == "- one\n- two"


def frame():
    return pd.DataFrame(
        {
            "lamp": ["K<1>", "=2"],
            "n": [3, 10],
            "x": [2.675, np.nan],
            "ok": [True, False],
            "note": [None, "a\nb"],
        }
    )


def test_table_as_text():
    """Oracle: the rows typed; 2.675 is 2.68 half up (stored a little below); numbers stand to the right."""
    shown = table(frame(), heads={"x": "x (lx)"}, caption="C.")
    assert str(shown).split("\n") == [
        "C.",
        "lamp   n  x (lx)  ok   note",
        "K<1>   3    2.68  yes",
        "=2    10     n/a  no   a b",
    ]


def test_table_as_html():
    """Oracle: pandas' own reader of HTML tables is not needed: the cells are few enough to be written out."""
    result = table(frame(), columns=["lamp", "x"], places={"x": 1})._repr_mimebundle_()["text/html"]
    assert re.findall(r"<t[dh][^>]*>([^<]*)</t[dh]>", result) == [
        "lamp",
        "x",
        "K&lt;1&gt;",
        "2.7",
        "=2",
        "n/a",
    ]
    assert re.findall(r'<td class="(\w+)">', result) == ["txt", "num", "txt", "num"]
    assert "style" not in result


def test_no_rows_and_no_words_show_nothing():
    """Oracle: the rule that a cell with nothing to show shows nothing, and columns that name and choose."""
    assert table([], columns=["lamp", "x"]) is None
    assert table(frame().iloc[:0]) is None
    assert say("", " ") is None
    one = table([("K1", 1.25)], columns={"lamp": "lamp", "x": "x (lx)"}, places=1)
    assert (one.header, one.rows) == (("lamp", "x (lx)"), (("K1", "1.3"),))

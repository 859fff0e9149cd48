"""Sliders over a law. Oracle: the answer called by hand."""

import nbformat
import pytest

from photolab.publication.report.notebooks import canonical
from photolab.publication.sentences import display as module
from photolab.publication.sentences.display import sliders


def test_nothing_is_shown_without_the_library(monkeypatch):
    monkeypatch.setattr(module, "find_spec", lambda name: None)
    assert sliders(lambda x=1.0: x, said=str, x=(0, 2, 1)) is None


def test_a_slider_begins_at_the_default_and_moves_the_answer():
    pytest.importorskip("ipywidgets")
    called = []
    shown = sliders(lambda a=9.0, b=1.0: (a, b), said=called.append, a=(0, 5, 1), b=(0, 5, 1))
    one, other = shown.children[:2]
    assert (one.value, one.min, one.max) == (9.0, 0.0, 9.0)  # a default outside the range is not bent
    other.value = 3.0
    assert called[-1] == (9.0, 3.0)


def test_a_count_stays_whole():
    pytest.importorskip("ipywidgets")
    called = []
    shown = sliders(lambda n=1, x=1.0: (n, x), said=called.append, n=(0, 5, 1), x=(0, 5, 1))
    shown.children[0].value = 3
    assert [type(figure) for figure in called[-1]] == [int, float]


def test_what_a_hand_moved_is_not_kept():
    cell = nbformat.v4.new_code_cell("sliders()", outputs=[nbformat.v4.new_output("stream", text="5 %")])
    notebook = nbformat.v4.new_notebook(cells=[cell])
    assert canonical(notebook).cells[0].outputs
    cell.metadata["tags"] = ["interactive"]
    assert canonical(notebook).cells[0].outputs == []

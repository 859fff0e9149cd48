"""Figures. Oracle: the tables drawn, read back from the artists; byte equality for determinism."""

import io
import subprocess
import sys

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest
from matplotlib.colors import to_hex
from numpy.testing import assert_allclose
from PIL import Image

from photolab.publication.figures import bars, common, drawings, intervals

BARS = pd.DataFrame(
    {
        "label": ["the meter alone", "the meter and seating each lamp once", "nothing in common (a what-if)"],
        "low": [2.2, -3.8, -9.2],
        "high": [7.9, 14.7, 21.5],
        "kind": ["plain", "decides", "what_if"],
    }
)
BUDGET = pd.DataFrame(
    {
        "what": ["b", "a", "c"],
        "moves": [2.0, 8.3, 0.2],
        "assumed": [False, True, False],
        "label": ["2.0", "8.3", "0.20"],
    }
)
LAMPS = pd.DataFrame(
    {
        "lamp": ["K1", "K2", "K1", "K2"],
        "housing": ["HP", "HP", "HR", "HR"],
        "percent": [30.0, 32.0, 12.0, np.nan],
        "low": [22.0, 20.0, 3.0, np.nan],
        "high": [38.0, 44.0, 21.0, np.nan],
        "specimens": [4, 1, 4, 1],
    }
)


def drawn(draw, *args, columns=1, **kwargs):
    figure, panels = common.new_figure(1, columns)
    draw(panels if draw is intervals.draw_lamps else panels[0], *args, **kwargs)
    return figure, panels


def test_three_bars_show_the_table():
    """Oracle: the ends typed above; the heaviest bar is the one that decides, the what-if is dashed."""
    _, (axes,) = drawn(bars.draw_three, BARS, percent=5.0)
    long = [line for line in axes.lines if len(set(line.get_ydata())) == 1 and len(line.get_xdata()) == 2]
    long = [line for line in long if line.get_xdata()[0] != line.get_xdata()[1]]
    assert [tuple(line.get_xdata()) for line in long] == list(zip(BARS["low"], BARS["high"], strict=True))
    assert int(np.argmax([line.get_linewidth() for line in long])) == 1
    assert [line.is_dashed() for line in long] == [False, False, True]
    assert [text.get_text() for text in axes.texts] == ["decides"]
    low, high = axes.get_ylim()
    assert low > high  # first row on top


def test_budget_is_longest_first_and_hatched_where_assumed():
    """Oracle: the table sorted by hand: a 8.3, b 2.0, c 0.2; only a is assumed."""
    _, (axes,) = drawn(bars.draw_budget, BUDGET, name="K1")
    assert [bar.get_width() for bar in axes.patches] == [8.3, 2.0, 0.2]
    assert [bool(bar.get_hatch()) for bar in axes.patches] == [True, False, False]
    assert [label.get_text() for label in axes.get_yticklabels()] == ["a", "b", "c"]
    assert [text.get_text() for text in axes.texts] == ["8.3", "2.0", "0.20"]


def test_all_lamps_has_a_panel_a_housing_and_open_dots_for_one_specimen():
    """Oracle: the table above."""
    _, panels = drawn(intervals.draw_lamps, LAMPS, columns=2, baseline="B0")
    assert [axes.get_title(loc="left") for axes in panels] == ["housing HP", "housing HR"]
    dots = [line for line in panels[0].lines if line.get_marker() == "o"]
    assert [float(np.ravel(line.get_xdata())[0]) for line in dots] == [30.0, 32.0]
    assert [to_hex(line.get_markerfacecolor()) for line in dots] == [
        common.COLOURS["blue"].lower(),
        "#ffffff",
    ]
    assert [label.get_text() for label in panels[0].get_yticklabels()] == ["K1", "K2"]


@pytest.mark.parametrize(
    ("draw", "alt", "keys"),
    [
        (
            drawings.draw_bench,
            drawings.BENCH_ALT,
            "distance_m offset_mm aperture_mm tilt_uncertainty_deg",
        ),
        (
            drawings.draw_display,
            drawings.DISPLAY_ALT,
            "illuminance_lx range_lx ranges_lx resolution_lx reading_percent range_percent",
        ),
    ],
)
def test_drawings_name_the_keys_their_words_name(draw, alt, keys):
    """Oracle: the keys of bench.toml and readings.csv; each stands in the drawing and in its words."""
    _, (axes,) = drawn(draw)
    text = " ".join(t.get_text().replace("\n", "") for t in axes.texts)
    for key in keys.split():
        assert key in text
        assert key in alt


def test_same_drawing_same_bytes_whatever_the_readers_settings():
    """Oracle: the bytes of the first drawing."""
    first = common.picture(drawn(bars.draw_three, BARS, percent=5.0)[0], alt="Three bars around 5 %.").png
    with mpl.rc_context({"font.size": 20, "axes.facecolor": "black", "savefig.dpi": 40}):
        second = common.picture(
            drawn(bars.draw_three, BARS, percent=5.0)[0], alt="Three bars around 5 %."
        ).png
    assert first == second


def test_picture_carries_its_words():
    """Oracle: the words given; the image has no program's name in it."""
    shown = common.picture(
        drawn(bars.draw_budget, BUDGET, name="K1")[0], alt="Three bars:\n8.3, 2.0, 0.2 %.", invented=True
    )
    data, metadata = shown._repr_mimebundle_()
    assert data["text/plain"] == "Invented data. Three bars: 8.3, 2.0, 0.2 %."
    assert metadata == {"image/png": {"alt": data["text/plain"]}}
    assert repr(shown) == data["text/plain"]
    assert "Software" not in Image.open(io.BytesIO(shown.png)).info


def test_nothing_is_drawn_of_no_rows_and_what_is_drawn_says_what_it_shows():
    """Oracle: the table above, in words by hand."""
    assert common.drawn(bars.draw_budget, BUDGET.iloc[:0], name="K1") is None
    assert common.panels(bars.draw_budget, {}, alt="Bars of every lamp.") is None
    shown = common.drawn(bars.draw_budget, BUDGET, name="K1")
    said = "What blurs K1, in ± % of the result, longest bar first: a 8.3 (assumed), b 2.0, c 0.20."
    assert repr(shown) == said
    both = common.drawn(intervals.draw_lamps, LAMPS, across=2, baseline="B0", coverage=0.9)
    said = repr(both)
    assert said.startswith("A dot with its 90 % line for each lamp")
    assert "HP: K1 +30.0 (+22.0 to +38.0), K2 +32.0 (+20.0 to +44.0). HR: K1" in said


def test_a_figure_is_as_high_as_its_rows_and_panels_need():
    """Oracle: by hand: 1.4 in and 0.28 in a bar; 1.4 in and 1.6 in a panel; 3.6 in a panel across."""
    for count in (1, 3):
        figure, _ = drawn(bars.draw_budget, BUDGET.iloc[:count], name="K1")
        assert_allclose(figure.get_size_inches(), [7.0, 1.4 + 0.28 * count], rtol=1e-12)
    assert_allclose(common.new_figure(2, 3)[0].get_size_inches(), [10.8, 4.6], rtol=1e-12)
    assert_allclose(common.new_figure(2, 3, width=5.0, height=2.0)[0].get_size_inches(), [5.0, 2.0])


def test_invented_data_is_marked_in_the_figure():
    """Oracle: the text of the figure."""
    figure, _ = drawn(bars.draw_budget, BUDGET, name="K1")
    common.picture(figure, alt="Three bars: 8.3 %.", invented=True)
    assert [text.get_text() for text in figure.texts] == ["invented data"]
    figure, _ = drawn(bars.draw_budget, BUDGET, name="K1")
    common.picture(figure, alt="Three bars: 8.3 %.")
    assert figure.texts == []


def test_words_are_needed():
    """Oracle: no words."""
    with pytest.raises(ValueError, match="alt must say what the figure shows"):
        common.picture(common.new_figure()[0], alt=" ")


def test_text_stays_inside_the_figure():
    """Oracle: the figure's own size, in pixels."""
    for figure, _ in (
        drawn(bars.draw_three, BARS, percent=5.0),
        drawn(bars.draw_budget, BUDGET, name="K1"),
        drawn(intervals.draw_lamps, LAMPS, columns=2, baseline="B0"),
        drawn(drawings.draw_bench),
        drawn(drawings.draw_display),
    ):
        figure.canvas.draw()
        width, height = figure.canvas.get_width_height()
        for axes in figure.axes:
            for text in axes.texts:
                box = text.get_window_extent()
                assert box.x0 >= 0, text.get_text()
                assert box.y0 >= 0, text.get_text()
                assert box.x1 <= width, text.get_text()
                assert box.y1 <= height, text.get_text()


def test_no_window_system_is_touched():
    """Oracle: the modules loaded by a fresh interpreter."""
    line = "import sys, photolab.publication.figures.intervals; print('matplotlib.pyplot' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", line], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"

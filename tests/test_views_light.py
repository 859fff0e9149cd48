"""What notebooks 05 to 07 show: the words and tables follow the results, and a bare folder gets one sentence."""

import math

import pytest

from photolab.bench.candela import bench_candela
from photolab.bench.colours import colour_curves, colour_ratio, meter_colour
from photolab.bench.distances import evaluate_distances
from photolab.bench.records import read_bench
from photolab.publication import (
    views_light,
    views_light_beam,
    views_light_colour,
    views_light_pictures,
    words_light,
    words_light_beam,
)
from photolab.publication.display import Table, Words
from photolab.publication.figures.common import Picture, new_figure
from photolab.publication.notebooks import repository_root


@pytest.fixture(scope="module")
def demo():
    """The invented demo bench."""
    return read_bench(repository_root() / "data" / "demo")


@pytest.fixture(scope="module")
def small():
    """The smallest folder: two readings."""
    return read_bench(repository_root() / "data" / "two-readings")


@pytest.fixture(scope="module")
def runs(demo):
    """Distance runs of the demo."""
    return evaluate_distances(demo)


@pytest.fixture(scope="module")
def colour(demo):
    """Its colour."""
    return views_light_colour.look(demo)


@pytest.fixture(scope="module")
def patterns(demo):
    """Its beams."""
    return views_light_beam.look(demo)


def test_candela_is_quoted_with_its_condition(demo, runs):
    """Oracle: scenario: the projector by the inverse square, the reflector only with its near-field term."""
    first, second = views_light.candela_answer(demo, runs).paragraphs
    assert "follow the inverse square" in first
    assert "only with a near-field term" in second
    assert "3.4 % short" in second
    assert "apparent" not in first


def test_three_ways_with_the_dark_reading(demo):
    """Oracle: scenario: 3 lx left in move intensity and centre; the linearity of the meter hides them; the manual's
    term is wide.
    """
    rows = [row for row in views_light.dark_reading(demo).rows if row[0].endswith("HP")]
    assert [row[4] for row in rows] == ["agrees"] * 3
    (right, narrow), (left, _), (_, wide) = ([float(x) for x in row[2].split(" ± ")] for row in rows)
    assert left > right + 100
    assert wide > 2 * narrow


def test_equivalent_illuminance(runs):
    """Oracle: closed form: 13 350 cd over 625 m2 and over (18.288 m)^2."""
    row = views_light.equivalents(runs).rows[0]
    assert abs(float(row[1].split(" ±")[0]) - runs[0].intensity / 625.0) < 0.05  # as printed
    assert abs(float(row[2].split(" ±")[0]) - runs[0].intensity / 18.288**2) < 0.05


def test_candela_at_the_bench_holds_the_truth(demo, runs):
    """Oracle: synthetic truth 13 400 and 17 250 cd; without a run the word is apparent."""
    for one, truth in zip(bench_candela(demo, lamp="B0", runs=runs), (13_400, 17_250), strict=True):
        low, high = one.intensity.interval(0.95)
        assert low < truth < high
        assert not one.apparent
        assert "is the meter (scale, linearity, colour) and supply" in words_light.candela_words(one)
    without = bench_candela(demo, lamp="B0")
    assert all(one.apparent for one in without)
    assert all("apparent" in text for text in map(str, [views_light.at_the_bench(demo, ())]))


def test_straight_line_agrees_with_the_fit(runs):
    """Oracle: closed form: 1/sqrt(E) is a straight line over d."""
    first, second = views_light.straight_line(runs).paragraphs
    assert "well inside" in first
    assert "does not serve" in second


def test_colour_ratio_of_the_demo(demo):
    """Oracle: scenario: f1' 8.0 %, filament x 1.0068, LED x 1.0686, LED against filament 1.0614, u >= 0.6 %."""
    assert round(meter_colour(demo, "M1").computed_percent, 1) == 8.0
    factors = meter_colour(demo, "M1").factors.set_index("lamp")["factor"]
    assert round(1 / factors["B0"], 4) == 1.0068
    assert round(1 / factors["K5"], 4) == 1.0686
    ratio = colour_ratio(demo, "M1", "K5", "B0")
    assert round(ratio.ratio, 4) == 1.0614
    assert ratio.u >= 0.006
    # sums over every fifth nanometre of curves that are smooth over tens of nanometres
    assert abs(ratio.coarse / ratio.ratio - 1) < 1e-3


def test_areas_of_the_figure_are_the_errors(demo):
    """Oracle: closed form: the area of what is read too much is 1/F* - 1; steps of 1 nm against the trapezoid."""
    curves = colour_curves(demo, "M1", ["K5", "B0"])
    factors = meter_colour(demo, "M1").factors.set_index("lamp")["factor"]
    for lamp in ("K5", "B0"):
        assert abs(curves[f"excess {lamp}"].sum() - 100 * (1 / factors[lamp] - 1)) < 0.01


def test_the_gain_that_is_only_colour(colour):
    """Oracle: scenario: K5 in HP reads more on M1, about 1.5 ± 3 % less once corrected (truth 0.985)."""
    assert (colour.lamp, colour.housing) == ("K5", "HP")
    ignored, declared, corrected = (colour.pair(way) for way in ("ignored", "declared", "corrected"))
    assert ignored.verdict == "clear"
    assert ignored.ratio > 1
    assert corrected.low < 0.985 < corrected.high
    assert abs(math.log(corrected.high / corrected.low) / 2 - 0.03) < 0.01
    assert math.log(declared.high / declared.low) > 2 * math.log(corrected.high / corrected.low)
    assert "no gain is shown" in str(views_light_colour.story(colour))


def test_beam_results_stay_three(patterns):
    """Oracle: scenario: in the reflector the hot spot is less, window and stray light are more."""
    text = views_light_beam.answer(patterns).paragraphs[1]
    assert "hot spot 11 % less" in text
    assert "light above the cut-off 2.61 times" in text
    table = views_light_beam.measurands(patterns)
    assert len(table.rows) == 6
    judged = [row[4] for row in views_light_beam.second_way(patterns).rows]
    assert judged[0] == "agree"
    assert judged[2] == "drawn one stands"


def test_pictures_carry_their_numbers(demo, runs, colour, patterns):
    """Oracle: the results they are drawn from."""
    shown = (
        (views_light.products(demo, runs), "13.35 kcd"),
        (views_light_pictures.spectra_picture(colour), "6.86 %"),
        (views_light_pictures.pair_picture(patterns), "K3 in HR, peak 14.6 kcd"),
        (views_light_pictures.map_picture(patterns), "K3 over B0 in HR"),
        (views_light_pictures.cut_picture(patterns), "falls fastest at -0.45"),
    )
    for one, words in shown:
        assert isinstance(one, Picture)
        assert words in one.alt
        assert one.alt.startswith("Invented data.")
        assert one.png.startswith(b"\x89PNG")


def test_intervals_in_words():
    """Oracle: by definition of the words."""
    assert words_light_beam.interval_words(1.12, 1.33) == "12 to 33 % more"
    assert words_light_beam.interval_words(0.85, 0.92) == "8 to 15 % less"
    assert words_light_beam.interval_words(0.96, 1.05) == "4 % less to 5 % more"
    assert words_light_beam.interval_words(1.1, 3.0) == "1.10 to 3.00 times"


def test_bare_folder_gets_sentences(small):
    """Oracle: by definition: nothing is invented, nothing fails."""
    none = evaluate_distances(small)
    colour, patterns = views_light_colour.look(small), views_light_beam.look(small)
    views = [
        views_light.candela_answer(small, none),
        views_light.products(small, none),
        views_light.law_table(none),
        views_light.dark_reading(small),
        views_light.centres(none),
        views_light.usable(none),
        views_light.shared_doubts(none),
        views_light.at_the_bench(small, none),
        views_light.terms_at_the_bench(small, none),
        views_light.equivalents(none),
        views_light.straight_line(none),
        views_light_colour.answer(colour),
        views_light_pictures.spectra_picture(colour),
        views_light_colour.factors(colour),
        views_light_colour.story(colour),
        views_light_colour.second_way(colour),
        views_light_beam.answer(patterns),
        views_light_pictures.pair_picture(patterns),
        views_light_pictures.map_picture(patterns),
        views_light_pictures.cut_picture(patterns),
        views_light_beam.measurands(patterns),
        views_light_beam.cutoffs(patterns),
        views_light_beam.aims(patterns),
        views_light_beam.second_way(patterns),
    ]
    for view in views:
        assert isinstance(view, Words)
        assert str(view)
    assert isinstance(views_light_colour.ways(colour), Table)


def test_layout_is_rounded():
    """Oracle: by definition: positions carry nine decimals, so the last bits of the solver cannot show."""
    figure, panels = new_figure(3, 1, height=6.2, share_x=True)
    figure.draw_without_rendering()
    for axes in panels:
        for x in axes.get_position().get_points().ravel():
            assert float(x) == float(f"{x:.9f}")

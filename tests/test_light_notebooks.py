"""Notebooks 05 to 07: what they say follows the law in their cells, the settings, and the folder."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from in_process import run_cells
from matplotlib.figure import Figure
from numpy.testing import assert_allclose
from small_benches import METER, bench

from photolab.bench.folder.records import read_bench
from photolab.bench.inputs import corrections
from photolab.bench.inputs.corrections import ALL
from photolab.bench.questions import colours
from photolab.bench.results.beams import evaluate_beams
from photolab.bench.results.candela import bench_candela
from photolab.bench.results.distances import evaluate_distances
from photolab.bench.results.evaluation import evaluate
from photolab.bench.terms.model import SpectralFactor
from photolab.photometry.spectrum import mismatch_correction, mismatch_index
from photolab.publication.figures.common import new_figure
from photolab.publication.report import readiness
from photolab.publication.report.notebooks import repository_root
from photolab.publication.sentences import words_light

ROOT = repository_root()
STEMS = {"05": "05_spectral_mismatch", "06": "06_distance_to_candela", "07": "07_beam_pattern"}


@pytest.fixture(autouse=True)
def without_drawing(monkeypatch):
    """Draw nothing; what a picture shows stands in its words too."""
    monkeypatch.setattr(Figure, "savefig", lambda figure, stream, **_: stream.write(b"picture"))


@pytest.fixture(scope="module")
def demo():
    """The invented demo bench."""
    return read_bench(ROOT / "data" / "demo")


@pytest.fixture(scope="module")
def runs(demo):
    """Distance runs of the demo."""
    return evaluate_distances(demo)


def said(number: str, **settings: object) -> str | None:
    """Return everything a notebook shows, or None where nothing feeds it."""
    ran = run_cells(ROOT / "notebooks" / f"{STEMS[number]}.ipynb", settings)
    if ran is None:
        return None
    cells = (cell for cell in ran.cells if cell.cell_type == "code")
    return "\n".join(output.data["text/plain"] for cell in cells for output in cell.outputs)


def test_candela_is_quoted_with_its_condition(runs):
    """Oracle: scenario: the projector by the inverse square, the reflector only with its near-field term."""
    first, second = map(words_light.law_words, runs)
    assert "follow the inverse square" in first
    assert "only with a near-field term" in second
    assert "3.4 % short" in second
    assert "apparent" not in first


def test_three_ways_with_the_dark_reading(demo):
    """Oracle: scenario: 3 lx left in move intensity and centre; the linearity of the meter hides them; the manual's
    term is wide.
    """
    bare = set(ALL) - {"dark"}
    ways = ({}, {"corrections": bare, "range_term": False}, {"corrections": bare})
    right, left, wide = (evaluate_distances(demo, **how)[0] for how in ways)
    heads = [*words_light.run_cells(right)]
    assert [words_light.run_cells(one)[heads[-1]] for one in (right, left, wide)] == ["agrees"] * 3
    assert left.intensity > right.intensity + 100
    assert wide.high - wide.low > 2 * (right.high - right.low)


def test_candela_at_the_bench_holds_the_truth(demo, runs):
    """Oracle: synthetic truth 13 400 and 17 250 cd; without a run the word is apparent."""
    for one, truth in zip(bench_candela(demo, lamp="B0", runs=runs), (13_400, 17_250), strict=True):
        low, high = one.intensity.interval(0.95)
        assert low < truth < high
        assert not one.apparent
        assert "is the scale of the meter" in words_light.candela_words(one)
    without = bench_candela(demo, lamp="B0")
    assert all(one.apparent for one in without)
    assert all("an apparent intensity" in words_light.candela_words(one) for one in without)


def test_candela_of_every_lamp(demo, runs):
    """Oracle: the same lamp asked for by itself; the lamps of the readings."""
    every = bench_candela(demo, runs=runs)
    assert {one.of.lamp for one in every} == set(demo.tables["readings"]["lamp"])
    alone = bench_candela(demo, lamp="K3", runs=runs)
    mine = [one for one in every if one.of.lamp == "K3"]
    assert [one.intensity.value for one in mine] == [one.intensity.value for one in alone]
    assert [one.intensity.u for one in mine] == [one.intensity.u for one in alone]


def test_notebook_06_walks_from_lux_to_candela(runs):
    """Oracle: closed form: 13 350 cd over 625 m2; 1/sqrt(E) is a straight line; the report's own figures."""
    text = said("06")
    (lux,) = re.findall(r"HP, run B0-HP +([\d.]+) ± [\d.]+ lx", text)
    assert abs(float(lux) - runs[0].intensity / 625.0) < 0.05  # as printed
    ruled = re.search(r"B0 in housing HP: the ruler gives (\d+) cd, least squares (\d+) cd", text)
    assert_allclose([float(x) for x in ruled.groups()], runs[0].intensity, rtol=2e-4)  # unlike weights
    assert "well inside its ±" in text
    assert "B0 in housing HR" in text
    assert "no centre explains the run" in text
    assert text.count("The cell and the report give the same figure") == 4
    assert "intensity 13.35 kcd" in text
    assert re.search(r"K8 in HR, [\d.]+ lx at the bench .*apparent", text)


def test_geometry_falls_short_as_the_closed_forms_say():
    """Oracle: closed forms: disc 1/(1 + (D/2d)^2), crossover R f / r, of 180 mm at 2 m in the demo's reflector."""
    text = said("06", source_mm=3.0, focal_mm=20.0)
    row = next(line.split() for line in text.splitlines() if re.match(r"HR +2\.00 +-", line))
    assert float(row[2]) == pytest.approx(100 * (1 / (1 + (0.18 / 4) ** 2) - 1), abs=0.005)
    assert float(row[-1]) == pytest.approx(90.0 * 20.0 / 1.5 / 1000.0, abs=0.005)


@pytest.mark.parametrize(
    ("number", "settings", "words"),
    [
        ("06", {"remove_dark": False}, "candela of B0, run B0-HP: the cell differs from the report by"),
        ("06", {"placement_mm": 20.0}, "candela of B0, run B0-HP: the cell differs from the report by"),
        ("07", {"low_deg": 1.0}, "light above the cut-off of K3 in HP: the cell differs from the report by"),
        ("07", {"mounting_sd_percent": 1.0}, "hot spot of K3 in HP: the cell differs from the report by"),
        ("05", {"use_spectra": False}, "so its mismatch index f1' stands for one"),
        ("05", {"use_spectra": False, "mismatch_index_percent": 3.0}, "may read 2.9 % more or less"),
    ],
)
def test_a_setting_moves_the_answer_and_the_difference_is_named(number, settings, words):
    """Oracle: the report, which keeps the settings of the folder; 95 % of the limits of f1'."""
    assert words.lower() in said(number, **settings).lower()


def test_factors_of_the_demo(demo):
    """Oracle: scenario: f1' 8.0 %, filament x 1.0068, LED x 1.0686, LED against halogen 1.0614, u >= 0.6 %."""
    head = corrections.spectrum_of(demo, "responsivity", "M1")
    assert round(100 * mismatch_index(corrections.GRID_NM, head), 1) == 8.0
    factors = {
        name: mismatch_correction(corrections.GRID_NM, head, corrections.spectrum_of(demo, "source", name))
        for name in ("K5", "B0")
    }
    assert round(1 / factors["B0"], 4) == 1.0068
    assert round(1 / factors["K5"], 4) == 1.0686
    one = colours.colour_ratio(demo, "M1", "K5", "B0", factors=factors)
    assert round(one.ratio.value, 4) == 1.0614
    assert one.ratio.u / one.ratio.value >= 0.006
    assert one.known_from == "spectra"


def test_notebook_05_integrates_by_itself(demo):
    """Oracle: the factors above, in the answer, in the areas of the figure and in the row of the results."""
    text = said("05")
    assert "reads 6.14 % more on K5 than on B0: the ratio is 1.0614" in text
    assert "6.86 % on K5 and 0.68 % on B0" in text
    assert "7.98 % computed from its responsivity" in text
    assert text.count("The cell and the report give the same figure") == 4
    sums = re.search(r"^K5 +([\d.]+) +([\d.]+) ", text, re.MULTILINE)
    # sums over every fifth nanometre of curves that are smooth over tens of nanometres
    assert_allclose(*(float(x) for x in sums.groups()), rtol=1e-3)


def test_the_gain_that_is_only_colour(demo):
    """Oracle: scenario: K5 in HP reads more on M1, about 1.5 ± 3 % less once corrected (truth 0.985)."""
    ways = colours.colour_ways(demo)
    assert colours.most_turned(ways, None, None) == ("K5", "HP")
    ignored, declared, corrected = (ways[way].ratio("K5", "B0", housing="HP") for way in colours.WAYS)
    assert ignored.verdict == "clear"
    assert ignored.ratio > 1
    assert corrected.low < 0.985 < corrected.high
    assert abs(math.log(corrected.high / corrected.low) / 2 - 0.03) < 0.01
    assert math.log(declared.high / declared.low) > 2 * math.log(corrected.high / corrected.low)
    story = words_light.story_words(ways)
    assert "Taken alone, K5 in HP" in story
    assert "once it is counted no gain is shown" in story


def test_without_spectra_the_index_stands_for_them(tmp_path):
    """Oracle: the rule: a filament lamp 0, another ± f1', a like pair a fifth of it; a stated factor its own."""
    toml = METER + "mismatch_index_percent = 6\n"
    made = bench(tmp_path, "lamp,illuminance_lx\nB0,300\nK1,330\n", toml=toml)

    def limit(lamp: str, against: str) -> float:
        one = colours.colour_ratio(made, "M1", lamp, against, factors={})
        assert one.known_from == ("mismatch index" if lamp != "B0" else "trimmed")
        assert one.ratio.value == 1.0
        return one.ratio.u * math.sqrt(3.0)

    own = 0.06 / 5 / math.sqrt(2)
    assert limit("K1", "B0") == pytest.approx(math.hypot(0.06, own))
    assert limit("K1", "K2") == pytest.approx(0.06 / 5)
    assert limit("B0", "") == 0.0
    stated = replace(made.meters["M1"], spectral_factors=(SpectralFactor("led", 0.95, 0.02),))
    one = colours.colour_ratio(replace(made, meters={"M1": stated}), "M1", "K1", "B0", factors={})
    assert one.known_from == "stated factor"
    assert_allclose((one.ratio.value, one.ratio.u / one.ratio.value), (1 / 0.95, 0.01 / 0.95), rtol=1e-12)


def test_spectra_are_named_only_where_they_are_on_file(tmp_path):
    """Oracle: the folders: no spectra.csv at all; only filament lamps; the demo has spectra of every lamp."""
    text = said("05", bench=str(ROOT / "tests" / "benches" / "club"))
    assert re.search(
        r"^stock +filament .*  the light it was trimmed to  taken as that light$", text, re.MULTILINE
    )
    assert "spectra" not in text
    lamps = "lamp,technology,role\nB0,filament,baseline\nB1,filament,candidate\n"
    made = bench(tmp_path, "lamp,illuminance_lx\nB0,300\nB1,330\n", toml=METER, lamps=lamps)
    one = colours.colour_ratio(made, "M1", "B1", "B0", factors={})
    assert words_light.colour_words(one) == (
        "Of equal light, meter M1 is taken to read the same on B1 as on B0: it was trimmed to filament light, and no "
        "spectrum of B1 is on file."
    )
    assert len(re.findall(r"^(?:B0|K\d) .*  spectra$", said("05"), re.MULTILINE)) == 9


def test_beam_results_stay_three(demo):
    """Oracle: scenario: in the reflector the hot spot is less, window and stray light are more."""
    found = evaluate_beams(demo).find("K3", "HR")
    text = words_light.result_words(found)
    assert "hot spot 11 % less" in text
    assert "light above the cut-off 2.61 times" in text
    rows = [words_light.ways_cells(found, one, ratio=one.value, bare=one)["judged"] for one in found.ratios]
    assert rows == ["agree", "drawn one stands", "drawn one stands"]


def test_notebook_07_sums_by_itself(demo):
    """Oracle: the report's figures; plain sums over the same nodes; the generating shapes through the report."""
    text = said("07")
    assert text.count("The cell and the report give the same figure") == 6
    for line in text.splitlines():
        plain = re.match(r"H[PR] +(?:hot spot|light .*?) {2,}([\d.]+) +([\d.]+) {2,}", line)
        if plain:
            assert plain[1] == plain[2]
    slopes = re.findall(r"^(?:B0|K3) +H[PR] +(-[\d.]+) +([\d.]+) +(-[\d.]+) +([\d.]+)$", text, re.MULTILINE)
    assert len(slopes) == 4
    for height, sharpness, reports_height, reports in np.array(slopes, dtype=float):
        assert abs(height - reports_height) <= 0.005  # the report's step along the scan
        assert abs(sharpness - reports) <= 0.001  # as printed
    for words in ("K3 in HR, peak 14.6 kcd", "K3 over B0 in HR", "falls fastest at -0.45"):
        assert words in text


def test_intervals_in_words():
    """Oracle: by definition of the words."""
    assert words_light.times_words(1.12, 1.33) == "12 to 33 % more"
    assert words_light.times_words(0.85, 0.92) == "8 to 15 % less"
    assert words_light.times_words(0.96, 1.05) == "4 % less to 5 % more"
    assert words_light.times_words(1.1, 3.0) == "1.10 to 3.00 times"


def test_a_bare_folder_feeds_the_colour_alone():
    """Oracle: by definition: f1' alone feeds it; nothing is invented, nothing fails."""
    small = str(ROOT / "data" / "two-readings")
    assert said("06", bench=small) is None
    assert said("07", bench=small) is None
    assert "f1'" in said("05", bench=small)


def test_layout_is_rounded():
    """Oracle: by definition: positions carry nine decimals, so the last bits of the solver cannot show."""
    figure, panels = new_figure(3, 1, height=6.2, sharex=True)
    figure.draw_without_rendering()
    for axes in panels:
        for x in axes.get_position().get_points().ravel():
            assert float(x) == float(f"{x:.9f}")


def test_colour_counts_as_corrected_only_where_a_factor_corrects_the_pair(demo):
    """Oracle: the rule: a factor takes a lamp's spectrum and its meter's responsivity, or is a stated one."""
    alone = {name: one for name, one in demo.spectra.items() if one.kind == "source"}
    assert set(colours.colour_ways(replace(demo, spectra=alone))) == {"ignored", "declared"}
    of = {"K3"}  # the baseline and K5 have no spectrum
    some = {n: one for n, one in demo.spectra.items() if one.kind != "source" or one.lamp in of}
    ways = colours.colour_ways(replace(demo, spectra=some))
    assert set(ways) == set(colours.WAYS)
    assert [*colours.pair_ways(ways, "K3", "B0", "HP")] == [*colours.WAYS]
    pair = colours.pair_ways(ways, "K5", "B0", "HP")
    assert [*pair] == ["ignored", "declared"]
    assert pair["ignored"].ratio == ways["ignored"].ratio("K5", "B0", housing="HP").ratio


def test_check_says_that_a_spectrum_alone_corrects_nothing(demo):
    """Oracle: the demo with all its spectra, and without those of its meters."""
    told = {one.what: one.answer for one in readiness.list_abilities(demo, evaluate(demo))}
    assert told["LED against halogen"] == "with spectra on file"
    alone = replace(demo, spectra={n: one for n, one in demo.spectra.items() if one.kind == "source"})
    told = {one.what: one.answer for one in readiness.list_abilities(alone, evaluate(alone))}
    assert told["LED against halogen"].endswith(
        "; the spectra on file correct nothing: it takes a lamp's and its meter's responsivity"
    )


def test_check_speaks_of_any_two_kinds_of_light(tmp_path):
    """Oracle: the folder: a discharge baseline and an LED lamp."""
    lamps = "lamp,technology,role\nB0,xenon,baseline\nK1,led,candidate\n"
    made = bench(tmp_path, "lamp,illuminance_lx\nB0,300\nK1,330\n", lamps=lamps, toml=METER)
    told = {one.what: one.answer for one in readiness.list_abilities(made, evaluate(made))}
    assert told["LED against discharge"].startswith("with f1' ")

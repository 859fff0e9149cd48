"""Every figure, head and sentence is at the coverage that the bench declares.

Oracle: quantiles of the normal law, for figures whose standard uncertainty does not depend on the coverage; the
declared percentage, for words.
"""

import functools
import re
from dataclasses import replace
from pathlib import Path

import pytest
from in_process import run_cells
from scipy import stats
from shared_demo import demo_campaign

from photolab.bench.questions.colours import colour_ratio
from photolab.bench.questions.repeatability import baseline_charts, initial_readings, level_spreads
from photolab.bench.results.beams import evaluate_beams
from photolab.bench.results.evaluation import evaluate
from photolab.bench.results.heat_and_light import looked_at, room_coefficients, slope_of
from photolab.metrology.ranking import record_claim
from photolab.publication.report import front_page
from photolab.publication.sentences import words_heat, words_light
from photolab.publication.sentences.words_bench import held_words, levels_words
from photolab.publication.sentences.words_lamp import record_sentences
from photolab.publication.words import say
from photolab.thermal.warm_up_result import Step

REPEATABILITY = Path(__file__).resolve().parents[1] / "notebooks" / "02_repeatability.ipynb"
COVERAGES = (0.9, 0.99, 0.999)
SHOWN = {0.9: "90 %", 0.99: "99 %", 0.999: "99.9 %"}


def wide(coverage: float) -> float:
    return float(stats.norm.ppf(0.5 + 0.5 * coverage))


@functools.cache
def at(coverage: float):
    """Return the demo, evaluated at a coverage."""
    bench = demo_campaign().bench
    return evaluate(replace(bench, settings=replace(bench.settings, coverage=coverage)))


def text(shown) -> str:
    return shown._repr_mimebundle_()["text/plain"]


def numbers(shown: str) -> list[float]:
    return [float(x) for x in re.findall(r"\d+\.\d+", shown)]


def favoured(campaign):
    """How the meter favours a lamp: a factor of 0.94 with its least standard uncertainty, 0.6 %."""
    return colour_ratio(campaign.bench, "M1", "K5", "B0", factors={"K5": 0.94})


@functools.cache
def beam(campaign):
    """A lamp's beam beside the baseline's."""
    return evaluate_beams(campaign.bench).find("K3", "HP")


def record_of(campaign):
    joint = campaign.in_housing("HP")
    return record_claim(joint, candidate="K6", coverage=campaign.bench.settings.coverage)


def levels_of(campaign):
    return level_spreads(initial_readings(campaign), coverage=campaign.bench.settings.coverage)


VIEWS = {
    "front page": lambda c: " ".join(front_page.meaning(c)),
    "favour": lambda c: words_light.colour_words(favoured(c)),
    "factors": lambda c: str(words_light.colour_cells(favoured(c), "led")),
    "colour": lambda c: words_light.pair_words("corrected", c.ratio("K5", "B0", housing="HP"), "K5"),
    "ways": lambda c: str(words_light.way_cells("corrected", c.ratio("K5", "B0", housing="HP"), "inside")),
    "beams": lambda c: words_light.result_words(beam(c)),
    "beam table": lambda c: str(words_light.ratio_cells(beam(c), beam(c).ratios[0])),
    "warm-up": lambda c: text(say(looked_at(c.bench).fit)),
    "repeatability": lambda c: " ".join(levels_words(levels_of(c))),
    "record": lambda c: " ".join(record_sentences(c, record_of(c), "HP")),
}


@pytest.mark.parametrize("coverage", COVERAGES)
@pytest.mark.parametrize("view", VIEWS)
def test_words_state_the_declared_coverage(view, coverage):
    said = VIEWS[view](at(coverage))
    percent = SHOWN[coverage]
    assert percent in said or f"{percent.removesuffix(' %')} of 100" in said
    assert not re.search(r"\b95 (?:%|of)", said)


@pytest.mark.parametrize("coverage", [0.9, 0.99])
def test_half_widths_follow_the_quantile(coverage):
    """A factor's and a step's; half a unit of the last printed digit is the tolerance."""
    assert f"± {100.0 * wide(coverage) * 0.006:.1f} % at {SHOWN[coverage]}" in VIEWS["favour"](at(coverage))
    fit = looked_at(at(coverage).bench).fit
    (said,) = words_heat.step_sentences(replace(fit, step=Step(1125.0, -0.14, 0.002)))
    assert f"± {100.0 * wide(coverage) * 0.002:.1f} %" in said


@pytest.mark.parametrize("coverage", [0.9, 0.99])
def test_limits_of_a_spread_follow_chi_squared(coverage):
    campaign = at(coverage)
    rows = campaign.components
    row = rows[(rows["level"] == "reading") & ~rows["assumed"].to_numpy(bool)].iloc[0]
    notebook = run_cells(
        REPEATABILITY, {"bench": str(REPEATABILITY.parents[1] / "data" / "demo"), "coverage": coverage}
    )
    shown = "\n".join(one.data["text/plain"] for cell in notebook.cells for one in cell.get("outputs", ()))
    (shown,) = re.findall(r"^reading to reading .* own readings .*$", shown, re.MULTILINE)
    assert f"{100.0 * row['sd']:.2f}" in shown
    tails = stats.chi2.ppf([0.5 + 0.5 * coverage, 0.5 - 0.5 * coverage], row["dof"])
    low, high = 100.0 * row["sd"] * (row["dof"] / tails) ** 0.5
    assert f"{low:.2f}" in shown
    assert f"{high:.2f}" in shown


@pytest.mark.parametrize("coverage", [0.9, 0.99])
def test_a_chart_raises_alarms_as_often_as_the_coverage_leaves(coverage):
    campaign = at(coverage)
    for one in baseline_charts(campaign):
        assert one.chart.false_alarm == pytest.approx(1.0 - coverage)
    said = " ".join(held_words(campaign, (), baseline_charts(campaign)))
    assert f"in {100.0 * (1.0 - coverage):g} of 100 campaigns" in said


def test_an_assumed_coefficient_is_no_wider_than_its_own_limits():
    """Oracle: a rectangle of half-width 0.2 %/K, of which the coverage lies within coverage times 0.2."""
    for coverage in (0.9, 0.99):
        assumed = room_coefficients(slope_of(looked_at(at(coverage).bench), coverage=coverage))
        shown = words_heat.ambient_table(assumed, assumed, coverage)["coefficient (%/K)"][0]
        assert float(re.search(r"± ([\d.]+)", shown)[1]) == pytest.approx(0.2 * coverage, abs=6e-4)


def test_cells_of_a_beam_are_marked_by_the_declared_coverage():
    few, many = (int(beam(at(0.9)).map(coverage=c).resolved.sum()) for c in (0.99, 0.9))
    assert few < many

"""Words. Oracle: the wording table of the project (verdicts, scopes), and the mirror rule."""

import math
from dataclasses import replace

import pytest

from photolab.bench.inputs import shared_inputs
from photolab.bench.results.campaign import Finding
from photolab.bench.results.two_readings import compare
from photolab.bench.terms.assumptions import Assumption
from photolab.bench.terms.model import Meter
from photolab.bench.terms.schema import SECTIONS
from photolab.metrology.quantity import measured
from photolab.publication.sentences import statements, words_light
from photolab.publication.sentences.statements import FINDING_WORDS, finding_words, verdict_words

METER = Meter(id="M", reading_percent=(4.0,), range_percent=(0.5,), ranges_lx=(4000.0,), resolution_lx=(1.0,))


def pair(low, high, **more):
    base = compare(400, 440, meter=METER, technology="led")
    half = math.log(high / low) / 2
    return replace(base, ln_ratio=measured(math.log(low * high) / 2), widening=half, **more)


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (1.19, 1.58, "19 to 58 % more"),
        (1 / 1.58, 1 / 1.19, "16 to 37 % less"),
        (0.96, 1.15, "4 % less to 15 % more"),
        (1.012, 1.031, "1.2 to 3.1 % more"),
        (1.0001, 1.0031, "0.01 to 0.31 % more"),
        (0.7967, 0.998, "0.2 to 20.3 % less"),
        (1.002, 1.2, "0.2 to 20.0 % more"),
        (0.998, 1.2, "no difference to 20 % more"),
    ],
)
def test_interval_words(low, high, words):
    assert statements.interval_words(pair(low, high)) == words


def test_verdict_words():
    assert verdict_words(pair(1.19, 1.58)) == "clear of the bench uncertainty: 19 to 58 % more"
    small, alike, inside = pair(1.02, 1.05), pair(0.97, 1.05), pair(0.8, 1.3)
    missing = pair(0.8, 1.3, missing=("technology",))
    assert small.small
    verdicts = [one.verdict for one in (small, alike, inside, missing)]
    assert verdicts == ["clear", "alike", "inside", "no_answer"]
    assert verdict_words(small).endswith("; but small: within 10 %")
    assert verdict_words(alike) == "alike within 10 %"
    assert verdict_words(inside).startswith("inside the bench uncertainty: these readings")
    assert verdict_words(missing).startswith("no answer yet: technology missing; ")


def test_a_verdict_names_the_margin_of_its_own_comparison():
    """Oracle: the margin typed."""
    small, alike = (pair(*ends, alike_percent=12.5) for ends in ((1.02, 1.05), (0.97, 1.05)))
    assert verdict_words(small).endswith("; but small: within 12.5 %")
    assert verdict_words(alike) == "alike within 12.5 %"
    assert statements.sentence(alike).startswith("Alike within 12.5 %, ")


def test_equal_readings_are_no_difference_in_light():
    """Oracle: the ratio of equal readings is 1."""
    said = words_light.pair_words("ignored", compare(318, 318, METER, technology="led"), "A against B")
    assert said.startswith("A against B: colour ignored, no difference in light (")


def test_no_number_of_seatings_names_the_term_that_must_shrink():
    hard = compare(318, 347, meter=METER, technology=("filament", "led"), range_lx=4000.0)
    assert (
        statements.separate_words(hard)
        == "More seatings will not show 9.1 %, because of the colour of the light: "
        "get spectra or a spectral factor for the meter (spectra.csv)."
    )


def test_sentence_names_scope_and_what_was_assumed():
    said = statements.sentence(
        compare(318, 436, meter=METER, technology=("filament", "led"), range_lx=4000.0)
    )
    assert said == (
        "Clear of the bench uncertainty: 19 to 57 % more, for the specimens on the bench. "
        "Assumed: seating 3 % (measure this first), linearity 1 %, colour f1' 10 %, supply not considered."
    )


def test_assumed_words():
    notes = [
        Assumption("seating", 3.0, "%", "measure this first"),
        Assumption("supply", "not considered", "", ""),
    ]
    assert (
        statements.assumed_words(notes) == "Assumed: seating 3 % (measure this first), supply not considered."
    )
    assert statements.assumed_words([]) == "Nothing was assumed."
    keys = [
        Assumption("initial_s", 60.0, "s", "", told="instant of the initial reading after switch-on"),
        Assumption("limit_kind", "limit", "", "", "meter", "blue box", told="what the accuracy line means"),
        Assumption(
            "lead_ohm", 0.1, "ohm", "as long as a lead: 2 m, assumed"
        ),  # what is said of it decides nothing
    ]
    assert statements.assumed_words(keys) == (
        "Assumed: instant of the initial reading after switch-on 60 s, what the accuracy line means (blue box) limit, "
        "lead ohm 0.1 ohm (as long as a lead: 2 m, assumed)."
    )


def test_an_assumed_figure_has_four_digits():
    """Oracle: a third of 2 % by hand; a figure that is exact stays as it is typed."""
    figures = [(2.0 / 3.0, "%"), (40000.0, "lx"), (-0.2, "%/K"), (13.2, "V"), ("A", "")]
    said = [Assumption("", value, unit, "").figure for value, unit in figures]
    assert said == ["0.6667 %", "40000 lx", "-0.2 %/K", "13.2 V", "A"]


@pytest.mark.parametrize("code", sorted(FINDING_WORDS))
def test_every_finding_has_a_sentence(code):
    said = finding_words(Finding(code, ("K8", "1", "400", "4000", "2"), -0.11))
    assert said.endswith((".", "?"))
    assert "{" not in said


def test_a_flagged_mounting_is_described_and_not_called_an_error():
    said = finding_words(Finding("mounting_flagged", ("K8", "1", "HP", "D05", "2"), -0.098))
    assert "K8 specimen 1 in HP, D05 seating 2, reads 10 % less than the lamp's other seatings" in said
    assert "until you exclude it, it counts in the value and in the seating SD alike" in said


def test_every_sort_of_input_that_readings_share_is_told():
    """Oracle: the table of who shares what, at the head of `shared_inputs`; the keys of the schema."""
    table = (shared_inputs.__doc__ or "").split("\n====")[2].split("\n")[1:]
    listed = [line.split("  ")[0] for line in table if line.strip()]
    assert len(listed) > 20
    assert set(listed) <= set(statements.TERMS)
    keys = {key.name for section in ("bench", "meter") for key in SECTIONS[section]}
    sources = {"manual", "own readings", "display", "literature", "assumed"}
    assert {term.known_from for term in statements.TERMS.values()} <= keys | sources
    for kind, term in statements.TERMS.items():
        assert all((term.words, term.shared_by, term.unit)), kind

"""Single changes of a protocol, and what each buys. Oracles: rows counted by hand, variances added in closed form, the
same draws without the change; an invented bench.
"""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy.stats import norm
from small_benches import HOUSING, LAMPS, bench, csv
from test_rehearse import evening, found, mean_of

from photolab.bench.drawn.one_more import CHANGES, one_more, what_changes_buy
from photolab.bench.drawn.redraw import Protocol
from photolab.bench.drawn.rehearse import Plan
from photolab.bench.folder.records import read_bench
from photolab.bench.questions.review import forecast_against_results, shared_floor
from photolab.bench.results.evaluation import evaluate
from photolab.bench.terms.model import SpectralFactor
from photolab.publication.sentences.words_protocol import CHANGE_WORDS, change_sentences, changes_alt

ROOT = Path(__file__).parents[1]
TOML = (
    """schema = 1
[bench]
name = "invented"
[[meter]]
id = "M1"
reading_percent = 4
ranges_lx = [400, 4000]
resolution_lx = [0.000001, 0.000001]
linearity_percent = 0
temperature_percent_per_K = 0
mismatch_index_percent = {colour}
"""
    + HOUSING
)
HEAD = "lamp,illuminance_lx,housing,mounting,repeat,range_lx,specimen"


def small(folder, rows, colour=0, lamps=LAMPS):
    return bench(folder, csv(HEAD, rows), toml=TOML.format(colour=colour), lamps=lamps)


def seats(*lamps, housing="HP", n=2):
    """Two readings of each of some seatings of each lamp: (lamp, lux, range)."""
    return [
        (lamp, lux * (1 + 0.02 * k + 0.001 * again), housing, k + 1, again, top, "a")
        for lamp, lux, top in lamps
        for k in range(n)
        for again in (1, 2)
    ]


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    return evening(tmp_path_factory.mktemp("evening"))


@pytest.mark.parametrize(
    ("what", "more"),
    [("mounting", {"B0": 16, "K1": 16, "K2": 24}), ("specimen", {"B0": 32, "K1": 32, "K2": 32})],
)
def test_one_more_is_read_as_the_last_one_was(whole, what, more):
    """Oracle: counted by hand: two pieces (three of K2) in two housings, two readings at two instants."""
    bench_after = one_more(whole, what)
    before, after = (one.tables["readings"] for one in (whole, bench_after))
    added = after.iloc[len(before) :]
    pd.testing.assert_frame_equal(after.iloc[: len(before)], before)
    assert added["lamp"].value_counts().to_dict() == more
    assert set(added[what]) == {f"one more {what}"}
    widths = [mean_of(found(one, 4), "half-width", scope="models")[0] for one in (bench_after, whole)]
    assert widths[0] < widths[1]


def test_one_more_day(whole):
    after = one_more(whole, "day").tables["readings"]
    assert (after["day"] == "one more day").sum() == (after["day"] == "D2").sum()
    with pytest.raises(
        ValueError, match="what must be one of mounting, specimen, day, range, spectrum; got 'w"
    ):
        one_more(whole, "week")


def test_what_no_link_lets_in_is_not_copied(tmp_path):
    """Oracle: by hand: M2, read last and most, has no link; one more day is one of M1, and K2 stays out."""
    other = '[[meter]]\nid = "M2"\nreading_percent = 4\nranges_lx = [4000]\n[[housing]]'
    rows = [(x, 400, "HP", 1, k, 4000, "a", "D1", "M1") for x in ("B0", "K1") for k in (1, 2, 3)]
    rows += [(x, 400, "HP", 1, k, 4000, "a", "D2", "M2") for x in ("B0", "K2") for k in (1, 2)]
    toml = TOML.format(colour=0).replace("[[housing]]", other, 1)
    made = bench(tmp_path, csv(f"{HEAD},day,meter", rows), toml=toml)
    after = one_more(made, "day").tables["readings"]
    assert set(after["meter"]) == {"M1"}
    assert after["day"].value_counts().to_dict() == {"D1": 6, "one more day": 6}
    bought = what_changes_buy(made, benches=2, seed=1, difference_percent=5.0)
    assert set(bought["change"]) >= {"", "mounting", "specimen", "day"}


def test_one_range_where_a_comparison_has_two_and_nowhere_else(tmp_path):
    """Oracle: by hand; 400 lx hold 344 lx within nine tenths of the range, and not 408 lx."""
    both = seats(("B0", 300, 4000), ("K1", 330, 400)) + seats(
        ("B0", 400, 4000), ("K1", 390, 400), housing="HR"
    )
    before = small(tmp_path / "a", both)
    after = one_more(before, "range").tables["readings"]
    assert set(after.loc[after["housing"] == "HP", "range_lx"]) == {400.0}
    assert set(after.loc[after["housing"] == "HR", "range_lx"]) == {4000.0}
    pd.testing.assert_frame_equal(
        after.drop(columns="range_lx"), before.tables["readings"].drop(columns="range_lx")
    )
    # ranges that differ between housings, unknown ones, and lamps that are not compared with the baseline
    apart = seats(("B0", 300, 400), ("K1", 330, 400)) + seats(
        ("B0", 700, 4000), ("K1", 900, 4000), housing="HR"
    )
    assert one_more(small(tmp_path / "b", apart), "range") is None
    assert one_more(small(tmp_path / "c", seats(("B0", 300, ""), ("K1", 330, 400))), "range") is None
    alone = seats(("B0", 300, 400), ("K1", 330, 400)) + seats(
        ("K1", 300, 400), ("K2", 300, 4000), housing="HR"
    )
    assert one_more(small(tmp_path / "d", alone), "range") is None


def test_one_range_takes_the_step_between_two_out_of_a_ratio(tmp_path):
    """Oracle: variances add: each range within 1 %, rectangular."""
    before = small(tmp_path / "a", seats(("B0", 300, 4000), ("K1", 330, 400)))
    floors = [shared_floor(evaluate(one)) ** 2 for one in (before, one_more(before, "range"))]
    assert_allclose(floors[0] - floors[1], 2 * 0.01**2 / 3, rtol=1e-9)


def test_a_spectrum_takes_the_place_of_f1(tmp_path):
    """Oracle: variances add: f1' of the technology and f1'/(5 sqrt 2) of the lamp, rectangular, become 0.6 %."""
    before = small(tmp_path / "a", seats(("B0", 300, 400), ("K1", 330, 400)), colour=8)
    after = one_more(before, "spectrum")
    campaigns = [evaluate(one) for one in (before, after)]
    floors = [shared_floor(one) ** 2 for one in campaigns]
    colour = 0.08**2 / 3 * (1 + 1 / 50)
    assert_allclose(floors[0] - floors[1], colour - 0.006**2, rtol=1e-9)
    # the light stays: the factor of what the meter was calibrated with is 1
    assert_allclose(campaigns[0].joint.values, campaigns[1].joint.values, atol=1e-12)
    assert "spectral factor" in {one.name for one in campaigns[1].assumed}
    assert "spectral factor" not in {one.name for one in campaigns[0].assumed}


def test_a_spectrum_where_f1_alone_bounds_a_colour_and_nowhere_else(tmp_path):
    rows = seats(("B0", 300, 400), ("K1", 330, 400))
    plain = small(tmp_path / "a", rows, colour=8)
    stated = replace(plain.meters["M1"], spectral_factors=(SpectralFactor("led", 1.02, 0.03),))
    assert one_more(replace(plain, meters={"M1": stated}), "spectrum") is None
    assert one_more(one_more(plain, "spectrum"), "spectrum") is None
    assert one_more(small(tmp_path / "b", rows, colour=0), "spectrum") is None
    filaments = LAMPS.replace("led", "filament")
    assert one_more(small(tmp_path / "c", rows, colour=8, lamps=filaments), "spectrum") is None
    # with one lamp's spectrum and the meter's on file, only the other lamp gets one
    some = one_more(small(tmp_path / "d", rows, colour=8), "spectrum")
    again = replace(some, tables=small(tmp_path / "e", [*rows, *seats(("K2", 310, 400))], colour=8).tables)
    both = one_more(again, "spectrum").spectra
    assert {name: both[name] for name in some.spectra} == some.spectra
    assert set(both) - set(some.spectra) == {"source K2"}


def test_copied_readings_move_no_true_standard_deviation(tmp_path):
    """Oracle: the draws of the bench as it was: readings of one lamp lie as far apart with and without the copies."""
    before = small(tmp_path / "a", seats(("B0", 300, 400), ("K1", 330, 400), n=4))
    campaign = evaluate(before)
    known = replace(campaign.spreads, remaining=campaign.held.spreads)
    count = len(before.tables["readings"])
    lights = [
        np.log(Protocol(one, spreads=known).draw(5, 2).bench.tables["readings"]["illuminance_lx"].to_numpy())
        for one in (before, one_more(before, "mounting"))
    ]
    for lamp in (slice(0, count // 2), slice(count // 2, count)):
        assert_allclose(
            *(np.diff(light[lamp]) for light in lights), atol=1e-7
        )  # the display step over 300 lx


def test_repeats_of_a_seating_share_the_range_that_is_not_known(tmp_path):
    """Oracle: readings that never scatter stay equal within a seating; seatings on unknown ranges do not."""
    still = [
        (lamp, lux, "HP", k, n, "", "a")
        for lamp, lux in (("B0", 300), ("K1", 330))
        for k in (1, 2)
        for n in (1, 2)
    ]
    toml = TOML.format(colour=0).replace("[bench]", "[bench]\nmounting_sd_percent = 0")
    read = bench(tmp_path, csv(HEAD, still), toml=toml)
    shown = Protocol(read).draw(1, 0).bench.tables["readings"]["illuminance_lx"].to_numpy().reshape(4, 2)
    assert_allclose(shown[:, 0], shown[:, 1], rtol=1e-12)
    assert abs(math.log(shown[0, 0] / shown[1, 0])) > 1e-5


def test_what_changes_buy_is_the_rehearsal_and_the_formula_of_each(tmp_path):
    """Oracles: the rehearsal of the bench itself, and k sqrt(2 s^2/n + u^2) written out."""
    rows = seats(("B0", 300, 4000), ("K1", 330, 400), n=3) + seats(("K2", 320, 4000), n=3)
    before = small(tmp_path, rows, colour=8)
    table = what_changes_buy(before, benches=6, seed=2, difference_percent=5.0).set_index("change")
    assert list(table.index) == ["", *CHANGES]
    plain = found(before, 6, Plan(seed=2, differences=(5.0,), families_every=0))
    for scope in ("specimens", "models"):
        assert_allclose(
            table.loc["", [scope, f"{scope}_error"]].tolist(), mean_of(plain, "half-width", scope=scope)
        )
    assert table.loc["", "shown"] == mean_of(plain, "shown", difference=5.0)[0]
    campaign = evaluate(before)
    k, sd = norm.ppf(0.975), campaign.spreads.seating_in("HP").sd
    between, floor = campaign.spreads.specimen.sd, shared_floor(campaign)
    for what, n, pieces in (("", 3, 1), ("mounting", 4, 1), ("specimen", 6, 2)):
        own = k * math.sqrt(2 * sd**2 / n + floor**2)
        models = k * math.sqrt(2 * sd**2 / n + 2 * between**2 / pieces + floor**2)
        assert_allclose(
            table.loc[what, ["formula", "formula_models"]].tolist(), [100 * own, 100 * models], rtol=1e-9
        )
    for what in ("range", "spectrum"):
        after = forecast_against_results(evaluate(one_more(before, what)))["forecast"].mean()
        assert_allclose(table.loc[what, "formula"], 100 * after, rtol=1e-9)
        assert table.loc[what, "formula"] < table.loc["", "formula"]
    assert table["specimens"].idxmin() == table["formula"].idxmin() == "spectrum"


def test_nothing_is_bought_where_no_ratio_has_an_interval():
    read = read_bench(ROOT / "data" / "two-readings")
    assert what_changes_buy(read, benches=2, seed=1, difference_percent=5.0).empty
    with pytest.raises(ValueError, match="benches must be 2 or more; got 1"):
        what_changes_buy(read, benches=1, seed=1, difference_percent=5.0)


def bought(**specimens):
    """Figures as rehearsed: half-width of each change, its formula one less, models twice as much."""
    rows = [
        {
            "change": what if what != "plain" else "", "specimens": half, "specimens_error": 0.1, "models": 2 * half,
            "models_error": 0.1, "shown": 40.0, "shown_error": 6.0, "formula": half - 1, "formula_models": half,
        }
        for what, half in specimens.items()
    ]  # fmt: skip
    return pd.DataFrame(rows)


def said(table):
    return change_sentences(table, percent=5.0, drawn=20, coverage=0.9)


def test_the_three_sentences_follow_the_figures():
    first, second, third = said(bought(plain=6.0, mounting=5.0, day=5.5, specimen=5.8))
    assert first == (
        "By 20 benches drawn, the protocol as it is gives intervals of ± 6.0 % for the specimens on the bench and of "
        "± 12.0 % for the models, at 90 %, and shows a difference of 5 % between specimens with a chance of 40 % "
        "(± 6 % from the drawing), on the average over all comparisons."
    )
    assert second == "By rehearsal the largest gain comes from one more seating, ± 5.0 % for the specimens."
    assert third == (
        "By the formula the protocol as it is gives ± 5.0 % for the specimens, and one more seating ± 4.0 %; that "
        "is the largest gain by it too."
    )
    table = bought(plain=6.0, mounting=5.0, day=5.2, specimen=5.8)
    table.loc[3, ["models", "formula"]] = 8.0, 3.5
    _, second, third = said(table)
    assert second == (
        "By rehearsal the largest gain comes from one more seating, ± 5.0 % for the specimens, though so few draws do "
        "not tell it from one more day; for the models one more specimen, ± 8.0 %."
    )
    assert third == (
        "By the formula the protocol as it is gives ± 5.0 % for the specimens, and one more seating ± 4.0 %; by it the "
        "largest gain comes from one more specimen, ± 3.5 %."
    )
    _, second, third = said(bought(plain=6.0, mounting=5.8, day=5.9, specimen=5.9))
    assert second == "By rehearsal no single change narrows these by more than so few draws leave open."
    assert third == (
        "By the formula the protocol as it is gives ± 5.0 % for the specimens; by it the largest gain comes from "
        "one more seating, ± 4.8 %."
    )


def test_a_spectrum_is_said_to_be_assumed_wherever_it_is_named():
    table = bought(plain=6.0, spectrum=5.0)
    for sentence in said(table)[1:]:
        assert "spectra of the lamps (factors within 0.6 %, assumed)" in sentence
    words = changes_alt(table.assign(label=table["change"].map(CHANGE_WORDS)), 0.9)
    assert "at 90 %" in words
    assert (
        "as it is ± 6.0 and 5.0; spectra of the lamps (factors within 0.6 %, assumed) ± 5.0 and 4.0." in words
    )

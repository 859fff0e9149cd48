"""What the next protocol should change. Oracles: closed forms, the budget itself, synthetic truth."""

import math
from pathlib import Path

import pytest
from numpy.testing import assert_allclose
from shared_demo import demo_campaign

from photolab.bench.folder.records import read_bench
from photolab.bench.inputs.shared_inputs import term_of
from photolab.bench.questions.review import (
    causes,
    forecast,
    forecast_against_results,
    hold_choices,
    initial_choices,
    planned_seating,
    shared_floor,
)
from photolab.bench.results.evaluation import evaluate
from photolab.bench.results.heat import warm_up_runs
from photolab.errors import MethodError

DATA = Path(__file__).parents[1] / "data"


@pytest.fixture(scope="module")
def campaign():
    return demo_campaign()


@pytest.fixture(scope="module")
def runs(campaign):
    return warm_up_runs(campaign.bench)


def test_parts_of_the_doubt_add_up(campaign):
    """Oracle: variances of independent inputs add to the whole; the budget of one comparison."""
    table = causes(campaign)
    assert_allclose(table["variance_fraction"].sum(), 1.0, rtol=1e-9)  # parts of 16 comparisons, rounding
    assert (table["largest"] >= table["variance_fraction"]).all()
    seating = []
    for row in campaign.table[campaign.table["scope"] == "specimens"].to_dict("records"):
        budget = campaign.ratio(row["lamp"], "B0", housing=row["housing"]).budget
        mine = [isinstance(name, tuple) and name[0] == "mounting" for name in budget["name"]]
        seating.append(budget.loc[mine, "variance_fraction"].sum())
    told = table.set_index("kind").loc["mounting"]
    # the same squares, summed in another order
    assert_allclose(
        [told["variance_fraction"], told["largest"]], [sum(seating) / 16, max(seating)], rtol=1e-9
    )


def test_the_scale_of_a_shared_meter_has_no_part(campaign):
    """Oracle: what both lamps share cancels from their ratio."""
    assert causes(campaign).set_index("kind").loc["scale", "variance_fraction"] < 1e-12


def test_floor_is_what_replication_does_not_touch(campaign):
    """Oracle: by hand for every comparison; between the smallest and the largest of them."""
    floors = []
    for row in campaign.table[campaign.table["scope"] == "specimens"].to_dict("records"):
        result = campaign.ratio(row["lamp"], "B0", housing=row["housing"]).result
        parts = [
            float(c * q.u) ** 2
            for q, c in result.parts.items()
            if term_of(q)
            not in {"mounting", "noise", "specimen", "resolution", "supply voltage", "elapsed time"}
        ]
        floors.append(math.sqrt(sum(parts)))
    floors.sort()
    assert_allclose(shared_floor(campaign), (floors[7] + floors[8]) / 2, rtol=1e-12)  # median of 16


def test_forecast_in_closed_form(campaign):
    """Oracle: U = 1.95996 sqrt(2 s^2 + u0^2); 2.80159 sqrt(...) for the ratio shown in four cases of five."""
    housing, seating = planned_seating(campaign)
    assert (housing, seating) == (
        "HR",
        campaign.spreads.seating["HR"],
    )  # seats scatter by 3.2 % there, 2.0 % in HP
    mounting = seating.sd
    specimen = campaign.spreads.specimen.sd
    reading = campaign.spreads.reading["K1"].sd
    told = forecast(campaign, specimens=2, mountings=3, readings=4, floor=0.01)
    own = mounting**2 / 6 + reading**2 / 24
    # quantiles of the normal law to seven digits
    assert_allclose(told.half_width_specimens, 1.9599640 * math.sqrt(2 * own + 1e-4), rtol=1e-6)
    assert_allclose(
        told.half_width_models, 1.9599640 * math.sqrt(2 * (own + specimen**2 / 2) + 1e-4), rtol=1e-6
    )
    # a power of 0.8 counts the far tail as well (below 1e-5)
    assert_allclose(math.log(told.resolvable), 2.8015852 * math.sqrt(2 * own + 1e-4), rtol=1e-4)


def test_the_forecast_fits_the_intervals_reached(campaign):
    """Oracle: the joint evaluation; a plan knows no unequal specimens and no Student factors: within a quarter."""
    rows = forecast_against_results(campaign)
    share = rows["reached"] / rows["forecast"]
    assert len(rows) == 16
    assert share.between(0.8, 1.25).all()
    assert 0.95 < share.median() < 1.15


def test_nothing_compared_is_refused():
    """Oracle: two lamps without a technology have no interval."""
    with pytest.raises(MethodError, match="no comparison with the baseline has an interval yet"):
        shared_floor(evaluate(read_bench(DATA / "two-readings")))


def test_a_hold_before_the_step_misses_it(runs):
    """Oracle: truth of K6 (0.90, 4.2 min, x 0.86 at 18.5 min): light at 40 over 10 min; after 20 min below 2 %."""
    rows = hold_choices(runs, [600.0, 1200.0, 2400.0], filament=["B0"])
    truth = 0.86 * (0.9 + 0.1 * math.exp(-39 / 4.2)) / (0.9 + 0.1 * math.exp(-9 / 4.2))
    assert rows["lamp"].iloc[0] == "K6"
    assert abs(rows["still_to_come"].iloc[0] - (1 - truth)) < 0.005
    assert rows["still_to_come"].iloc[1] < 0.02
    assert rows["still_to_come"].iloc[2] == 0.0


def test_an_early_first_reading_suffers_more_from_being_late(runs):
    """Oracle: truth of K1 (0.86, 4.0 min): slope at 60 s (1 - 0.86)/240 s, so 10 s are 0.57 % by the exponential."""
    rows = initial_choices(runs, [60.0, 120.0, 300.0], late_s=10.0, filament=["B0"])
    truth = 0.14 * (1 - math.exp(-10 / 240))
    assert rows["lost"].is_monotonic_decreasing
    assert abs(rows["lost"].iloc[0] - truth) < 0.001


def test_instants_that_no_record_supports_are_left_out(runs):
    """Oracle: records begin at 30 s."""
    assert math.isnan(initial_choices(runs, [5.0], late_s=10.0)["lost"].iloc[0])

"""The column `assumed`: every row names the declared defaults that its own inputs rest on, and no others."""

from dataclasses import replace

import bench_folders as bf
import pytest
from scipy import sparse

from photolab.bench.folder.records import read_bench
from photolab.bench.results.evaluation import evaluate
from photolab.bench.terms.assumptions import Assumption, entering
from photolab.metrology.quantity import SCOPES, Factored
from photolab.publication.report.tables import results
from photolab.publication.sentences.cautions import assumed_words
from photolab.publication.sentences.figure_tables import budgets

PLACES = "".join(
    f'[[housing]]\nid = "{h}"\ndistance_m = 5.0\ndistance_uncertainty_mm = 10\n' for h in ("HP", "HR")
)
LIGHT = {"A1": 300, "A2": 334, "A3": 500}
READ = "lamp,specimen,housing,day,mounting,meter,elapsed_s,illuminance_lx,range_lx\n"


def two_meters(tmp_path, *, toml="", held=("1", "2")):
    """A3 was read with M2, which LED lamps link to M1; A1 and A2 with M1 alone, and A2 in HP at the hold time."""
    rows = [
        f"{lamp},{piece},{housing},{day},{seat},{meter},60,{light * (1 + 0.004 * seat):g},4000\n"
        for lamp, light in LIGHT.items()
        for meter in ["M2" if lamp == "A3" else "M1"]
        for housing in ("HP", "HR")
        for piece in ("1", "2")
        for day, seat in (("D01", 1), ("D01", 2), ("D02", 3))
    ]
    rows += [
        f"{lamp},{piece},HP,D01,1,M1,1800,{0.9 * LIGHT[lamp]:g},4000\n"
        for lamp in ("A1", "A2")
        for piece in held
    ]
    pairs = ((310, 300), (450, 436), (612, 590))
    folder = bf.make(
        tmp_path / "bench",
        bench_toml=bf.TWO_METERS + PLACES + toml,
        readings_csv=READ + "".join(rows),
        lamps_csv="lamp,technology,role\nA1,led,baseline\nA2,led,candidate\nA3,led,candidate\n",
        links_csv=bf.LINKS + "".join(f"A{k},led,M2,M1,{a},{b}\n" for k, (a, b) in enumerate(pairs, 1)),
        electrical_csv="lamp,elapsed_s,power_W,per\nA1,60,20,lamp\nA2,60,21,lamp\nA3,60,22,lamp\n",
        warm_up_csv="run,lamp,specimen,housing,day,meter,range_lx,elapsed_s,illuminance_lx\n"
        + "".join(f"W1,A3,1,HR,D01,M2,4000,{t},{500 - t / 20}\n" for t in (40, 60, 90, 120)),
        days_csv=bf.DAYS,
    )
    return evaluate(read_bench(folder))


def named(campaign, **where):
    """What one row of results.csv says was assumed."""
    rows = results(campaign)
    for column, value in where.items():
        rows = rows[rows[column] == value]
    (said,) = rows["assumed"]
    return set(said.split("; ")) - {"nothing"}


def test_a_row_names_the_defaults_of_its_own_meter_housing_instant_and_scope(tmp_path):
    """Oracle: by hand: A2 and A1 were read with M1 alone, on the same days; every piece of them was held."""
    campaign = two_meters(tmp_path)
    everywhere = {one.name for one in campaign.assumed}
    assert {"meter M2 limit_kind", "meter M2 linearity_percent", "housing HR sensor"} <= everywhere
    ratio = {"measurand": "illuminance ratio", "lamp": "A2", "housing": "HP"}
    first = named(campaign, **ratio, instant="initial", scope="specimens")
    assert not [name for name in first if name.startswith(("housing", "meter M2"))]
    assert {"meter M1 limit_kind", "meter M1 linearity_percent", "meter M1 mismatch_index_percent"} <= first
    assert "initial_s" in first
    assert not first & {"hold_minutes", "remaining_sd_percent", "specimen_sd_percent"}
    assert "mounting_sd_percent" not in named(campaign, **ratio, instant="initial", scope="readings")
    assert "specimen_sd_percent" in named(campaign, **ratio, instant="initial", scope="models")
    late = named(campaign, **ratio, instant="hold", scope="specimens")
    assert "hold_minutes" in late
    assert "remaining_sd_percent" not in late  # both pieces of both lamps were held
    assert "remaining_sd_percent" in named(campaign, **ratio, instant="hold", scope="models")
    watts = named(
        campaign, **(ratio | {"measurand": "illuminance per watt ratio"}), instant="initial", scope="models"
    )
    assert watts - {"power reading 2 %"} == named(campaign, **ratio, instant="initial", scope="models")


def test_a_reading_through_a_link_brings_the_defaults_of_both_meters(tmp_path):
    """Oracle: by hand: A3 was read with M2; colour is of the meter whose scale it is on, the link too few lamps."""
    told = named(
        two_meters(tmp_path),
        measurand="illuminance ratio",
        lamp="A3",
        housing="HP",
        instant="initial",
        scope="readings",
    )
    assert {f"meter {m} {key}" for m in ("M1", "M2") for key in ("limit_kind", "linearity_percent")} <= told
    assert not [name for name in told if name.startswith("housing")]


def test_what_is_left_of_a_lamp_names_neither_colour_nor_housing(tmp_path):
    """Oracle: by hand: one lamp over itself on one meter: its colour, level and seating cancel."""
    for held in (("1", "2"), ("1",)):
        campaign = two_meters(tmp_path, held=held)
        told = named(campaign, measurand="remaining light", lamp="A2", housing="HP")
        assert not [name for name in told if name.startswith(("housing", "meter M2"))]
        assert not [
            name for name in told if "mismatch" in name or "calibration" in name or "linearity" in name
        ]
        assert {"initial_s", "hold_minutes", "meter M1 limit_kind"} <= told
        assert ("remaining_sd_percent" in told) == (len(held) == 1)


def test_an_accuracy_line_without_its_second_part_enters_with_its_own_meter(tmp_path):
    """Oracle: by hand: it is assumed to be nothing, so no budget has an input of it."""
    toml = '[[meter]]\nid = "M2"\nreading_percent = 3\nrange_percent = 0.5\n'
    campaign = two_meters(tmp_path)
    assert not [one for one in campaign.assumed if one.key == "range_percent"]
    bare = bf.TWO_METERS.replace(toml, toml.replace("range_percent = 0.5\n", ""))
    (tmp_path / "bench/bench.toml").write_text(bare + PLACES, encoding="utf-8")
    campaign = evaluate(read_bench(tmp_path / "bench"))
    for lamp in ("A2", "A3"):
        told = named(
            campaign,
            measurand="illuminance ratio",
            lamp=lamp,
            housing="HP",
            instant="initial",
            scope="specimens",
        )
        assert ("meter M2 range_percent" in told) == (lamp == "A3")


def test_a_default_moves_the_ratios_that_were_read_with_its_meter(tmp_path):
    """Oracle: the budget of each ratio: its own inputs of that meter by hand; A2 was read with M1 alone."""
    campaign = two_meters(tmp_path)
    lines = {name: found for name, (_, found) in budgets(campaign).items()}
    (other,) = (one for one in campaign.assumed if one.name == "meter M2 linearity_percent")
    (mine,) = (one for one in campaign.assumed if one.name == "meter M1 linearity_percent")
    alone = {name: found for name, found in lines.items() if name[0] == "A2"}
    assert assumed_words([other], alone)["moves"].tolist() == [0.0]
    assert assumed_words([mine], alone)["moves"].iloc[0] > 0.0
    (told,) = assumed_words([other], lines).to_dict("records")
    assert told["where"].startswith("A3")
    pair = campaign.ratio("A3", "A1", housing=told["where"].split()[-1])
    by_hand = sum((c * q.u) ** 2 for q, c in pair.result.parts.items() if q.name[:2] == ("linearity", "M2"))
    assert told["moves"] == pytest.approx(100.0 * pair.coverage_factor * by_hand**0.5, rel=1e-6)


def test_a_link_that_is_provisional_is_of_its_meter_and_technology():
    """Oracle: the names of the two links; the meter's id has a word that another assumption is known by."""
    words = "provisional link of spectral box to M1 for led lamps"
    one = Assumption(words, 1.0, "%", "", of=("spectral box", "led"))
    assert one.sizes(("link", "spectral box", "led"))
    assert not one.sizes(("link", "spectral box", "filament"))
    assert not one.sizes(("colour", "spectral box", "led"))


def test_of_factors_what_is_each_ones_own_is_weighed(tmp_path, monkeypatch):
    """Synthetic: factors that tie nothing give what the matrix gives, and no row is made in full for it."""
    campaign = two_meters(tmp_path)
    names = [name for name in campaign.joint.names if name[1] == "HP"]
    ratios = campaign.joint.combined(
        names[1:], [[-1.0 * (n == names[0]) + (n == m) for n in campaign.joint.names] for m in names[1:]]
    )
    plain = sparse.csr_array(ratios.sensitivities)
    ties = sparse.csr_array((plain.shape[0], 1)), sparse.csr_array((1, plain.shape[1]))
    expected = entering(campaign.assumed, ratios, [*SCOPES])
    monkeypatch.setattr(Factored, "full", None)
    assert (
        entering(campaign.assumed, replace(ratios, sensitivities=Factored(plain, *ties)), [*SCOPES])
        == expected
    )
    assert len({len(one) for one in expected}) > 1

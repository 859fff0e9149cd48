"""Records, beams and links drawn again with known truth, and worlds that no folder declares; an invented bench."""

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy import stats
from small_benches import bench, csv

from photolab.bench.drawn.redraw import Protocol
from photolab.bench.drawn.redraw_tables import World
from photolab.bench.drawn.rehearse import Plan, lines_of, rehearse_block, table_of
from photolab.bench.results.beams import evaluate_beams
from photolab.bench.results.evaluation import evaluate
from photolab.bench.results.heat import warm_up_runs
from photolab.cli import main

STILL = World(seating_percent=0.0, specimen_percent=0.0, day_percent=0.0)
TOML = """schema = 1
[bench]
name = "invented"
hold_minutes = 30
mounting_sd_percent = 2
[[meter]]
id = "M1"
reading_percent = 3
range_percent = 0.1
ranges_lx = [400, 4000]
resolution_lx = [0.01, 0.1]
mismatch_index_percent = 6
linearity_percent = 0.6
[[meter]]
id = "M2"
reading_percent = 4
range_percent = 0.1
ranges_lx = [4000]
resolution_lx = [0.1]
mismatch_index_percent = 3
linearity_percent = 0.6
[[housing]]
id = "A"
distance_m = 5
"""
FOUR = "lamp,technology,role\nB0,led,baseline\nK1,led,candidate\nK2,led,candidate\nK3,led,candidate\n"
TAUS, PARTS = (90.0, 500.0), (0.05, 0.10)


def light(t):
    """Two parts that fade, on what stays."""
    return 1.0 - sum(PARTS) + sum(a * np.exp(-t / tau) for a, tau in zip(PARTS, TAUS, strict=True))


def records():
    """K1 and K2 for 45 minutes, K3 for 20, which end before the hold time."""
    rng = np.random.default_rng(1)
    rows = []
    for run, lamp, minutes, rho in (("R1", "K1", 45, 0.6), ("R2", "K2", 45, 0.0), ("R3", "K3", 20, 0.0)):
        t = np.arange(20.0, 60.0 * minutes + 1, 20.0)
        noise = rng.standard_normal(t.size)
        for n in range(1, t.size):
            noise[n] = rho * noise[n - 1] + math.sqrt(1.0 - rho**2) * noise[n]
        lux = np.round(1000.0 * light(t) * (1.0 + 0.002 * noise), 1)
        rows += [(run, lamp, "1", "A", x, y, 4000, "M1") for x, y in zip(t, lux, strict=True)]
    return csv("run,lamp,specimen,housing,elapsed_s,illuminance_lx,range_lx,meter", rows)


def beam():
    """B0 and K1 over 13 x 9 directions: a hot spot on a faint background."""
    rows = []
    for lamp, top in (("B0", 300.0), ("K1", 360.0)):
        for h in range(-6, 7):
            for v in range(-4, 5):
                lux = top * math.exp(-0.5 * (h / 2.5) ** 2 - 0.5 * (v / 1.5) ** 2) + 10.0
                rows.append((f"G{lamp}", lamp, "A", h, v, round(lux, 2), 400, 2, "M1"))
    return csv("run,lamp,housing,horizontal_deg,vertical_deg,illuminance_lx,range_lx,dark_lx,meter", rows)


LINKS = "lamp,technology,specimen,housing,old_meter,new_meter,old_lx,new_lx\n" + "".join(
    f"{lamp},led,1,A,M1,M2,{lux},{round(0.9 * lux)}\n"
    for lamp, lux in (("B0", 900), ("K1", 1000), ("K3", 1200))
)
RUN = "run,lamp,housing,distance_m,illuminance_lx,dark_lx,range_lx,repeat,meter\n" + "".join(
    f"R,K1,A,{d},{round(12000 / d**2 + 2, 1)},2,4000,{n},M1\n" for d in (2.0, 3.0, 4.0, 5.0) for n in (1, 2)
)


def readings(seats=(1, 2), late=(), meter=None):
    meter = {"K2": "M2"} if meter is None else meter
    rows = [
        (
            lamp,
            1,
            "A",
            seat,
            t,
            (0.97 + 0.02 * seat) * lux * (0.85 if t > 60 else 1.0) + again - 1,
            meter.get(lamp, "M1"),
            4000,
            again,
        )
        for lamp, lux in (("B0", 900), ("K1", 1000), ("K2", 1100), ("K3", 1200))
        for seat in seats
        for t in (60, 1800)
        if t == 60 or lamp in late
        for again in (1, 2)
    ]
    return csv("lamp,specimen,housing,mounting,elapsed_s,illuminance_lx,meter,range_lx,repeat", rows)


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    folder = tmp_path_factory.mktemp("whole")
    text = readings(late=("B0", "K1"))
    return bench(
        folder, text, toml=TOML, lamps=FOUR, warm_up=records(), beam=beam(), links=LINKS, distance=RUN
    )


@pytest.fixture(scope="module")
def many(whole):
    protocol = Protocol(whole, whole=True)
    return protocol, [protocol.draw(3, k) for k in range(250)]


def run_of(drawn, run):
    table = drawn.bench.tables["warm_up"]
    return table.loc[table["run"] == run, "illuminance_lx"].to_numpy()


def test_a_record_scatters_and_drifts_as_its_fit_and_its_declaration_say(whole, many):
    """Oracle: the SD and correlation of what two records' own fits left over; the declared drift, by the slope."""
    _, drawn = many
    for run in warm_up_runs(whole)[:2]:
        t = run.record["elapsed_s"].to_numpy(float)
        noise = run.fit.curve.noise
        shown = np.log([run_of(one, run.run) for one in drawn])
        second = np.diff(shown, 2, axis=1)  # curve, clock and drift are smooth: scatter alone is left
        rho = float(np.mean(noise.neighbours))
        variance = noise.whitened_variance / 900.0**2
        expected = variance * (6.0 - 8.0 * rho + 2.0 * rho**2)  # of an AR(1) series, by hand
        late = second[:, t[2:] > 1200.0]
        assert_allclose(late.var(axis=0).mean(), expected, rtol=0.15)
        ends = shown[:, -10:].mean(axis=1) - shown[:, 5:15].mean(axis=1)
        left = [one.others["remaining light", run.lamp, "A", f"record {run.run}", "hold"] for one in drawn]
        assert ends.std() > 0.9 * run.drift  # and how unlike pieces fade
        assert abs(np.corrcoef(ends, np.log(left))[0, 1]) > 0.9
    rhos = [float(np.mean(run.fit.curve.noise.neighbours)) for run in warm_up_runs(whole)]
    assert rhos[0] > rhos[1] + 0.2


def test_records_and_readings_of_a_piece_have_one_remaining_light(many):
    """Oracle: ln of the light of the one piece at the hold time less that at the initial time."""
    _, drawn = many
    seen = []
    for one in drawn[:40]:
        for run, lamp in (("R1", "K1"), ("R2", "K2"), ("R3", "K3")):
            place = (lamp, "A", "hot_spot")
            apart = one.ln_light[*place, "hold", "specimens"] - one.ln_light[*place, "initial", "specimens"]
            told = one.others["remaining light", lamp, "A", f"record {run}", "hold"]
            assert_allclose(math.log(told), apart, atol=1e-12)
            seen.append(told)
    assert 0.005 < np.std(seen) < 0.04


def test_a_record_shows_its_truth_in_the_mean(many):
    """Oracle: readings about the hold time over those about 60 s, in the mean of 250 benches."""
    _, drawn = many
    away = []
    for one in drawn:
        shown = run_of(one, "R2")
        hold, initial = shown[87:92].mean(), shown[1:4].mean()  # about 1800 s and 60 s
        away.append(math.log(hold / initial / one.others["remaining light", "K2", "A", "record R2", "hold"]))
    # light at 40, 60 and 80 s is curved by less than 0.1 %
    assert abs(np.mean(away)) < 4 * np.std(away) / math.sqrt(250) + 0.001
    assert 0.002 < np.std(away) < 0.006  # 0.3 % drift, 2 s of the clock, scatter


def test_amplitudes_and_time_constants_are_those_of_the_curve(many):
    """Oracle: the generating parts at 60 s; what the pieces add lies in the slowest part."""
    _, drawn = many
    mine = [key for key in drawn[0].others if key[1] == "K2" and key[0].startswith("warm-up")]
    times = sorted(drawn[0].others[key] for key in mine if key[0].endswith("constant"))
    assert times == sorted(drawn[9].others[key] for key in mine if key[0].endswith("constant"))
    assert_allclose(times[-1], TAUS[1], rtol=0.2)
    slowest = "record R2, part 1 of 2" if len(times) == 2 else "record R2"
    shares = [one.others["warm-up amplitude", "K2", "A", slowest, "initial"] for one in drawn]
    expected = 100.0 * PARTS[1] * math.exp(-60.0 / TAUS[1]) / light(60.0)
    assert abs(np.mean(shares) - expected) < 2.0
    assert np.std(shares) > 0.5


def test_a_range_adds_the_same_to_every_reading_and_record(tmp_path):
    """Oracle: the same draws with a meter without such a term; a rectangle of 1 % of the range, for all records."""
    made = {}
    for percent in ("0", "1"):
        toml = TOML.replace(
            "range_percent = 0.1\nranges_lx = [400", f"range_percent = {percent}\nranges_lx = [400"
        )
        text = readings(late=("B0", "K1"))
        made[percent] = Protocol(
            bench(tmp_path / percent, text, toml=toml, lamps=FOUR, warm_up=records()), whole=True
        )
    table = made["0"].bench.tables["warm_up"]
    (top,), alone = set(table["range_lx"]), table["run"] != "R1"  # of K1 the readings say what is left
    step, added = {400.0: 0.01, 4000.0: 0.1}[top], []
    for k in range(60):
        drawn = {p: one.draw(6, k).bench.tables for p, one in made.items()}
        away, read = (
            drawn["1"][name]["illuminance_lx"] - drawn["0"][name]["illuminance_lx"]
            for name in ("warm_up", "readings")
        )
        assert (
            np.ptp(away[alone]) < 4.5 * step
        )  # two displays were rounded; the truths differ in their last digits
        added.append(away[alone].mean())
        assert abs(read[0] - added[-1]) < 4.5 * step  # the readings of that range have the same error
    assert np.abs(added).max() <= 0.01 * top + step
    spread = np.std(added) * math.sqrt(3.0) / (0.01 * top)
    assert abs(spread - 1.0) < 4.0 * 0.45 / math.sqrt(60)  # standard error of the SD of a rectangle


def test_a_record_without_a_fit_stays_as_it_was(whole, tmp_path):
    few = whole.tables["warm_up"].groupby("run").head(6).reset_index(drop=True)
    short = replace(whole, tables={**whole.tables, "warm_up": few})
    drawn = Protocol(short, whole=True).draw(1, 0)
    pd.testing.assert_frame_equal(drawn.bench.tables["warm_up"], few)
    assert not any("record" in key[3] for key in drawn.others)


def test_a_beam_is_seated_anew_and_read_within_the_meter_s_limits(whole, many):
    """Oracle: by hand: scale and colour anywhere within 3 % and 6 %, linearity 0.6 %, seats of the campaign's SD."""
    protocol, drawn = many
    table = whole.tables["beam"]
    peaks = (table["horizontal_deg"] == 0) & (table["vertical_deg"] == 0)
    net = table.loc[peaks, "illuminance_lx"].to_numpy() - 2.0
    shown = np.array([one.bench.tables["beam"].loc[peaks, "illuminance_lx"] for one in drawn]) - 2.0
    seat = protocol._spreads.seating_in("A").sd
    scatter = 0.001  # repeats 1 lx apart in 1000 lx
    own = math.sqrt((0.03**2 + 0.06**2 + 0.006**2) / 3.0 + seat**2 + scatter**2)
    for k in (0, 1):
        assert_allclose(np.log(shown[:, k] / net[k]).std(), own, rtol=0.15)
    apart = np.log(shown[:, 1] / shown[:, 0]) - math.log(net[1] / net[0])
    assert_allclose(apart.std(), math.sqrt(2.0 * (own**2 - 0.03**2 / 3.0)), rtol=0.15)  # one scale
    corner = (table["horizontal_deg"] == 6) & (table["vertical_deg"] == 4)
    faint = np.array([one.bench.tables["beam"].loc[corner, "illuminance_lx"] for one in drawn]) - 2.0
    zero = faint - table.loc[corner, "illuminance_lx"].to_numpy() * shown / net + 2.0 * shown / net
    assert np.corrcoef(zero.T)[0, 1] > 0.9  # one range term, 0.1 % of 400 lx, on both faint corners
    assert stats.kstest(zero.mean(axis=1), stats.uniform(-0.4, 0.8).cdf).pvalue > 1e-4


def test_a_beam_s_truth_as_seated_and_without_the_seating(whole, many):
    """Oracle: the ratio of the beams as read; with the seats, the ratio of two bright cells less the meter's part."""
    _, drawn = many
    (lamp,) = [one for one in evaluate_beams(whole).results if one.lamp == "K1"]
    for name, what in (("hot-spot intensity ratio", "hot spot"), ("window flux ratio", "window flux")):
        key = (name, "K1", "A", "hot_spot" if what == "hot spot" else "beam", "")
        truth = np.array([[one.others[*key, scope] for scope in ("readings", "specimens")] for one in drawn])
        assert_allclose(truth[:, 1], lamp.ratio(what).value, rtol=1e-12)
        seats = np.log(truth[:, 0] / truth[:, 1])
        assert abs(seats.mean()) < 4 * seats.std() / math.sqrt(250)
    loose = Protocol(whole, World(seating_percent=20.0), whole=True)
    peaks = (whole.tables["beam"]["horizontal_deg"] == 0) & (whole.tables["beam"]["vertical_deg"] == 0)
    pairs = []
    for k in range(60):
        one = loose.draw(1, k)
        base, own = one.bench.tables["beam"].loc[peaks, "illuminance_lx"] - 2.0
        pairs.append((math.log(own / base), math.log(one.others[*key, "readings"])))
    assert np.corrcoef(np.transpose(pairs))[0, 1] > 0.9  # colour and linearity, 5 %, beside 28 %
    still = Protocol(whole, STILL, whole=True).draw(1, 0)
    assert still.others[*key, "readings"] == still.others[*key, "specimens"]


def test_an_upper_limit_stays_one(whole):
    table = whole.tables["beam"].copy()
    table.loc[:4, "censored"] = "below"
    drawn = Protocol(replace(whole, tables={**whole.tables, "beam": table}), whole=True).draw(2, 1)
    shown = drawn.bench.tables["beam"]
    assert_allclose(shown["illuminance_lx"][:5], table["illuminance_lx"][:5])
    assert (shown["illuminance_lx"][5:60] != table["illuminance_lx"][5:60]).mean() > 0.9


def test_links_err_as_the_readings_of_their_meters(tmp_path):
    """Oracle: K1 on both meters: without scatter and linearity, readings and link change by one factor."""
    exact = TOML.replace("linearity_percent = 0.6", "linearity_percent = 0").replace(
        "range_percent = 0.1", "range_percent = 0"
    )
    rows = "lamp,specimen,housing,mounting,illuminance_lx,meter,range_lx\n" + "".join(
        f"{lamp},1,A,{seat},{lux},{meter},4000\n"
        for lamp, lux in (("B0", 900), ("K1", 1000), ("K3", 1200))
        for seat, meter in ((1, "M1"), (2, "M1"), (3, "M2"))
    )
    read = bench(tmp_path, rows, toml=exact, lamps=FOUR, links=LINKS)
    protocol = Protocol(read, STILL)
    seen, level = [], []
    for k in range(60):
        one = protocol.draw(4, k).bench
        light = one.tables["readings"].set_index(["lamp", "mounting"])["illuminance_lx"]
        link = one.tables["links"].set_index("lamp")
        for lamp in ("B0", "K1", "K3"):
            changed = math.log(link["new_lx"][lamp] / link["old_lx"][lamp])
            assert abs(changed - math.log(light[lamp, "3"] / light[lamp, "1"])) < 3e-4  # steps of 0.1 lx
        seen.append(changed)
        level.append(math.log(link["old_lx"]["K3"] / 1200.0))
    assert abs(np.mean(level)) < 4 * np.std(level) / math.sqrt(
        60
    )  # what the old meter showed is taken as true
    u = math.sqrt((0.03**2 + 0.04**2 + 0.06**2 + 0.03**2) / 3.0 * (1.0 + 1.0 / 50.0))
    assert np.std(seen) < 1.3 * u
    assert np.std(seen) > 0.7 * u


def test_a_link_has_no_dark_reading_and_no_range_term(tmp_path):
    """Oracle: meters with a range term alone: what they show of dark falls out of a link."""
    dark = TOML
    for name, size in (
        ("reading", "3"),
        ("reading", "4"),
        ("index", "6"),
        ("index", "3"),
        ("linearity", "0.6"),
    ):
        dark = dark.replace(f"{name}_percent = {size}\n", f"{name}_percent = 0\n")
    read = bench(tmp_path, readings(meter={}), toml=dark, lamps=FOUR, links=LINKS)
    scatter = evaluate(read).spreads.reading["K1"].sd
    shown = Protocol(read, STILL, whole=True).draw(1, 0).bench.tables["links"]
    assert scatter < 0.001
    assert_allclose(shown["old_lx"], [900.0, 1000.0, 1200.0], rtol=5 * scatter)
    assert_allclose(shown["new_lx"], [900.0, 1000.0, 1200.0], rtol=5 * scatter)


def test_without_a_second_meter_links_of_ratios_stay(tmp_path):
    read = bench(tmp_path, readings(meter={}), toml=TOML, lamps=FOUR, links=LINKS)
    drawn = Protocol(read).draw(1, 0).bench
    pd.testing.assert_frame_equal(drawn.tables["links"], read.tables["links"])
    assert not Protocol(read, whole=True).draw(1, 0).bench.tables["links"].equals(read.tables["links"])


@pytest.mark.parametrize(
    ("gone", "same"),
    [
        ("warm_up", ("beam", "distance", "links")),
        ("beam", ("readings", "warm_up", "distance", "links")),
        ("distance", ("readings", "warm_up", "beam", "links")),
        ("links", ("beam", "distance")),
    ],
)
def test_another_table_moves_no_other_draw(whole, gone, same):
    """Oracle: the same seed without one table; a record and a link change what is true of light, not its draws."""
    world = World(seating_percent=2.0)
    tables = {**whole.tables, gone: whole.tables[gone].iloc[:0]}
    every, left = (Protocol(one, world, whole=True) for one in (whole, replace(whole, tables=tables)))
    before, after = (one.draw(5, 2).bench.tables for one in (every, left))
    for name in same:
        pd.testing.assert_frame_equal(after[name], before[name])
    known = {source.name: source for source in every._sources}
    for source in left._sources:
        if len(source.sd) == len(known[source.name].sd) and (source.sd == known[source.name].sd).all():
            assert_allclose(source.draw(5, 2), known[source.name].draw(5, 2), rtol=0)
    assert {"seating", "noise", ("scale", "M1")} <= set(known)


def test_an_aim_that_misses_only_takes_light(tmp_path):
    """Oracle: the chi-squared law of two deviations that are alike: exponential, mean as asked."""
    exact = TOML.replace("reading_percent = 3", "reading_percent = 0").replace(
        "_index_percent = 6", "_index_percent = 0"
    )
    exact = exact.replace("linearity_percent = 0.6", "linearity_percent = 0").replace(
        "range_percent = 0.1", "range_percent = 0"
    )
    read = bench(tmp_path, readings(meter={}, seats=(1,)), toml=exact, lamps=FOUR)
    one, other = (Protocol(read, replace(STILL, aim_percent=aim)) for aim in (0.0, 3.0))
    lost = [
        math.log(
            a.draw(2, k).bench.tables["readings"]["illuminance_lx"][0]
            / b.draw(2, k).bench.tables["readings"]["illuminance_lx"][0]
        )
        for k in range(400)
        for a, b in [(one, other)]
    ]
    assert min(lost) > -2e-4  # steps of 0.1 lx
    assert stats.kstest(np.maximum(lost, 0.0), stats.expon(scale=0.03).cdf).pvalue > 1e-4
    truth = [p.draw(2, 1).ln_light for p in (one, other)]
    assert truth[0] == truth[1]


def test_a_near_field_takes_from_near_runs(whole):
    """Oracle: by hand: 1 - (0.5 m / d)^2 against the same bench without; the intensity stays."""
    far, near = (Protocol(whole, World(near_field_m=nf), whole=True).draw(3, 1) for nf in (0.0, 0.5))
    runs = [one.bench.tables["distance"] for one in (far, near)]
    ratio = (runs[1]["illuminance_lx"] - 2.0) / (runs[0]["illuminance_lx"] - 2.0)
    # tape and centre are up to 60 mm off: 6 % of what is taken
    assert_allclose(1.0 - ratio, 0.25 / runs[0]["distance_m"] ** 2, rtol=0.06, atol=2e-4)
    key = ("luminous intensity", "K1", "A", "hot_spot", "")
    assert far.others[key] == near.others[key]


@pytest.mark.parametrize("wrong", [{"aim_percent": -1.0}, {"near_field_m": math.inf}])
def test_worlds_that_cannot_be(wrong):
    with pytest.raises(ValueError, match=f"{next(iter(wrong))} must be 0 to 100"):
        World(**wrong)


@pytest.fixture(scope="module")
def rehearsed(whole):
    plan, protocol = Plan(seed=6, families_every=0), Protocol(whole, whole=True)
    lines = lines_of(protocol, plan)
    return table_of(rehearse_block(protocol, plan, lines, range(60)), plan, lines, 0.95)


def test_records_beams_and_a_changed_meter_cover_what_they_state(rehearsed):
    """Oracle: the drawn truth: 95 % or more, less 4 standard errors; each kind of result has a line of its own."""
    told = rehearsed[(rehearsed["figure"] == "coverage") & (rehearsed["lamp"] == "all")]
    kinds = {
        "illuminance ratio", "remaining light", "remaining light beyond the record", "warm-up amplitude",
        "warm-up time constant", "hot-spot intensity ratio", "window flux ratio", "luminous intensity",
    }  # fmt: skip
    assert kinds <= set(told["measurand"])
    for row in told.to_dict("records"):
        assert row["value"] > 95.0 - 4.0 * max(row["standard_error"], 1.5), row
    changed = rehearsed[(rehearsed["lamp"] == "K2") & (rehearsed["figure"] == "coverage")]
    changed = changed[(changed["measurand"] == "illuminance ratio") & (changed["instant"] == "initial")]
    assert set(changed["scope"]) == {"specimens", "models"}
    assert (changed["value"] > 83.0).all()  # 95 % less 4 standard errors of 60 benches


def test_percentages_are_off_by_points(rehearsed):
    """Oracle: the half-width of an amplitude of some 10 % is far below one of a ratio in ln."""
    rows = rehearsed[(rehearsed["measurand"] == "warm-up amplitude") & (rehearsed["figure"] == "half-width")]
    assert rows["value"].between(0.05, 8.0).all()
    assert set(rows["unit"]) == {"%"}


def test_the_command_offers_both_worlds(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    bench(tmp_path / "mine", readings(meter={}), toml=TOML, lamps=FOUR)
    told = []
    for more in ([], ["--true-aim-percent", "8"]):
        assert main(["rehearse", "mine", "--benches", "8", "--out", "out.csv", *more]) == 0
        told.append(pd.read_csv("out.csv"))
    key = {"lamp": "all", "figure": "bias", "instant": "initial", "scope": "specimens"}
    bias = [t.loc[(t[list(key)] == pd.Series(key)).all(axis=1), "value"].iloc[0] for t in told]
    assert bias[0] != bias[1]
    assert set(told[1]["aim_percent"]) == {8.0}

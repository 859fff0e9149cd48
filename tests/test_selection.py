"""Readings of a second meter. Oracles: by hand, identities, invented benches whose truth is known."""

import io
import math
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from benches import make
from numpy.testing import assert_allclose
from small_benches import HOUSING, METER, bench, csv

from photolab.bench.folder.records import read_bench
from photolab.bench.folder.write import write_bench
from photolab.bench.inputs.selection import instants, select
from photolab.bench.inputs.shared_inputs import term_of
from photolab.bench.questions.meter_change import meter_change
from photolab.bench.questions.repeatability import baseline_charts
from photolab.bench.results.candela import bench_candela
from photolab.bench.results.evaluation import evaluate
from photolab.errors import RecordError
from photolab.publication.report.held_back import held_back
from photolab.publication.report.readiness import left_out_words, report
from photolab.publication.report.workbook_table import as_workbook
from photolab.publication.sentences.statements import finding_words
from photolab.publication.sentences.words_bench import linked_words

BENCHES = Path(__file__).parent / "benches"

SECOND = '[[meter]]\nid = "M2"\nreading_percent = 3\nranges_lx = [400, 4000]\nresolution_lx = [0.1, 1]\n'
TOML = METER + SECOND + HOUSING
LAMPS = "lamp,technology,role\n" + "".join(
    f"{lamp},{'filament' if lamp[0] == 'B' else 'led'},{'baseline' if lamp == 'B0' else 'candidate'}\n"
    for lamp in ("B0", "B1", "B2", "K1", "K2", "K3")
)
FACTOR = {"B": 0.96, "K": 1.05}
SPREAD = (1.0, 1.004, 0.997)
LIGHT = {"B0": 500.0, "K1": 600.0, "K2": 550.0}
HEADER = "lamp,illuminance_lx,housing,day,mounting,meter,range_lx"


def rows(days=("d1", "d2", "d3"), second=("d3",), *, mounting=None):
    """Return readings of three lamps, each seated twice a day; days of the second meter show its factor."""
    made = []
    for day in days:
        meter = "M2" if day in second else "M1"
        for lamp, lux in LIGHT.items():
            for seat in (1, 2):
                shown = lux * (1.0 + 0.01 * seat) * (FACTOR[lamp[0]] if meter == "M2" else 1.0)
                made.append((lamp, shown, "HP", day, seat if mounting is None else mounting, meter, 4000))
    return made


def links(lamps=("B0", "B1", "B2", "K1", "K2", "K3"), *, turned=False):
    """Return links.csv: new over old is the factor of the technology times a spread with mean 1 in ln."""
    spread = np.exp(np.log(SPREAD) - np.log(SPREAD).mean())
    made = [
        (
            lamp,
            "filament" if lamp[0] == "B" else "led",
            "M1",
            "M2",
            500,
            float(500 * FACTOR[lamp[0]] * spread[i % 3]),
        )
        for i, lamp in enumerate(lamps)
    ]
    if turned:
        made = [(lamp, tech, new, old, b, a) for lamp, tech, old, new, a, b in made]
    return csv("lamp,technology,old_meter,new_meter,old_lx,new_lx", made)


def linked(tmp_path, *, toml=TOML, table=None, readings=None):
    more = {} if table is None else {"links": table}
    return bench(tmp_path / "b", csv(HEADER, readings or rows()), toml=toml, lamps=LAMPS, **more)


@pytest.mark.parametrize("turned", [False, True])
def test_linked_readings_give_the_ratio_that_one_meter_gives(tmp_path, turned):
    """Oracle: the same light on one meter alone; links.csv may name the meters either way round."""
    campaign = evaluate(linked(tmp_path, table=links(turned=turned)))
    alone = evaluate(linked(tmp_path / "one", readings=rows(second=())))
    assert campaign.selection.left_out.empty
    assert_allclose(campaign.joint.values, alone.joint.values, rtol=1e-12)


def columns(campaign, term):
    """Return the columns of the inputs that are of one sort."""
    return np.array([i for i, q in enumerate(campaign.joint.inputs) if term_of(q) == term], dtype=int)


def test_the_link_is_one_input_for_each_meter_and_technology(tmp_path):
    """Oracle: by hand: SD of three lamps over sqrt 3, 2 dof, and a third of each lamp's weight."""
    campaign = evaluate(linked(tmp_path, table=links()))
    at = columns(campaign, "link")
    found = {campaign.joint.inputs[i].name: campaign.joint.inputs[i] for i in at}
    assert set(found) == {("link", "M2", "filament"), ("link", "M2", "led")}
    u = float(np.log(SPREAD).std(ddof=1)) / math.sqrt(3.0)
    for one in found.values():
        assert_allclose(one.u, u, rtol=1e-12)
        assert one.dof == 2.0
    acts = campaign.joint.sensitivities[:, at].toarray()
    assert_allclose(acts.sum(axis=1), 1.0 / 3.0, rtol=1e-12)
    assert ((np.abs(acts) > 1e-9).sum(axis=1) == 1).all()


def test_a_lamp_of_the_second_meter_shares_scale_and_colour_with_the_first(tmp_path):
    """Oracle: scale cancels from the ratio; colour of LED lamps is one input on either meter."""
    mixed = [r for r in rows() if (r[0] == "K2") == (r[3] == "d3")]
    campaign = evaluate(linked(tmp_path, table=links(), readings=mixed))
    names = [n[0] for n in campaign.weights.names]
    by = dict(zip(names, campaign.joint.sensitivities.toarray(), strict=True))
    for kind, sign in (("scale", 1.0), ("colour", 1.0)):
        at = columns(campaign, kind)
        assert len(at) == 1
        assert_allclose(by["K2"][at], sign * by["K1"][at], rtol=1e-12)
    own = [campaign.joint.inputs[i].name[1:] for i in columns(campaign, "own colour")]
    assert sorted(own) == [("M1", "K1"), ("M2", "K2")]
    ranges = {campaign.joint.inputs[i].name[1] for i in columns(campaign, "linearity")}
    assert ranges == {"M1", "M2"}


def test_the_doubt_of_two_links_widens_a_ratio_and_that_of_one_cancels(tmp_path):
    """Oracle: by hand: both readings of the second meter; u squared grows by two links, or by none."""
    found = evaluate(linked(tmp_path, table=links()))
    at = columns(found, "link")
    u = found.joint.inputs[at[0]].u
    for pair, expected in ((("K1", "B0"), 2.0 * (u / 3.0) ** 2), (("K1", "K2"), 0.0)):
        ratio = found.ratio(*pair)
        share = [(c * q.u) ** 2 for q, c in ratio.result.parts.items() if q.name[0] == "link"]
        assert_allclose(sum(share), expected, rtol=1e-9, atol=1e-20)


def test_a_seating_read_on_both_meters_links_them(tmp_path):
    """Oracle: the factor that the readings were drawn with; the readings that made the link enter once."""
    both = [
        (lamp, 500 * (FACTOR[lamp[0]] if meter == "M2" else 1.0), "HP", "d9", 1, meter, 4000)
        for lamp in ("B0", "B1", "B2", "K1", "K2", "K3")
        for meter in ("M1", "M2")
    ]
    selection = select(linked(tmp_path, readings=rows() + both))
    assert_allclose(np.exp(-selection.links["ln"].to_numpy()), [FACTOR["B"], FACTOR["K"]], rtol=1e-12)
    assert set(selection.left_out["reason"]) == {
        "read with M2 in a seating read with M1 too: it serves their link"
    }
    assert len(selection.left_out) == 6
    blank = select(linked(tmp_path / "blank", readings=[(*r[:4], "", *r[5:]) for r in rows() + both]))
    assert "no link of the two" in blank.left_out["reason"].iloc[0]


def test_seatings_link_by_their_light_without_the_dark(tmp_path):
    """Oracle: the factor that the light was drawn with; 5 lx of dark light are on every reading."""
    both = [
        (lamp, 50 * (FACTOR[lamp[0]] if meter == "M2" else 1.0), "HP", "d9", 1, meter, 4000)
        for lamp in ("B0", "B1", "B2", "K1", "K2", "K3")
        for meter in ("M1", "M2")
    ]
    shown = [(lamp, lux + 5.0, *rest, 5.0) for lamp, lux, *rest in rows() + both]
    selection = select(bench(tmp_path, csv(HEADER + ",dark_lx", shown), toml=TOML, lamps=LAMPS))
    assert_allclose(np.exp(-selection.links["ln"].to_numpy()), [FACTOR["B"], FACTOR["K"]], rtol=1e-12)


@pytest.mark.parametrize("shape", sorted(make.shapes()))
def test_every_reading_enters_or_is_listed_with_a_reason(tmp_path, shape):
    """Oracle: counting, on benches of every shape."""
    read = read_bench(make.write(make.shapes()[shape], tmp_path / "b"))
    selection = select(read)
    whole = len(read.tables["readings"]) + len(read.excluded)
    assert len(selection.readings) + len(selection.left_out) == whole
    assert all(selection.left_out["reason"])


def test_readings_that_no_link_reaches_are_told_in_check_on_the_page_and_in_the_workbook(tmp_path):
    """Oracle: the readings of the second meter counted by hand in the folder: 6 and 12."""
    folder = BENCHES / "two-meters"
    told = "\n".join(report(folder, published=tmp_path / "none"))
    campaign = evaluate(read_bench(folder))
    page = "\n".join(one.words for one in held_back(campaign))
    for said in ("6 readings of stock: read with L2", "12 readings of Lark and Merle: read with L2"):
        assert said in told
        assert said in page
    assert "accept_provisional = true" in told
    book = openpyxl.load_workbook(io.BytesIO(as_workbook(campaign.table, campaign.selection.left_out)))
    assert book["left out"].max_row == 1 + 18


def test_a_provisional_link_can_be_accepted_and_is_named(tmp_path):
    """Oracle: by hand: scatter of the pairs, and f1'/(5 sqrt 2) of each meter as a limit for each of two lamps."""
    table = links(("B0", "B1", "B2", "K1", "K2"))
    refused = evaluate(linked(tmp_path, table=table))
    assert set(refused.selection.left_out["lamp"]) == {"K1", "K2"}
    assert not any("link" in a.name for a in refused.assumed)
    campaign = evaluate(
        linked(tmp_path / "a", table=table, toml=TOML + "[links]\naccept_provisional = true\n")
    )
    assert campaign.selection.left_out.empty
    named = [a for a in campaign.assumed if a.name == "provisional link of M2 to M1 for led lamps"]
    assert len(named) == 1
    assert "provisional link of M2 to M1" in campaign.table["assumed"].iloc[0]
    pairs = np.log(SPREAD) - np.log(SPREAD).mean()
    scatter = float(pairs[[0, 1]].std(ddof=1)) / math.sqrt(2.0)
    colour = 0.1 / (5.0 * math.sqrt(2.0)) / math.sqrt(3.0)
    whole = math.sqrt(scatter**2 + 2.0 * colour**2 / 2.0)
    assert_allclose(named[0].value, 100.0 * whole, rtol=1e-12)
    (link,) = (one for one in campaign.selection.through if one["technology"] == "led")
    assert_allclose(
        link["dof"], (whole / scatter) ** 4, rtol=1e-9
    )  # limits are known: one scatter of two pairs
    accepted = TOML + "[links]\naccept_provisional = true\n"
    two = select(linked(tmp_path / "d", table=links(("B0", "B1", "K1", "K2", "K3")), toml=accepted)).through
    assert_allclose([(one["u"], one["dof"]) for one in two if one["n"] == 2], [(scatter, 1.0)], rtol=1e-9)
    one = select(
        linked(tmp_path / "c", table=links(("B0",)), toml=TOML + "[links]\naccept_provisional = true\n")
    )
    assert "one pair of readings" in one.left_out["reason"].iloc[0]


def test_the_key_of_links_is_checked_written_and_read_from_a_workbook(tmp_path):
    """Oracle: what was typed."""
    with pytest.raises(
        RecordError, match=r'links.accept_provisional = "yes"; write accept_provisional = true'
    ):
        linked(tmp_path, toml=TOML + '[links]\naccept_provisional = "yes"\n')
    with pytest.raises(RecordError, match=r"Did you mean accept_provisional"):
        linked(tmp_path, toml=TOML + "[links]\naccept_provisonal = true\n")
    with pytest.raises(RecordError, match=r"It belongs under \[links\]"):
        linked(tmp_path, toml="accept_provisional = true\n" + TOML)
    read = linked(tmp_path, toml=TOML + "[links]\naccept_provisional = true\n")
    again = read_bench(write_bench(read, tmp_path / "again"))
    assert again.settings == read.settings
    assert again.settings.accept_provisional
    book = openpyxl.Workbook()
    keys = book.active
    keys.title = "bench"
    for row in (
        ("section", "id", "key", "value"),
        ("", "", "schema", 1),
        ("links", "", "accept_provisional", "yes"),
        ("meter", "M1", "reading_percent", 3),
    ):
        keys.append(row)
    sheet = book.create_sheet("readings")
    for row in (("lamp", "illuminance_lx"), ("A1", 318), ("A2", 334)):
        sheet.append(row)
    (tmp_path / "w").mkdir()
    book.save(tmp_path / "w" / "bench.xlsx")
    assert read_bench(tmp_path / "w").settings.accept_provisional


def test_the_chart_of_the_baseline_uses_linked_days(tmp_path):
    """Oracle: all days show one light, so the day of the second meter lies where the others do."""
    found = baseline_charts(evaluate(linked(tmp_path, table=links())))[0].chart
    assert list(found.table["day"]) == ["d1", "d2", "d3"]
    assert np.ptp(found.table["mean"].to_numpy()) < 1e-12
    assert found.signals == ()


def test_days_of_a_linked_meter_err_together_on_the_chart(tmp_path):
    """Oracle: by hand: the step to the last day against the sum of the days' own variance and the link's."""
    campaign = evaluate(linked(tmp_path, table=links()))
    rows = campaign.selection.readings
    u = float(rows.loc[(rows["lamp"] == "B0") & (rows["meter"] == "M2"), "link_u"].iloc[0])
    chart = baseline_charts(campaign)[0].chart
    days = chart.table
    own = float(days["sd"].iloc[0])
    variance = own**2 * (1.0 - 1.0 / 3.0) + np.array([u / 3.0, u / 3.0, 2.0 * u / 3.0]) ** 2
    assert_allclose(days["high"] - chart.centre, chart.limits["day"] * np.sqrt(variance), rtol=1e-9)
    factor = math.exp(rows.loc[rows["meter"] == "M2", "link_ln"].iloc[0])
    told = f"On d3 it was read with M2 and brought to M1 by their link, {factor:.4f} times; these days share"
    assert linked_words(campaign)[0].startswith(told)


def test_candela_of_linked_readings_carry_the_link(tmp_path):
    """Oracle: the same candela as on one meter; the link's u times the share of its readings."""
    toml = TOML.replace('id = "HP"', 'id = "HP"\ndistance_m = 5', 1)
    mixed = linked(tmp_path, toml=toml, table=links())
    one = bench_candela(mixed, lamp="K1")[0]
    alone = bench_candela(linked(tmp_path / "one", toml=toml, readings=rows(second=())), lamp="K1")[0]
    assert_allclose(one.intensity.value, alone.intensity.value, rtol=1e-12)
    parts = {q.name: c for q, c in one.intensity.parts.items() if q.name[0] == "link"}
    assert_allclose(parts[("link", "M2", "led")] / one.intensity.value, 1.0 / 3.0, rtol=1e-9)


def test_a_change_of_meter_takes_readings_of_the_new_one_as_they_are(tmp_path):
    """Oracle: the figures typed; the factor of the technology on the others."""
    campaign = evaluate(linked(tmp_path, table=links()))
    told = meter_change(campaign).readings
    typed = told["illuminance_lx"].to_numpy()
    factor = np.array([FACTOR[lamp[0]] for lamp in told["lamp"]])
    expected = np.where(told["meter"] == "M2", typed, factor * typed)
    assert_allclose(told["linked_lx"], expected, rtol=1e-12)
    assert (told["range_lx"] == 4000).all()


@pytest.mark.parametrize(
    ("declared", "told"),
    [
        ("", {49: "", 50: "initial", 70: "initial", 71: "", 1709: "", 1710: "hold", 1890: "hold", 1891: ""}),
        (
            "initial_window_s = 0\nhold_minutes = 20\n",
            {58.9: "", 59: "initial", 61: "initial", 61.1: "", 1800: ""},
        ),
    ],
)
def test_an_instant_ends_where_its_window_does(tmp_path, declared, told):
    """Oracle: the rule by hand: 60 s within the window, 1 s at least; the hold time within 5 %."""
    toml = (METER + HOUSING).replace('protocol_revision = "1"\n', f'protocol_revision = "1"\n{declared}')
    made = bench(
        tmp_path,
        csv("lamp,housing,illuminance_lx,elapsed_s", (("B0", "HP", 300, at) for at in told)),
        toml=toml,
    )
    assert instants(made).tolist() == list(told.values())


def test_lamps_without_a_link_are_named_as_the_trade_writes_them(tmp_path):
    """Oracle: by hand: six readings of LED lamps and three of B0 on a second meter, no link."""
    said = left_out_words(evaluate(linked(tmp_path)))
    assert any("no link of the two for LED lamps; read 3 LED lamps with both" in one for one in said)
    assert any("no link of the two for filament lamps" in one for one in said)
    campaign = evaluate(linked(tmp_path / "a", table=links()))
    words = [finding_words(one) for one in campaign.findings if one.code == "readings_linked"]
    assert any(one.startswith("Readings of LED lamps with M2") for one in words)

"""The recomputation without Python. Oracles: LibreOffice, results.csv, page one, arithmetic on what is printed."""

import io
import math
import os
import re
import shutil
import subprocess
import sys
import zipfile
from functools import cache

import numpy as np
import openpyxl
import pandas as pd
import pytest
from benches import make
from numpy.testing import assert_allclose
from shared_demo import BENCHES, DEMO, bench_of, campaign_of, rows_of
from small_benches import METER, bench, csv

from photolab.bench.inputs.surface import camera_limit, camera_reading, emissivity_of, mirrored_room
from photolab.metrology.reporting import END_DIGITS, VALUE_DIGITS
from photolab.publication.report import recompute
from photolab.publication.report.page_one import LIGHT, PageOne, Told
from photolab.publication.report.recompute import as_recomputation, by_hand
from photolab.publication.sentences.figure_tables import signed
from photolab.thermal.thermography import surface_reading

SOFFICE = "soffice"
SHAPES = make.shapes()
KEPT = sorted(one.name for one in BENCHES.iterdir() if (one / "bench.toml").is_file())
RECALCULATED = [
    "demo",
    "club",
    "two-clear",
    "heat-reverses",
    "no-baseline",
    "hostile-names",
    "meters-linked",
    "bounds",
    "warmed",
]
"""One housing without a hold reading (club), two readings, records of two housings, links, a record that ends early."""
WORDS = "ABS AVERAGE EXP IF ISNUMBER LN MAX MIN SQRT SUM SUMPRODUCT SUMSQ"
SHEETS = "budget|light|limits|readings|records|seatings|watts|temperatures|planck"
PLACE = rf"(?:(?:{SHEETS})!)?[A-Z]{{1,3}}[1-9][0-9]*"
OWN = re.compile(rf"(?:{'|'.join(WORDS.split())}|{PLACE}|[0-9]+(?:\.[0-9]+)?|[-+*/^(),:])+")


def missing():
    """Return why LibreOffice cannot recalculate; empty if it can."""
    return "" if shutil.which(SOFFICE) else f"no LibreOffice called {SOFFICE}"


def need_office():
    """Skip with a reason where there is no LibreOffice, or fail where one is required."""
    reason = missing()
    if reason and os.environ.get("PHOTOLAB_REQUIRE_OFFICE") == "1":
        pytest.fail(f"PHOTOLAB_REQUIRE_OFFICE=1, but {reason}")
    if reason:
        pytest.skip(reason)


def recalculated(place, *files):
    """Return workbooks as LibreOffice computes them."""
    home = {"HOME": str(place), "PATH": os.environ["PATH"]}
    profile = f"-env:UserInstallation={(place / 'profile').as_uri()}"
    out = place / "recalculated"
    line = [SOFFICE, profile, "--headless", "--convert-to", "xlsx", "--outdir", str(out), *map(str, files)]
    subprocess.run(line, env=home, check=True, capture_output=True, timeout=300)
    return [openpyxl.load_workbook(out / one.name, data_only=True) for one in files]


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    place = tmp_path_factory.mktemp("shapes")

    @cache
    def folder(name):
        if name == "demo":
            return DEMO
        if name == "warmed":
            return warmed(place / name)
        if name == "bounds":
            t = np.arange(30.0, 1816.0, 15.0)
            rows = [
                (
                    f"w{lamp}",
                    lamp,
                    f"{a:g}",
                    f"{lux * (left + (1 - left) * math.exp(-a / 300)) * (1 + x):.2f}",
                )
                for lamp, lux, left, until in (
                    ("K1", 120, 0.9, 1200),
                    ("B0", 100, 0.99, 1800),
                    ("K2", 90, 0.8, 1800),
                )
                for a, x in zip(t, np.random.default_rng(lux).normal(0.0, 0.002, t.size), strict=True)
                if a <= until
            ]
            told = csv("lamp,illuminance_lx", [("B0", 100), ("K1", 120), ("K2", 90)])
            bench(place / name, told, toml=METER, warm_up=csv("run,lamp,elapsed_s,illuminance_lx", rows))
            return place / name
        return make.write(SHAPES[name], place / name) if name in SHAPES else BENCHES / name

    return folder


@pytest.fixture(scope="module")
def made(folders):
    """Return campaign, rows and workbook of a bench by its name."""

    @cache
    def of(name):
        campaign = campaign_of(bench_of(folders(name)))
        rows = rows_of(campaign)
        return campaign, rows, as_recomputation(campaign, rows)

    return of


@pytest.fixture(scope="module")
def books(made, tmp_path_factory):
    need_office()
    place = tmp_path_factory.mktemp("books")
    for name in RECALCULATED:
        (place / f"{name}.xlsx").write_bytes(made(name)[2])
    files = [place / f"{name}.xlsx" for name in RECALCULATED]
    return dict(zip(RECALCULATED, recalculated(place, *files), strict=True))


def _half_unit(printed, digits):
    """Return half a unit in the last printed digit; that typed numbers are rounded too comes on top."""
    return 0.5 * 10.0 ** (math.floor(math.log10(abs(printed))) - digits + 1)


def warmed(place):
    """Return a bench whose watts are volts times amperes, of a pair, read twice; and surfaces of every kind."""
    power = [
        ("K1", 60, "", 13.2, 2.0, "pair", 3),
        ("K1", 60, "", 13.4, 2.1, "pair", 3),
        ("K1", 1800, 25.0, 13.0, 1.0, "lamp", ""),
        ("B0", 60, 55.0, "", "", "lamp", ""),
    ]
    spots = [
        ("K1", 1800, 80, "bare", 0.9, 0.98, 0.1, 20, "fin", 3),  # its emissivity is cut at 1; pixels scatter
        ("K1", 1800, 75, "tape", 1.0, "", "", 30, "fin", ""),
        ("B0", 1700, 60, "thermocouple", "", "", "", "", "base", ""),
        ("K2", 1800, 40, "bare", 0.95, 0.1, 0.05, 22, "fin", ""),  # mostly the mirrored room
        ("K2", 1800, 45, "bare", 0.95, "", "", 22, "base", ""),  # no emissivity: no temperature
    ]
    told = csv("lamp,illuminance_lx", [("B0", 100), ("K1", 120), ("K2", 90)])
    head = "lamp,elapsed_s,power_W,socket_V,current_A,per,uncertainty_percent"
    seen = "lamp,elapsed_s,displayed_C,method,set_emissivity,emissivity,emissivity_half_width,reflected_C"
    seen += ",place,pixel_sd_K"
    bench(place, told, toml=METER, electrical=csv(head, power), thermal=csv(seen, spots))
    return place


def lines_of(book, sheet):
    """Return the lines of a sheet by its heads."""
    rows = list(book[sheet].iter_rows(values_only=True))
    start = next(k for k, row in enumerate(rows) if row[0] in {"lamp", "line of the file"})
    return [dict(zip(rows[start], row, strict=True)) for row in rows[start + 1 :]]


@pytest.mark.parametrize("name", RECALCULATED)
def test_libreoffice_gives_every_ratio_of_results_csv_to_its_last_digit(books, made, name):
    """Oracle: results.csv; LibreOffice computes from the typed readings on."""
    campaign, rows, _ = made(name)
    settings = campaign.bench.settings
    times = {"initial": f"{settings.initial_s:g} s", "hold": f"{settings.hold_minutes:g} min"}
    ratios = rows[rows["measurand"] == LIGHT].to_dict("records")
    lines = lines_of(books[name], "limits")
    assert len(lines) == len(ratios) > 0
    for line, row in zip(lines, ratios, strict=True):
        key = [line[head] or "" for head in ("lamp", "housing", "place", "time", "scope")]
        assert key == [row["lamp"], row["housing"], row["point"], times[row["instant"]], row["scope"]]
        assert_allclose(line["ratio"], row["value"], rtol=2e-7, atol=_half_unit(row["value"], VALUE_DIGITS))
        if math.isnan(row["low"]):
            assert line["u, %"] == "no answer yet"
            continue
        ends = {
            "low": "low",
            "high": "high",
            "low, among all": "family_low",
            "high, among all": "family_high",
        }
        for head, end in ends.items():
            typed = (
                1e-5 if "family" in end else 1e-6
            )  # factors of 5 and 8 digits, of half-widths up to a fifth
            assert_allclose(line[head], row[end], rtol=typed, atol=_half_unit(row[end], END_DIGITS))
        assert 0.0 <= line["largest difference, % (rounding: up to 0.05)"] <= 0.051


@pytest.mark.parametrize("name", RECALCULATED)
def test_libreoffice_gives_watts_with_their_limits_and_temperatures(books, made, name):
    """Oracle: results.csv; LibreOffice multiplies volts and amperes and solves the law of the camera's band."""
    campaign, rows, _ = made(name)
    settings = campaign.bench.settings
    times = {"initial": f"{settings.initial_s:g} s", "hold": f"{settings.hold_minutes:g} min"}
    watts = {(x["lamp"], x["time"]): x for x in reversed(lines_of(books[name], "watts"))}
    told = rows[rows["measurand"] == "electrical power"].to_dict("records")
    assert len(watts) == len(told)
    for row in told:
        line = watts[row["lamp"], times[row["instant"]]]
        for head, end, digits in (("mean", "value", 6), ("low", "low", 4), ("high", "high", 4)):
            assert_allclose(line[f"{head}, W"], row[end], rtol=1e-9, atol=_half_unit(row[end], digits))
            assert_allclose(line[f"{head}, as published"], row[end], rtol=1e-9)
    spots = rows[(rows["measurand"] == "surface temperature") & rows["value"].notna()].to_dict("records")
    lines = lines_of(books[name], "temperatures")
    assert len(lines) == len(spots)
    for line, row in zip(lines, spots, strict=True):
        assert line["lamp"] == row["lamp"]
        assert ", ".join(filter(None, (line["place"], line["method"]))) == row["point"]
        assert_allclose(line["temperature, °C"], row["value"], rtol=1e-9, atol=_half_unit(row["value"], 6))
        for end in ("low", "high"):
            half, away = _half_unit(row[end], 4), abs(row[end] - row["value"])
            # a factor of 5 digits, times u
            assert_allclose(line[f"{end}, °C"], row[end], rtol=0, atol=half + 5e-5 * away)
    if name == "warmed":
        assert (len(told), len(spots)) == (3, 4)
        # 13.2 V x 2 A and 13.4 V x 2.1 A, of a pair: closed form
        assert_allclose(watts["K1", "60 s"]["mean, W"], (13.2 * 2.0 + 13.4 * 2.1) / 4.0, rtol=1e-12)
        (bare,) = (x for x in lines if (x["lamp"], x["method"]) == ("K1", "bare"))
        assert bare["emissivity that enters"] == pytest.approx((0.88 + 1.0) / 2.0)
        # the sum of squares of what each input brings: closed form
        parts = [bare[head] for head in bare if head.startswith("u from ")]
        assert len(parts) == 4
        assert_allclose(bare["u, K"], math.sqrt(math.fsum(x**2 for x in parts)), rtol=1e-12)


@pytest.mark.parametrize("name", RECALCULATED)
def test_libreoffice_gives_page_one(books, made, name):
    """Oracle: the figures in the table of page one, and the rows of what is left."""
    campaign, rows, _ = made(name)
    errors = [c for sheet in books[name] for line in sheet.iter_rows(values_only=True) for c in line]
    assert not [c for c in errors if isinstance(c, str) and c.startswith("#")]
    settings = campaign.bench.settings
    times = {"initial": f"{settings.initial_s:g} s", "hold": f"{settings.hold_minutes:g} min"}
    by_lamp = {line["lamp"]: line for line in lines_of(books[name], "lamps")}
    held = 0
    for lamp, *cells in PageOne(campaign, rows).table:
        for part in (part for cell in cells for part in cell if isinstance(part, Told)):
            row = dict(part.row)
            heads = {"electrical power": "watts", "surface temperature": "°C"}
            if head := heads.get(row["measurand"]):
                shown = float(part.text.replace("\N{NO-BREAK SPACE}", " ").partition(" ")[0])
                digits = len(part.text.replace("\N{NO-BREAK SPACE}", " ").partition(" ")[0].partition(".")[2])
                assert_allclose(by_lamp[lamp[0]][head], shown, rtol=0, atol=0.5 * 10.0**-digits + 1e-9)
            if row["measurand"] != LIGHT or part.value <= 0 or part.column != "value":
                continue
            found = by_lamp[lamp[0]][f"{row['housing']} {times[row['instant']]}: more light, %"]
            places = len(part.text.partition(".")[2].removesuffix("%").strip())
            assert signed(found, places=places) == part.text
            (of,) = rows[(rows[list(row)].fillna("") == pd.Series(row)).all(axis=1)].to_dict("records")
            for head, end in (("from", "family_low"), ("to", "family_high")):
                limit = by_lamp[lamp[0]][f"{row['housing']} {times[row['instant']]}: {head}, %"]
                if not math.isnan(of[end]):
                    half = _half_unit(of[end], END_DIGITS)
                    assert_allclose(
                        1.0 + limit / 100.0, of[end], rtol=1e-5, atol=half
                    )  # a factor of 5 digits
            held += 1
    assert held > 0
    records = {
        (r["lamp"], r["housing"] or ""): r["what is left, %"]
        for r in reversed(lines_of(books[name], "records"))
    }
    left = rows[rows["measurand"] == "remaining light"].to_dict("records")
    lit = {(r["lamp"], r["housing"] or "", r["time"]): r["light, lx"] for r in lines_of(books[name], "light")}
    for row in (one for one in left if one["scope"] == "specimens"):
        after, first = (lit[row["lamp"], row["housing"], times[one]] for one in ("hold", "initial"))
        assert_allclose(after / first, row["value"], rtol=1e-5)
    for row in (one for one in left if one["scope"] == "readings"):
        told = records[row["lamp"], row["housing"]] / 100.0
        assert_allclose(told, row["value"], rtol=2e-7, atol=_half_unit(row["value"], VALUE_DIGITS))


def test_a_changed_reading_changes_the_ratios(books, made, tmp_path):
    """Oracle: closed form: a tenth more of K1 everywhere is a tenth more in its ratios, and nothing in the others."""
    book = openpyxl.load_workbook(io.BytesIO(made("demo")[2]))
    for row in book["readings"].iter_rows(min_row=4):
        if row[1].value == "K1":
            dark = row[10].value or 0.0
            row[9].value = dark + 1.1 * (row[9].value - dark)
    book.save(tmp_path / "changed.xlsx")
    assert not [line for line in lines_of(books["demo"], "light") if line["ln left, from bounds"]]
    (changed,) = recalculated(tmp_path, tmp_path / "changed.xlsx")
    for one, two in zip(lines_of(books["demo"], "limits"), lines_of(changed, "limits"), strict=True):
        for head in ("ratio", "low, among all", "high"):
            assert_allclose(
                two[head] / one[head], 1.1 if one["lamp"] == "K1" else 1.0, rtol=1e-8
            )  # 10 typed digits


def test_a_changed_emissivity_changes_temperature_and_limits(books, made, tmp_path):
    """Oracle: the law and the sums of squares of the program, for the emissivity that was typed."""
    book = openpyxl.load_workbook(io.BytesIO(made("warmed")[2]))
    (line,) = (
        row for row in book["temperatures"].iter_rows() if (row[0].value, row[2].value) == ("K2", "bare")
    )
    assert (line[5].value, line[6].value) == (0.1, 0.05)
    line[5].value, line[6].value = 0.6, 0.03
    book.save(tmp_path / "changed.xlsx")
    (changed,) = recalculated(tmp_path, tmp_path / "changed.xlsx")
    (now,) = (x for x in lines_of(changed, "temperatures") if (x["lamp"], x["method"]) == ("K2", "bare"))
    shown = camera_reading(40.0, camera_limit(40.0), ("K2",))
    given = {"emissivity": emissivity_of(0.6, 0.03, ("K2",)), "reflected": mirrored_room(22.0, ("K2",))}
    found = surface_reading(shown, method="bare", set_emissivity=0.95, **given).temperature
    spread = now["u from the law of the camera, K"]
    assert_allclose(now["temperature, °C"], found.value, rtol=1e-9)
    # finite differences there, derivatives here
    assert_allclose(now["u, K"], math.hypot(found.u, spread), rtol=1e-6)
    for end, way, factor in (("low", -1, "factor down"), ("high", 1, "factor up")):
        assert_allclose(
            now[f"{end}, °C"], now["temperature, °C"] + way * now[factor] * now["u, K"], rtol=1e-12
        )


@pytest.mark.parametrize("name", ["demo", *KEPT, *SHAPES, "bounds"])
def test_no_formula_but_our_own_and_no_text_of_the_folder_is_one(made, name):
    """Oracle: the grammar of what this workbook needs; a text that begins like a formula is text, also when edited."""
    book = openpyxl.load_workbook(io.BytesIO(made(name)[2]))
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.value is not None]
    formulas = [cell for cell in cells if cell.data_type == "f"]
    assert formulas
    for cell in formulas:
        assert cell.value.startswith("=")
        assert OWN.fullmatch(cell.value[1:]), cell.value
    texts = [cell for cell in cells if cell.data_type == "s" and cell.value.startswith(("=", "+", "-", "@"))]
    assert all(cell.quotePrefix for cell in texts)
    if name == "hostile-names":
        assert {"=1+1", "@cmd|'x'!A0", "=d1", "=M$1$"} <= {cell.value for cell in texts}
    packed = zipfile.ZipFile(io.BytesIO(made(name)[2])).namelist()
    assert not [one for one in packed if "external" in one.lower() or "vba" in one.lower()]


def test_the_same_campaign_gives_the_same_bytes(made):
    campaign, rows, content = made("heat-reverses")
    assert as_recomputation(campaign, rows) == content
    assert as_recomputation(campaign, rows, last_day="2026-02-03") != content


def test_what_rounding_leaves_of_an_input_that_cancels_is_not_written(made, monkeypatch):
    """Oracle: the same bytes as without it; such a rest is another number on another processor."""
    campaign, rows, content = made("heat-reverses")
    whole = recompute.variance_by_term
    monkeypatch.setattr(recompute, "variance_by_term", lambda one: {"link": 1e-38} | whole(one))
    assert as_recomputation(campaign, rows) == content


def test_too_many_readings_are_not_written_and_the_means_stand_typed(made, monkeypatch):
    """Oracle: the means of the campaign."""
    campaign, rows, _ = made("heat-reverses")
    monkeypatch.setattr(recompute, "_MOST", 10)
    book = openpyxl.load_workbook(io.BytesIO(as_recomputation(campaign, rows)))
    means = [line["mean of ln"] for line in lines_of(book, "seatings")]
    assert_allclose(means, campaign.seats["ln_value"], rtol=1e-9)  # 10 digits
    assert len(lines_of(book, "readings")) == 1


@pytest.mark.parametrize("name", ["demo", *KEPT, *SHAPES, "bounds"])
def test_one_figure_by_pocket_calculator_ends_at_the_figure_of_the_page(made, name):
    """Oracle: plain arithmetic on the printed numbers, each to half a unit in its last digit; page one."""
    campaign, rows, _ = made(name)
    table = PageOne(campaign, rows).table
    worked = by_hand(campaign, rows)
    if not table:
        assert worked is None
        return
    told = next(
        p for cell in table[0] for p in cell if isinstance(p, Told) and dict(p.row)["measurand"] == LIGHT
    )
    *_, last = lines = worked.paragraphs
    assert len(lines) <= 7
    assert last.endswith(f": {told.text}, as on page one.")
    steps = [
        s for line in lines for s in re.findall(r"(\S+|\(\S+ - \S+\)) × (\S+) = (\S+) lx, ln ([-.\d]+)", line)
    ]
    assert len(steps) >= 2
    for display, factor, lx, ln in steps:
        net = math.fsum(float(x) * (-1) ** k for k, x in enumerate(display.strip("()").split(" - ")))
        assert_allclose(net * float(factor), float(lx), rtol=0, atol=_half(lx))
        assert_allclose(math.log(float(lx)), float(ln), rtol=0, atol=_half(ln))
    for line in (one for one in lines if "; mean " in one):
        logs, mean = re.findall(r"lx, ln ([-.\d]+)", line), re.search(r"; mean (\S+)\.$", line)[1]
        assert_allclose(np.mean([float(x) for x in logs]), float(mean), rtol=0, atol=_half(mean))
    weighted = [
        re.fullmatch(r".*seatings ([-., \d]+?)(?: with weights ([-., \d]+))?: ([-.\d]+)\.", one)
        for one in lines
    ]
    for values, weights, mean in (one.groups() for one in weighted if one):
        numbers = [float(x) for x in values.split(", ")]
        assert_allclose(
            np.average(numbers, weights=[float(x) for x in weights.split(", ")] if weights else None),
            float(mean),
            rtol=0,
            atol=_half(mean),
        )
    terms, ln_ratio, ratio = re.fullmatch(
        r"ln of the ratio: (.+) = (\S+); e to this power is (\S+): .*", last
    ).groups()
    summed = sum(float(x) for x in terms.replace(" - ", " + -").replace("--", "").split(" + "))
    assert_allclose(summed, float(ln_ratio), rtol=0, atol=1e-9)
    assert_allclose(
        math.exp(float(ln_ratio)), float(ratio), rtol=5e-10, atol=_half(ratio)
    )  # at most 10 digits


def _half(text):
    """Return half a unit in the last printed digit, and what rounding of floats adds."""
    return 0.5 * 10.0 ** -len(text.partition(".")[2]) * (1.0 + 1e-6)


@pytest.mark.parametrize(("required", "outcome"), [("1", "Failed"), ("0", "Skipped")])
def test_no_office_is_said(monkeypatch, required, outcome):
    """Oracle: a program that is not there."""
    monkeypatch.setattr(sys.modules[__name__], "SOFFICE", "no-such-office")
    monkeypatch.setenv("PHOTOLAB_REQUIRE_OFFICE", required)
    with pytest.raises(BaseException, match="no LibreOffice called no-such-office") as caught:
        need_office()
    assert type(caught.value).__name__ == outcome


def test_figures_typed_in_foot_candles_are_said_to_stand_in_lux(tmp_path):
    """Oracle: by hand: 85.4 fc on the display is 919.238 lx in the working."""
    readings = csv("lamp,illuminance_fc", [("B0", 45.4), ("K1", 85.4)])
    toml = METER.replace("[400, 4000]", "[4306]").replace("[0.1, 1]", "[1.076]")
    for name, typed, told in (("fc", readings, 1), ("lx", readings.replace("_fc", "_lx"), 0)):
        campaign = campaign_of(bench(tmp_path / name, typed, toml=toml))
        worked = by_hand(campaign, rows_of(campaign))
        assert (
            worked.paragraphs[0].count("Figures typed in fc stand here in lx: 1 fc is 10.7639104 lx.") == told
        )
        assert ("919.238" in " ".join(worked.paragraphs)) == bool(told)

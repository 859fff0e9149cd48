"""Cautions of a folder that is read, each with the folder that must raise it.

Oracle of all rows: the project's own table of faults (a declared contract, no outside source); the
numbers quoted in messages are the ones typed into the folder.
"""

import math

import bench_folders as bf
import pytest
from numpy.testing import assert_allclose

from photolab.bench.folder.cautions import reading_scatter
from photolab.bench.folder.records import read_bench

ROLES = "lamp,technology,role,price,price_date\n"
CASES = [
    (
        "caution 20",
        {"readings_csv": bf.readings("A1,318,4000", "A1,318,4000", "A2,334,4000")},
        "readings.csv:3: identical to line 2 in every cell; was a row copied? [caution 20]",
    ),
    (
        "caution 30",
        {"bench_toml": bf.TOML.replace("schema = 1", "schema = 1\n[bench]\nnoticeable_percent = 25")},
        "bench.toml: bench.noticeable_percent is not used: what an eye would notice on a lit road is not known; "
        "take the line out. [caution 30]",
    ),
    (
        "caution 21",
        {"readings_csv": bf.readings("A1,318", "A2,334", header="lamp,illuminance_lx")},
        "2 readings of meter M1 state no range; its range terms are not shared. [caution 21]",
    ),
    (
        "caution 21",
        {"readings_csv": bf.readings("A1,318,400", "A2,434,4000", "A2,435,4000")},
        "A1 read on the 400 lx range, other readings on 4000 lx",
    ),
    (
        "caution 22",
        {
            "readings_csv": bf.readings(
                "A1,318,1", "A1,320,2", "A2,334,1", header="lamp,illuminance_lx,mounting"
            )
        },
        "readings.csv: A2 was seated once; 3 % is assumed for seating. [caution 22]",  # two seatings show no scatter
    ),
    (
        "caution 22",
        {
            "bench_toml": bf.TOML.replace("schema = 1", "schema = 1\n[bench]\nmounting_sd_percent = 2"),
            "readings_csv": bf.readings(
                *(f"A1,{318 + k},{k}" for k in range(1, 6)), "A2,334,1", header="lamp,illuminance_lx,mounting"
            ),
        },
        "readings.csv: A2 was seated once; the scatter of other lamps' seatings is used for seating. [caution 22]",
    ),
    (
        "caution 22",
        {"bench_toml": bf.TOML.replace("schema = 1", "schema = 1\n[bench]\nmounting_sd_percent = 2")},
        "readings.csv: A1 and A2 were seated once; the declared 2 % is used for seating. [caution 22]",
    ),
    ("caution 22", {}, "readings.csv: A1 and A2 were seated once; 3 % is assumed for seating. [caution 22]"),
    (
        "caution 23",
        {"bench_toml": bf.TOML.replace("range_percent = 0.5", "range_percent = 0.005")},
        "meter.range_percent = 0.005 % is very small; is it in %? [caution 23]",
    ),
    (
        "caution 23",
        {"bench_toml": bf.TOML.replace("range_percent = 0.5\n", "")},
        'meter "M1" has neither range_percent nor digits; 0 is used.',
    ),
    (
        "caution 23",
        {"electrical_csv": "lamp,elapsed_s,power_W,per,uncertainty_percent\nA1,60,20,lamp,0.02\n"},
        "uncertainty_percent: 0.02 % is very small",
    ),
    (
        "caution 24",
        {"readings_csv": bf.readings("A1,318,10", "A2,334,40", header="lamp,illuminance_lx,rest_minutes")},
        "A1: off for 10 min before switch-on; 30 min or more is wanted. [caution 24]",
    ),
    (
        "caution 25",
        {"lamps_csv": bf.LAMPS.replace("A1,led", "A1,filament")},
        "1 reading of the filament lamp A1 states no volts; the supply is assumed. [caution 25]",
    ),
    (
        "caution 26",
        {"lamps_csv": ROLES + "A1,led,baseline,30,2024-01-01\nA2,led,candidate,,\n", "days_csv": bf.DAYS},
        "the price of A1 was 459 days old on the last day, 2025-04-04",
    ),
    (
        "caution 27",
        {"bench_toml": bf.TOML + "calibrated_on = 2023-04-04\n", "days_csv": bf.DAYS},
        'meter "M1" was calibrated on 2023-04-04, 24 months before the last day',
    ),
    (
        "caution 28",
        {
            "readings_csv": bf.readings(
                *[f"A1,{300 + 12 * (i % 2)},{i + 1}" for i in range(4)],
                *[f"A2,{330 + i % 2},{i + 1}" for i in range(6)],
                header="lamp,illuminance_lx,repeat",
            )
        },
        "repeats of A1 scatter by 2.3 %, those of the other lamps by 0.17 %",
    ),
    (
        "caution 29",
        {"lamps_csv": bf.LAMPS.replace("baseline", "candidate")},
        "lamps.csv: no lamp is the baseline; ratios are against the first lamp, A1, by row order. [caution 29]",
    ),
    (
        "caution 29",
        {"lamps_csv": bf.LAMPS.replace("candidate", "baseline")},
        "A1 and A2 are all baseline; ratios are against A1, by row order. [caution 29]",
    ),
    (
        "caution 29",
        {"lamps_csv": bf.LAMPS.replace("baseline", "candidate") + "B0,filament,baseline\n"},
        "the baseline B0 has no reading",
    ),
    (
        "caution 30",
        {"readings_csv": bf.readings("A1,318,5", header="lamp,illuminance_lx,rest_minute")},
        "rest_minute is not a column of this file; kept as text, not used. Did you mean rest_minutes? [caution 30]",
    ),
    (
        "caution 30",
        {"warmup_csv": bf.WARM},
        "warmup.csv: this file is not read; did you mean warm_up.csv? [caution 30]",
    ),
    (
        "caution 31",
        {"electrical_csv": bf.POWER + "A1,60,20,13.2,2,lamp\n"},
        "electrical.csv:2: power_W: 20 W, and volts times amperes give 26.4 W; which is right? [caution 31]",
    ),
    (
        "caution 32",
        {"warm_up_csv": bf.WARM + "W1,A1,1,300\nW1,A1,40,280\n"},
        "run W1 ends at 40 s; if these are minutes, name the column elapsed_minutes. [caution 32]",
    ),
    (
        "caution 34",
        {"warm_up_csv": bf.WARM + "W1,A1,0,1.1\nW1,A1,30,300\nW1,A1,1800,280\n"},
        "warm_up.csv:2: illuminance_lx: 1.1 lx, then 300 lx; if the lamp was not lit yet, leave the row out.",
    ),
    (
        "caution 34",
        {
            "readings_csv": bf.readings(
                "A1,318,", "A2,334,0.5", "A2,335,", header="lamp,illuminance_lx,dark_lx"
            )
        },
        "readings.csv:2: dark_lx: blank in 2 of 3 readings that are compared; there 0 is used. [caution 34]",
    ),
    (
        "caution 32",
        {"thermal_csv": bf.HEAT + "A1,40,205,tape,0.95\n"},
        "thermal.csv:2: displayed_C: 205 degC is very hot",
    ),
]


@pytest.mark.parametrize(("code", "changes", "words"), CASES)
def test_caution_is_said_and_the_folder_is_read(tmp_path, code, changes, words):
    bench = read_bench(bf.make(tmp_path / "b", **changes))
    said = [str(problem) for problem in bench.warnings]
    assert any(words in line and f"[{code}]" in line for line in said), "\n".join(said)


def test_a_dark_reading_in_all_rows_of_one_housing_is_no_caution(tmp_path):
    """Oracle: lamps are compared within a housing; HP has a dark reading in every row, HR in none."""
    rows = [
        f"{lamp},{housing},318,{dark}"
        for housing, dark in (("HP", "0.5"), ("HR", ""))
        for lamp in ("A1", "A2")
    ]
    header = "lamp,housing,illuminance_lx,dark_lx"
    folder = bf.make(tmp_path / "b", bench_toml=bf.HOUSED, readings_csv=bf.readings(*rows, header=header))
    assert not [problem for problem in read_bench(folder).warnings if problem.column == "dark_lx"]


def test_scatter_of_repeats_within_a_mounting_and_a_moment(tmp_path):
    # closed form: two values a and b have a sum of squares of ln(b/a)²/2 about their mean, with one degree
    # of freedom; readings 31 s apart, at another mounting or without an instant are not repeats of each other
    rows = [
        "A1,300,1,60",
        "A1,309,1,90",
        "A1,200,1,121",
        "A1,250,2,60",
        "A1,260,2,60",
        "A1,100,2,",
        "A2,50,1,60",
    ]
    text = bf.readings(*rows, header="lamp,illuminance_lx,mounting,elapsed_s")
    table = reading_scatter(read_bench(bf.make(tmp_path / "b", readings_csv=text)).tables["readings"])
    expected = math.log(309 / 300) ** 2 / 2 + math.log(260 / 250) ** 2 / 2
    assert list(table["lamp"]) == ["A1", "A2"]
    assert list(table["dof"]) == [2, 0]
    assert_allclose(table["sum_of_squares"], [expected, 0.0], rtol=1e-12, atol=1e-25)  # float rounding


@pytest.mark.parametrize(("scatter", "said"), [(2.9, False), (3.1, True)])
def test_scatter_is_said_above_three_times_that_of_the_others(tmp_path, scatter, said):
    # ln readings at ±s and ±r about a level: SDs s sqrt(2) and r sqrt(2), in the ratio s/r; no resolution
    toml = bf.TOML.replace("resolution_lx = [0.1, 1, 10]\n", "")
    own = [f"A1,{300 * math.exp(sign * scatter * 1e-3)!r},{k}" for k in range(4) for sign in (1, -1)]
    others = [f"A2,{300 * math.exp(sign * 1e-3)!r},{k}" for k in range(4) for sign in (1, -1)]
    text = bf.readings(*own, *others, header="lamp,illuminance_lx,mounting")
    bench = read_bench(bf.make(tmp_path / "b", bench_toml=toml, readings_csv=text))
    assert any(problem.code == "caution 28" for problem in bench.warnings) == said


@pytest.mark.parametrize(("steps", "said"), [(1, False), (2, True)])
def test_a_coarse_display_is_not_taken_for_scatter(tmp_path, steps, said):
    # steps of 1 lx on 30 lx, where the other lamp happens to show no scatter at all: an SD of n / 30 / sqrt 2
    # against three times 1 / 30 / sqrt 12, the display's own
    own = [f"A1,{30 + steps * (k % 2)},4000,{k // 2}" for k in range(8)]
    others = [f"A2,30,4000,{k // 2}" for k in range(8)]
    text = bf.readings(*own, *others, header="lamp,illuminance_lx,range_lx,mounting")
    bench = read_bench(bf.make(tmp_path / "b", readings_csv=text))
    assert any(problem.code == "caution 28" for problem in bench.warnings) == said


@pytest.mark.parametrize(("lamp", "said"), [("A1", False), ("A2", True)])
def test_repeats_of_a_filament_lamp_at_other_volts_do_not_scatter_by_them(tmp_path, lamp, said):
    """Oracle: by hand: light as volts to the power of 3.42, at 13.2 V +- 1 %; that of an LED lamp has no such law."""
    volts = [13.2 * (1 + sign / 100) for _ in range(4) for sign in (1, -1)]
    other = "A2" if lamp == "A1" else "A1"
    lit = [f"{lamp},{300 * (v / 13.2) ** 3.42!r},{k // 2},{v!r}" for k, v in enumerate(volts)]
    still = [f"{other},{300 * math.exp((-1) ** k * 1e-3)!r},{k // 2},13.2" for k in range(8)]
    text = bf.readings(*lit, *still, header="lamp,illuminance_lx,mounting,socket_V")
    lamps = bf.LAMPS.replace("A1,led", "A1,filament")
    bench = read_bench(bf.make(tmp_path / "b", readings_csv=text, lamps_csv=lamps))
    assert any(problem.code == "caution 28" for problem in bench.warnings) == said


@pytest.mark.parametrize(("volts", "said"), [(10.6, True), (10.4, False), (9.6, False), (9.4, True)])
def test_power_is_held_against_volts_times_amperes_within_five_percent(tmp_path, volts, said):
    text = bf.POWER + f"A1,60,20,{volts},2,lamp\n"
    bench = read_bench(bf.make(tmp_path / "b", electrical_csv=text))
    assert any(problem.code == "caution 31" for problem in bench.warnings) == said


def test_calibration_one_day_short_of_two_years_is_not_old(tmp_path):
    toml = bf.TOML + "calibrated_on = 2023-04-05\n"
    bench = read_bench(bf.make(tmp_path / "b", bench_toml=toml, days_csv=bf.DAYS))
    assert not any(problem.code == "caution 27" for problem in bench.warnings)


@pytest.mark.parametrize(("priced", "said"), [("2024-10-06", False), ("2024-10-05", True)])
def test_price_is_old_after_180_days(tmp_path, priced, said):
    # 6 October 2024 is 180 days before 4 April 2025
    lamps = ROLES + f"A1,led,baseline,30,{priced}\nA2,led,candidate,,\n"
    bench = read_bench(bf.make(tmp_path / "b", lamps_csv=lamps, days_csv=bf.DAYS))
    assert any(problem.code == "caution 26" for problem in bench.warnings) == said


@pytest.mark.parametrize(
    ("late", "minutes"),
    [
        ((299,), None), ((300,), 5), ((14400,), 240), ((14401,), None), ((2382,), 40),
        ((3600, 2405, 2405), 40), ((2405, 3600), 60), ((2405, 1800), None),
    ],
)  # fmt: skip
def test_a_hold_time_is_proposed_from_the_commonest_time_of_held_lamps(tmp_path, late, minutes):
    # the rule: 5 min to 4 h, to the minute, the longer of two as common; none where readings stand at the one declared
    text = bf.readings(
        "A1,318,60", "A2,334,60", *(f"A1,{310 - k},{at}" for k, at in enumerate(late)),
        header="lamp,illuminance_lx,elapsed_s",
    )  # fmt: skip
    (said,) = (
        str(problem)
        for problem in read_bench(bf.make(tmp_path / "b", readings_csv=text)).warnings
        if problem.code == "caution 38"
    )
    assert ("write hold_minutes" in said) == (minutes is not None)
    assert minutes is None or f"write hold_minutes = {minutes} in bench.toml" in said


def test_a_point_that_two_lamps_share_is_compared(tmp_path):
    # of three lamps one alone was read at the corner
    text = bf.readings(
        "A1,318,centre", "A2,334,centre", "A3,20,corner", "A3,320,centre", header="lamp,illuminance_lx,point"
    )
    lamps = bf.LAMPS + "A3,led,candidate\n"
    bench = read_bench(bf.make(tmp_path / "b", readings_csv=text, lamps_csv=lamps))
    said = [str(problem) for problem in bench.warnings if problem.code == "caution 38"]
    assert [one.split('"')[1] for one in said] == ["corner"]


@pytest.mark.parametrize(
    ("asked", "read", "said"),
    [
        ("2025-04-03", "D01", False),
        ("2025-04-04", "D01", True),
        ("2025-04-04", "D02", False),
        ("2025-04-04", "", False),
    ],
)
def test_a_question_that_is_dated_after_the_first_reading_is_told(tmp_path, asked, read, said):
    # days.csv: D01 is 3 April 2025, D02 the day after; without a day nothing is known
    text = bf.readings(f"A1,318,{read}", f"A2,334,{read}", header="lamp,illuminance_lx,day")
    toml = bf.TOML + bf.QUESTION.replace("2025-04-03", asked)
    bench = read_bench(bf.make(tmp_path / "b", bench_toml=toml, readings_csv=text, days_csv=bf.DAYS))
    told = [str(problem) for problem in bench.warnings if "asked" in str(problem)]
    assert len(told) == said
    words = 'question about "A2": asked_on = 2025-04-04, after the first reading, of 2025-04-03; is the date right?'
    assert all(line.startswith(f"bench.toml: {words}") for line in told)
    assert all(line.endswith("[caution 37]") for line in told)


@pytest.mark.parametrize(
    ("first", "then", "said"), [(31, 300, False), (29, 300, True), (300, 29, False), (0, None, False)]
)
def test_a_record_may_begin_before_the_lamp_was_lit(tmp_path, first, then, said):
    # the rule: less than a tenth of the next reading of the same run, and of its first reading alone
    rows = f"W1,A1,0,{first}\n" + (f"W1,A1,30,{then}\nW1,A1,1800,{then - 1}\n" if then else "")
    dip = "W2,A2,0,300\nW2,A2,30,1\nW2,A2,1800,290\n"
    warnings = read_bench(bf.make(tmp_path / "b", warm_up_csv=bf.WARM + rows + dip)).warnings
    lines = [problem.line for problem in warnings if "not lit yet" in str(problem)]
    assert lines == ([2] if said else [])

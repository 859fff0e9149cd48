"""Cells that look right and are wrong: each is a fault or a caution where it stands, and its sound neighbour is none.

Oracle of all rows: the project's own list of slips (a declared contract, no outside source); the numbers quoted in
messages are the ones typed into the folder.
"""

import re

import bench_folders as bf
import pytest

from photolab.bench.folder.records import RecordError, read_bench

HOUSED = bf.TOML + '[[housing]]\nid = "HP"\n'
CLAIMED = "lamp,technology,role,claimed_flux_lm,claimed_per\n"
WORDS = {"Halogen": "filament", "incandescent": "filament", "Xenon": "discharge", "HID": "discharge"}
WALL = "run,lamp,housing,x_mm,y_mm,illuminance_lx\n"
FACTOR = '[[meter.spectral_factor]]\ntechnology = "led"\nfactor = {}\nexpanded_uncertainty = 0.01\n'
DARK = "lamp,illuminance_lx,range_lx,dark_lx"
DISTANCE = "run,lamp,housing,distance_m,illuminance_lx,dark_lx\n"
SPECTRUM = {"spectra_csv": bf.SPECTRA + "S1,source,A1,,s1.csv\n"}
PIECES = "lamp,illuminance_lx,specimen"
CYRILLIC_A1 = "\u04101"


def spectrum(low, high):
    return "wavelength_nm,value\n" + "".join(f"{nm},1\n" for nm in range(low, high + 1, 10))


def days(*rows):
    return "day,date\n" + "\n".join(rows) + "\n"


# code, the wrong folder, what is said, a sound neighbour that must not raise the code
IN_ONE = bf.readings("A1,318,HP", "A2,334,HP", header="lamp,illuminance_lx,housing")
CASES = [
    (
        "fault 14",
        {"readings_csv": bf.readings("A1,318,4000,-21", "A2,334,4000,3", header=DARK)},
        "readings.csv:2: dark_lx: -21 lx; a covered meter shows 0, give or take what its accuracy line "
        "allows. [fault 14]",
        {"readings_csv": bf.readings("A1,318,4000,-19", "A2,334,4000,3", header=DARK)},
    ),
    (
        "caution 34",
        {"readings_csv": bf.readings("A1,318,4000,170", "A2,334,4000,3", header=DARK)},
        "readings.csv:2: dark_lx: 170 lx is above half the reading of 318 lx; was the lamp covered? [caution 34]",
        {"readings_csv": bf.readings("A1,318,4000,150", "A2,334,4000,3", header=DARK)},
    ),
    (
        "caution 34",
        {
            "bench_toml": HOUSED,
            "distance_csv": DISTANCE + "R1,A1,HP,3,300,2\nR1,A1,HP,4,200,\nR1,A1,HP,5,100,2\n",
        },
        "distance.csv:3: dark_lx: blank in 1 of 3 rows of run R1; there 0 is used. [caution 34]",
        {"bench_toml": HOUSED, "distance_csv": DISTANCE + "R1,A1,HP,3,300,2\nR1,A1,HP,4,200,2\n"},
    ),
    *(
        (
            "caution 34",
            {"readings_csv": bf.readings(f"A1,318,{volts}", header="lamp,illuminance_lx,socket_V")},
            f"readings.csv:2: socket_V: {volts} V on a bench of 13.2 V (reference_voltage_V); which is right? Its "
            "light is given as it was read. [caution 34]",
            {"readings_csv": bf.readings("A1,318,12", header="lamp,illuminance_lx,socket_V")},
        )
        for volts in ("1.32", "10.1", "24")
    ),
    (
        "caution 34",
        {
            "readings_csv": bf.readings("A1,318,10.1", header="lamp,illuminance_lx,socket_V"),
            "lamps_csv": "lamp,technology,role\nA1,filament,baseline\n",
        },
        "readings.csv:2: socket_V: 10.1 V on a bench of 13.2 V (reference_voltage_V); which is right? [caution 34]",
        {
            "readings_csv": bf.readings("A1,318,12", header="lamp,illuminance_lx,socket_V"),
            "lamps_csv": "lamp,technology,role\nA1,filament,baseline\n",
        },
    ),
    (
        "caution 34",
        {"readings_csv": bf.readings("A1,318,21,13.2", header="lamp,illuminance_lx,socket_V,ambient_C")},
        "readings.csv:2: socket_V: 21 V on a bench of 13.2 V (reference_voltage_V); are volts and ambient in each",
        {"readings_csv": bf.readings("A1,318,13.2,21", header="lamp,illuminance_lx,socket_V,ambient_C")},
    ),
    (
        "fault 14",
        {"days_csv": "day,date,supply_V\nD01,2025-04-03,132\n"},
        "days.csv:2: supply_V: 132 V; wanted more than 0, at most 60 V.",
        {"days_csv": "day,date,supply_V\nD01,2025-04-03,13.2\n"},
    ),
    (
        "caution 34",
        {**SPECTRUM, "s1_csv": spectrum(400, 780)},
        "s1.csv: wavelength_nm: covers 400 to 780 nm; wanted 380 to 780 nm, all that is seen. [caution 34]",
        {**SPECTRUM, "s1_csv": spectrum(380, 780)},
    ),
    (
        "caution 34",
        {"bench_toml": bf.TOML + FACTOR.format(1.3)},
        'bench.toml: meter "M1": a spectral factor of 1.3 for led is far from 1; is it true over displayed',
        {"bench_toml": bf.TOML + FACTOR.format(1.2)},
    ),
    (
        "caution 38",
        {
            "readings_csv": bf.readings(
                "A1,318,60", "A1,310,90", "A2,334,60", header="lamp,illuminance_lx,elapsed_s"
            )
        },
        "readings.csv:3: elapsed_s: 1 reading of A1: not within 10 s of 60 s, nor at the hold time of 30 min;"
        " compared with nothing. [caution 38]",
        {
            "readings_csv": bf.readings(
                "A1,318,60", "A1,310,1800", "A2,334,69", header="lamp,illuminance_lx,elapsed_s"
            )
        },
    ),
    (
        "caution 38",
        {
            "readings_csv": bf.readings(
                "A1,318,60", "A1,310,2405", "A2,334,60", header="lamp,illuminance_lx,elapsed_s"
            )
        },
        "readings.csv:3: elapsed_s: 1 reading of A1: not within 10 s of 60 s, nor at the hold time of 30 min;"
        " compared with nothing; if lamps are held so long, write hold_minutes = 40 in bench.toml. [caution 38]",
        {
            "bench_toml": bf.TOML + "[bench]\nhold_minutes = 40\n",
            "readings_csv": bf.readings(
                "A1,318,60", "A1,310,2405", "A2,334,60", header="lamp,illuminance_lx,elapsed_s"
            ),
        },
    ),
    (
        "caution 38",
        {
            "readings_csv": bf.readings(
                "A1,318,", "A2,334,", "A2,335,hotspot", header="lamp,illuminance_lx,point"
            )
        },
        'readings.csv:4: point: "hotspot" has 1 reading of A2 alone: compared with nothing; did you mean hot_spot?',
        {"readings_csv": bf.readings("A1,318,", "A2,334,hot_spot", header="lamp,illuminance_lx,point")},
    ),
    (
        "caution 38",
        {
            "readings_csv": bf.readings(
                "A1,318,hotspot", "A2,334,hotspot", header="lamp,illuminance_lx,point"
            )
        },
        'readings.csv:2: point: "hotspot" has 2 readings of A1 and A2: another point than hot_spot;'
        " did you mean hot_spot?",
        {"readings_csv": bf.readings("A1,318,cold_spot", "A2,334,cold_spot", header="lamp,illuminance_lx,point")},
    ),
    (
        "fault 26",
        {"lamps_csv": None, "readings_csv": bf.readings("A1,318,4000", f"{CYRILLIC_A1},334,4000")},
        'is not "A1" in line 2: U+0410; retype both. [fault 26]',
        {"lamps_csv": None},
    ),
    (
        "fault 26",
        {
            "readings_csv": bf.readings(
                "A1,318,a", "A1,319,a\u200b", "A2,334,a", header="lamp,illuminance_lx,specimen"
            )
        },
        '"a\\u200b" is not "a" in line 2: U+200B; retype both.',
        {
            "readings_csv": bf.readings(
                "A1,318,a", "A1,319,b", "A2,334,a", header="lamp,illuminance_lx,specimen"
            )
        },
    ),
    (
        "fault 26",
        {"lamps_csv": None, "readings_csv": bf.readings("Grün,318,4000", "Gru\u0308n,334,4000")},
        'is not "Grün" in line 2: U+00FC, U+0308; retype both.',
        {"lamps_csv": None, "readings_csv": bf.readings("Grün,318,4000", "Grau,334,4000")},
    ),
    *(
        (
            "caution 36",
            {
                "readings_csv": bf.readings(
                    "A1,318,1", f"A1,319,{other}", "A2,334,1", header="lamp,illuminance_lx,mounting"
                )
            },
            f'readings.csv:3: mounting: "{other}" looks like "1" in line 2; are they one and the same? [caution 36]',
            {
                "readings_csv": bf.readings(
                    "A1,318,1", "A1,319,10", "A2,334,1", header="lamp,illuminance_lx,mounting"
                )
            },
        )
        for other in ("01", "1.0")
    ),
    *(
        (
            "caution 36",
            {"lamps_csv": None, "readings_csv": bf.readings(f"{one},318,4000", f"{other},334,4000")},
            f'readings.csv:3: lamp: "{other}" looks like "{one}" in line 2',
            {"lamps_csv": None, "readings_csv": bf.readings("i,318,4000", "l,334,4000")},
        )
        for one, other in (("1", "l"), ("I", "1"), ("O", "0"))
    ),
    (
        "fault 26",
        {"lamps_csv": None, "readings_csv": bf.readings("A,318,4000", "\u0410,334,4000")},
        'is not "A" in line 2: U+0410; retype both.',
        {"lamps_csv": None, "readings_csv": bf.readings("A,318,4000", "B,334,4000")},
    ),
    (
        "fault 26",
        {"bench_toml": bf.HOUSED.replace("HR", "\u041dP"), "readings_csv": IN_ONE},
        'bench.toml:13: housing: "\u041dP" is not "HP" in line 11: U+041D; retype both. [fault 26]',
        {"bench_toml": bf.HOUSED, "readings_csv": IN_ONE},
    ),
    (
        "caution 36",
        {"bench_toml": bf.HOUSED.replace("HR", "hp"), "readings_csv": IN_ONE},
        'bench.toml:13: housing: "hp" looks like "HP" in line 11; are they one and the same? [caution 36]',
        {"bench_toml": bf.HOUSED, "readings_csv": IN_ONE},
    ),
    (
        "caution 36",
        {"lamps_csv": None, "readings_csv": bf.readings("KO,318,4000", "K0,334,4000")},
        'readings.csv:3: lamp: "K0" looks like "KO" in line 2',
        {"lamps_csv": None, "readings_csv": bf.readings("KO,318,4000", "K1,334,4000")},
    ),
    (
        "caution 37",
        {"days_csv": days("D01,2025-04-04", "D02,2025-04-03")},
        "days.csv:3: date: 2025-04-03 is before the day above it; is the year right? [caution 37]",
        {"days_csv": bf.DAYS},
    ),
    (
        "caution 37",
        {"days_csv": days("D01,2025-04-03", "D02,2025-04-03")},
        "days.csv:3: date: 2025-04-03 is the date of day D01 too. [caution 37]",
        {"days_csv": bf.DAYS},
    ),
    (
        "caution 37",
        {"days_csv": days("D01,2025-04-03", "D02,2052-04-04")},
        "days.csv:3: date: 2052-04-04 is more than a year after the day above it; is the year right?",
        {"days_csv": days("D01,2025-04-03", "D02,2026-04-03")},
    ),
    (
        "caution 37",
        {
            "readings_csv": bf.readings(
                "A1,318,1,10:30", "A2,334,2,10:05", header="lamp,illuminance_lx,order,clock"
            )
        },
        "readings.csv:3: clock: 10:05 comes after 10:30 by the order of day",
        {
            "readings_csv": bf.readings(
                "A1,318,2,10:30", "A2,334,1,10:05", header="lamp,illuminance_lx,order,clock"
            )
        },
    ),
    (
        "caution 37",
        {"readings_csv": bf.readings("A1,318,23:50", "A2,334,00:05", header="lamp,illuminance_lx,clock")},
        "readings.csv:2: clock: 23:50 is 24 h after 00:05 on one day; is it right? After midnight the hours go on: 24",
        {"readings_csv": bf.readings("A1,318,23:50", "A2,334,24:05", header="lamp,illuminance_lx,clock")},
    ),
    (
        "caution 26",
        {
            "lamps_csv": "lamp,technology,role,price,price_date\nA1,led,baseline,30,2025-04-05\nA2,led,candidate,,\n",
            "days_csv": bf.DAYS,
        },
        "lamps.csv:2: price_date: the price of A1 is of 2025-04-05, after the last day, 2025-04-04; which is right?",
        {
            "lamps_csv": "lamp,technology,role,price,price_date\nA1,led,baseline,30,2025-04-04\nA2,led,candidate,,\n",
            "days_csv": bf.DAYS,
        },
    ),
    (
        "caution 27",
        {"bench_toml": bf.TOML + "calibrated_on = 2025-04-05\n", "days_csv": bf.DAYS},
        'meter "M1" was calibrated on 2025-04-05, after the last day, 2025-04-04. [caution 27]',
        {"bench_toml": bf.TOML + "calibrated_on = 2025-04-04\n", "days_csv": bf.DAYS},
    ),
    (
        "fault 7",
        {"warm_up_csv": "run,lamp,elapsed_s,illuminance_lx,day\nW1,A1,30,318,D01\nW1,A1,60,317,D02\n"},
        'warm_up.csv:3: run: "W1" stands for day "D01" in line 2; give each its own run. [fault 7]',
        {"warm_up_csv": "run,lamp,elapsed_s,illuminance_lx,day\nW1,A1,30,318,D01\nW1,A1,60,317,D01\n"},
    ),
    (
        "caution 37",
        {"days_csv": days("D01,2099-04-03", "D02,2099-04-04")},
        "days.csv:2: date: 2099-04-03 is outside 2000 to 2049; is the year right?",
        {"days_csv": days("D01,2049-04-03", "D02,2049-04-04")},
    ),
    (
        "fault 26",
        {"readings_csv": bf.readings("A1,318,a-1", "A1,319,a\u20131", "A2,334,a-1", header=PIECES)},
        ": U+2013; retype both. [fault 26]",
        {"readings_csv": bf.readings("A1,318,a-1", "A1,319,b-1", "A2,334,a-1", header=PIECES)},
    ),
    (
        "caution 36",
        {"readings_csv": bf.readings("A1,318,a 1", "A1,319,a  1", "A2,334,a 1", header=PIECES)},
        '"a  1" looks like "a 1" in line 2; are they one and the same? [caution 36]',
        {"readings_csv": bf.readings("A1,318,a 1", "A1,319,a 2", "A2,334,a 1", header=PIECES)},
    ),
    (
        "fault 7",
        {"warm_up_csv": "run,lamp,elapsed_s,illuminance_lx,mounting\nW1,A1,30,318,1\nW1,A1,60,317,2\n"},
        'warm_up.csv:3: run: "W1" stands for mounting "1" in line 2; give each its own run. [fault 7]',
        {"warm_up_csv": "run,lamp,elapsed_s,illuminance_lx,mounting\nW1,A1,30,318,1\nW1,A1,60,317,1\n"},
    ),
    (
        "caution 32",
        {"electrical_csv": bf.POWER + "A1,60,,13.2,55,lamp\n"},
        "electrical.csv:2: current_A: 55 A is a lot; if these are mA, divide by 1000. [caution 32]",
        {"electrical_csv": bf.POWER + "A1,60,,13.2,5.5,lamp\n"},
    ),
    (
        "caution 32",
        {"lamps_csv": CLAIMED + "A1,led,baseline,9.5,pair\nA2,led,candidate,,\n"},
        "lamps.csv:2: claimed_flux_lm: 9.5 lm is very little; if it is klm, multiply by 1000. [caution 32]",
        {"lamps_csv": CLAIMED + "A1,led,baseline,950,pair\nA2,led,candidate,,\n"},
    ),
    (
        "caution 40",
        {"lamps_csv": CLAIMED + "A1,led,baseline,950,pair\nA2,led,candidate,,\n"},
        "lamps.csv:2: claimed_where: blank beside a claim; write where it is printed. [caution 40]",
        {
            "lamps_csv": CLAIMED.replace("per\n", "per,claimed_where\n")
            + "A1,led,baseline,950,pair,the box\nA2,led,candidate,,,\n"
        },
    ),
    (
        "caution 32",
        {"bench_toml": HOUSED, "beam_csv": WALL + "G1,A1,HP,-1.5,0,30\nG1,A1,HP,1.5,0,40\n"},
        "beam.csv:2: x_mm: the grid of run G1 is 3 mm wide; if these are metres, multiply by 1000. [caution 32]",
        {"bench_toml": HOUSED, "beam_csv": WALL + "G1,A1,HP,-1500,0,30\nG1,A1,HP,1500,0,40\n"},
    ),
    (
        "caution 30",
        {"readings_csv": bf.readings("A1,318,box.jpg", "A2,334,", header="lamp,illuminance_lx,photo")},
        'readings.csv:2: photo: "box.jpg" is not in the folder. [caution 30]',
        {
            "readings_csv": bf.readings("A1,318,box.jpg", "A2,334,", header="lamp,illuminance_lx,photo"),
            "box_jpg": bf.picture(),
        },
    ),
    *(
        (
            "caution 35",
            {"lamps_csv": bf.LAMPS.replace("A2,led", f"A2,{word}")},
            f'lamps.csv:3: technology: "{word}" is read as {code}. [caution 35]',
            {"lamps_csv": bf.LAMPS.replace("A2,led", "A2,LED")},
        )
        for word, code in WORDS.items()
    ),
    (
        "caution 35",
        {"bench_toml": bf.TOML + FACTOR.format(1.02).replace('"led"', '"halogen"')},
        'bench.toml:10: meter.spectral_factor.technology = "halogen" is read as filament. [caution 35]',
        {"bench_toml": bf.TOML + FACTOR.format(1.02).replace('"led"', '"LED"')},
    ),
    (
        "caution 30",
        {"mine_xlsx": b"PK"},
        "mine.xlsx: this workbook is not read; one that stands for the files is named bench.xlsx. [caution 30]",
        {"~$mine_xlsx": b"PK"},
    ),
    (
        "fault 3",
        {"bench_toml": None, "readings_csv": None, "mine_xlsx": b"PK"},
        "mine.xlsx: this workbook is not read; one that stands for the files is named bench.xlsx. [fault 3]",
        {},
    ),
    (
        "fault 4",
        {"readings_csv": ",".join(f"c{n}" for n in range(100_000)) + "\n"},
        "readings.csv:1: names 100000 columns; 200 or fewer are read. [fault 4]",
        {},
    ),
    *(
        (
            "fault 2",
            {"bench_toml": bf.TOML.replace(sound, slip)},
            f"bench.toml:{line}: {key} = {typed}; write {words}. [fault 2]",
            {},
        )
        for sound, slip, line, key, typed, words in (
            ("[400, 4000, 40000]", "[400, 4000, 40k]", 7, "ranges_lx", "[400, 4000, 40k]",
             "bare numbers: ranges_lx = [400, 4000, 40000]"),
            ("[400, 4000, 40000]", "[400, 4 000, 40 000]", 7, "ranges_lx", "[400, 4 000, 40 000]",
             "bare numbers: ranges_lx = [400, 4000, 40000]"),
            ("range_percent = 0.5", "range_percent = 1/2", 6, "range_percent", "1/2",
             "the bare number: range_percent = 0.5"),
        )
    ),
]  # fmt: skip


def said(folder):
    """Return every problem of a folder as printed, whether it is refused or read."""
    try:
        return [str(problem) for problem in read_bench(folder).warnings]
    except RecordError as refused:
        return [str(problem) for problem in refused.problems]


@pytest.mark.parametrize(("code", "changes", "words", "sound"), CASES)
def test_a_wrong_cell_is_said_where_it_stands_and_its_sound_neighbour_is_not(
    tmp_path, code, changes, words, sound
):
    found = said(bf.make(tmp_path / "wrong", **changes))
    assert any(words in line and f"[{code}]" in line for line in found), "\n".join(found)
    assert not any(f"[{code}]" in line for line in said(bf.make(tmp_path / "sound", **sound)))


def test_one_line_for_a_fault_of_seventy_rows(tmp_path):
    rows = [f"A1,{300 + k},{k}" for k in range(70)]
    text = bf.readings(*rows, header="lamp,illuminance_lx,mounting")
    with pytest.raises(RecordError) as caught:
        read_bench(bf.make(tmp_path / "b", bench_toml=bf.HOUSED, readings_csv=text))
    assert [str(problem) for problem in caught.value.problems] == [
        "readings.csv:2: housing: blank; bench.toml has HP, HR: name one. The same in 69 more rows, to line 71."
        " [fault 5]"
    ]


def test_one_line_for_seventy_cells_of_the_same_slip(tmp_path):
    rows = [f'A1,"{300 + k},5"' for k in range(70)]
    text = bf.readings(*rows, "A2,334", header="lamp,illuminance_lx")
    with pytest.raises(RecordError) as caught:
        read_bench(bf.make(tmp_path / "b", readings_csv=text))
    (problem,) = caught.value.problems
    assert (problem.line, problem.more, problem.last) == (2, 69, 71)
    assert re.match('readings.csv:2: illuminance_lx: "300,5" has a decimal comma; write 300.5', str(problem))


@pytest.mark.parametrize("count", [3, 4])
def test_up_to_three_rows_are_said_one_by_one(tmp_path, count):
    text = bf.readings(
        *[f"A1,OL,{k}" for k in range(count)], "A2,334,1", header="lamp,illuminance_lx,mounting"
    )
    with pytest.raises(RecordError) as caught:
        read_bench(bf.make(tmp_path / "b", readings_csv=text))
    assert len(caught.value.problems) == (3 if count == 3 else 1)


def test_a_hundred_thousand_rows_with_a_slip_each_are_one_line_and_no_list(tmp_path):
    text = bf.readings(*[f"A1,{k} lx" for k in range(100_000)], header="lamp,illuminance_lx")
    with pytest.raises(RecordError) as caught:
        read_bench(bf.make(tmp_path / "b", readings_csv=text))
    assert [problem.more for problem in caught.value.problems] == [99_999]

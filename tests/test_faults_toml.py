"""Faults of bench.toml, each with the folder that must raise it.

Oracle of all rows: the project's own table of faults (a declared contract, no outside source); the
numbers quoted in messages are the ones typed into the folder.
"""

import bench_folders as bf
import pytest

from photolab.bench.folder.records import read_bench

CASES = [
    # fault 1
    (
        "fault 1",
        {"bench_toml": 'schema = 1\n[[meter]]\nid = "M1"\n'},
        'bench.toml: meter "M1" has no reading_percent; copy it from the accuracy line of the'
        " meter's manual. [fault 1]",
    ),
    ("fault 1", {"bench_toml": bf.TOML.replace("schema = 1", "")}, "bench.toml: no schema; write schema = 1"),
    (
        "fault 1",
        {"bench_toml": bf.TOML.replace("schema = 1", "schema = 2")},
        "bench.toml:1: schema = 2; this version reads",
    ),
    (
        "fault 1",
        {"bench_toml": "schema = 1\n"},
        "bench.toml: no [[meter]]; write one with id and reading_percent. [fault 1]",
    ),
    ("fault 1", {"bench_toml": bf.TOML.replace('id = "M1"', 'id = " "')}, "has a blank id"),
    (
        "fault 1",
        {"bench_toml": bf.TOML.replace("reading_percent = 4", "reading_percent =")},
        "bench.toml:5: reading_percent has no value; copy it from the accuracy line",
    ),
    # fault 2
    (
        "fault 2",
        {"bench_toml": bf.TOML.replace("reading_percent = 4", "reading_percent = 3 %")},
        "bench.toml:5: reading_percent = 3 %; write the bare number: reading_percent = 3. [fault 2]",
    ),
    *(
        (
            "fault 2",
            {"bench_toml": bf.TOML.replace("schema = 1", f"schema = 1\n[bench]\ncoverage = {typed}")},
            f"bench.toml:3: {words}0.95",
        )
        for typed, words in (
            ("95 %", "coverage = 95 %; write the bare number: coverage = "),
            ('"95 %"', 'bench.coverage = "95 %"; wanted a bare number: '),
        )
    ),
    (
        "fault 2",
        {"bench_toml": bf.TOML.replace("reading_percent = 4", "reading_percent = 3,5")},
        "bench.toml:5: reading_percent = 3,5; write the bare number: reading_percent = 3.5. [fault 2]",
    ),
    (
        "fault 2",
        {
            "bench_toml": bf.TOML.replace(
                "reading_percent = 4", "reading_percent = 4\ncalibrated_on = 3/4/2025"
            )
        },
        'bench.toml:6: calibrated_on = 3/4/2025; write it as in calibrated_on = "2025-04-03". [fault 2]',
    ),
    (
        "fault 2",
        {"bench_toml": bf.TOML.replace('"M1"', "M1")},
        'bench.toml:4: id = M1; write text in straight quotation marks: id = "M1"',
    ),
    (
        "fault 2",
        {"bench_toml": bf.TOML.replace('"M1"', "“M1”")},
        'write text in straight quotation marks: id = "M1"',
    ),
    (
        "fault 2",
        {"bench_toml": bf.TOML.replace("reading_percent = 4", 'reading_percent = "4 %"')},
        'bench.toml:5: meter.reading_percent = "4 %"; wanted a bare number: 4. [fault 2]',
    ),
    (
        "fault 2",
        {"bench_toml": bf.TOML + "colour = 3\n"},
        "bench.toml:9: meter.colour is not a key. [fault 2]",
    ),
    ("fault 2", {"bench_toml": bf.TOML + "mismatch_percent = 3\n"}, "Did you mean mismatch_index_percent?"),
    (
        "fault 2",
        {"bench_toml": bf.TOML.replace('"M1"', "1")},
        'meter.id = 1; wanted text in quotation marks: id = "1". [fault 2]',
    ),
    (
        "fault 2",
        {"bench_toml": bf.TOML + '[benches]\nname = "x"\n'},
        "benches is not a section or key. Did you mean bench?",
    ),
    (
        "fault 2",
        {"bench_toml": "reading_percent = 4\n" + bf.TOML},
        "reading_percent is not a section or key. It belongs under [[meter]].",
    ),
    (
        "fault 2",
        {"bench_toml": bf.TOML.replace("[[meter]]", "[meter]")},
        "meter: wanted [[meter]] with two pairs of brackets. [fault 2]",
    ),
    ("fault 2", {"bench_toml": bf.TOML + "[[bench]]\n"}, "bench: wanted one table [bench]. [fault 2]"),
    (
        "fault 2",
        {"bench_toml": bf.TOML.replace("[400, 4000, 40000]", "4000")},
        "wanted a list, for example [400, 4000, 40000]. [fault 2]",
    ),
    ("fault 2", {"bench_toml": bf.TOML + "x = = 3\n"}, "bench.toml:9: x = = 3; "),
    *(
        (
            "fault 2",
            {"bench_toml": f'{bf.TOML}[bench]\ninvented = "{typed}"\n'},
            f'bench.invented = "{typed}"; write invented = {meant}. [fault 2]',
        )
        for typed, meant in (("ja", "true or false"), ("yes", "true"), ("no", "false"))
    ),
    (
        "fault 2",
        {"bench_toml": bf.TOML.replace("reading_percent = 4", 'reading_percent = "40k"')},
        'meter.reading_percent = "40k"; wanted a bare number: 40000. [fault 2]',
    ),
    (
        "fault 2",
        {"bench_toml": bf.TOML + "foo_fc = 3\n"},
        "bench.toml:9: meter.foo_fc is not a key. [fault 2]",
    ),
    (
        "fault 2",
        {"bench_toml": bf.TOML + bf.HOUSINGS.replace('"HR"', '"HR"\ndistance_ft = 20')},
        "housing.distance_ft is not a key. Write it in metres as distance_m.",
    ),
    (
        "fault 2",
        {"bench_toml": bf.TOML + "digits = true\n"},
        "meter.digits = true; wanted a bare number. [fault 2]",
    ),
    (
        "fault 2",
        {"bench_toml": bf.TOML + bf.LOG.replace("elapsed_s", "elapsed"), "log_csv": "t,E\n30,300\n"},
        'log "log.csv": elapsed is not a number column of warm_up. Did you mean elapsed_s?',
    ),
    # fault 20
    (
        "fault 20",
        {"bench_toml": bf.TOML.replace("reading_percent = 4", "reading_percent = 0.03")},
        "bench.toml:5: meter.reading_percent = 0.03; is that 3 %? Write 3. [fault 20]",
    ),
    (
        "fault 20",
        {"bench_toml": bf.TOML + "mismatch_index_percent = 0.08\n"},
        "meter.mismatch_index_percent = 0.08; is that 8 %? Write 8. [fault 20]",
    ),
    (
        "fault 20",
        {"bench_toml": bf.TOML.replace("schema = 1", "schema = 1\n[bench]\nmounting_sd_percent = 0.03")},
        "bench.mounting_sd_percent = 0.03; is that 3 %?",
    ),
    (
        "fault 20",
        {"bench_toml": bf.TOML.replace("schema = 1", "schema = 1\n[bench]\nspecimen_sd_percent = 0.04")},
        "bench.specimen_sd_percent = 0.04; is that 4 %?",
    ),
    (
        "fault 20",
        {"bench_toml": bf.TOML.replace("schema = 1", "schema = 1\n[bench]\nalike_percent = 0.05")},
        "bench.alike_percent = 0.05; is that 5 %?",
    ),
    (
        "fault 20",
        {"bench_toml": bf.TOML.replace("schema = 1", "schema = 1\n[bench]\nnoticeable_percent = 0.09")},
        "bench.noticeable_percent = 0.09; is that 9 %?",
    ),
    # questions: the tenth line and those after it
    *(
        (code, {"bench_toml": bf.TOML + bf.QUESTION.replace(typed, slip)}, words)
        for code, typed, slip, words in (
            (
                "fault 12",
                '"A2"',
                '"a2"',
                'bench.toml:11: question.lamp = "a2" is not in lamps.csv; closest is "A2".',
            ),
            ("fault 12", '"A2"', '"Any"', 'question.lamp = "Any" is not in lamps.csv; closest is "any".'),
            ("fault 12", '"A2"', '"xyz"', 'is not in lamps.csv; write a lamp of it, or "any".'),
            (
                "fault 12",
                '"each"',
                '"Each"',
                'bench.toml:12: question.housing = "Each"; wanted one of "each", "any"; closest is "each".',
            ),
            (
                "fault 12",
                '"hold"',
                '"after"',
                'bench.toml:13: question.instant = "after" is not one of initial, hold.',
            ),
            (
                "fault 14",
                "percent = 10",
                "percent = -10",
                "bench.toml:14: question.more_than_percent = -10 %; wanted 0 to 500 %.",
            ),
            (
                "fault 20",
                "percent = 10",
                "percent = 0.05",
                "bench.toml:14: question.more_than_percent = 0.05; is that 5 %? Write 5.",
            ),
            (
                "fault 2",
                "percent = 10",
                'percent = "10 %"',
                'question.more_than_percent = "10 %"; wanted a bare number: 10.',
            ),
            (
                "fault 6",
                "2025-04-03",
                '"03/04/2025"',
                'bench.toml:10: question.asked_on = "03/04/2025" could be 3 April or 4 March',
            ),
            (
                "fault 1",
                "asked_on = 2025-04-03\n",
                "",
                'question "1" has no asked_on; write asked_on = …, day',
            ),
            ("fault 2", "instant =", "moment =", "bench.toml:13: question.moment is not a key."),
        )
    ),
    (
        "fault 2",
        {"bench_toml": bf.TOML.replace("schema = 1", "schema = 1\nasked_on = 2025-04-03")},
        "asked_on is not a section or key. It belongs under [[question]].",
    ),
    (
        "fault 2",
        {"bench_toml": bf.TOML + bf.QUESTION.replace("[[question]]", "[question]")},
        "question: wanted [[question]] with two pairs of brackets.",
    ),
    # fault 24
    (
        "fault 24",
        {"bench_toml": bf.TOML.replace("[0.1, 1, 10]", "[0.1, 1]")},
        'meter "M1": 2 resolution_lx for 3 ranges_lx; give one for each range. [fault 24]',
    ),
    (
        "fault 24",
        {"bench_toml": bf.TOML.replace("[400, 4000, 40000]", "[4000, 400, 40000]")},
        "ranges_lx must increase; got [4000, 400, 40000]. [fault 24]",
    ),
    (
        "fault 24",
        {"bench_toml": bf.TOML.replace("reading_percent = 4", "reading_percent = [3, 4]")},
        "2 values of reading_percent for 3 ranges_lx",
    ),
    (
        "fault 24",
        {"bench_toml": bf.TOML.replace("[0.1, 1, 10]", "[0.1, 10, 1]")},
        "resolution_lx must not decrease",
    ),
    (
        "fault 24",
        {"bench_toml": bf.TOML.replace("[0.1, 1, 10]", "[500, 1000, 2000]")},
        "a resolution_lx is not below its range. [fault 24]",
    ),
]


@pytest.mark.parametrize(("code", "changes", "words"), CASES)
def test_fault_is_refused_in_plain_words_and_the_folder_is_left_alone(tmp_path, code, changes, words):
    bf.assert_refused(tmp_path / "b", code, changes, words)


@pytest.mark.parametrize("end", ["\r\n", "\r"])
def test_lines_end_as_any_system_ends_them(tmp_path, end):
    """Oracle: the same file with plain line ends."""
    toml = bf.TOML + "[bench]\nhold_minutes = 25\n"
    plain, other = (
        read_bench(bf.make(tmp_path / name, bench_toml=text))
        for name, text in (("a", toml), ("b", toml.replace("\n", end)))
    )
    assert other.settings == plain.settings
    assert bf.plain(other.meters) == bf.plain(plain.meters)

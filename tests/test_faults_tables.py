"""Faults of the CSV files and of what they point to, each with the folder that must raise it.

Oracle of all rows: the project's own table of faults (a declared contract, no outside source); the
numbers quoted in messages are the ones typed into the folder.
"""

import bench_folders as bf
import pytest

from photolab.bench.folder.records import RecordError, read_bench

CASES = [
    # fault 3
    (
        "fault 3",
        {"readings_csv": None},
        "readings.csv: is not in the folder; it holds lamp and illuminance_lx",
    ),
    ("fault 3", {"bench_toml": None}, "bench.toml: is not in the folder; it holds the meter's accuracy line"),
    (
        "fault 3",
        {"readings.csv_csv": bf.READINGS},
        "readings.csv.csv: a doubled ending; rename the file readings.csv. [fault 3]",
    ),
    (
        "fault 3",
        {"bench.toml_txt": bf.TOML},
        "bench.toml.txt: a doubled ending; rename the file bench.toml. [fault 3]",
    ),
    (
        "fault 3",
        {"readings_csv": None, "Readings_csv": bf.READINGS},
        "Readings.csv: small letters are wanted; rename the file readings.csv. [fault 3]",
    ),
    (
        "fault 3",
        {"spectra_csv": bf.SPECTRA + "S1,source,A1,,a1.csv\n"},
        'spectra.csv:2: file: "a1.csv" is not in the folder. [fault 3]',
    ),
    (
        "fault 3",
        {"bench_toml": bf.TOML + bf.LOG},
        '"log.csv" is not in the folder. [fault 3]',
    ),
    # fault 4
    (
        "fault 4",
        {"readings_csv": bf.readings("A1,318", "A2,334,4000")},
        "readings.csv:2: 2 cells where the header names 3. [fault 4]",
    ),
    (
        "fault 4",
        {"readings_csv": bf.readings("A1,318,4000,x", "A2,334,4000")},
        "readings.csv:2: 4 cells where the header names 3; put a cell",
    ),
    (
        "fault 4",
        {"readings_csv": bf.readings("A1,318,4000", header="lamp,illuminance_lx,lamp")},
        "readings.csv:1: lamp is named twice. [fault 4]",
    ),
    (
        "fault 4",
        {"readings_csv": bf.readings("A1,318,4000", header="lamp,illuminance_lx,")},
        "column 3 has cells and no name. [fault 4]",
    ),
    (
        "fault 4",
        {"readings_csv": bf.readings("A1,318,1", header="lamp,illuminance_lx,line")},
        "line is kept for the row number",
    ),
    (
        "fault 4",
        {"readings_csv": bf.readings('A1,318,"4000', "A2,334,4000")},
        "the row cannot be taken apart (unexpected end of data)",
    ),
    # fault 5
    (
        "fault 5",
        {"readings_csv": bf.readings("A1,,4000", "A2,334,4000")},
        "readings.csv:2: illuminance_lx: blank; a value is wanted",
    ),
    (
        "fault 5",
        {"readings_csv": bf.readings("A1,,4000", "A2,,4000")},
        "illuminance_lx: blank in both rows; type a value into each. [fault 5]",
    ),
    (
        "fault 5",
        {"bench_toml": bf.TWO_METERS},
        "readings.csv:2: meter: blank; bench.toml has M1, M2: name one in the row or in days.csv. [fault 5]",
    ),
    (
        "fault 5",
        {"bench_toml": bf.HOUSED},
        "readings.csv:2: housing: blank; bench.toml has HP, HR: name one. [fault 5]",
    ),
    # fault 6
    (
        "fault 6",
        {"days_csv": "day,date\nD01,2025-04-02\nD02,03/04/2025\n"},
        'days.csv:3: date: "03/04/2025" could be 3 April or 4 March; write 2025-04-03. [fault 6]',
    ),
    ("fault 6", {"days_csv": "day,date\nD01,2025-02-30\n"}, '"2025-02-30" is no day of the calendar'),
    ("fault 6", {"days_csv": "day,date\nD01,45750\n"}, "is a spreadsheet's day number"),
    (
        "fault 6",
        {"days_csv": "day,date\nD01,31.12.2025\n"},
        "is not an ISO date; write 2025-12-31. [fault 6]",
    ),
    (
        "fault 6",
        {"readings_csv": bf.readings("A1,318,9:05", header="lamp,illuminance_lx,clock")},
        '"9:05" is not a clock time; write 09:05. [fault 6]',
    ),
    (
        "fault 6",
        {"readings_csv": bf.readings("A1,318,48:00", header="lamp,illuminance_lx,clock")},
        '"48:00" is not a clock time',
    ),
    (
        "fault 6",
        {"bench_toml": bf.TOML + 'calibrated_on = "04/2025"\n'},
        'bench.toml:9: meter.calibrated_on = "04/2025" is not an ISO date',
    ),
    # fault 7
    (
        "fault 7",
        {"bench_toml": bf.TOML + '[[meter]]\nid = "M1"\nreading_percent = 3\n'},
        'bench.toml:10: meter.id "M1" is used twice',
    ),
    ("fault 7", {"bench_toml": bf.TOML + bf.HOUSINGS.replace("HR", "HP")}, 'housing.id "HP" is used twice'),
    (
        "fault 7",
        {"lamps_csv": bf.LAMPS + "A1,led,candidate\n"},
        'lamps.csv:4: lamp: "A1" is already in line 2; give each its own. [fault 7]',
    ),
    ("fault 7", {"days_csv": bf.DAYS + "D01,2025-04-05\n"}, 'days.csv:4: day: "D01" is already in line 2'),
    (
        "fault 7",
        {"warm_up_csv": bf.WARM + "W1,A1,30,300\nW1,A2,60,290\n"},
        'warm_up.csv:3: run: "W1" stands for lamp "A1" in line 2',
    ),
    (
        "fault 7",
        {
            "warm_up_csv": bf.WARM + "W1,A1,30,300\n",
            "bench_toml": bf.TOML + bf.LOG,
            "log_csv": "t,E\n30,300\n",
        },
        'log.run "W1" is also a run of another file',
    ),
    # fault 8
    (
        "fault 8",
        {"lamps_csv": "lamp,technology,role,claimed_flux_lm\nA1,led,baseline,3000\nA2,led,candidate,\n"},
        "lamps.csv:2: claimed_per: blank beside a claim; write lamp or pair. [fault 8]",
    ),
    (
        "fault 8",
        {"lamps_csv": "lamp,technology,role,price\nA1,led,baseline,30\nA2,led,candidate,\n"},
        "lamps.csv:2: price_date: blank beside a price",
    ),
    (
        "fault 8",
        {"electrical_csv": bf.POWER + "A1,60,,13.2,,lamp\n"},
        "electrical.csv:2: power_W: blank; write power_W, or socket_V and current_A. [fault 8]",
    ),
    (
        "fault 8",
        {"thermal_csv": bf.HEAT + "A1,40,60,tape,\n"},
        "thermal.csv:2: set_emissivity: blank; write the emissivity set on the camera. [fault 8]",
    ),
    (
        "fault 8",
        {"spectra_csv": bf.SPECTRA + "S1,source,,,s1.csv\n", "s1_csv": bf.SPECTRUM},
        "spectra.csv:2: lamp: blank; a source belongs to a lamp. [fault 8]",
    ),
    (
        "fault 8",
        {"spectra_csv": bf.SPECTRA + "S1,responsivity,,,s1.csv\n", "s1_csv": bf.SPECTRUM},
        "meter: blank; a responsivity belongs to a meter. [fault 8]",
    ),
    (
        "fault 8",
        {"bench_toml": bf.TOML + "digits = 3\n"},
        "both range_percent and digits; keep the one of your manual. [fault 8]",
    ),
    (
        "fault 8",
        {"bench_toml": 'schema = 1\n[[meter]]\nid = "M1"\nreading_percent = 4\ndigits = 10\n'},
        "digits need resolution_lx",
    ),
    ("fault 8", {"bench_toml": '[csv]\ndecimal = ","\n' + bf.TOML}, "a decimal comma needs separator"),
    (
        "fault 8",
        {"links_csv": bf.LINKS + "A1,led,M1,M1,300,310\n"},
        "the same as old_meter; a link needs two meters. [fault 8]",
    ),
    (
        "fault 8",
        {
            "links_csv": bf.LINKS + "A1,filament,M1,M2,300,310\n",
            "bench_toml": bf.TWO_METERS,
            "readings_csv": bf.readings("A1,318,M1", "A2,334,M1", header="lamp,illuminance_lx,meter"),
        },
        "technology: lamps.csv states another technology for this lamp. [fault 8]",
    ),
    (
        "fault 8",
        {"bench_toml": bf.TOML + bf.LOG, "log_csv": "t,E\n10:00:30,300\n"},
        "its times are clock times; write switched_on. [fault 8]",
    ),
    # fault 10
    (
        "fault 10",
        {"readings_csv": bf.readings("A1,318", header="lamp,Lux (lx)")},
        "readings.csv:1: no column illuminance_lx; found lamp, Lux (lx). Did you mean illuminance_lx? [fault 10]",
    ),
    (
        "fault 10",
        {"lamps_csv": "lamp,role\nA1,baseline\n"},
        "lamps.csv:1: no column technology; found lamp, role. [fault 10]",
    ),
    (
        "fault 10",
        {"bench_toml": bf.TOML + bf.LOG, "log_csv": "t,Ev\n30,300\n"},
        'log.csv:1: column "E" for illuminance_lx is not there; found t, Ev. [fault 10]',
    ),
    (
        "fault 10",
        {"bench_toml": bf.TOML + bf.LOG.replace('illuminance_lx = "E"\n', ""), "log_csv": "t,E\n30,300\n"},
        'log "log.csv": no column of the logger is declared for illuminance_lx. [fault 10]',
    ),
    # fault 11
    ("fault 11", {"readings_csv": ""}, "readings.csv: is empty. [fault 11]"),
    (
        "fault 11",
        {"readings_csv": "lamp,illuminance_lx\n"},
        "readings.csv: has no rows under the column names. [fault 11]",
    ),
    (
        "fault 11",
        {"bench_toml": bf.TOML.encode("utf-16")},
        "bench.toml: is UTF-16; save it again as UTF-8 text. [fault 11]",
    ),
    (
        "fault 11",
        {"readings_csv": bf.READINGS.encode("utf-16")},
        'readings.csv: is UTF-16; save it again as "CSV UTF-8". [fault 11]',
    ),
    (
        "fault 11",
        {"readings_csv": b"lamp,illuminance_lx,note\nA1,318,d\xe9j\xe0\n"},
        "readings.csv:2: byte 0xe9 is not UTF-8",
    ),
    (
        "fault 11",
        {"readings_csv": b"lamp,illuminance_lx,note\rA1,318,\rA1,318,d\xe9j\xe0\r"},
        "readings.csv:3: byte 0xe9 is not UTF-8",
    ),
    ("fault 11", {"readings_csv": b"lamp,illuminance_lx\nA1,3\x001\n"}, "holds zero bytes"),
    (
        "fault 11",
        {"readings_csv": "lamp;illuminance_lx\nA1;318\n"},
        'readings.csv:1: separated by semicolons; declare [csv] separator = ";" and decimal = "," in'
        " bench.toml, or save with commas and points. [fault 11]",
    ),
    (
        "fault 11",
        {"readings_csv": "lamp\tilluminance_lx\nA1\t318\n"},
        "separated by tabs; save with commas and points. [fault 11]",
    ),
    (
        "fault 11",
        {"readings_csv": "sep=;\nlamp;illuminance_lx\nA1;318\n"},
        'the first row is "sep=;"; delete it',
    ),
    (
        "fault 11",
        {"bench_toml": '[csv]\nseparator = ";"\n' + bf.TOML},
        "separated by commas; take separator out of bench.toml",
    ),
    (
        "fault 11",
        {"readings_csv": bf.readings("A1,318,yes,door open", header="lamp,illuminance_lx,exclude,note")},
        "every row is excluded",
    ),
    (
        "fault 11",
        {"spectra_csv": bf.SPECTRA + "S1,source,A1,,s1.csv\n", "s1_csv": "wavelength_nm,value\n500,1\n"},
        "a spectrum needs two rows or more. [fault 11]",
    ),
    # fault 12
    (
        "fault 12",
        {"plan_csv": bf.PLAN + "1,2025-04-03,A9,HP,initial\n", "bench_toml": bf.HOUSED},
        'plan.csv:2: lamp: "A9" is not in lamps.csv',
    ),
    (
        "fault 12",
        {"plan_csv": bf.PLAN + "1,2025-04-03,A1,HX,initial\n", "bench_toml": bf.HOUSED},
        'plan.csv:2: housing: "HX" is not a [[housing]] of bench.toml',
    ),
    (
        "fault 12",
        {"plan_csv": bf.PLAN + "1,2025-04-03,A1,HP,early\n", "bench_toml": bf.HOUSED},
        'plan.csv:2: instant: "early" is not one of initial, hold, camera',
    ),
    (
        "fault 14",
        {"plan_csv": bf.PLAN + "0,2025-04-03,A1,HP,hold\n", "bench_toml": bf.HOUSED},
        "plan.csv:2: step: 0; wanted 1 or more",
    ),
    (
        "fault 17",
        {
            "plan_csv": bf.PLAN + "1,2025-04-03,A1,HP,hold\n1,2025-04-03,A2,HP,hold\n",
            "bench_toml": bf.HOUSED,
        },
        "plan.csv:3: the same step as line 2 (date 2025-04-03, step 1). [fault 17]",
    ),
    (
        "fault 12",
        {"warm_up_csv": "run,lamp,elapsed_s,illuminance_lx,cover\nW1,A1,30,318,shut\n"},
        'warm_up.csv:2: cover: "shut" is not one of open, closed',
    ),
    (
        "fault 12",
        {"electrical_csv": "lamp,elapsed_s,power_W,per,cover\nA1,30,25,lamp,oopen\n"},
        'electrical.csv:2: cover: "oopen" is not one of open, closed; closest is "open"',
    ),
    (
        "fault 12",
        {"readings_csv": bf.readings("A1,318,4000", "a2,334,4000")},
        'readings.csv:3: lamp: "a2" is not in lamps.csv; closest is "A2". [fault 12]',
    ),
    (
        "fault 12",
        {
            "readings_csv": bf.readings("A1,318,HX", header="lamp,illuminance_lx,housing"),
            "bench_toml": bf.HOUSED,
        },
        'housing: "HX" is not a [[housing]] of bench.toml; write [[housing]] with id = "HX". [fault 12]',
    ),
    (
        "fault 12",
        {"readings_csv": bf.readings("A1,318,barn", header="lamp,illuminance_lx,housing")},
        'write [[housing]] with id = "barn". [fault 12]',
    ),
    (
        "fault 12",
        {"readings_csv": bf.readings("A1,318,D03", header="lamp,illuminance_lx,day"), "days_csv": bf.DAYS},
        '"D03" is not in days.csv',
    ),
    (
        "fault 12",
        {"readings_csv": bf.readings("A1,318,M9", header="lamp,illuminance_lx,meter")},
        '"M9" is not a [[meter]] of bench.toml; write [[meter]] with id',
    ),
    (
        "fault 12",
        {"readings_csv": bf.readings("A1,318,500", "A2,334,4000")},
        "range_lx: 500 lx is not a range of meter M1 (400, 4000, 40000 lx). [fault 12]",
    ),
    (
        "fault 12",
        {"lamps_csv": bf.LAMPS.replace("A2,led", "A2,lad")},
        'technology: "lad" is not one of filament, led, discharge, other; closest is "led".',
    ),
    (
        "fault 12",
        {"bench_toml": bf.TOML + 'limit_kind = "limits"\n'},
        'meter.limit_kind = "limits" is not one of limit, expanded_k2, standard; closest is "limit".',
    ),
    (
        "fault 12",
        {"bench_toml": '[bench]\nalso_show = ["K"]\n' + bf.TOML.replace("schema = 1", "")},
        'bench.also_show = "K" is not one of degF, fc, ft, in.',
    ),
    # fault 13
    (
        "fault 13",
        {"readings_csv": bf.readings('A1,"1,240",4000', "A2,334,4000")},
        'readings.csv:2: illuminance_lx: "1,240" is 1240 or 1.24; write 1240. [fault 13]',
    ),
    (
        "fault 13",
        {"readings_csv": bf.readings("A1,334 lx,4000")},
        '"334 lx" is not a number; write 334, the unit stands in the column name. [fault 13]',
    ),
    ("fault 13", {"readings_csv": bf.readings('A1,"31,8",400')}, '"31,8" has a decimal comma; write 31.8'),
    (
        "fault 13",
        {
            "readings_csv": bf.readings("A1,1:30", header="lamp,illuminance_lx")
            .replace("illuminance_lx", "illuminance_lx,elapsed_s")
            .replace("A1,", "A1,318,")
        },
        '"1:30" is not a number; minutes and seconds are written in seconds: 90. [fault 13]',
    ),
    (
        "fault 13",
        {
            "bench_toml": '[csv]\nseparator = ";"\ndecimal = ","\n' + bf.TOML.replace("schema = 1", ""),
            "readings_csv": "lamp;illuminance_lx\nA1;1.240\n",
            "lamps_csv": None,
        },
        '"1.240" has a point, and bench.toml declares the decimal comma; write 1,240 or 1240. [fault 13]',
    ),
    (
        "fault 13",
        {"bench_toml": bf.TOML + bf.LOG, "log_csv": "t,E\n30,300 lx\n"},
        'log.csv:2: E: "300 lx" is not a number',
    ),
    # fault 14
    (
        "fault 14",
        {"readings_csv": bf.readings("A1,-12,4000")},
        "readings.csv:2: illuminance_lx: -12 lx; wanted more than 0 lx. [fault 14]",
    ),
    (
        "fault 14",
        {"readings_csv": bf.readings("A1,0,4000")},
        "illuminance_lx: 0 lx; wanted more than 0 lx. [fault 14]",
    ),
    ("fault 14", {"readings_csv": bf.readings("A1,nan,4000")}, '"nan" is not a finite number'),
    (
        "fault 14",
        {"readings_csv": bf.readings("A1,1e400,4000")},
        '"1e400" is too large for a number. [fault 14]',
    ),
    (
        "fault 14",
        {"readings_csv": bf.readings("A1,1e-400,4000")},
        '"1e-400" is too small for a number. [fault 14]',
    ),
    (
        "fault 14",
        {"readings_csv": bf.readings("A1,318,318", header="lamp,illuminance_lx,dark_lx")},
        "dark_lx: 318 lx is not below the reading of 318 lx. [fault 14]",
    ),
    (
        "fault 14",
        {"readings_csv": bf.readings("A1,318,1.5", header="lamp,illuminance_lx,repeat")},
        "repeat: 1.5; wanted a whole number. [fault 14]",
    ),
    (
        "fault 14",
        {"bench_toml": bf.TOML.replace("schema = 1", "schema = 1\n[bench]\ncoverage = 95")},
        "bench.toml:3: bench.coverage = 95; wanted 0.5 to 0.999. 95 % is written 0.95. [fault 14]",
    ),
    (
        "fault 14",
        {"bench_toml": bf.TOML.replace("reading_percent = 4", "reading_percent = nan")},
        "meter.reading_percent = nan %; wanted 0 to 50 %. [fault 14]",
    ),
    (
        "fault 14",
        {"thermal_csv": bf.HEAT.replace("displayed_C", "displayed_F") + "A1,40,900,tape,0.95\n"},
        "displayed_F: 900 degF is 482.222 degC; wanted -20 to 400 degC. [fault 14]",
    ),
    (
        "fault 14",
        {"thermal_csv": bf.HEAT + "A1,40,60,tape,1.4\n"},
        "set_emissivity: 1.4; wanted 0.01 to 1. [fault 14]",
    ),
    (
        "fault 14",
        {"beam_csv": bf.BEAM + "G1,A1,HP,91,0,3\n", "bench_toml": bf.TOML + '[[housing]]\nid = "HP"\n'},
        "horizontal_deg: 91 deg; wanted -90 to 90 deg. [fault 14]",
    ),
    (
        "fault 14",
        {
            "spectra_csv": bf.SPECTRA + "S1,source,A1,,s1.csv\n",
            "s1_csv": "wavelength_nm,value\n500,0\n510,0\n",
        },
        "s1.csv: value: every value is 0; wanted a spectrum. [fault 14]",
    ),
    (
        "fault 14",
        {
            "spectra_csv": bf.SPECTRA + "S1,source,A1,,s1.csv\n",
            "s1_csv": "wavelength_nm,value\n500,1\n520,1\n",
        },
        "a step of 20 nm to 520 nm; wanted 10 nm or less. [fault 14]",
    ),
    (
        "fault 14",
        {
            "spectra_csv": bf.SPECTRA + "S1,source,A1,,s1.csv\n",
            "s1_csv": "wavelength_nm,value\n0.5,1\n0.51,1\n",
        },
        "wavelength_nm: 0.5 nm; wanted 360 to 830 nm. [fault 14]",
    ),
    # fault 15
    (
        "fault 15",
        {"readings_csv": bf.readings("A1,431,400")},
        "readings.csv:2: illuminance_lx: 431 lx cannot be read on the 400 lx range. [fault 15]",
    ),
    (
        "fault 15",
        {"readings_csv": bf.readings("A1,41000", header="lamp,illuminance_lx")},
        "41000 lx cannot be read on the 40000 lx range. [fault 15]",
    ),
    (
        "fault 15",
        {"warm_up_csv": bf.WARM.replace("\n", ",range_lx\n") + "W1,A1,30,431,400\n"},
        "warm_up.csv:2: illuminance_lx: 431 lx cannot be read",
    ),
    # fault 16
    (
        "fault 16",
        {"readings_csv": bf.readings("A1,OL,4000")},
        'readings.csv:2: illuminance_lx: "OL" is an overload, not a reading; leave the row out or'
        " measure again. [fault 16]",
    ),
    ("fault 16", {"readings_csv": bf.readings("A1,----,4000")}, '"----" is an overload'),
    # fault 17
    (
        "fault 17",
        {
            "readings_csv": bf.readings(
                "A1,318,1,1", "A1,319,1,1", header="lamp,illuminance_lx,specimen,repeat"
            )
        },
        "readings.csv:3: the same reading as line 2 (lamp A1, specimen 1, repeat 1, point hot_spot). [fault 17]",
    ),
    (
        "fault 17",
        {
            "beam_csv": bf.BEAM + "G1,A1,HP,1,0,3\nG1,A1,HP,1,0,4\n",
            "bench_toml": bf.TOML + '[[housing]]\nid = "HP"\n',
        },
        "beam.csv:3: the same reading as line 2",
    ),
    # fault 18
    (
        "fault 18",
        {"warm_up_csv": bf.WARM + "W4,A1,300,300\nW4,A1,240,290\n"},
        "warm_up.csv:3: elapsed_s: 240 after 300 in run W4. [fault 18]",
    ),
    (
        "fault 18",
        {"warm_up_csv": bf.WARM + "W4,A1,300,300\nW4,A1,300,290\n"},
        "elapsed_s: 300 after 300 in run W4. [fault 18]",
    ),
    (
        "fault 18",
        {"bench_toml": bf.TOML + bf.LOG, "log_csv": "t,E\n60,300\n30,299\n"},
        "log.csv:3: elapsed_s: 30 after 60 in run W1. [fault 18]",
    ),
    (
        "fault 18",
        {
            "spectra_csv": bf.SPECTRA + "S1,source,A1,,s1.csv\n",
            "s1_csv": "wavelength_nm,value\n510,1\n500,1\n",
        },
        "500 after 510; wavelengths must increase. [fault 18]",
    ),
    (
        "fault 14",
        {"electrical_csv": bf.POWER + "A1,60,,13.2,1450,lamp\n"},
        "current_A: 1450 A; wanted more than 0, at most 100 A. If these are mA, write 1.45. [fault 14]",
    ),
    # fault 19
    (
        "fault 19",
        {"readings_csv": bf.readings("A1,318,yes", "A2,334,", header="lamp,illuminance_lx,exclude")},
        "readings.csv:2: note: the row is excluded without a reason",
    ),
    # fault 23
    (
        "fault 23",
        {
            "distance_csv": "run,lamp,housing,distance_cm,illuminance_lx\nR1,A1,HP,300,20\n",
            "bench_toml": bf.TOML + '[[housing]]\nid = "HP"\n',
        },
        "distance.csv:1: distance_cm: 1 cm is 0.01 m; convert, and name the column distance_m or distance_ft"
        " or distance_in. [fault 23]",
    ),
    (
        "fault 23",
        {"thermal_csv": bf.HEAT.replace("displayed_C", "displayed_K") + "A1,40,330,tape,0.95\n"},
        "displayed_K: degC is K less 273.15; convert",
    ),
    (
        "fault 23",
        {"warm_up_csv": "run,lamp,elapsed_min,illuminance_lx\nW1,A1,1,300\n"},
        "elapsed_min: write elapsed_minutes for minutes",
    ),
    # fault 25
    (
        "fault 25",
        {"readings_csv": bf.readings("A1,318,29.5", header="lamp,illuminance_lx,illuminance_fc")},
        "both illuminance_lx and illuminance_fc; keep one of them. [fault 25]",
    ),
    (
        "fault 25",
        {
            "beam_csv": bf.BEAM.replace("\n", ",x_mm,y_mm\n") + "G1,A1,HP,1,0,3,4,5\n",
            "bench_toml": bf.TOML + '[[housing]]\nid = "HP"\n',
        },
        'beam.csv:2: run: "G1" holds both angles and wall positions; keep horizontal_deg and vertical_deg, or x_mm '
        "and y_mm, or give each its own run. [fault 25]",
    ),
    (
        "fault 25",
        {
            "beam_csv": "run,lamp,housing,illuminance_lx\nG1,A1,HP,3\n",
            "bench_toml": bf.TOML + '[[housing]]\nid = "HP"\n',
        },
        'beam.csv:2: run: "G1" says nowhere where its readings were taken; add horizontal_deg and vertical_deg, or '
        "x_mm and y_mm. [fault 25]",
    ),
    (
        "fault 25",
        {"beam_csv": bf.BEAM + "G1,A1,HP,1,,3\n", "bench_toml": bf.TOML + '[[housing]]\nid = "HP"\n'},
        "beam.csv:2: both horizontal_deg and vertical_deg are wanted in every row. [fault 25]",
    ),
    # fault 27
    (
        "fault 27",
        {"spectra_csv": bf.SPECTRA + "S1,source,A1,,../s1.csv\n"},
        'spectra.csv:2: file: "../s1.csv" is not a plain file name inside the folder',
    ),
    (
        "fault 27",
        {"spectra_csv": bf.SPECTRA + "S1,source,A1,,/etc/hosts\n"},
        '"/etc/hosts" is not a plain file name inside the folder',
    ),
    (
        "fault 27",
        {"spectra_csv": bf.SPECTRA + "S1,source,A1,,C:\\s1.csv\n"},
        "is not a plain file name inside the folder",
    ),
    (
        "fault 27",
        {"bench_toml": bf.TOML + bf.LOG.replace("log.csv", "../log.csv")},
        '"../log.csv" is not a plain file name',
    ),
]


@pytest.mark.parametrize(("code", "changes", "words"), CASES)
def test_fault_is_refused_in_plain_words_and_the_folder_is_left_alone(tmp_path, code, changes, words):
    bf.assert_refused(tmp_path / "b", code, changes, words)


def test_a_cell_that_cannot_be_read_is_not_called_blank_too(tmp_path):
    """Oracle: the rule: one cell, one fault."""
    lamps = "lamp,technology,role,price,price_date\nA1,filament,baseline,9,10.01.2026\nA2,led,candidate,9,\n"
    problems = bf.assert_refused(tmp_path / "b", "fault 6", {"lamps_csv": lamps}, "10.01.2026")
    dated = [(one.line, one.code) for one in problems if one.column == "price_date"]
    assert dated == [(2, "fault 6"), (3, "fault 8")]


def test_a_plan_without_its_columns_is_told_so_alone(tmp_path):
    """Oracle: the rule: what cannot be read is not held against other rows."""
    changes = {"plan_csv": "foo,bar\n1,2\n3,4\n"}
    problems = bf.assert_refused(tmp_path / "b", "fault 10", changes, "plan.csv:1: no column step")
    assert {one.code for one in problems if not one.is_caution} == {"fault 10"}


REPEATS = "lamp,illuminance_lx,repeat,elapsed_{}\nA1,318,1,{}\nA1,319,1,{}\nA2,334,1,{}\n"
IN_HOUSINGS = bf.readings("A1,318,HP", "A2,334,HR", header="lamp,illuminance_lx,housing")
ON_DAYS = {
    "bench_toml": bf.TWO_METERS,
    "readings_csv": bf.readings("A1,318,D01", "A2,334,D02", header="lamp,illuminance_lx,day"),
}
DARK = bf.readings("A1,318,4000,9999", "A2,334,4000,0", header="lamp,illuminance_lx,range_lx,dark_lx")
GRID = bf.BEAM + "G1,A1,HP,abc,0,3\nG1,A1,HP,95,0,4\nG1,A1,HP,1,0,5\n"


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"electrical_csv": bf.POWER + "A1,60,,0,1.9,lamp\n"}, ["electrical.csv:2 fault 14"]),
        ({"readings_csv": REPEATS.format("s", "6O", "", "60")}, ["readings.csv:2 fault 13"]),
        ({"readings_csv": REPEATS.format("minutes", "-1", "", "1")}, ["readings.csv:2 fault 14"]),
        (
            {"beam_csv": GRID, "bench_toml": bf.TOML + '[[housing]]\nid = "HP"\n'},
            ["beam.csv:2 fault 13", "beam.csv:3 fault 14"],
        ),
        ({"warm_up_csv": bf.WARM + "W1,,30,300\nW1,A1,60,290\n"}, ["warm_up.csv:2 fault 5"]),
        ({"warm_up_csv": bf.WARM + "W1,B7,30,300\nW1,A1,60,290\n"}, ["warm_up.csv:2 fault 12"]),
        ({"lamps_csv": bf.LAMPS.replace("A2,", ",")}, ["lamps.csv:3 fault 5"]),
        ({"lamps_csv": bf.LAMPS.replace("A2,", "A1,")}, ["lamps.csv:3 fault 7"]),
        ({"lamps_csv": bf.LAMPS.replace(",candidate", "")}, ["lamps.csv:3 fault 4"]),
        (
            {**ON_DAYS, "days_csv": "day,date,meter\n,2025-04-03,M1\nD02,2025-04-04,M2\n"},
            ["days.csv:2 fault 5"],
        ),
        ({**ON_DAYS, "days_csv": '"day,date\n'}, ["days.csv:1 fault 4"]),
        (
            {"bench_toml": bf.HOUSED.replace('"HR"', "7"), "readings_csv": IN_HOUSINGS.replace("HR", "7")},
            ["bench.toml:13 fault 2"],
        ),
        (
            {"bench_toml": bf.HOUSED.replace("HR", "HP"), "readings_csv": IN_HOUSINGS},
            ["bench.toml:13 fault 7"],
        ),
        ({"readings_csv": DARK}, ["readings.csv:2 fault 15"]),
    ],
)
def test_what_only_follows_from_a_fault_is_not_said(tmp_path, changes, told):
    """Oracle: so many slips as were planted, each where it was planted; all other rows are sound."""
    with pytest.raises(RecordError) as refused:
        read_bench(bf.make(tmp_path / "b", **changes))
    assert [f"{one.file}:{one.line} {one.code}" for one in refused.value.problems] == told


def test_a_code_beside_the_one_that_a_fault_explains_is_said(tmp_path):
    """Oracle: by hand: a blank code of lamps.csv stands for one lamp; two lamps that are not there are one too many."""
    changes = {"lamps_csv": bf.LAMPS.replace("A2,", ","), "readings_csv": bf.READINGS + "A3,330,4000\n"}
    problems = bf.assert_refused(tmp_path / "b", "fault 12", changes, '"A3" is not in lamps.csv')
    assert [one.line for one in problems if one.file == "readings.csv"] == [3, 4]

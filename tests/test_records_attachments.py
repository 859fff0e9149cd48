"""Spectrum files. Oracle: the rows typed in the test."""

import bench_folders as bf
import numpy as np
import pytest

from photolab.bench.folder.records import read_bench


def test_spectra(tmp_path):
    listed = bf.SPECTRA + "S1,source,A1,,one.csv\nR1,responsivity,,M1,two.txt\n"
    bench = read_bench(
        bf.make(
            tmp_path / "b",
            spectra_csv=listed,
            one_csv=bf.SPECTRUM,
            two_txt="wavelength_nm,value\n500,0\n510,0.5\n",
        )
    )
    source, responsivity = bench.spectra["S1"], bench.spectra["R1"]
    assert (source.kind, source.lamp, source.meter) == ("source", "A1", "")
    assert (responsivity.kind, responsivity.lamp, responsivity.meter) == ("responsivity", "", "M1")
    np.testing.assert_array_equal(source.wavelength_nm, np.array(bf.WAVELENGTHS, dtype=float))
    np.testing.assert_array_equal(responsivity.value, [0.0, 0.5])
    assert {"one.csv", "two.txt"} <= set(bench.hashes)


@pytest.mark.parametrize(
    ("text", "code", "words"),
    [
        (
            "wavelength_nm,value\n500,-1\n510,1\n",
            "fault 14",
            "one.csv:2: value: -1; wanted 0 or more. [fault 14]",
        ),
        (
            "wavelength_nm,value\n350,1\n360,1\n",
            "fault 14",
            "one.csv:2: wavelength_nm: 350 nm; wanted 360 to 830 nm. [fault 14]",
        ),
        (
            "wavelength_um,value\n0.50,1\n0.51,1\n",
            "fault 23",
            "one.csv:1: wavelength_um: 1 um is 1000 nm; convert",
        ),
        ("nm,value\n500,1\n510,1\n", "fault 10", "one.csv:1: no column wavelength_nm; found nm, value."),
        (
            "wavelength_nm,value\n500,1\n500,1\n",
            "fault 18",
            "500 after 500; wavelengths must increase. [fault 18]",
        ),
        ("wavelength_nm,value\n500,x\n510,1\n", "fault 13", 'one.csv:2: value: "x" is not a number'),
        ("", "fault 11", "one.csv: is empty. [fault 11]"),
    ],
)
def test_spectrum_files_that_cannot_be_used(tmp_path, text, code, words):
    listed = bf.SPECTRA + "S1,source,A1,,one.csv\n"
    bf.assert_refused(tmp_path / "b", code, {"spectra_csv": listed, "one_csv": text}, words)

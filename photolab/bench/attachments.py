"""Files other tables point to: spectra."""

from pathlib import Path

import pandas as pd

from photolab.bench.declared import Declared
from photolab.bench.faults import Faults
from photolab.bench.files import in_folder, load_rows
from photolab.bench.model import Spectrum
from photolab.bench.schema import SPECTRUM_FILE
from photolab.bench.tables import read_table

LARGEST_STEP_NM = 10.0
VISIBLE_NM = (380.0, 780.0)


def read_spectra(
    folder: Path, table: pd.DataFrame, declared: Declared, faults: Faults, hashes: dict[str, str]
) -> dict[str, Spectrum]:
    """Return the spectra that spectra.csv lists, by name.

    Parameters
    ----------
    folder : Path
        The bench folder.
    table : DataFrame
        Rows of spectra.csv.
    declared : Declared
        What bench.toml says.
    faults : Faults
        Collects what is wrong.
    hashes : dict
        Receives the SHA-256 of what is read, by file name.

    Returns
    -------
    dict
        Spectra by name.
    """
    found: dict[str, Spectrum] = {}
    for row in table.to_dict("records"):
        name = str(row["file"])
        line = int(row["line"])
        if not name or not in_folder(folder, name, faults, "spectra.csv", line=line, column="file"):
            continue
        rows = load_rows(folder, name, declared.separator, faults, hashes)
        if rows is None:
            continue
        values = read_table(SPECTRUM_FILE, rows, faults, decimal=declared.decimal)
        _check_spectrum(values, name, faults)
        found[str(row["name"])] = Spectrum(
            str(row["kind"]), str(row["lamp"]), str(row["meter"]),
            values["wavelength_nm"].to_numpy(dtype=float), values["value"].to_numpy(dtype=float),
        )  # fmt: skip
    return found


def _check_spectrum(values: pd.DataFrame, name: str, faults: Faults) -> None:
    """Keep the faults of a spectrum: order, step, cover, nothing in it."""
    wavelength = values["wavelength_nm"].to_numpy(dtype=float)
    told = values.assign(before=values["wavelength_nm"].shift(), step=values["wavelength_nm"].diff())
    words = "{wavelength_nm:g} after {before:g}; wavelengths must increase."
    faults.where("fault 18", name, told[told["step"] <= 0], "wavelength_nm", words)
    words = "a step of {step:g} nm to {wavelength_nm:g} nm; wanted 10 nm or less."
    faults.where("fault 14", name, told[told["step"] > LARGEST_STEP_NM], "wavelength_nm", words)
    if len(values) < 2:
        faults.add("fault 11", name, "a spectrum needs two rows or more.")
    elif not values["value"].to_numpy(dtype=float).any():
        faults.add("fault 14", name, "every value is 0; wanted a spectrum.", column="value")
    elif wavelength[0] > VISIBLE_NM[0] or wavelength[-1] < VISIBLE_NM[1]:
        words = f"covers {wavelength[0]:g} to {wavelength[-1]:g} nm; wanted 380 to 780 nm, all that is seen."
        faults.add("caution 34", name, words, column="wavelength_nm")

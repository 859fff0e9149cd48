"""Files other tables point to: spectra."""

from pathlib import Path

import numpy as np
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
    wavelength, lines = values["wavelength_nm"].to_numpy(dtype=float), values["line"].to_numpy()
    steps = np.diff(wavelength)
    for row in np.flatnonzero((steps <= 0) | (steps > LARGEST_STEP_NM)):
        code = "fault 14"
        words = f"a step of {steps[row]:g} nm to {wavelength[row + 1]:g} nm; wanted 10 nm or less."
        if steps[row] <= 0:
            code = "fault 18"
            words = f"{wavelength[row + 1]:g} after {wavelength[row]:g}; wavelengths must increase."
        faults.add(code, name, words, line=int(lines[row + 1]), column="wavelength_nm")
    if len(values) < 2:
        faults.add("fault 11", name, "a spectrum needs two rows or more.")
    elif not values["value"].to_numpy(dtype=float).any():
        faults.add("fault 14", name, "every value is 0; wanted a spectrum.", column="value")
    elif wavelength[0] > VISIBLE_NM[0] or wavelength[-1] < VISIBLE_NM[1]:
        words = f"covers {wavelength[0]:g} to {wavelength[-1]:g} nm; wanted 380 to 780 nm, all that is seen."
        faults.add("caution 34", name, words, column="wavelength_nm")

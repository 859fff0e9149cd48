"""Files other tables point to: spectra."""

import pandas as pd

from photolab.bench.declared import Declared
from photolab.bench.faults import Faults
from photolab.bench.files import Folder
from photolab.bench.model import Spectrum
from photolab.bench.schema import SPECTRUM_FILE
from photolab.bench.tables import read_table

LARGEST_STEP_NM = 10.0
VISIBLE_NM = (380.0, 780.0)


def read_spectra(folder: Folder, table: pd.DataFrame, declared: Declared) -> dict[str, Spectrum]:
    """Return the spectra that spectra.csv lists, by name.

    Parameters
    ----------
    folder : Folder
        The bench folder; keeps what is wrong.
    table : DataFrame
        Rows of spectra.csv.
    declared : Declared
        What bench.toml says.

    Returns
    -------
    dict
        Spectra by name.
    """
    found: dict[str, Spectrum] = {}
    for row in table.to_dict("records"):
        name = str(row["file"])
        if not name or not folder.holds(name, "spectra.csv", line=int(row["line"]), column="file"):
            continue
        rows = folder.rows(name, declared.separator)
        if rows is not None:
            values = read_table(SPECTRUM_FILE, rows, folder.faults, decimal=declared.decimal)
            _check_spectrum(values, name, folder.faults)
            curve = (values[column].to_numpy(dtype=float) for column in SPECTRUM_FILE.names)
            found[str(row["name"])] = Spectrum(str(row["kind"]), str(row["lamp"]), str(row["meter"]), *curve)
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

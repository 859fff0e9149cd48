"""Declared corrections, in their order: dark, spectral, voltage, ambient; each brings its own input.

Near field is a correction of candela, not of a ratio within one housing: `CORRECTIONS` lists it so that it can be
switched, and the candela rows use it. The raw reading is never changed: `apply` returns new columns.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from photolab.bench.terms.assumptions import Assumption
from photolab.bench.terms.columns import Columns
from photolab.bench.terms.instruments import stated_factor
from photolab.bench.terms.model import Bench
from photolab.errors import demand
from photolab.photometry.spectrum import mismatch_correction

NO_CHANGE = 1e-9  # in ln, or in K: a correction that changes nothing is none
CORRECTIONS = ("dark", "spectral", "voltage", "ambient", "near_field")
ALL = CORRECTIONS

FILAMENT_FLUX_EXPONENT = 3.42
"""Luminous flux against voltage: 6.5/1.9 from the exponents against current (Arecchi, Messadi, Koshel, Field Guide to
Illumination, SPIE 2007). [1]"""
FILAMENT_EXPONENT_U = 0.25
"""Standard uncertainty of that exponent; between 3.0 and 3.9 in published lamp sheets. [1]"""
VOLTMETER_U_V = 0.03
"""Standard uncertainty of one voltage reading, assumed. [V]"""
VOLTMETER_SCALE_PERCENT = 0.25
"""Limit of the voltmeter's scale error, assumed. [%]"""
ASSUMED_VOLTAGE_LIMIT_V = 0.1
"""Limit of the unknown supply voltage of a filament lamp about the reference, assumed. [V]"""
LED_AMBIENT_COEFFICIENT = -0.002
"""Light of an LED lamp a kelvin of ambient, assumed; common practice, no source. [1/K]"""
LED_AMBIENT_LIMIT = 0.002
"""Limit of that coefficient about its estimate, assumed. [1/K]"""
SPECTRAL_FLOOR = 0.006
"""Least standard uncertainty of a correction factor from spectra: 1 nm of wavelength error. [1]"""
GRID_NM = np.arange(380.0, 781.0)
"""Grid of the integrals over a spectrum. [nm]"""
_ADDED = (
    "onto", "link_ln", "link_u", "link_dof", "technology", "net_lx", "ln_correction", "spectral_u", "own_spectrum",
    "exponent", "volts", "ln_voltage_ratio", "warmth_K", "led_warmth_K", "ln_value",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Corrected:
    """Readings with the corrections applied.

    Attributes
    ----------
    selected : DataFrame
        The rows that enter the evaluation.
    columns : Columns
        Those with net_lx (dark reading removed), ln_value, technology, exponent, volts (NaN where not stated),
        warmth_K (ambient above the reference; 0 where unknown), spectral_u (NaN where not corrected), own_spectrum.
    applied : tuple of str
        Names of the corrections that changed a reading.
    assumed : tuple of Assumption
        Declared defaults the corrections rest on.
    """

    selected: pd.DataFrame
    columns: Columns
    applied: tuple[str, ...]
    assumed: tuple[Assumption, ...]

    @cached_property
    def readings(self) -> pd.DataFrame:
        """The columns as a table."""
        return self.selected.assign(**{c: self.columns[c] for c in _ADDED if c in self.columns})


def apply(readings: pd.DataFrame, bench: Bench, enabled: Iterable[str] = ALL) -> Corrected:
    """Apply the enabled corrections to the selected readings.

    Parameters
    ----------
    readings : DataFrame
        Rows that enter the evaluation.
    bench : Bench
        The bench: meters, lamps, spectra, reference voltage and ambient.
    enabled : iterable of str, default `ALL`
        Names out of `CORRECTIONS`.

    Returns
    -------
    Corrected
        New columns; the raw ones are untouched.

    Raises
    ------
    ValueError
        If a correction has another name.
    """
    wanted = set(enabled)
    unknown = sorted(wanted - set(CORRECTIONS))
    demand(not unknown, f"corrections must be out of {', '.join(CORRECTIONS)}", ", ".join(unknown))
    table = Columns(readings)
    lamps, of = table.groups("lamp"), bench.technologies
    known = [str(of.get(lamp, "")) for lamp in table["lamp"][lamps.first].tolist()]
    table["technology"] = np.array(known, dtype=object)[lamps.code]
    steps = {"dark": _dark, "spectral": _spectral, "voltage": _voltage, "ambient": _ambient}
    applied, assumed = [], []
    table["net_lx"] = table.numbers("illuminance_lx")
    if "onto" not in table:  # only readings.csv is linked
        table["onto"] = table["meter"]
        for column, value in (("link_ln", 0.0), ("link_u", 0.0), ("link_dof", np.inf)):
            table[column] = np.full(table.rows, value)
    meters = table.groups("onto")
    certificates = [bench.meters[m].certificate for m in table["onto"][meters.first].tolist()]
    certified = np.log([1.0 if one is None else one.correction for one in certificates])
    table["ln_correction"] = certified[meters.code] + table.numbers("link_ln")
    for name, step in steps.items():
        changed, notes = step(table, bench, name in wanted)
        applied += [name] if changed else []
        assumed += notes
    table["ln_value"] = np.log(table["net_lx"]) + table["ln_correction"]
    return Corrected(readings, table, tuple(applied), tuple(assumed))


def _dark(table: Columns, _bench: Bench, on: bool) -> tuple[bool, list[Assumption]]:
    """Subtract the dark reading where there is one."""
    dark = np.nan_to_num(table.numbers("dark_lx"))
    if not on or not dark.any():
        return False, []
    table["net_lx"] = table["net_lx"] - dark
    return True, []


def _spectral(table: Columns, bench: Bench, on: bool) -> tuple[bool, list[Assumption]]:
    """Multiply by the spectral mismatch correction factor where spectra or a certificate give one."""
    by = table.groups("onto", "lamp")
    which = zip(*(table[c][by.first].tolist() for c in ("onto", "lamp", "technology")), strict=True)
    found = [(spectral_factor(bench, *one) if on else None) or (1.0, np.nan, False) for one in which]
    factor, u, own = np.array(found, dtype=float).reshape(-1, 3).T
    table["ln_correction"] = table["ln_correction"] + np.log(factor)[by.code]
    table["spectral_u"] = u[by.code]
    # a link knows the technology, not the lamp
    table["own_spectrum"] = (own[by.code] > 0.0) & np.asarray(table["onto"] == table["meter"])
    words = "least standard uncertainty of a factor from spectra: 1 nm of wavelength error"
    floor = Assumption("spectral factor", 100.0 * SPECTRAL_FLOOR, "%", words)
    return bool((factor != 1.0).any()), [floor] if (u == SPECTRAL_FLOOR).any() else []


def spectral_factor(bench: Bench, meter: str, lamp: str, technology: str) -> tuple[float, float, bool] | None:
    """Return the correction factor of a lamp on a meter.

    Parameters
    ----------
    bench : Bench
        The bench: certificate factors and spectra.
    meter, lamp, technology : str
        Which.

    Returns
    -------
    tuple of (float, float, bool) or None
        Factor F* (reading x F*), its relative standard uncertainty, and whether the lamp's own spectrum is on
        file; None
        where neither a stated factor nor spectra exist. [1]
    """
    responsivity, source = spectrum_of(bench, "responsivity", meter), spectrum_of(bench, "source", lamp)
    if responsivity is not None and source is not None:
        u = 0.0 if technology == "filament" else SPECTRAL_FLOOR
        return _from_spectra(responsivity.tobytes(), source.tobytes()), u, True
    stated = stated_factor(bench.meters[meter], technology)
    return None if stated is None else (*stated, False)


@lru_cache(maxsize=256)  # drawn benches and parts of a bench have the same spectra
def _from_spectra(responsivity: bytes, source: bytes) -> float:
    """Return the factor of a source on a meter, which hangs on nothing else, from curves on `GRID_NM`."""
    return float(mismatch_correction(GRID_NM, np.frombuffer(responsivity), np.frombuffer(source)))


def spectrum_of(bench: Bench, kind: str, name: str) -> NDArray[np.float64] | None:
    """Return a spectrum on file, on `GRID_NM`.

    Parameters
    ----------
    bench : Bench
        The bench.
    kind : {"source", "responsivity"}
        Of a lamp or of a meter.
    name : str
        The lamp or the meter.

    Returns
    -------
    ndarray or None
        Relative values [1]; None where there is none.
    """
    mine = (s for s in bench.spectra.values() if s.kind == kind)
    found = next((s for s in mine if name == (s.meter if kind == "responsivity" else s.lamp)), None)
    return None if found is None else np.interp(GRID_NM, found.wavelength_nm, found.value)


def _voltage(table: Columns, bench: Bench, on: bool) -> tuple[bool, list[Assumption]]:
    """Bring filament lamps to the reference voltage where the readings state volts."""
    filament = np.asarray(table["technology"] == "filament")
    volts = table.numbers("socket_V")
    reference = bench.settings.reference_voltage_V
    stated = filament & ~np.isnan(volts)
    table["exponent"] = np.where(filament, FILAMENT_FLUX_EXPONENT, 0.0)
    table["volts"] = np.where(stated, volts, np.nan)
    change = np.log(reference / np.where(stated, volts, reference))
    table["ln_voltage_ratio"] = change if on else np.zeros(table.rows)
    table["ln_correction"] = table["ln_correction"] + FILAMENT_FLUX_EXPONENT * table["ln_voltage_ratio"]
    notes = []
    if stated.any():
        words = "limit of the voltmeter's scale error"
        notes.append(Assumption("voltmeter scale", VOLTMETER_SCALE_PERCENT, "%", words))
    if (filament & ~stated).any():
        words = "limit of the unknown supply voltage of the filament lamp"
        notes.append(Assumption("supply voltage", ASSUMED_VOLTAGE_LIMIT_V, "V", words))
    return on and bool((np.abs(change) > NO_CHANGE).any()), notes


def _ambient(table: Columns, bench: Bench, on: bool) -> tuple[bool, list[Assumption]]:
    """Bring LED lamps to the reference ambient with the assumed coefficient."""
    warmth = np.nan_to_num(table.numbers("ambient_C") - bench.settings.reference_ambient_C)
    table["warmth_K"] = warmth
    table["led_warmth_K"] = np.where(table["technology"] == "led", warmth, 0.0)
    if not on or not (np.abs(table["led_warmth_K"]) > NO_CHANGE).any():
        return False, []
    table["ln_correction"] = table["ln_correction"] - LED_AMBIENT_COEFFICIENT * table["led_warmth_K"]
    name, percent = "ambient coefficient of LED lamps", 100 * LED_AMBIENT_COEFFICIENT
    note = Assumption(name, percent, "%/K", "limits ±0.2 %/K", corrects=True)
    return True, [note]

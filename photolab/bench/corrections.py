"""Declared corrections, in their order: dark, spectral, voltage, ambient; each brings its own input.

Near field is a correction of candela, not of a ratio within one housing: `CORRECTIONS` lists it so that it can be
switched, and the candela rows use it. The raw reading is never changed: `apply` returns new columns.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from photolab.bench.model import Assumption, Bench, Spectrum
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
WINDOW_NM = (380.0, 780.0)


@dataclass(frozen=True, eq=False)
class Corrected:
    """Readings with the corrections applied.

    Attributes
    ----------
    readings : DataFrame
        The selected rows with net_lx (dark reading removed), ln_value, technology, exponent, volts (NaN where not
        stated), warmth_K (ambient above the reference; 0 where unknown), spectral_u (NaN where not corrected),
        own_spectrum.
    applied : tuple of str
        Names of the corrections that changed a reading.
    assumed : tuple of Assumption
        Declared defaults the corrections rest on.
    """

    readings: pd.DataFrame
    applied: tuple[str, ...]
    assumed: tuple[Assumption, ...]


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
    if unknown:
        message = f"corrections must be out of {', '.join(CORRECTIONS)}; got {', '.join(unknown)}"
        raise ValueError(message)
    table = readings.copy()
    lamps = bench.tables["lamps"].set_index("lamp")
    table["technology"] = [str(lamps["technology"].get(lamp, "")) for lamp in table["lamp"]]
    steps = {"dark": _dark, "spectral": _spectral, "voltage": _voltage, "ambient": _ambient}
    applied, assumed = [], []
    table["net_lx"] = table["illuminance_lx"]
    if "onto" not in table:  # only readings.csv is linked
        table = table.assign(onto=table["meter"], link_ln=0.0, link_u=0.0, link_dof=np.inf)
    table["ln_correction"] = [_certificate_ln(bench, meter) for meter in table["onto"]] + table["link_ln"]
    for name, step in steps.items():
        changed, notes = step(table, bench, name in wanted)
        applied += [name] if changed else []
        assumed += notes
    table["ln_value"] = np.log(table["net_lx"].to_numpy(float)) + table["ln_correction"]
    return Corrected(table, tuple(applied), tuple(assumed))


def _certificate_ln(bench: Bench, meter: str) -> float:
    """Return ln of a certificate's correction: true over displayed reading."""
    certificate = bench.meters[meter].certificate
    return 0.0 if certificate is None else float(np.log(certificate.correction))


def _dark(table: pd.DataFrame, _bench: Bench, on: bool) -> tuple[bool, list[Assumption]]:
    """Subtract the dark reading where there is one."""
    dark = table["dark_lx"].fillna(0.0)
    if not on or not (dark != 0).any():
        return False, []
    table["net_lx"] = table["illuminance_lx"] - dark
    return True, []


def _spectral(table: pd.DataFrame, bench: Bench, on: bool) -> tuple[bool, list[Assumption]]:
    """Multiply by the spectral mismatch correction factor where spectra or a certificate give one."""
    ln_factor, u = np.zeros(len(table)), np.full(len(table), np.nan)
    own = np.zeros(len(table), dtype=bool)
    pairs = dict.fromkeys(zip(table["onto"], table["lamp"], table["technology"], strict=True))
    for meter, lamp, technology in pairs:
        found = spectral_factor(bench, meter, lamp, technology) if on else None
        if found is not None:
            at = ((table["onto"] == meter) & (table["lamp"] == lamp)).to_numpy()
            ln_factor[at], u[at], own[at] = np.log(found[0]), found[1], found[2]
    own &= (table["onto"] == table["meter"]).to_numpy()  # a link knows the technology, not the lamp
    table["ln_correction"] += ln_factor
    table["spectral_u"], table["own_spectrum"] = u, own
    notes = []
    if (u == SPECTRAL_FLOOR).any():
        words = "least standard uncertainty of a factor from spectra: 1 nm of wavelength error"
        notes.append(Assumption("spectral factor", 100.0 * SPECTRAL_FLOOR, "%", words))
    return bool((ln_factor != 0).any()), notes


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
    responsivity = _spectrum(bench, "responsivity", meter=meter)
    source = _spectrum(bench, "source", lamp=lamp)
    if responsivity is not None and source is not None:
        u = 0.0 if technology == "filament" else SPECTRAL_FLOOR
        return factor_from_spectra(responsivity, source), u, True
    for stated in bench.meters[meter].spectral_factors:
        if stated.technology == technology:
            u = stated.expanded_uncertainty / stated.coverage_factor / stated.factor
            return stated.factor, u, False
    return None


def factor_from_spectra(responsivity: Spectrum, source: Spectrum) -> float:
    """Return the spectral mismatch correction factor from two files.

    Parameters
    ----------
    responsivity, source : Spectrum
        As read from the bench; brought to 1 nm on 380-780 nm.

    Returns
    -------
    float
        F*, relative to illuminant A. [1]
    """
    wavelength = np.arange(WINDOW_NM[0], WINDOW_NM[1] + 1.0)
    values = [np.interp(wavelength, s.wavelength_nm, s.value) for s in (responsivity, source)]
    return float(mismatch_correction(wavelength, values[0], values[1]))


def _spectrum(bench: Bench, kind: str, *, meter: str = "", lamp: str = "") -> Spectrum | None:
    for spectrum in bench.spectra.values():
        if spectrum.kind == kind and (spectrum.meter == meter if meter else spectrum.lamp == lamp):
            return spectrum
    return None


def _voltage(table: pd.DataFrame, bench: Bench, on: bool) -> tuple[bool, list[Assumption]]:
    """Bring filament lamps to the reference voltage where the readings state volts."""
    filament = (table["technology"] == "filament").to_numpy()
    volts = table["socket_V"].to_numpy(float)
    reference = bench.settings.reference_voltage_V
    stated = filament & ~np.isnan(volts)
    table["exponent"] = np.where(filament, FILAMENT_FLUX_EXPONENT, 0.0)
    table["volts"] = np.where(stated, volts, np.nan)
    change = np.where(stated, np.log(reference / np.where(stated, volts, reference)), 0.0)
    table["ln_voltage_ratio"] = change if on else 0.0
    if on:
        table["ln_correction"] += FILAMENT_FLUX_EXPONENT * table["ln_voltage_ratio"]
    notes = []
    if stated.any():
        words = "limit of the voltmeter's scale error"
        notes.append(Assumption("voltmeter scale", VOLTMETER_SCALE_PERCENT, "%", words))
    if (filament & ~stated).any():
        words = "limit of the unknown supply voltage of the filament lamp"
        notes.append(Assumption("supply voltage", ASSUMED_VOLTAGE_LIMIT_V, "V", words))
    return on and bool((np.abs(change) > NO_CHANGE).any()), notes


def _ambient(table: pd.DataFrame, bench: Bench, on: bool) -> tuple[bool, list[Assumption]]:
    """Bring LED lamps to the reference ambient with the assumed coefficient."""
    warmth = (table["ambient_C"] - bench.settings.reference_ambient_C).fillna(0.0).to_numpy()
    table["warmth_K"] = warmth
    led = (table["technology"] == "led").to_numpy()
    table["led_warmth_K"] = np.where(led, warmth, 0.0)
    if not on or not (table["led_warmth_K"].abs() > NO_CHANGE).any():
        return False, []
    table["ln_correction"] -= LED_AMBIENT_COEFFICIENT * table["led_warmth_K"]
    note = Assumption(
        "ambient coefficient of LED lamps", 100 * LED_AMBIENT_COEFFICIENT, "%/K", "limits ±0.2 %/K"
    )
    return True, [note]

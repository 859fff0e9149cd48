"""What is true on a simulated bench: lamps, housings, meters and days, each with its generating values.

A `Truth` is written as a plain TOML document, so that the truth behind a shipped data set can be looked up beside it.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np
import tomli_w


@dataclass(frozen=True)
class LampTruth:
    """A lamp model on the bench.

    Parameters
    ----------
    technology, role : str
        Codes of lamps.csv.
    ratio : mapping
        Housing to light relative to the baseline at the initial time, reference voltage and ambient. [1]
    specimens : mapping
        Specimen label to its deviation from the model. [ln]
    specimen_sd, reading_sd : float
        Standard deviations of ln(light). [1]
    ambient_per_K : float
        Change of light with ambient temperature. [1/K]
    remaining, tau_min : float
        Fraction of the initial light left in the end, time constant of the way there. [1], [min]
    hold_W, case_C : float
        Electrical power after the hold; case temperature after it, or just before a foldback. [W], [degC]
    power_fall : float
        How far the power falls while the lamp settles, of what is left. [1]
    emissivity : float
        Of the case where the camera looks. [1]
    step_min, step_factor, step_W : float
        Time, size and power after a thermal foldback; 0, 1 and 0 where there is none. [min], [1], [W]
    record_min : float
        Length of its warm-up records. [min]
    """

    technology: str
    role: str
    ratio: Mapping[str, float]
    specimens: Mapping[str, float]
    specimen_sd: float = 0.04
    reading_sd: float = 0.004
    ambient_per_K: float = -0.0025
    remaining: float = 1.0
    tau_min: float = 5.0
    hold_W: float = 25.0
    power_fall: float = 0.05
    case_C: float = 85.0
    emissivity: float = 0.9
    step_min: float = 0.0
    step_factor: float = 1.0
    step_W: float = 0.0
    record_min: float = 40.0


@dataclass(frozen=True)
class HousingTruth:
    """A housing: baseline intensity and how its light falls off with distance.

    Illuminance at distance d is I (1 - (near_field/d)^2) / (d + offset)^2.

    Parameters
    ----------
    intensity_cd : float
        Hot-spot intensity with the baseline lamp. [cd]
    distance_m, offset_m, near_field_m : float
        Bench distance, photometric centre behind the reference face, length of the near-field term. [m]
    mounting_sd : float
        Standard deviation of ln(light) from seating a lamp again. [1]
    """

    intensity_cd: float
    distance_m: float
    offset_m: float = 0.0
    near_field_m: float = 0.0
    mounting_sd: float = 0.025

    def illuminance(self, distance_m: Any = None) -> Any:
        """Return the illuminance of the baseline lamp.

        Parameters
        ----------
        distance_m : array_like, optional
            From the reference face; the bench distance if left out. [m]

        Returns
        -------
        array_like
            Illuminance. [lx]
        """
        d = self.distance_m if distance_m is None else distance_m
        return self.intensity_cd * (1 - (self.near_field_m / d) ** 2) / (d + self.offset_m) ** 2


@dataclass(frozen=True)
class MeterTruth:
    """A lux meter and its hidden faults.

    Parameters
    ----------
    ranges_lx, resolution_lx : tuple of float
        Tops of the ranges and their last figures. [lx]
    gain : tuple of float
        Relative error of each range, beside the common scale. [1]
    offset_lx : tuple of float
        What each range adds. [lx]
    scale : float
        Relative error common to all ranges. [1]
    colour : mapping
        Technology to reading over true illuminance. [1]
    linearity : mapping
        "range/lamp/housing" to relative error; 0 where absent. [1]
    temperature_per_K : mapping
        Day to the change of the reading a kelvin from the reference ambient; 0 where absent. [1/K]
    """

    ranges_lx: tuple[float, ...]
    resolution_lx: tuple[float, ...]
    gain: tuple[float, ...]
    offset_lx: tuple[float, ...]
    scale: float
    colour: Mapping[str, float]
    linearity: Mapping[str, float] = field(default_factory=dict)
    temperature_per_K: Mapping[str, float] = field(default_factory=dict)

    def display(self, illuminance: Any, range_lx: float, colour: float, linearity: float = 0.0) -> Any:
        """Return what the meter shows, rounded to the last figure of the range.

        Parameters
        ----------
        illuminance : array_like
            True illuminance. [lx]
        range_lx : float
            Top of the range in use. [lx]
        colour : float
            Reading over true illuminance for this light. [1]
        linearity : float
            Relative error of this range at this level. [1]

        Returns
        -------
        ndarray
            Displayed illuminance. [lx]
        """
        at = self.ranges_lx.index(range_lx)
        factor = (1 + self.scale) * (1 + self.gain[at]) * (1 + linearity) * colour
        figures = (np.asarray(illuminance) * factor + self.offset_lx[at]) / self.resolution_lx[at]
        return np.round(np.round(figures) * self.resolution_lx[at], 6)


@dataclass(frozen=True)
class DayTruth:
    """A day at the bench.

    Parameters
    ----------
    date : str
        ISO date.
    ambient_C, lead_V : float
        Ambient temperature, voltage at the lamp socket. [degC], [V]
    measured_at : str
        Where the voltmeter sat: ``supply`` or ``socket``.
    autorange : bool
        Whether the meter chose its range.
    protocol_revision : str
        Revision in force.
    effect : mapping
        Housing to the day's common deviation. [ln]
    """

    date: str
    ambient_C: float
    lead_V: float
    measured_at: str
    autorange: bool
    protocol_revision: str
    effect: Mapping[str, float]


@dataclass(frozen=True)
class Declared:
    """Distributions a fresh bench draws from: what the bench folder declares, in relative units.

    Parameters
    ----------
    scale, range_term, gain, linearity : float
        Half-widths of rectangular distributions (range_term: of the top of the range). [1]
    meter_per_K : float
        Half-width of a meter's temperature coefficient. [1/K]
    specimen : float
        SD between pieces of one lamp. [ln]
    colour : float
        Standard uncertainty of the factor that spectra give for light other than a filament's. [1]
    exponent, exponent_u : float
        Estimate and standard uncertainty of a filament lamp's voltage exponent. [1]
    voltage_V, voltmeter_scale : float
        Standard uncertainty of one voltage, half-width of the voltmeter's scale error. [V], [1]
    ambient_per_K, ambient_half_width : float
        Estimate and half-width of an LED lamp's ambient coefficient. [1/K]
    elapsed_s : float
        Standard uncertainty of the time of a reading. [s]
    """

    scale: float = 0.03
    range_term: float = 0.005
    gain: float = 0.01
    linearity: float = 0.01
    specimen: float = 0.04
    meter_per_K: float = 0.001
    colour: float = 0.006
    exponent: float = 3.42
    exponent_u: float = 0.25
    voltage_V: float = 0.03
    voltmeter_scale: float = 0.0025
    ambient_per_K: float = -0.002
    ambient_half_width: float = 0.002
    elapsed_s: float = 2.0


@dataclass(frozen=True)
class Truth:
    """Everything a simulated bench is generated from.

    Parameters
    ----------
    lamps, housings, meters, days : mapping
        By id.
    baseline : str
        The lamp the others are divided by.
    day_sd, voltage_exponent, ageing_per_h : float
        SD of a day, voltage exponent and ageing of a filament lamp. [1], [1], [1/h]
    voltmeter_scale : float
        Relative error of the voltmeter: shown over true, less 1. [1]
    reference_V, reference_C : float
        Conditions the ratios hold for. [V], [degC]
    aims : mapping
        "lamp/specimen/housing/day/mounting" to the factor of a mounting seated wrongly. [1]
    declared : Declared
        What fresh benches draw from.
    """

    lamps: Mapping[str, LampTruth]
    housings: Mapping[str, HousingTruth]
    meters: Mapping[str, MeterTruth]
    days: Mapping[str, DayTruth]
    baseline: str = "B0"
    day_sd: float = 0.009
    voltage_exponent: float = 3.40
    ageing_per_h: float = -0.0005
    voltmeter_scale: float = 0.0
    reference_V: float = 13.20
    reference_C: float = 20.0
    aims: Mapping[str, float] = field(default_factory=dict)
    declared: Declared = field(default_factory=Declared)


def truth_document(truth: Truth) -> str:
    """Return a truth as the text of truth.toml.

    Parameters
    ----------
    truth : Truth
        Generating values.

    Returns
    -------
    str
        TOML text.
    """
    head = "# INVENTED: the generating values of a simulated bench at its initial time; see data/README.md.\n"
    return head + tomli_w.dumps(asdict(truth))

"""Declared defaults that a folder leans on, each with the words it is printed with."""

from photolab.bench.model import Assumption, Bench, Housing, Meter
from photolab.bench.schema import SECTIONS


def assumptions(bench: Bench) -> tuple[Assumption, ...]:
    """Return every declared default that is used because the folder says nothing.

    Parameters
    ----------
    bench : Bench
        The folder.

    Returns
    -------
    tuple of Assumption
        In the order of bench.toml.
    """
    found = list(_settings(bench))
    tables = ("readings", "warm_up", "distance", "beam")
    used = {name for table in tables for name in bench.tables[table]["meter"].unique()}
    for meter in bench.meters.values():
        if meter.id in used:
            found.extend(_meter(meter))
    for housing in bench.housings.values():
        found.extend(_housing(housing, bench))
    readings = bench.tables["readings"]
    blank = readings["mounting"] == ""
    if (blank & readings.duplicated(["lamp", "specimen", "housing", "day"], keep=False)).any():
        words = "rows of one lamp, housing and day without a mounting are repeats of one seating"
        found.append(Assumption("mounting labels", "one seating", "", words))
    return tuple(found)


def _settings(bench: Bench) -> list[Assumption]:
    """Return the defaults of [bench] in use."""
    found = []
    for key in SECTIONS["bench"]:
        if not key.assumed or key.name in bench.settings.declared:
            continue
        if key.name == "hold_minutes" and bench.tables["warm_up"].empty:
            continue
        if key.name == "remaining_sd_percent" and not _held(bench):
            continue
        found.append(_note(key.name, getattr(bench.settings, key.name), key.unit, key.about))
    return found


def _held(bench: Bench) -> bool:
    """Return whether any lamp was kept on until the hold time."""
    kept = bench.tables["readings"]["elapsed_s"] > 60.0 * bench.settings.hold_minutes * 0.9
    return bool(kept.any()) or not bench.tables["warm_up"].empty


def _meter(meter: Meter) -> list[Assumption]:
    """Return the defaults of a meter in use."""
    found = []
    for key in SECTIONS["meter"]:
        if key.assumed and key.name not in meter.declared:
            found.append(_note(f"meter {meter.id} {key.name}", getattr(meter, key.name), key.unit, key.about))
    if not meter.range_percent and not meter.digits:
        found.append(_note(f"meter {meter.id} range_percent", 0.0, "%", "second part of the accuracy line"))
    if meter.certificate is not None and "drift_percent_per_year" not in meter.declared:
        value = meter.drift_percent_per_year
        found.append(
            _note(f"meter {meter.id} drift_percent_per_year", value, "%", "change since the calibration")
        )
    return found


def _housing(housing: Housing, bench: Bench) -> list[Assumption]:
    """Return the defaults of a housing in use: candela needs a distance, a beam needs a side of the road."""
    names = []
    if "distance_m" in housing.declared:
        names += ["offset_mm", "offset_uncertainty_mm", "sensor", "tilt_uncertainty_deg"]
    if (bench.tables["beam"]["housing"] == housing.id).any():
        names.append("traffic")
    keys = {key.name: key for key in SECTIONS["housing"]}
    missing = [name for name in names if name not in housing.declared]
    return [
        _note(f"housing {housing.id} {n}", getattr(housing, n), keys[n].unit, keys[n].about) for n in missing
    ]


def _note(name: str, value: float | str, unit: str, about: str) -> Assumption:
    """Return an assumption with its words."""
    tail = f" {unit}" if unit and unit != "1" else ""
    figure = f"{value:g}{tail}" if isinstance(value, float) else value
    return Assumption(name, value, unit, f"{about}: {figure}, assumed")

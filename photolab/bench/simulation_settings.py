"""What was written down beside the readings of the simulated bench: bench.toml, lamps.csv, days.csv."""

from typing import Any

import pandas as pd

from photolab.bench.truth import Truth

CLAIMS: dict[str, tuple[float | None, float | None, str, float, str, str, int, str]] = {
    # claimed flux [lm], claimed power [W], per, price, per, driver, specimens bought, obtained
    "B0": (1450, 58, "lamp", 4.2, "lamp", "", 3, "bought"),
    "K1": (2600, 26, "lamp", 61.0, "pair", "internal", 4, "bought"),
    "K2": (5600, 52, "pair", 74.0, "pair", "internal", 1, "bought"),
    "K3": (2300, 23, "lamp", 48.5, "pair", "external", 2, "bought"),
    "K4": (2200, 22, "lamp", 39.0, "pair", "external", 2, "bought"),
    "K5": (1800, 18, "lamp", 27.5, "pair", "internal", 1, "lent"),
    "K6": (3400, 30, "lamp", 88.0, "pair", "internal", 1, "supplied"),
    "K7": (9500, 38, "pair", 57.0, "pair", "external", 1, "bought"),
    "K8": (4400, 50, "pair", 52.0, "pair", "internal", 1, "supplied"),
}
PRICE_DATE = "2026-04-02"
COLOUR_K = {"filament": 3200.0, "led": 6600.0}


def bench_document(truth: Truth) -> dict[str, Any]:
    """Return the content of bench.toml.

    Parameters
    ----------
    truth : Truth
        Days (for the revision) and meters (for their ranges); hidden faults stay hidden.

    Returns
    -------
    dict
        Ready for a TOML writer.
    """
    told = truth.declared
    return {
        "schema": 1,
        "bench": _bench_entry(truth),
        "meter": [
            {
                "id": "M1",
                "reading_percent": round(100 * told.scale, 6),
                "range_percent": round(100 * told.range_term, 6),
                "ranges_lx": list(truth.meters["M1"].ranges_lx),
                "resolution_lx": list(truth.meters["M1"].resolution_lx),
                "mismatch_index_percent": 8.0,
                "linearity_percent": round(100 * told.linearity, 6),
                "temperature_percent_per_K": round(100 * told.meter_per_K, 6),
                "integration_s": 0.5,
                "calibrated_on": "2025-02-11",
                "calibration_source": "A",
            },
            {
                "id": "M2",
                "reading_percent": 4.0,
                "digits": 10,
                "ranges_lx": list(truth.meters["M2"].ranges_lx),
                "resolution_lx": list(truth.meters["M2"].resolution_lx),
                "mismatch_index_percent": 6.0,
                "calibrated_on": "2026-03-03",
                "calibration_source": "A",
            },
        ],
        "housing": _housing_entries(truth),
        "question": [
            {
                "asked_on": "2026-04-10",
                "lamp": "any",
                "housing": "each",
                "instant": "hold",
                "more_than_percent": 10.0,
                "words": "Does any lamp give 10 % more light than B0 after 40 minutes in both housings?",
            }
        ],
    }  # fmt: skip


def _bench_entry(truth: Truth) -> dict[str, Any]:
    return {
        "name": "Machinery ring, stone barn (invented demo)",
        "protocol_revision": list(truth.days.values())[-1].protocol_revision,
        "initial_s": 60,
        "initial_window_s": 10,
        "hold_minutes": 40,
        "reference_voltage_V": truth.reference_V,
        "reference_ambient_C": truth.reference_C,
        "currency": "dal",
        "mounting_sd_percent": 2.5,
        "specimen_sd_percent": 4.0,
        "day_sd_percent": 1.0,
    }


def _housing_entries(truth: Truth) -> list[dict[str, Any]]:
    return [
        {
            "id": "HP", "kind": "projector", "traffic": "right",
            "distance_m": truth.housings["HP"].distance_m,
            "distance_uncertainty_mm": 10.0, "offset_mm": 120.0, "offset_uncertainty_mm": 30.0,
            "aperture_mm": 65.0, "sensor": "faces_lamp", "tilt_uncertainty_deg": 2.0,
        },
        {
            "id": "HR", "kind": "reflector", "traffic": "right",
            "distance_m": truth.housings["HR"].distance_m,
            "distance_uncertainty_mm": 10.0, "offset_mm": 0.0, "offset_uncertainty_mm": 50.0,
            "aperture_mm": 180.0, "sensor": "faces_lamp", "tilt_uncertainty_deg": 2.0,
        },
    ]  # fmt: skip


def lamps_table(truth: Truth) -> pd.DataFrame:
    """Return lamps.csv: technology, role, what the box claims, price.

    Parameters
    ----------
    truth : Truth
        Lamps.

    Returns
    -------
    DataFrame
        One row a lamp.
    """
    rows = []
    for name, lamp in truth.lamps.items():
        flux, watts, per, price, price_per, driver, bought, obtained = CLAIMS[name]
        rows.append({
            "lamp": name, "technology": lamp.technology, "role": lamp.role, "claimed_flux_lm": flux,
            "claimed_power_W": watts, "claimed_per": per, "colour_temperature_K": COLOUR_K[lamp.technology],
            "price": price, "price_date": PRICE_DATE, "price_per": price_per, "driver": driver,
            "specimens_bought": bought, "obtained": obtained,
        })  # fmt: skip
    return pd.DataFrame(rows)


def days_table(truth: Truth) -> pd.DataFrame:
    """Return days.csv.

    Parameters
    ----------
    truth : Truth
        Days.

    Returns
    -------
    DataFrame
        One row a day.
    """
    notes = {
        "1": "pilot day; meter left on autorange",
        "2": "meter locked to 4000 lx",
        "3": "new lead to the lamp; volts now read at the lamp socket",
    }
    rows, seen = [], set()
    for name, day in truth.days.items():
        note = "" if day.protocol_revision in seen else notes[day.protocol_revision]
        seen.add(day.protocol_revision)
        rows.append({
            "day": name, "date": day.date, "protocol_revision": day.protocol_revision,
            "ambient_C": day.ambient_C, "supply_V": truth.reference_V, "meter": "M1", "note": note,
        })  # fmt: skip
    return pd.DataFrame(rows)

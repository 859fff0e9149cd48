"""What a simulated bench draws: a fresh truth, the days, every mounting; or the demo's arranged residuals."""

from collections import defaultdict
from dataclasses import replace

import numpy as np

from photolab.bench.demo import GROUP_MEANS, PINNED
from photolab.bench.simulation_plan import Seat
from photolab.bench.truth import Declared, LampTruth, MeterTruth, Truth


def draw_truth(truth: Truth, *, rng: np.random.Generator) -> Truth:
    """Return a bench of the same design whose every declared input is drawn afresh.

    Parameters
    ----------
    truth : Truth
        Design and declared distributions; the lamps' ratios are kept.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    Truth
        The drawn truth.
    """
    told = truth.declared
    days = {
        name: replace(day, effect={key: float(rng.normal(0, truth.day_sd)) for key in truth.housings})
        for name, day in truth.days.items()
    }
    return replace(
        truth,
        lamps={name: _draw_lamp(lamp, told, rng) for name, lamp in truth.lamps.items()},
        days=days,
        meters={name: _draw_meter(meter, truth, rng) for name, meter in truth.meters.items()},
        voltage_exponent=float(rng.normal(told.exponent, told.exponent_u)),
        voltmeter_scale=float(rng.uniform(-1, 1) * told.voltmeter_scale),
        ageing_per_h=0.0,
        aims={},
    )


def _draw_lamp(lamp: LampTruth, told: Declared, rng: np.random.Generator) -> LampTruth:
    """Draw specimens and ambient coefficient; a lamp that is modulated or flat stays as it is."""
    coefficient = told.ambient_per_K + float(rng.uniform(-1, 1)) * told.ambient_half_width
    return replace(
        lamp,
        specimens={key: float(rng.normal(0, told.specimen)) for key in lamp.specimens},
        ambient_per_K=0.0 if lamp.technology == "filament" else coefficient,
    )


def _draw_meter(meter: MeterTruth, truth: Truth, rng: np.random.Generator) -> MeterTruth:
    told = truth.declared
    tops = meter.ranges_lx
    keys = [f"{top:g}/{lamp}/{housing}" for top in tops for lamp in truth.lamps for housing in truth.housings]
    return replace(
        meter,
        scale=float(rng.uniform(-told.scale, told.scale)),
        gain=tuple(rng.uniform(-told.gain, told.gain, len(tops)).tolist()),
        offset_lx=tuple(float(rng.uniform(-1, 1) * told.range_term * top) for top in tops),
        colour={
            key: value if key == "filament" else float(value * (1 + rng.normal(0, told.colour)))
            for key, value in meter.colour.items()
        },
        linearity={key: float(rng.uniform(-told.linearity, told.linearity)) for key in keys},
        temperature_per_K={day: float(rng.uniform(-1, 1) * told.meter_per_K) for day in truth.days},
    )


def mounting_effects(
    truth: Truth, plan: list[Seat], *, rng: np.random.Generator, arranged: bool
) -> dict[str, float]:
    """Return how each mounting deviates from its lamp's light.

    Parameters
    ----------
    truth : Truth
        Mounting SD of every housing.
    plan : list of Seat
        The mountings.
    rng : numpy.random.Generator
        Source of randomness.
    arranged : bool
        Pin and centre the mountings that tell a story, as in the frozen demo.

    Returns
    -------
    dict
        Key of the seat to deviation. [ln]
    """
    sds = [truth.housings[seat.housing].mounting_sd for seat in plan]
    draws = rng.normal(0, 1, len(plan))
    draws = np.clip(draws, -2, 2) if arranged else draws
    effects = dict(zip([seat.key for seat in plan], (draws * sds).tolist(), strict=True))
    if not arranged:
        return effects
    effects.update(PINNED)
    for (lamp, housing), mean in GROUP_MEANS.items():
        together = defaultdict(
            list
        )  # the baseline's seatings before and after the new lead are centred apart
        for seat in plan:
            if (seat.lamp, seat.housing) == (lamp, housing):
                together[seat.specimen, lamp == "B0" and seat.day >= "D06"].append(seat.key)
        for keys in together.values():
            _centre(effects, keys, mean)
    return effects


def _centre(effects: dict[str, float], keys: list[str], mean: float) -> None:
    """Shift the mountings that are not pinned so that all of them have the wanted mean."""
    free = [key for key in keys if key not in PINNED]
    if len(free) < 2:
        return
    shift = (mean * len(keys) - sum(effects[key] for key in keys)) / len(free)
    for key in free:
        effects[key] += shift


def day_effects(truth: Truth, *, rng: np.random.Generator) -> Truth:
    """Return the truth with its days' common deviations drawn, the mean of each period kept at 0.

    Parameters
    ----------
    truth : Truth
        Day SD, days and housings.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    Truth
        With day effects; the days before and after the new lead average to 0 each.
    """
    names = list(truth.days)
    drawn = {housing: rng.normal(0, truth.day_sd, len(names)) for housing in truth.housings}
    late = np.array([truth.days[name].measured_at == "socket" for name in names])
    for values in drawn.values():
        for period in (late, ~late):
            values[period] -= values[period].mean()
    days = {
        name: replace(truth.days[name], effect={key: round(float(v[n]), 5) for key, v in drawn.items()})
        for n, name in enumerate(names)
    }
    return replace(truth, days=days)

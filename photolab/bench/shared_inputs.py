"""Which readings share which doubt: the loadings of every input quantity on the mounting means.

A *mounting mean* is the mean of the ln readings taken while a lamp stayed seated once. Every input acts on mounting
means through a loading (the change of the ln mean when the input changes by one unit). Two mounting means share an
input exactly when they carry the same identity for it, never because two cells hold the same text. The first word of
an input's name is finer than its kind (`metrology.quantity.KINDS`), which says in which scope it counts: noise is
reading scatter, a mounting seating, drift a part of the day, and four of the supply.

===================  =======================================  ==================================================
kind                 one quantity for each                    loading
===================  =======================================  ==================================================
scale                meter (a linked reading's: main meter)   1 (percent of reading of the range / the largest)
scale drift          meter                                    1 (with a certificate only)
range gain           meter, range                             1, only where a meter's ranges differ
range term           meter, range                             mean of 1/reading
linearity            meter, range, lamp, housing              1
resolution           reading, or mounting if all are equal    1/(n reading)
noise                mounting                                 1
link                 meter, technology                        1, readings of another meter than the main one
colour               meter (as scale), technology             1 (corrected and uncorrected lamps apart)
own colour           meter, lamp                              1 (not filament; not with its own spectrum)
meter temperature    meter, day                               kelvins from the reference ambient
mounting             mounting                                 1
day                  day, housing                             1
drift                day, housing                             hours from the middle of the day, with clocks only
specimen             lamp, specimen                           1 (scope "models" only)
supply voltage       mounting                                 -exponent/volts, where the readings state it
voltmeter            bench                                    -exponent/volts, where the readings state it
supply assumed       bench                                    -exponent, filament lamps without volts
voltage exponent     bench                                    ln(reference/volts) of filament lamps
ambient              lamp                                     kelvins from the reference ambient
elapsed time         mounting                                 slope of the warm-up
===================  =======================================  ==================================================
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from photolab.bench import instruments
from photolab.bench.model import Meter
from photolab.metrology.quantity import Input

if TYPE_CHECKING:
    import pandas as pd
    from scipy import sparse

Array = NDArray[np.float64]
Columns: TypeAlias = "pd.DataFrame | Mapping[str, Any]"  # one entry a mounting in each

COMMON_KINDS = frozenset({"scale", "range gain", "range term"})
"""What the line *nothing in common* counts once for each reading."""
SHARED_BY = {
    "scale": "meter",
    "scale drift": "meter",
    "link": "meter and technology",
    "range gain": "meter and range",
    "range term": "meter and range",
    "linearity": "lamp and housing",
    "colour": "meter and technology",
    "own colour": "meter and lamp",
    "meter temperature": "meter and day",
    "mounting": "mounting",
    "day": "day and housing",
    "drift": "day and housing",
    "specimen": "specimen",
    "supply voltage": "mounting",
    "voltmeter": "bench",
    "supply assumed": "bench",
    "voltage exponent": "bench",
    "ambient": "lamp",
}
"""What shares an input, in a word, where that is more than one reading."""
UNITS = {
    "range term": "lx",
    "resolution": "lx",
    "meter temperature": "1/K",
    "drift": "1/h",
    "supply voltage": "V",
    "ambient": "1/K",
    "elapsed time": "s",
}
"""Unit of an input that is not relative."""


def term_of(q: Input) -> str:
    """Return what an input of a campaign is, finer than its kind.

    Parameters
    ----------
    q : Input
        An input whose name is a tuple: what it is, then of what.

    Returns
    -------
    str
        The first word of its name.
    """
    return str(q.name[0]) if isinstance(q.name, tuple) else str(q.name)


@dataclass
class Loadings:
    """Inputs and their loadings, collected one after the other."""

    rows: int
    inputs: list[Input] = field(default_factory=list)
    _parts: list[tuple[Array, Array, Array]] = field(default_factory=list)

    def add(
        self,
        keys: list[Any],
        loading: Array,
        make: Callable[[Any], Input],
        *,
        seats: Array | None = None,
    ) -> None:
        """Add one input for each distinct key.

        Parameters
        ----------
        keys : list of hashable or None, length n
            Identity carried by each element; None carries nothing.
        loading : ndarray, shape (n,)
            Change of the ln mounting mean for one unit of the input. [1/unit]
        make : callable
            Builds the input of a key.
        seats : ndarray of int, shape (n,), optional
            Mounting of each element; in order where not given.
        """
        at = np.arange(self.rows) if seats is None else seats
        keep = np.array([k is not None for k in keys], dtype=bool) & (loading != 0.0)
        if not keep.any():
            return
        kept = [k for k, ok in zip(keys, keep, strict=True) if ok]
        code: dict[Hashable, int] = {}
        columns = np.array([code.setdefault(k, len(code)) for k in kept]) + len(self.inputs)
        self.inputs.extend(make(k) for k in code)
        self._parts.append((np.asarray(at)[keep], columns, loading[keep]))

    def add_one(self, quantity: Input, loading: Array) -> None:
        """Add a single input.

        Parameters
        ----------
        quantity : Input
            The input.
        loading : ndarray, shape (rows,)
            Change of each ln mounting mean for one unit; zero where it does not act. [1/unit]
        """
        self.add([quantity.name] * self.rows, loading, lambda _: quantity)

    def matrix(self) -> sparse.csr_array:
        """Return the loadings, shape (mountings, inputs)."""
        from scipy import sparse  # heavy, and two readings do without

        shape = (self.rows, len(self.inputs))
        if not self._parts:
            return sparse.csr_array(shape)
        at, columns, values = (np.concatenate(p) for p in zip(*self._parts, strict=True))
        return sparse.csr_array((values, (at, columns)), shape=shape)

    def dense(self) -> Array:
        """Return the loadings as an array, for a few readings."""
        loadings = np.zeros((self.rows, len(self.inputs)))
        for at, columns, values in self._parts:
            np.add.at(loadings, (at.astype(int), columns.astype(int)), values)
        return loadings


def _numbers(seats: Columns, column: str) -> Array:
    return np.asarray(seats[column], dtype=float)


def _range_keys(seats: Columns) -> list[tuple[str, ...]]:
    """Return the identity of each mounting's range; an unknown range belongs to its mounting alone."""
    tops = _numbers(seats, "range_lx")
    label = [f"range unknown {i}" if np.isnan(r) else f"{r:g} lx" for i, r in enumerate(tops)]
    return list(zip(map(str, seats["meter"]), label, strict=True))


def add_meter(
    loads: Loadings,
    seats: Columns,
    meters: Mapping[str, Meter],
    *,
    certificate_age: Mapping[str, float] | None = None,
) -> None:
    """Add what the instrument's specification says: scale, gain, range term, linearity.

    Parameters
    ----------
    loads : Loadings
        Receives the inputs.
    seats : DataFrame or mapping
        Mounting means: meter, range_lx, inverse (mean of 1/reading), lamp, housing.
    meters : mapping
        Meters by id.
    certificate_age : mapping, optional
        Years since the certificate, by meter. [a]
    """
    ages = certificate_age or {}
    ones = np.ones(len(seats["meter"]))
    ids = list(seats["meter"])
    ranges = _numbers(seats, "range_lx")
    onto = list(seats.get("onto", ids))  # the meter whose scale and colour a reading is on
    scale = np.array([instruments.scale_loading(meters[m], r) for m, r in zip(onto, ranges, strict=True)])
    for meter in dict.fromkeys(onto):
        acts = np.array([m == meter for m in onto]) * scale
        for quantity in instruments.scale_inputs(meters[meter], years_since_certificate=ages.get(meter, 0.0)):
            loads.add_one(quantity, acts)
    keys = _range_keys(seats)
    several = {m for m in ids if len({k for k in keys if k[0] == m}) > 1}
    loads.add(
        [k if k[0] in several else None for k in keys],
        ones,
        lambda k: instruments.gain_input(meters[k[0]], k[1:]),
    )
    tops = {k: (meters[k[0]], r) for k, r in zip(keys, ranges, strict=True)}
    term = np.array([np.nan_to_num(instruments.range_half_width(*tops[k])) > 0 for k in keys])
    loads.add(
        [k if ok else None for k, ok in zip(keys, term, strict=True)],
        _numbers(seats, "inverse"),
        lambda k: instruments.range_input(*tops[k], k[1:]),
    )
    linear = [
        (*k, lamp, housing) for k, lamp, housing in zip(keys, seats["lamp"], seats["housing"], strict=True)
    ]
    loads.add(linear, ones, lambda k: instruments.linearity_input(meters[k[0]], k[1:]))


def add_links(loads: Loadings, seats: pd.DataFrame) -> None:
    """Add the link of each other meter and technology to the main meter.

    Parameters
    ----------
    loads : Loadings
        Receives the inputs.
    seats : DataFrame
        Mounting means: meter, onto, technology, link_u, link_dof.
    """
    keys = [
        None if m == main else (m, technology, u, dof)
        for m, main, technology, u, dof in zip(
            seats["meter"],
            seats["onto"],
            seats["technology"],
            seats["link_u"],
            seats["link_dof"],
            strict=True,
        )
    ]
    loads.add(keys, np.ones(loads.rows), lambda k: link_input(*k))


def link_input(meter: str, technology: str, u: float, dof: float) -> Input:
    """Return the deviation of a link, which all readings of a meter and technology share.

    Parameters
    ----------
    meter, technology : str
        The meter that was linked to the main one, for which light.
    u : float
        Standard uncertainty in ln. [1]
    dof : float
        Degrees of freedom. [1]

    Returns
    -------
    Input
        Relative deviation. [1]
    """
    return Input(("link", meter, technology), u, dof=dof, kind="scale", source="own readings")


def add_resolution(loads: Loadings, readings: Columns, seats: Columns, meters: Mapping[str, Meter]) -> None:
    """Add the rounding of each reading, once for a mounting whose readings all show one figure.

    Parameters
    ----------
    loads : Loadings
        Receives the inputs.
    readings : DataFrame or mapping
        Readings: seat (row of `seats`), displayed and net illuminance. [lx]
    seats : DataFrame or mapping
        Mounting means: meter, range_lx, n, one_figure.
    meters : mapping
        Meters by id.
    """
    seat = np.asarray(readings["seat"], dtype=int)
    steps = np.array(
        [
            instruments.resolution_lx(meters[m], r)
            for m, r in zip(seats["meter"], seats["range_lx"], strict=True)
        ]
    )
    one = np.asarray(seats["one_figure"], dtype=bool)
    number = np.arange(seat.size)
    keys = [
        None if steps[s] == 0.0 else ("mounting", str(s)) if one[s] else ("reading", str(i))
        for i, s in zip(number, seat, strict=True)
    ]
    step_of = {k: steps[s] for k, s in zip(keys, seat, strict=True)}
    load = 1.0 / (_numbers(seats, "n")[seat] * _numbers(readings, "net_lx"))
    loads.add(keys, load, lambda k: instruments.resolution_input(step_of[k], k), seats=seat)


def add_colour(loads: Loadings, seats: Columns, meters: Mapping[str, Meter]) -> None:
    """Add the colour of each technology and each lamp's own part.

    Parameters
    ----------
    loads : Loadings
        Receives the inputs.
    seats : DataFrame or mapping
        Mounting means: meter, lamp, technology, spectral_u (NaN where not corrected), own_spectrum, likeness.
    meters : mapping
        Meters by id.
    """
    ones = np.ones(len(seats["meter"]))
    light = np.asarray(seats["technology"], dtype=str) != "filament"
    u = _numbers(seats, "spectral_u")
    onto = seats.get("onto", seats["meter"])
    keys = [
        None if not lit else (m, tech, "" if np.isnan(v) else f"{v:.15g}")
        for lit, m, tech, v in zip(light, onto, seats["technology"], u, strict=True)
    ]

    def make(key: tuple[str, str, str]) -> Input:
        if key[2] == "":
            return instruments.colour_input(meters[key[0]], key[1])
        return Input(("colour", *key[:2], "corrected"), float(key[2]), kind="colour", source="manual")

    loads.add(keys, ones, make)
    likeness = dict(zip(seats["lamp"], seats["likeness"], strict=True))
    own = [
        None if not lit or has else (m, lamp)
        for lit, has, m, lamp in zip(light, seats["own_spectrum"], seats["meter"], seats["lamp"], strict=True)
    ]
    loads.add(own, ones, lambda k: instruments.own_colour_input(meters[k[0]], k[1], likeness[k[1]]))


def spread_input(level: str, key: tuple[str, ...], sd: float, dof: float, *, pool: str = "pooled") -> Input:
    """Return an input whose standard deviation was pooled over the campaign, or assumed (dof infinite).

    Parameters
    ----------
    level : str
        "mounting", "day" or "specimen"; names the variance where the SD was estimated.
    key : tuple of str
        Identity.
    sd : float
        Standard deviation of the ln value. [1]
    dof : float
        Degrees of freedom of the pooled estimate. [1]
    pool : str
        The one estimate that its SD was taken from: a housing, a lamp.

    Returns
    -------
    Input
        Relative deviation. [1]
    """
    assumed = math.isinf(dof)
    return Input(
        (level, *key),
        sd,
        dof=dof,
        kind={"mounting": "seating"}.get(level, level),
        source="assumed" if assumed else "own readings",
        variance=None if assumed else (level, pool),
    )


def own_colour_likeness(lamps: pd.DataFrame) -> dict[str, str]:
    """Return for each lamp how far its colour temperature lies from the others of its technology.

    Parameters
    ----------
    lamps : DataFrame
        Columns lamp, technology, colour_temperature_K (NaN where unknown).

    Returns
    -------
    dict
        Lamp to "like" (within 20 % of the median of its technology, or nobody states one), "unlike" (beyond 20 %, or
        unknown beside a stated one), "far" (a factor of two and more).
    """
    answer: dict[str, str] = {}
    for _, group in lamps.groupby("technology"):
        kelvin = group["colour_temperature_K"].to_numpy(float)
        stated = kelvin[~np.isnan(kelvin)]
        middle = float(np.median(stated)) if len(stated) else np.nan
        for lamp, value in zip(group["lamp"], kelvin, strict=True):
            if not len(stated):
                answer[lamp] = "like"
            elif np.isnan(value):
                answer[lamp] = "unlike"
            else:
                apart = max(value / middle, middle / value)
                answer[lamp] = "like" if apart <= 1.2 else "unlike" if apart < 2.0 else "far"
    return answer

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
heating              mounting                                 1 (at the hold time; where several of a piece tell it)
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
from collections.abc import Callable, Hashable, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from photolab.bench.terms import instruments
from photolab.bench.terms.columns import Array, Columns, Groups, Table, equal
from photolab.bench.terms.model import Meter
from photolab.metrology.quantity import Input, Inputs, Joint

if TYPE_CHECKING:
    import pandas as pd

COMMON_KINDS = frozenset({"scale", "range gain", "range term"})
"""What the line *nothing in common* counts once for each reading."""
_KINDS = {"noise": "reading scatter", "heating": "reading scatter", "mounting": "seating"}


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


class Loadings:
    """Inputs of the rows of a table and their loadings, collected one sort after the other.

    Parameters
    ----------
    seats : Columns
        The rows.
    """

    def __init__(self, seats: Columns) -> None:
        self.seats = seats
        self._models: list[Input] = []
        self._model: list[NDArray[np.intp]] = []
        self._names: list[Callable[[int], Hashable]] = []
        self._parts: list[tuple[NDArray[np.intp], NDArray[np.intp], Array]] = []
        self._count = 0

    def add(
        self,
        by: tuple[str, ...],
        loading: Array | float,
        models: Sequence[Input],
        which: NDArray[np.intp] | int = 0,
        entries: Columns | None = None,
    ) -> None:
        """Add one input for each group of rows, or of entries of which a row may have several.

        Parameters
        ----------
        by : tuple of str
            Columns in which rows agree that share an input; its name is the first word of the model's, then these.
        loading : float or ndarray, shape (rows,)
            Change of the ln mounting mean for one unit of the input; no input where it is zero. [1/unit]
        models : sequence of Input
            What the inputs are but for their names.
        which : int or ndarray, shape (rows,)
            Model of each row. [1]
        entries : Columns, optional
            In place of the rows, with the place of the row of each as column seat.
        """
        table = self.seats if entries is None else entries
        which, loading = (np.broadcast_to(x, table.rows) for x in (which, np.asarray(loading, dtype=float)))
        acts = np.flatnonzero(loading)
        if not len(acts):
            return
        groups, texts = table.groups(*by), [table[column] for column in by]
        if len(acts) < len(loading):
            kept = equal(groups.code[acts])
            groups = Groups(kept.code, acts[kept.first])
        terms = [str(q.name[0]) for q in models if isinstance(q.name, tuple)]
        places, model = groups.first.tolist(), which[groups.first]
        self._names.append(lambda k: (terms[model[k]], *(str(text[places[k]]) for text in texts)))
        self._model.append(model + len(self._models))
        self._models.extend(models)
        row = acts if entries is None else entries["seat"][acts]
        self._parts.append((row, groups.code + self._count, loading[acts]))
        self._count += len(places)

    def joint(self, names: Sequence[Hashable], values: Array) -> Joint:
        """Return the rows as quantities.

        Parameters
        ----------
        names : sequence of hashable, length rows
            Name of each row.
        values : ndarray, shape (rows,)
            Estimate of each row. [ln lx]

        Returns
        -------
        Joint
            The rows with the inputs they share, as a sparse matrix.
        """
        nothing = [np.empty(0, dtype=np.intp)]
        starts = np.cumsum([0, *map(len, self._model)])

        def name(k: int) -> Hashable:
            block = int(np.searchsorted(starts, k, side="right")) - 1
            return self._names[block](k - int(starts[block]))

        inputs = Inputs(self._models, np.concatenate(self._model or nothing), name)
        at, columns, loads = (
            (np.concatenate(p) for p in zip(*self._parts, strict=True)) if self._parts else nothing * 3
        )
        shape = (self.seats.rows, self._count)
        from scipy import sparse  # heavy, and two readings do without

        return Joint(names, values, inputs, sparse.csr_array((loads, (at, columns)), shape=shape))


def add_meter(
    loads: Loadings,
    meters: Mapping[str, Meter],
    *,
    shown: Table | None = None,
    certificate_age: Mapping[str, float] | None = None,
) -> None:
    """Add what the instrument brings: scale, gain, range term, linearity, resolution, link, colour.

    Parameters
    ----------
    loads : Loadings
        Receives the inputs. Its rows: meter, onto (the meter whose scale a reading is on), range_lx, several (whether
        the meter's ranges differ), number (of the row), inverse (mean of 1/reading), n, one_figure, lamp, housing,
        technology, spectral_u (NaN where not corrected), own_spectrum, likeness, link_u, link_dof.
    meters : mapping
        Meters by id.
    shown : DataFrame or mapping of columns, optional
        Each reading behind the rows: seat (place of its row) and net_lx; one a row where not given. [lx]
    certificate_age : mapping, optional
        Years since the certificate, by meter. [a]
    """
    seats = loads.seats
    ranged, both = _of_group(seats, meters, "meter", "range_lx")
    tops = seats.numbers("range_lx")[ranged.first].tolist()
    scales, kept = _of_group(seats, meters, "onto", "range_lx")
    onto = seats.numbers("range_lx")[scales.first].tolist()
    scale = np.array([*map(instruments.scale_loading, kept, onto)])
    for meter in dict.fromkeys(kept):
        acts = np.where([m is meter for m in kept], scale, 0.0)[scales.code]
        age = (certificate_age or {}).get(meter.id, 0.0)
        for q in instruments.scale_inputs(meter, years_since_certificate=age):
            loads.add(("onto",), acts, [q])
    label = np.array([f"{top:g} lx" for top in tops], dtype=object)[ranged.code]
    unknown = np.flatnonzero(np.isnan(seats.numbers("range_lx")))
    label[unknown] = [f"range unknown {k}" for k in seats["number"][unknown].tolist()]
    seats["range"] = label
    own, theirs = _of_group(seats, meters, "meter")
    loads.add(("meter", "range"), seats.numbers("several"), [instruments.gain_input(theirs[0], ())])
    terms = [instruments.range_input(m, top, ()) for m, top in zip(both, tops, strict=True)]
    half = np.nan_to_num([*map(instruments.range_half_width, both, tops)])
    loads.add(("meter", "range"), seats.numbers("inverse") * (half > 0.0)[ranged.code], terms, ranged.code)
    linear = [instruments.linearity_input(m, ()) for m in theirs]
    loads.add(("meter", "range", "lamp", "housing"), 1.0, linear, own.code)
    steps = [*map(instruments.resolution_lx, both, tops)]
    _add_resolution(loads, shown, np.array(steps), ranged.code)
    _add_colour(loads, meters)
    linked = seats.groups("meter", "technology", "link_u", "link_dof")
    us, dofs = (seats.numbers(c)[linked.first].tolist() for c in ("link_u", "link_dof"))
    doubts = [link_input("", "", u, dof) for u, dof in zip(us, dofs, strict=True)]
    loads.add(("meter", "technology"), seats["meter"] != seats["onto"], doubts, linked.code)


def _of_group(seats: Columns, meters: Mapping[str, Meter], *by: str) -> tuple[Groups, list[Meter]]:
    """Return groups of rows, and the meter of each."""
    groups = seats.groups(*by)
    return groups, [meters[m] for m in seats[by[0]][groups.first].tolist()]


def _add_resolution(loads: Loadings, shown: Table | None, steps: Array, step: NDArray[np.intp]) -> None:
    """Add the rounding of each reading, once for a mounting whose readings all show one figure."""
    seats = loads.seats
    models = [instruments.resolution_input(s, ()) for s in steps.tolist()]
    number, one = seats["number"], np.asarray(seats["one_figure"], dtype=bool)
    seat, each, load = np.arange(seats.rows), number, seats.numbers("inverse")
    if shown is not None:
        seat = np.asarray(shown["seat"], dtype=np.intp)
        load = 1.0 / (seats.numbers("n")[seat] * np.asarray(shown["net_lx"], dtype=float))
        each = np.arange(len(seat))
    of = {"of": np.where(one, "mounting", "reading")[seat], "number": np.where(one[seat], number[seat], each)}
    load = np.where((steps > 0.0)[step[seat]], load, 0.0)
    loads.add(("of", "number"), load, models, step[seat], Columns({"seat": seat, **of}))


def _add_colour(loads: Loadings, meters: Mapping[str, Meter]) -> None:
    """Add the colour of each technology, corrected and uncorrected lamps apart, and each lamp's own part."""
    seats = loads.seats
    light = np.asarray(seats["technology"] != "filament", dtype=float)
    groups, kept = _of_group(seats, meters, "onto", "technology", "spectral_u")
    us = seats.numbers("spectral_u")[groups.first]
    of = [(m.id, str(t)) for m, t in zip(kept, seats["technology"][groups.first], strict=True)]
    corrected = [key for key, u in zip(of, us, strict=True) if not math.isnan(u)]
    models, words = [], []
    for meter, key, u in zip(kept, of, us.tolist(), strict=True):
        factor = Input(("colour",), np.nan_to_num(u), kind="colour", source="manual")
        models.append(instruments.colour_input(meter, key[1]) if math.isnan(u) else factor)
        words.append("corrected" if corrected.count(key) < 2 else f"corrected within {100.0 * u:.3g} %")
    plain = np.isnan(us)[groups.code]
    seats["corrected"] = np.array(words, dtype=object)[groups.code]
    loads.add(("onto", "technology"), light * plain, models, groups.code)
    loads.add(("onto", "technology", "corrected"), light * ~plain, models, groups.code)
    alike, theirs = _of_group(seats, meters, "meter", "likeness")
    likeness = seats["likeness"][alike.first].tolist()
    own = [instruments.own_colour_input(m, "", like) for m, like in zip(theirs, likeness, strict=True)]
    loads.add(("meter", "lamp"), light * (seats["own_spectrum"] == 0), own, alike.code)


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


def spread_input(level: str, key: tuple[str, ...], sd: float, dof: float, *, pool: str = "pooled") -> Input:
    """Return an input whose standard deviation was pooled over the campaign, or assumed (dof infinite).

    Parameters
    ----------
    level : str
        "noise", "heating", "mounting", "day" or "specimen"; names the variance where the SD was estimated.
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
        kind=_KINDS.get(level, level),
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
    table = Columns(lamps)
    groups, kelvin = table.groups("technology"), table.numbers("colour_temperature_K")
    stated = [kelvin[(groups.code == k) & ~np.isnan(kelvin)] for k in range(len(groups))]
    middle = np.array([np.median(of) if len(of) else np.nan for of in stated])[groups.code]
    apart = np.maximum(kelvin / middle, middle / kelvin)
    likeness = np.where(apart >= 2.0, "far", np.where(apart <= 1.2, "like", "unlike"))
    likeness[np.isnan(middle)] = "like"
    return dict(zip(table["lamp"].tolist(), likeness.tolist(), strict=True))

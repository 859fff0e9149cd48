"""The campaign's own standard deviations: reading, mounting, day, specimen; assumed until measured.

All in ln. A mounting that lies far from the other mountings of its lamp is flagged and named, and stays in the SD and
in the lamp's value alike: whether it is a mistake is for the person to say (`exclude = yes` with a note), and then it
is in neither. In the value without the SD it would make false claims.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc, stdtr

from photolab.bench.terms.assumptions import Assumption
from photolab.bench.terms.columns import Array, Columns, Groups, Table, equal
from photolab.bench.terms.model import PRIOR_DOF, Settings

LEAST_DOF = 4
"""An SD estimated on fewer degrees of freedom gives way to the assumed one. [1]"""
FLAG_LEVEL = 0.05
"""Chance that a campaign of sound mountings has any flagged one. [1]"""
HOUSING_PRIOR_DOF = 2.0
"""Weight of the pool of all housings beside a housing's own seatings. [1]"""
HOUSING_LEVEL = 0.2
"""Chance under which housings whose seats scatter alike are called unlike; `tests/benchmarks/spread_rules.py`. [1]"""
LEAST_SHARE = 0.5
"""Least share of seating in the scatter of mounting means, where its degrees of freedom are counted. [1]"""
MODULATED_RATIO = 3.0
"""A lamp whose repeats scatter over this many pooled SDs keeps its own reading SD. [1]"""


@dataclass(frozen=True)
class Spread:
    """One standard deviation with its origin.

    Attributes
    ----------
    sd : float
        Standard deviation of the ln value. [1]
    dof : float
        Degrees of freedom; infinite where assumed. [1]
    assumed : bool
        True where the declared default stands in.
    """

    sd: float
    dof: float
    assumed: bool


@dataclass(frozen=True, eq=False)
class Spreads:
    """All four, and what was flagged.

    Attributes
    ----------
    reading : dict
        Spread of single readings by lamp.
    mounting, day, specimen : Spread
        Pooled over the campaign.
    seating, own_seating : dict
        Spread of mountings by housing: as used (drawn towards the pool where nothing speaks against it), and from
        the housing's own mountings alone (sd NaN where none was repeated).
    specimens : dict
        Spread of specimens by lamp: its own pieces with the declared SD as a prior.
    flagged : tuple of int
        Rows of the mounting means that lie far from the others; they stay in.
    remaining : dict
        Spread of remaining light between pieces by lamp, where it is given and not to be estimated.
    single : bool
        Whether the spread of readings is that of `unrepeated`.
    heated : dict
        Spread of what is left from one heating to the next by technology, of those with seatings enough to tell.
    """

    reading: dict[str, Spread]
    mounting: Spread
    day: Spread
    specimen: Spread
    seating: dict[str, Spread]
    own_seating: dict[str, Spread]
    specimens: dict[str, Spread]
    flagged: tuple[int, ...]
    remaining: dict[str, Spread] = field(default_factory=dict)
    single: bool = False
    heated: dict[str, Spread] = field(default_factory=dict)

    def seating_in(self, housing: str) -> Spread:
        """Return the spread of mountings in a housing; the pool where it has none of its own."""
        return self.seating.get(str(housing), self.mounting)

    @property
    def seated_once(self) -> float:
        """SD of a lamp seated and read once where no reading was repeated; else of the mounting alone [1]."""
        alone = max(spread.sd for spread in self.reading.values()) if self.single else 0.0
        return math.sqrt(self.mounting.sd**2 + alone**2)

    def knows_heatings(self, technology: str) -> bool:
        """Return whether lamps of a technology were heated often enough to tell how what is left differs."""
        found = self.single and all(math.isfinite(spread.dof) for spread in self.reading.values())
        return technology in self.heated or found

    def noise(self, seats: Columns) -> Array:
        """Return the SD of each mounting's mean from reading to reading, in ln."""
        return _noise(seats, self.reading)


def _noise(seats: Columns, reading: dict[str, Spread]) -> Array:
    """Return the SD of each mounting's mean from reading to reading."""
    lamps = seats.groups("lamp")
    sd = np.array([reading[str(lamp)].sd for lamp in seats["lamp"][lamps.first]])
    return np.asarray(sd[lamps.code] / np.sqrt(seats.numbers("n")))


def campaign_spreads(seats: Table, settings: Settings, baseline: str) -> Spreads:
    """Estimate the spreads of a campaign from its mounting means.

    Parameters
    ----------
    seats : DataFrame or mapping of columns
        Mountings with n, parts, ss (sum of squares of ln readings within), ln_value and identity.
    settings : Settings
        Declared or assumed SDs.
    baseline : str
        The lamp whose days estimate the day SD.

    Returns
    -------
    Spreads
        Of seatings where they stand on at least `LEAST_DOF` degrees of freedom; of days and pieces with the declared
        SD as a prior.
    """
    table = Columns.of(seats)
    reading = reading_spreads(table)
    initial = np.flatnonzero(table["instant"] == "initial")
    first = table.among(initial)
    declared = settings.mounting_sd_percent / 100.0
    mounting, own, flagged = mounting_spreads(first, declared, reading)
    alone = unrepeated(table, min(settings.reading_sd_percent / 100.0, mounting.sd))
    if alone is not None:  # in the seatings' scatter so far, of which two readings of one seating are free
        reading = dict.fromkeys(reading, alone)
        declared = math.sqrt(max(declared**2 - float((_noise(first, reading) ** 2).mean()), 0.0))
        mounting, own, flagged = mounting_spreads(first, declared, reading)
    used, noise = housing_spreads(own, mounting), _noise(first, reading) ** 2
    pool = seen_through(mounting, noise)
    seating = dict.fromkeys(_labels(table, "housing"), pool)
    seating |= {h: seen_through(spread, noise[first["housing"] == h]) for h, spread in used.items()}
    day = day_spread(first, settings.day_sd_percent / 100.0, baseline, used, noise=noise)
    between = between_specimens(first, used, noise=noise)
    declared = settings.specimen_sd_percent / 100.0
    specimen = specimen_spread(between, declared)
    each = {lamp: own_specimens(between.get(lamp), declared) for lamp in reading}
    far = tuple(initial[list(flagged)].tolist())
    heated = reheated(table, reading) if alone is None else {}
    return Spreads(
        reading, pool, day, specimen, seating, own, each, far, single=alone is not None, heated=heated
    )


def seen_through(seating: Spread, noise: Array) -> Spread:
    r"""Return a spread of mountings with the degrees of freedom that it has as a difference.

    Parameters
    ----------
    seating : Spread
        What mounting means scatter less the scatter of readings, with the degrees of freedom of the former.
    noise : ndarray, shape (mountings,)
        Variance of each mean from reading to reading. [1]

    Returns
    -------
    Spread
        The same SD; a declared one as it is.

    Notes
    -----
    A variance :math:`s^2 = m - n` found from a mean square m of :math:`\nu` degrees of freedom is as doubtful as m,

    .. math:: \nu_s = \nu\, (s^2 / m)^2

    (Welch and Satterthwaite, JCGM 100:2008, G.4.1), so that the mean of a mounting, in which what was taken off is
    added again, has :math:`\nu`. The share is taken at `LEAST_SHARE` at least: below it the noise, which is known well,
    decides, and an interval must not jump where nothing is left of the seating.
    """
    if seating.assumed or not seating.sd:
        return seating
    variance = seating.sd**2
    share = max(variance / (variance + float(noise.mean())), LEAST_SHARE)
    return Spread(seating.sd, seating.dof * share**2, False)


def _labels(table: Columns, column: str) -> list[str]:
    """Return the different entries of a column, in their order."""
    return [str(label) for label in table[column][table.groups(column).first]]


def reading_spreads(seats: Table) -> dict[str, Spread]:
    """Pool the SD of readings within a mounting, apart for lamps that scatter far more.

    Parameters
    ----------
    seats : DataFrame or mapping of columns
        Mountings with n, parts and ss.

    Returns
    -------
    dict
        Spread by lamp; zero with infinite dof where nothing was repeated (the mounting SD then holds it).
    """
    table = Columns.of(seats)
    lamps, names = table.groups("lamp"), _labels(table, "lamp")
    ss = lamps.sum(table.numbers("ss"))
    dof = lamps.sum(table.numbers("n") - table.numbers("parts"))
    if dof.sum() == 0:
        return dict.fromkeys(names, Spread(0.0, np.inf, True))
    with np.errstate(divide="ignore", invalid="ignore"):  # lamps without repeats, or nothing but one lamp's
        own, others = np.sqrt(ss / dof), np.sqrt((ss.sum() - ss) / (dof.sum() - dof))
        wide = own > MODULATED_RATIO * others
    apart = (dof >= LEAST_DOF) & (dof.sum() - dof >= LEAST_DOF) & wide
    pool = float(dof[~apart].sum())
    pooled = Spread(float(np.sqrt(ss[~apart].sum() / pool)) if pool else np.nan, pool, False)
    return {
        lamp: Spread(float(own[k]), float(dof[k]), False) if apart[k] else pooled
        for k, lamp in enumerate(names)
    }


def unrepeated(seats: Table, declared: float) -> Spread | None:
    r"""Return the SD of readings of which none was repeated, from what seatings kept of their light.

    Parameters
    ----------
    seats : DataFrame or mapping of columns
        Mounting means of both instants.
    declared : float
        Declared or default SD. [1]

    Returns
    -------
    Spread or None
        None where readings were repeated, or no seating was read at both instants: then seatings hold all of it.

    Notes
    -----
    Two readings of one seating have its mounting in common: what seatings of a piece kept, d = ln hold - ln initial,
    differs by the scatter of two readings (and by what heat does otherwise each time),

    .. math:: s^2 = \frac{\sum_g \sum_i (d_{gi} - \bar d_g)^2}{\sum_g (n_g - 1)\, \overline{(1/n + 1/n')}}

    with the declared SD as a prior of `PRIOR_DOF`; the declared one alone where no piece was held twice in a housing.
    """
    table = Columns.of(seats)
    away, share, piece, _ = _kept(table, 1.0 / table.numbers("n"))
    if not len(away) or (table["n"] > table["parts"]).any():
        return None
    dof = float(len(away) - len(piece))
    if not dof:
        return Spread(declared, np.inf, True)
    found = float(away @ away) / (dof * float(share.mean()))
    whole = dof + PRIOR_DOF
    return Spread(float(np.sqrt((dof * found + PRIOR_DOF * declared**2) / whole)), whole, False)


def reheated(seats: Table, reading: dict[str, Spread]) -> dict[str, Spread]:
    """Return how what is left of a piece differs from one heating to the next, beyond what readings scatter.

    Parameters
    ----------
    seats : DataFrame or mapping of columns
        Mounting means of both instants, with technology.
    reading : dict
        Reading spread by lamp, whose share is taken off.

    Returns
    -------
    dict
        By technology, where at least `LEAST_DOF` degrees of freedom tell it: seatings of a piece beyond its first that
        were read at both instants. The degrees of freedom are those of `seen_through`.
    """
    table = Columns.of(seats)
    away, noise, piece, rows = _kept(table, _noise(table, reading) ** 2)
    kinds, found = table["technology"][rows], {}
    for kind in dict.fromkeys(kinds.tolist()):
        mine = kinds == kind
        dof = float(mine.sum() - len(np.unique(piece.code[mine])))
        if dof >= LEAST_DOF:
            variance = max(float(away[mine] @ away[mine]) / dof - float(noise[mine].mean()), 0.0)
            found[str(kind)] = seen_through(Spread(math.sqrt(variance), dof, False), noise[mine])
    return found


def _kept(table: Columns, variance: Array) -> tuple[Array, Array, Groups, NDArray[np.intp]]:
    """Return of each seating read at both instants what it kept less the mean of its piece, with the variances of both.

    Then its piece in one housing, on one meter and range; and a row of it.
    """
    at = ("lamp", "specimen", "housing", "point", "meter", "range_lx")
    hold = np.asarray(table["instant"] == "hold")
    seat = table.groups(*at, "day", "mounting")
    both = np.flatnonzero((seat.sum(hold) > 0.0) & (seat.sum(~hold) > 0.0))
    kept = seat.sum(np.where(hold, 1.0, -1.0) * table.numbers("ln_value"))[both]
    rows = seat.first[both]
    piece = equal(table.groups(*at).code[rows])
    return kept - piece.mean(kept)[piece.code], seat.sum(variance)[both], piece, rows


def mounting_spreads(
    seats: Table, assumed: float, reading: dict[str, Spread]
) -> tuple[Spread, dict[str, Spread], tuple[int, ...]]:
    """Pool the mounting SD over all lamps, with lamps and days as fixed effects: in all housings, and in each.

    Parameters
    ----------
    seats : DataFrame or mapping of columns
        Mounting means of one instant.
    assumed : float
        Declared or default SD. [1]
    reading : dict
        Reading spread by lamp, whose share is taken off.

    Returns
    -------
    tuple of (Spread, dict, tuple of int)
        The spread of all, each housing's own, and the flagged rows.
    """
    table = Columns.of(seats)
    if not table.rows:  # nothing was read at the initial time
        return Spread(assumed, np.inf, True), {}, ()
    cell = table.groups("lamp", "specimen", "housing", "point").code
    day = table.groups("day", "housing", "point").code
    value, housings = table.numbers("ln_value"), table.groups("housing")
    noise = _noise(table, reading) ** 2
    own, ss = {}, 0.0
    places = housings.apart(np.arange(table.rows))
    for housing, at in zip(_labels(table, "housing"), places, strict=True):
        residual, _, dof = _residuals(cell[at], day[at], value[at])
        mean_square = float(residual @ residual) / dof if dof else np.nan
        ss += mean_square * dof if dof else 0.0
        variance = np.maximum(mean_square - noise[at].mean(), 0.0)
        own[housing] = Spread(float(np.sqrt(variance)), float(dof), False)
    total = sum(spread.dof for spread in own.values())
    blocks = [np.arange(table.rows)] if seats_alike(own) else places
    flagged = tuple(sorted(row for at in blocks for row in _far(at, cell, day, value)))
    if total < LEAST_DOF:
        return Spread(assumed, np.inf, True), own, flagged
    variance = max(ss / total - float(noise.mean()), 0.0)
    return Spread(float(np.sqrt(variance)), total, False), own, flagged


def seats_alike(own: dict[str, Spread]) -> bool:
    """Return whether nothing speaks against one mounting SD for all housings, by Bartlett's test.

    Parameters
    ----------
    own : dict
        Each housing's own spread.

    Returns
    -------
    bool
        True where fewer than two housings have two degrees of freedom.
    """
    known = [spread for spread in own.values() if spread.dof >= 2]
    if len(known) < 2:
        return True
    dof = np.array([spread.dof for spread in known])
    variance = np.maximum([spread.sd**2 for spread in known], 1e-18)
    pooled = dof @ variance / dof.sum()
    statistic = dof.sum() * np.log(pooled) - dof @ np.log(variance)
    scale = 1.0 + ((1.0 / dof).sum() - 1.0 / dof.sum()) / (3.0 * (len(dof) - 1.0))
    return bool(chdtrc(len(dof) - 1.0, statistic / scale) >= HOUSING_LEVEL)


def housing_spreads(own: dict[str, Spread], pool: Spread) -> dict[str, Spread]:
    """Return the mounting spread that is used in each housing.

    Parameters
    ----------
    own : dict
        Each housing's own spread.
    pool : Spread
        Of all housings.

    Returns
    -------
    dict
        A housing's own, drawn towards the pool by `HOUSING_PRIOR_DOF`, or by as many as bring it to `LEAST_DOF`; alone
        where housings scatter unlike and it has as many.
    """
    if pool.assumed:
        return dict.fromkeys(own, pool)
    alike, used = seats_alike(own), {}
    for housing, spread in own.items():
        weight = max(HOUSING_PRIOR_DOF if alike else 0.0, LEAST_DOF - spread.dof)
        weight = min(weight, pool.dof - spread.dof)  # the pool holds this housing too
        dof = spread.dof + weight
        variance = (np.nan_to_num(spread.sd) ** 2 * spread.dof + weight * pool.sd**2) / dof
        used[housing] = Spread(float(np.sqrt(variance)), dof, False)
    return used


def _far(keep: NDArray[np.intp], cell: NDArray[np.intp], day: NDArray[np.intp], value: Array) -> list[int]:
    """Return the rows of the mountings that lie beyond chance, the farthest taken away first."""
    far = []
    while (worst := _outlier(*_residuals(cell[keep], day[keep], value[keep]))) is not None:
        far.append(int(keep[worst]))
        keep = np.delete(keep, worst)
    return far


def _residuals(cell: NDArray[np.intp], day: NDArray[np.intp], value: Array) -> tuple[Array, Array, int]:
    """Return residuals of mounting means on cells and days, their leverages and degrees of freedom.

    Days act through what their lamps were on other days: cells of a single day say nothing of it.
    """
    size = np.bincount(cell)
    cells = int(np.count_nonzero(size))
    days_in_all = int(day.max()) + 1
    pairs, count = np.unique(cell * days_in_all + day, return_counts=True)
    of_cell, on_day = np.divmod(pairs, days_in_all)
    several = np.bincount(of_cell)[cell] > 1
    value = value - value.mean()
    residual = value - np.bincount(cell, value)[cell] / size[cell]
    leverage = 1.0 / size[cell]
    if not several.any():
        return residual, leverage, len(value) - cells
    owner, places = np.unique(cell[several], return_inverse=True)
    days, when = np.unique(day[several], return_inverse=True)
    share = np.zeros((len(owner), len(days)))
    told = np.isin(of_cell, owner)
    share[np.searchsorted(owner, of_cell[told]), np.searchsorted(days, on_day[told])] = count[told]
    normal = np.diag(np.bincount(when).astype(float)) - share.T @ (share / size[owner, None])
    share /= size[owner, None]
    levels, modes = np.linalg.eigh(normal)
    held = levels > 1e-9 * levels[-1]
    inverse = (modes[:, held] / levels[held]) @ modes[:, held].T
    effect = inverse @ np.bincount(when, residual[several])
    residual[several] += (share @ effect)[places] - effect[when]
    moved = share @ inverse
    own = (moved * share).sum(axis=1)
    leverage[several] += inverse[when, when] - 2.0 * moved[places, when] + own[places]
    return residual, leverage, len(value) - cells - int(held.sum())


def _outlier(residual: Array, leverage: Array, dof: int) -> int | None:
    """Return the mounting whose externally studentised residual is beyond chance, if any."""
    if dof < LEAST_DOF + 1:
        return None
    free = 1.0 - leverage
    usable = free > 1e-6
    ss = residual @ residual
    rest = np.maximum(ss - np.where(usable, residual**2 / np.where(usable, free, 1.0), 0.0), 1e-18)
    t = np.where(usable, np.abs(residual) / np.sqrt(rest / (dof - 1) * np.where(usable, free, 1.0)), 0.0)
    worst = int(np.argmax(t))
    chance = 2.0 * stdtr(dof - 1, -t[worst]) * usable.sum()
    return worst if chance < FLAG_LEVEL and abs(residual[worst]) > 1e-9 else None


def day_spread(
    seats: Table, declared: float, baseline: str, seating: dict[str, Spread], *, noise: Array | float = 0.0
) -> Spread:
    r"""Return the day SD: what the baseline lamp says of it, with the declared SD as a prior of `PRIOR_DOF`.

    Parameters
    ----------
    seats : DataFrame or mapping of columns
        Mounting means of one instant.
    declared : float
        Declared or default SD. [1]
    baseline : str
        The lamp to use.
    seating : dict
        Mounting spread by housing, whose share is taken off.
    noise : float or ndarray, shape (mountings,), default 0
        Variance of each mean from reading to reading, taken off with it. [1]

    Returns
    -------
    Spread
        Pooled over housings and specimens; assumed where no two days hold the baseline.

    Notes
    -----
    Days are seen through seatings, so the baseline's days weigh with the degrees of freedom of the difference by which
    their variance is found (Welch and Satterthwaite, JCGM 100:2008, G.4.1), few where seatings scatter more than
    days, taken at the larger of what was found and declared: chance does not decide how much it counts,

    .. math:: \nu = (n v)^2 \Big/ \Big(\sum_g \frac{(n_g v + f_g s_g^2)^2}{f_g}
        + \sum_h \frac{(f_h s_h^2)^2}{\nu_h}\Big)

    with the groups g of a specimen in a housing h, variances s^2 of their mounting means, f days less one, and n as
    `_between` has it.
    """
    whole = Columns.of(seats)
    mine = np.flatnonzero(whole["lamp"] == baseline)
    table = whole.among(mine)
    outer = table.groups("specimen", "housing", "point")
    squares, share, free = _between(outer, table.groups("specimen", "housing", "point", "day"), table)
    if not free.any():
        return Spread(declared, np.inf, True)
    places = Groups(table.groups("housing").code[outer.first], table.groups("housing").first)
    pools = [seating[h] for h in _labels(table, "housing")]
    scatter = outer.mean(np.broadcast_to(noise, whole.rows)[mine])
    less = free * (np.array([pool.sd**2 for pool in pools])[places.code] + scatter)
    found = float((squares - less).sum() / share.sum())
    level = max(found, declared**2)
    doubt = ((share * level + less) ** 2 / np.maximum(free, 1.0)).sum()
    doubt += (places.sum(less) ** 2 / [pool.dof for pool in pools]).sum()
    dof = float((share.sum() * level) ** 2 / doubt) if level else 0.0
    variance = max(dof * found + PRIOR_DOF * declared**2, 0.0) / (dof + PRIOR_DOF)
    return Spread(float(np.sqrt(variance)), dof + PRIOR_DOF, False)


def _between(outer: Groups, inner: Groups, table: Columns) -> tuple[Array, Array, Array]:
    """Return of each outer group: squares between its inner groups, how often they hold their variance, dof."""
    n, mean = inner.size.astype(float), inner.mean(table.numbers("ln_value"))
    groups = Groups(outer.code[inner.first], outer.first)
    whole = groups.sum(n)
    away = mean - (groups.sum(n * mean) / whole)[groups.code]
    return groups.sum(n * away**2), whole - groups.sum(n**2) / whole, np.asarray(groups.size - 1.0)


def between_specimens(
    seats: Table, seating: dict[str, Spread], *, noise: Array | float = 0.0
) -> dict[str, tuple[float, float, float]]:
    """Return for each lamp what its specimens, seated on one day, say of their spread.

    Parameters
    ----------
    seats : DataFrame or mapping of columns
        Mounting means of one instant.
    seating : dict
        Mounting spread by housing, whose share is taken off.
    noise : float or ndarray, shape (mountings,), default 0
        Variance of each mean from reading to reading, taken off with it. [1]

    Returns
    -------
    dict
        Sum of squares less the mountings' share, how often it holds the variance, and degrees of freedom; lamps with
        several specimens only.
    """
    table = Columns.of(seats)
    variance = np.array([seating[h].sd ** 2 for h in _labels(table, "housing")])
    place = ("lamp", "housing", "point", "day")
    outer, inner = table.groups(*place), table.groups(*place, "specimen")
    squares, share, free = _between(outer, inner, table)
    less = variance[table.groups("housing").code[outer.first]] + outer.mean(
        np.broadcast_to(noise, table.rows)
    )
    several = free >= 1
    lamps = table.groups("lamp")
    owner = Groups(lamps.code[outer.first], lamps.first)
    ss, n0 = (owner.sum(np.where(several, part, 0.0)) for part in (squares - free * less, share))
    # a specimen differs in the same sense in every housing and on every day: its degrees of freedom count once
    beside = np.flatnonzero(several[outer.code])
    distinct = table.groups("lamp", "specimen")
    seen = np.unique(distinct.code[beside])
    dof = np.bincount(lamps.code[distinct.first[seen]], minlength=len(lamps)) - 1.0
    return {
        lamp: (float(ss[k]), float(n0[k]), float(dof[k]))
        for k, lamp in enumerate(_labels(table, "lamp"))
        if n0[k] > 0.0
    }


def not_held(held: set[str], on_bench: set[str]) -> float:
    """Return the variance that pieces not held add to remaining light, over that of one piece.

    Parameters
    ----------
    held, on_bench : set of str
        The pieces whose remaining light was read, and those whose light is spoken of.

    Returns
    -------
    float
        Of the difference of their means: 1/n - 1/N where n held ones are among the N. [1]
    """
    n, whole = len(held), len(on_bench)
    return 1.0 / n + 1.0 / whole - 2.0 * len(held & on_bench) / (n * whole)


def specimen_spread(between: dict[str, tuple[float, float, float]], assumed: float) -> Spread:
    """Pool the specimen SD over the lamps.

    Parameters
    ----------
    between : dict
        From `between_specimens`.
    assumed : float
        Declared or default SD. [1]

    Returns
    -------
    Spread
        Assumed where fewer than `LEAST_DOF` degrees of freedom exist or nothing is left beyond mounting.
    """
    ss, n0, dof = (sum(column) for column in zip(*between.values(), strict=True)) if between else (0.0,) * 3
    if dof < LEAST_DOF or ss <= 0.0:
        return Spread(assumed, np.inf, True)
    return Spread(float(np.sqrt(ss / n0)), dof, False)


def single_pieces(spreads: Spreads, *lamps: str) -> tuple[Assumption, ...]:
    """Return what stands in for the spread of pieces of lamps of which a single one was read."""
    said = "a single piece says nothing of its model"
    single = [lamp for lamp in lamps if spreads.specimens[lamp].assumed]
    return tuple(Assumption(f"pieces of {x}", 100.0 * spreads.specimens[x].sd, "%", said) for x in single)


def own_specimens(between: tuple[float, float, float] | None, declared: float) -> Spread:
    """Return the specimen spread of one lamp: its own pieces, with the declared SD as a prior of 6 dof.

    Parameters
    ----------
    between : tuple of float or None
        From `between_specimens`; None for a single piece, which says nothing of its model. [1]
    declared : float
        Declared or default SD. [1]

    Returns
    -------
    Spread
        Assumed where the lamp has a single piece.
    """
    ss, n0, dof = (0.0, 1.0, 0.0) if between is None else between
    whole = dof + PRIOR_DOF
    variance = (dof * max(ss / n0, 0.0) + PRIOR_DOF * declared**2) / whole
    return Spread(float(np.sqrt(variance)), whole, between is None)

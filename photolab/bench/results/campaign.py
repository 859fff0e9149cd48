"""A campaign evaluated jointly: what it holds, and the questions it answers."""

import itertools
import math
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from typing import Any, TypedDict, Unpack

import numpy as np
import pandas as pd
from scipy import sparse

from photolab.bench.inputs.corrections import ALL
from photolab.bench.inputs.seats import Weights
from photolab.bench.inputs.selection import Selection
from photolab.bench.inputs.spreads import Spread, Spreads, single_pieces
from photolab.bench.results.heat import RECORD_DRIFT, Held, at_hold
from photolab.bench.results.pairs import ReadingComparison, compare_pair
from photolab.bench.terms.assumptions import Assumption, entering
from photolab.bench.terms.columns import Columns
from photolab.bench.terms.model import PRIOR_DOF, Bench
from photolab.bench.terms.verdicts import JUDGED, judged_cells
from photolab.errors import MethodError
from photolab.metrology.comparison import pairs_of, pairwise
from photolab.metrology.estimates import Contrasts, read_estimates
from photolab.metrology.quantity import Joint, Measured
from photolab.metrology.simultaneous import widening


class Place(TypedDict, total=False):
    """Where the meter stood, and when: ``hot_spot`` and ``initial`` where nothing is said."""

    point: str
    instant: str


class Where(Place, total=False):
    """The same, and the housing; blank where there is only one."""

    housing: str


@dataclass(frozen=True)
class Finding:
    """Something the evaluation noticed.

    Attributes
    ----------
    code : str
        Stable code; `publication.statements` has the words.
    subject : tuple of str
        What it concerns, outermost first.
    value : float
        Its figure, NaN where there is none. [1]
    """

    code: str
    subject: tuple[str, ...] = ()
    value: float = math.nan


@lru_cache(maxsize=4)  # every family asks for them; a bench is told from another by identity
def without_technology(bench: Bench) -> frozenset[str]:
    """Return the lamps that were read and whose technology is not stated: they have no interval.

    Parameters
    ----------
    bench : Bench
        The bench.

    Returns
    -------
    frozenset of str
        The lamps.
    """
    known = {lamp for lamp, light in bench.technologies.items() if light}
    return frozenset(bench.tables["readings"]["lamp"].unique()) - known


def half_widths(
    joint: Joint, baseline: str, *, coverage: float, silent: Collection[str] = ()
) -> dict[str, float]:
    """Return half the width of the interval that each lamp's ratio to the baseline has among all pairs.

    Parameters
    ----------
    joint : Joint
        ln of the light of every lamp, named by lamp. [1]
    baseline : str
        The lamp that the others are divided by.
    coverage : float
        Coverage probability of all pairs together. [1]
    silent : collection of str
        Lamps without an interval; they are in no pair.

    Returns
    -------
    dict
        Half-width in ln by lamp; without the baseline, the silent, and all where there is no pair. [1]
    """
    known = [name for name in joint.names if name not in silent]
    if baseline not in known or len(known) < 2:
        return {}
    estimates = read_estimates(joint.among(known), None, names=None, dof=math.inf)
    family = Contrasts(estimates, *pairs_of(estimates.names, "tukey", baseline))
    count = math.comb(len(known), 2)
    wider = widening(estimates, family, coverage=coverage, seed=0, comparisons=count)
    told = family.second == known.index(baseline)
    lamps = [known[k] for k in family.first[told]]
    alone = joint.differences(lamps, [baseline] * len(lamps), coverage=coverage)[2][:, 0]
    return dict(zip(lamps, (wider[told] * alone).tolist(), strict=True))


@dataclass(frozen=True, eq=False)
class Campaign:
    """A campaign evaluated jointly.

    Attributes
    ----------
    joint : Joint
        ln of every lamp's illuminance from the readings of one instant, with every input; names (lamp, housing, point,
        instant). At the hold time records count too: `held`. [ln lx]
    mountings : Joint
        ln of every mounting mean, in the order of `seats`. [ln lx]
    tabled : callable
        Makes `table` of a campaign: `ratio_table.ratio_table`.
    findings : tuple of Finding
        What was noticed.
    assumed : tuple of Assumption
        Declared defaults that entered.
    baseline : str
        The lamp that ratios are against.
    selection : Selection
        Which readings enter, and why the others do not.
    means : Columns
        Mounting means, one a row: `seats`.
    weights : Weights
        What each of them weighs in each lamp's light.
    spreads : Spreads
        Scatter of readings, seatings, days and specimens.
    corrections, enabled : tuple of str
        Corrections that changed a reading; those that were asked for, which hold for every measurand.
    bench : Bench
        The bench, without what was left out on request: every measurand is computed from it.
    """

    joint: Joint
    mountings: Joint
    tabled: Callable[["Campaign"], pd.DataFrame]
    findings: tuple[Finding, ...]
    assumed: tuple[Assumption, ...]
    baseline: str
    corrections: tuple[str, ...]
    selection: Selection
    means: Columns
    weights: Weights
    spreads: Spreads
    bench: Bench
    enabled: tuple[str, ...] = ALL
    _families: dict[tuple[str, ...], dict[str, dict[str, Any]]] = field(
        default_factory=dict, init=False, repr=False
    )

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a lamp, housing, point and scope, made when it is asked for.

        Ratio to the baseline at the initial time with its interval, verdict, counts; ratios at the hold time:
        `ratio_table.heat_rows`.
        """
        return self.tabled(self)

    @cached_property
    def components(self) -> pd.DataFrame:
        """The spreads as a table, outermost first: level, sd (in ln), dof, assumed."""
        spreads, declared = self.spreads, self.bench.settings.specimen_sd_percent / 100.0
        levels = {
            "specimen": Spread(declared, PRIOR_DOF, assumed=True),  # the one declared for every lamp
            "day": spreads.day,
            "mounting": spreads.mounting,
            "reading": max(spreads.reading.values(), key=lambda s: s.dof if math.isfinite(s.dof) else 0.0),
        }
        rows = [{"level": k, "sd": s.sd, "dof": s.dof, "assumed": s.assumed} for k, s in levels.items()]
        return pd.DataFrame(rows)

    @cached_property
    def seats(self) -> pd.DataFrame:
        """Mounting means, one a row."""
        return self.means.table()

    @cached_property
    def held(self) -> Held:
        """The joint result at the hold time, from readings and records; records are fitted when it is asked for."""
        counts, given = self.weights.counts, self.spreads.remaining
        return at_hold(self.bench, self.means, self.mountings, self.joint, counts, given=given)

    @cached_property
    def noticed(self) -> tuple[Finding, ...]:
        """The findings, then pieces whose record and readings at both instants disagree on what is left."""
        apart = (Finding("record_apart", name, percent) for name, percent in self.held.apart.items())
        return (*self.findings, *apart)

    @cached_property
    def _only_housing(self) -> str:
        housings = list(dict.fromkeys(n[1] for n in self.weights.names))
        return housings[0] if len(housings) == 1 else ""

    def at(self, instant: str = "initial") -> Joint:
        """Return the joint result at an instant.

        Parameters
        ----------
        instant : str
            "initial" or "hold".

        Returns
        -------
        Joint
            Names (lamp, housing, point, instant). [ln lx]
        """
        return self.held.joint if instant == "hold" else self.joint

    def __getitem__(self, key: tuple[str, ...]) -> Measured:
        """Return ln of a lamp's illuminance: (lamp, housing), or with an instant and a point [ln lx].

        The difference of two is ln of their ratio, and what they share cancels. Where a record gives bounds alone, the
        value stands in their middle without them: `ratio` adds them.
        """
        lamp, housing, instant, point = (*key, *("", "", "initial", "hot_spot")[len(key) :])
        return self.at(instant)[self.name(lamp, housing=housing, point=point, instant=instant)]

    def name(
        self, lamp: str, *, housing: str = "", point: str = "hot_spot", instant: str = "initial"
    ) -> tuple[str, ...]:
        """Return the name of a result.

        Parameters
        ----------
        lamp : str
            The lamp.
        housing, point, instant : str
            Where and when; a blank housing is the only one.

        Returns
        -------
        tuple of str
            (lamp, housing, point, instant).

        Raises
        ------
        MethodError
            If there is no such result; `known` has the names there are.
        """
        joint, chosen = self.at(instant), housing or self._only_housing
        wanted = (lamp, chosen, point, instant)
        if wanted not in joint:
            where = f"in housing {chosen or 'blank'} at {point}, {instant}"
            message = f"lamp {lamp} has no reading {where}"
            raise MethodError(message, code="no_reading", known={"names": joint.names})
        return wanted

    def compared(self, instant: str = "initial") -> list[tuple[str, ...]]:
        """Return the names of the results that have one of the baseline beside them.

        Parameters
        ----------
        instant : str
            "initial" or "hold".

        Returns
        -------
        list of tuple
            (lamp, housing, point, instant).
        """
        names = [n for n in self.at(instant).names if n[3] == instant]
        known = set(names)
        return [n for n in names if n[0] != self.baseline and (self.baseline, *n[1:]) in known]

    def assumed_for(
        self, pairs: Sequence[tuple[tuple[str, ...], tuple[str, ...]]], scopes: Sequence[str]
    ) -> list[tuple[Assumption, ...]]:
        """Return the declared defaults that enter ratios: those of the campaign, of single pieces, and of records.

        Parameters
        ----------
        pairs : sequence of (tuple of str, tuple of str)
            Names of the results, one over the other; the ones of one instant, and the others of one.
        scopes : sequence of {"readings", "specimens", "models"}
            Which inputs count, one after the other.

        Returns
        -------
        list of tuple of Assumption
            Of each ratio in each scope.
        """
        instants = {name[3] for pair in pairs for name in pair}
        if len(instants) < 2:
            joint, rows = self.at(*instants), np.arange(len(pairs)).repeat(2)
            places = [joint.position(name) for pair in pairs for name in pair]
            shape = (len(pairs), len(joint.names))
            ratios = joint.combined(
                pairs, sparse.csr_array(([1.0, -1.0] * len(pairs), (rows, places)), shape=shape)
            )
        else:
            ratios = Joint.of({(a, b): self.at(a[3])[a] - self.at(b[3])[b] for a, b in pairs})
        hold = "hold" in instants
        usual = entering((a for a in self.assumed if hold or a.key != "hold_minutes"), ratios, scopes)
        found = []
        for told, (pair, scope) in zip(usual, itertools.product(pairs, scopes), strict=True):
            single = single_pieces(self.spreads, *(n[0] for n in pair)) if scope == "models" else ()
            drift = (RECORD_DRIFT,) if hold and self.held.drifting & set(pair) else ()
            found.append((*told, *single, *drift))
        return found

    def ratio(self, a: str, b: str, *, scope: str = "specimens", **where: Unpack[Where]) -> ReadingComparison:
        """Return the ratio of two lamps in one housing.

        Parameters
        ----------
        a, b : str
            Lamps; the ratio is a/b.
        scope : {"specimens", "readings", "models"}
            Which inputs count.
        **where : str
            housing, point and instant, as of `name`.

        Returns
        -------
        ReadingComparison
            The ratio with its interval, lines and verdict.
        """
        names = [self.name(lamp, **where) for lamp in (a, b)]
        settings = self.bench.settings
        return compare_pair(
            *(self.at(name[3])[name] for name in names),
            scope=scope,
            coverage=settings.coverage,
            alike_percent=settings.alike_percent,
            mounting_sd=self.spreads.seating_in(names[0][1]).sd,
            assumed=self.assumed_for([(names[0], names[1])], [scope])[0],
            missing=("technology",) if without_technology(self.bench) & {a, b} else (),
            widening=self.widening(*names),
        )

    def widening(self, a: tuple[str, ...], b: tuple[str, ...]) -> float:
        """Return by how much bounds widen a ratio's interval in ln: at the hold time alone [1]."""
        return self.held.widening(a, b) if a[3] == "hold" else 0.0

    def in_housing(self, housing: str = "", *, scope: str = "specimens", **where: Unpack[Place]) -> Joint:
        """Return the joint result of all lamps in one housing.

        Parameters
        ----------
        housing : str
            The housing; may be blank where there is one.
        scope : {"specimens", "readings", "models"}
            Which inputs count.
        **where : str
            point and instant, as of `name`.

        Returns
        -------
        Joint
            ln of every lamp's illuminance, named by lamp. [ln lx]
        """
        base = self.name(self.baseline, housing=housing, **where)
        return _at_place(self.at(base[3]), base[1:], scope)

    def pairs(self, housing: str = "", *, scope: str = "specimens", **where: Unpack[Place]) -> pd.DataFrame:
        """Return all comparisons of one housing, as one family.

        Parameters
        ----------
        housing : str
            The housing; may be blank where there is one.
        scope : {"specimens", "readings", "models"}
            Which inputs count.
        **where : str
            point and instant, as of `name`.

        Returns
        -------
        DataFrame
            a, b, ratio, low, high, p, resolved.
        """
        place = self.name(self.baseline, housing=housing, **where)[1:]
        joint = _at_place(self.at(place[2]), place, scope)
        found = pairwise(joint, coverage=self.bench.settings.coverage)
        if place[2] != "hold" or not self.held.slack:
            return found
        both = zip(found["a"], found["b"], strict=True)
        more = np.array([self.widening((a, *place), (b, *place)) for a, b in both])
        low, high = found["low"] * np.exp(-more), found["high"] * np.exp(more)
        p = np.where(more > 0.0, np.nan, found["p"])
        return found.assign(low=low, high=high, p=p, resolved=(low > 1.0) | (high < 1.0))

    def family(
        self,
        housing: str = "",
        *,
        scope: str = "specimens",
        against: str | None = None,
        **where: Unpack[Place],
    ) -> pd.DataFrame:
        """Return the verdict on every lamp of a housing against one of them, as one of all pairs of the housing.

        Parameters
        ----------
        housing : str
            The housing; may be blank where there is one.
        scope : {"specimens", "readings", "models"}
            Which inputs count.
        against : str, optional
            The lamp that the others are compared with; the campaign's baseline if not given.
        **where : str
            point and instant, as of `name`.

        Returns
        -------
        DataFrame
            value, low, high, verdict and small by lamp; NaN and "no_answer" where an input is missing.
        """
        base = self.name(against or self.baseline, housing=housing, **where)
        told = self.judged(base, scope)
        return pd.DataFrame([*told.values()], [*told], JUDGED)

    def judged(self, base: tuple[str, ...], scope: str) -> dict[str, dict[str, Any]]:
        """Return the cells of `family` by lamp; each family is judged once.

        Parameters
        ----------
        base : tuple of str
            Name of the light that the others at its place are divided by.
        scope : {"specimens", "readings", "models"}
            Which inputs count.

        Returns
        -------
        dict
            Lamp to low, high [1] and verdict; not to be written into.
        """
        if (scope, *base) not in self._families:
            self._families[scope, *base] = self.judged_family(self.at(base[3]), base, scope)
        return self._families[scope, *base]

    def judged_family(self, whole: Joint, base: tuple[str, ...], scope: str) -> dict[str, dict[str, Any]]:
        """Return the verdict on what there is of every lamp at one place, as one of all pairs there.

        Parameters
        ----------
        whole : Joint
            ln of a quantity, named as the results of the campaign. [1]
        base : tuple of str
            What the others at its place are divided by.
        scope : {"specimens", "readings", "models"}
            Which inputs count.

        Returns
        -------
        dict
            The cells of `family` by lamp.
        """
        joint, settings = _at_place(whole, base[1:], scope), self.bench.settings
        silent = without_technology(self.bench)
        half = half_widths(joint, base[0], coverage=settings.coverage, silent=silent)
        apart = joint.values - joint.values[joint.position(base[0])]
        rows = {}
        for lamp, value in zip(joint.names, apart.tolist(), strict=True):
            if lamp != base[0]:
                wide = half.get(lamp, math.nan) + self.widening((lamp, *base[1:]), base)
                rows[lamp] = judged_cells(value, wide, alike_percent=settings.alike_percent)
        return rows


def _at_place(whole: Joint, place: tuple[str, ...], scope: str) -> Joint:
    """Return what there is of every lamp at one place, named by lamp, with the inputs that count."""
    joint = whole.among(n for n in whole.names if n[1:] == place).in_scope(scope)
    return replace(joint, names=[n[0] for n in joint.names])

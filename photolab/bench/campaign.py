"""A campaign evaluated jointly: what it holds, and the questions it answers."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from photolab.bench.columns import Columns
from photolab.bench.corrections import ALL
from photolab.bench.families import half_widths, judged
from photolab.bench.heat import RECORD_DRIFT, Held, at_hold
from photolab.bench.model import PRIOR_DOF, Assumption, Bench
from photolab.bench.pairs import ReadingComparison, compare_pair
from photolab.bench.seats import Weights
from photolab.bench.selection import Selection
from photolab.bench.spreads import Spread, Spreads, single_pieces
from photolab.errors import MethodError
from photolab.metrology.comparison import pairwise
from photolab.metrology.quantity import Joint, Measured


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
        return at_hold(self.bench, self.seats, self.mountings, self.joint, counts, given=given)

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
        names = self.at(instant).names
        housings = list(dict.fromkeys(n[1] for n in self.weights.names))
        chosen = housings[0] if housing == "" and len(housings) == 1 else housing
        wanted = (lamp, chosen, point, instant)
        if wanted not in names:
            where = f"in housing {chosen or 'blank'} at {point}, {instant}"
            message = f"lamp {lamp} has no reading {where}"
            raise MethodError(message, code="no_reading", known={"names": names})
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

    def assumed_for(self, *names: tuple[str, ...], scope: str = "specimens") -> tuple[Assumption, ...]:
        """Return the declared defaults that enter a ratio.

        Parameters
        ----------
        *names : tuple of str
            The two results.
        scope : {"specimens", "readings", "models"}
            Which inputs count.

        Returns
        -------
        tuple of Assumption
            Those of the campaign at that instant, of single pieces, and of records.
        """
        hold = names[0][3] == "hold"
        usual = (a for a in self.assumed if hold or a.name != "remaining_sd_percent")
        single = single_pieces(self.spreads, *(n[0] for n in names)) if scope == "models" else ()
        drift = (RECORD_DRIFT,) if hold and self.held.drifting & set(names) else ()
        return (*usual, *single, *drift)

    def ratio(
        self,
        a: str,
        b: str,
        *,
        housing: str = "",
        scope: str = "specimens",
        point: str = "hot_spot",
        instant: str = "initial",
    ) -> ReadingComparison:
        """Return the ratio of two lamps in one housing.

        Parameters
        ----------
        a, b : str
            Lamps; the ratio is a/b.
        housing : str
            The housing; may be blank where there is one.
        scope : {"specimens", "readings", "models"}
            Which inputs count.
        point, instant : str
            Where in the beam, and "initial" or "hold".

        Returns
        -------
        ReadingComparison
            The ratio with its interval, lines and verdict.
        """
        names = [self.name(lamp, housing=housing, point=point, instant=instant) for lamp in (a, b)]
        first, second = (self[lamp, housing, instant, point] for lamp in (a, b))
        settings = self.bench.settings
        return compare_pair(
            first,
            second,
            scope=scope,
            coverage=settings.coverage,
            alike_percent=settings.alike_percent,
            mounting_sd=self.spreads.seating_in(names[0][1]).sd,
            assumed=self.assumed_for(*names, scope=scope),
            missing=("technology",) if without_technology(self.bench) & {a, b} else (),
            widening=self.held.widening(*names) if instant == "hold" else 0.0,
        )

    def in_housing(
        self,
        housing: str = "",
        *,
        scope: str = "specimens",
        point: str = "hot_spot",
        instant: str = "initial",
        beside: str | None = None,
    ) -> Joint:
        """Return the joint result of all lamps in one housing.

        Parameters
        ----------
        housing : str
            The housing; may be blank where there is one.
        scope : {"specimens", "readings", "models"}
            Which inputs count.
        point, instant : str
            Where in the beam and when.
        beside : str, optional
            A lamp that was read there; the campaign's baseline if not given.

        Returns
        -------
        Joint
            ln of every lamp's illuminance, named by lamp. [ln lx]
        """
        where = self.name(beside or self.baseline, housing=housing, point=point, instant=instant)[1:]
        whole = self.at(instant)
        joint = whole.among(n for n in whole.names if n[1:] == where).in_scope(scope)
        return replace(joint, names=[n[0] for n in joint.names])

    def pairs(
        self,
        housing: str = "",
        *,
        scope: str = "specimens",
        family: str = "tukey",
        baseline: str | None = None,
        point: str = "hot_spot",
        instant: str = "initial",
    ) -> pd.DataFrame:
        """Return all comparisons of a family in one housing.

        Parameters
        ----------
        housing : str
            The housing; may be blank where there is one.
        scope : {"specimens", "readings", "models"}
            Which inputs count.
        family : {"tukey", "dunnett", "holm", "none"}
            How several comparisons share the error rate.
        baseline : str, optional
            Lamp that the others are compared with, for "dunnett"; the campaign's own if not given.
        point, instant : str
            Where in the beam and when.

        Returns
        -------
        DataFrame
            a, b, ratio, low, high, p, resolved.
        """
        joint = self.in_housing(housing, scope=scope, point=point, instant=instant)
        against = (baseline or self.baseline) if family == "dunnett" else None
        found = pairwise(joint, family=family, baseline=against, coverage=self.bench.settings.coverage)
        return self._widened(found, self.name(self.baseline, housing=housing, point=point, instant=instant))

    def _widened(self, found: pd.DataFrame, name: tuple[str, ...]) -> pd.DataFrame:
        """Return intervals of a family, wider by the bounds of records where there are bounds alone."""
        place = name[1:]
        if place[-1] != "hold" or not self.held.slack:
            return found
        more = np.array(
            [
                self.held.widening((a, *place), (b, *place))
                for a, b in zip(found["a"], found["b"], strict=True)
            ]
        )
        low, high = found["low"] * np.exp(-more), found["high"] * np.exp(more)
        p = np.where(more > 0.0, np.nan, found["p"])
        return found.assign(low=low, high=high, p=p, resolved=(low > 1.0) | (high < 1.0))

    def family(
        self,
        housing: str = "",
        *,
        scope: str = "specimens",
        point: str = "hot_spot",
        instant: str = "initial",
        against: str | None = None,
    ) -> pd.DataFrame:
        """Return the verdict on every lamp of a housing against one of them, as one of all pairs of the housing.

        Parameters
        ----------
        housing : str
            The housing; may be blank where there is one.
        scope : {"specimens", "readings", "models"}
            Which inputs count.
        point, instant : str
            Where in the beam and when.
        against : str, optional
            The lamp that the others are compared with; the campaign's baseline if not given.

        Returns
        -------
        DataFrame
            low, high, verdict and small by lamp; NaN and "no_answer" where an input is missing.
        """
        against = against or self.baseline
        name = self.name(against, housing=housing, point=point, instant=instant)
        key = (scope, *name)
        if key not in self._families:
            joint = self.in_housing(housing, scope=scope, point=point, instant=instant, beside=against)
            settings, lamps = self.bench.settings, [n for n in joint.names if n != against]
            unknown = without_technology(self.bench)
            half = half_widths(joint, against, coverage=settings.coverage, silent=unknown)
            if instant == "hold":
                place = name[1:]
                half = {n: h + self.held.widening((n, *place), name) for n, h in half.items()}
            base = joint.values[joint.position(against)]
            values = {n: float(joint.values[joint.position(n)] - base) for n in lamps}
            self._families[key] = judged(values, half, alike_percent=settings.alike_percent)
        return self._families[key]

    @cached_property
    def _families(self) -> dict[tuple[str, ...], pd.DataFrame]:
        return {}

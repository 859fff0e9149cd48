"""A campaign evaluated jointly: what it holds, and the questions it answers."""

import math
from dataclasses import dataclass, replace
from functools import cached_property

import pandas as pd

from photolab.bench.columns import Columns
from photolab.bench.corrections import ALL
from photolab.bench.model import Assumption, Bench
from photolab.bench.pairs import ReadingComparison, at_instant, compare_pair
from photolab.bench.seats import Weights
from photolab.bench.selection import Selection
from photolab.bench.spreads import Spreads, single_pieces
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
    lamps = bench.tables["lamps"]
    known = {lamp for lamp, light in zip(lamps["lamp"], lamps["technology"], strict=True) if light}
    return frozenset(bench.tables["readings"]["lamp"].unique()) - known


@dataclass(frozen=True, eq=False)
class Campaign:
    """A campaign evaluated jointly.

    Attributes
    ----------
    joint : Joint
        ln of every lamp's illuminance with every input; names (lamp, housing, point, instant). [ln lx]
    table : DataFrame
        One row a lamp, housing, point and scope: ratio to the baseline at the initial time with its interval,
        verdict, counts. Ratios at the hold time stand with the warm-up records: `heat.heat_rows`.
    components : DataFrame
        level, sd (in ln), dof, assumed.
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
    table: pd.DataFrame
    components: pd.DataFrame
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
    def seats(self) -> pd.DataFrame:
        """Mounting means, one a row."""
        return self.means.table()

    def __getitem__(self, key: tuple[str, ...]) -> Measured:
        """Return ln of a lamp's illuminance: (lamp, housing), or with an instant and a point [ln lx].

        The difference of two is ln of their ratio, and what they share cancels.
        """
        lamp, housing, instant, point = (*key, *("", "", "initial", "hot_spot")[len(key) :])
        return self.joint[self.name(lamp, housing=housing, point=point, instant=instant)]

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
        housings = list(dict.fromkeys(n[1] for n in self.weights.names))
        chosen = housings[0] if housing == "" and len(housings) == 1 else housing
        wanted = (lamp, chosen, point, instant)
        if wanted not in self.weights.places:
            where = f"in housing {chosen or 'blank'} at {point}, {instant}"
            message = f"lamp {lamp} has no reading {where}"
            raise MethodError(message, code="no_reading", known={"names": self.weights.names})
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
        places = self.weights.places
        return [
            n
            for n in places
            if n[0] != self.baseline and n[3] == instant and (self.baseline, *n[1:]) in places
        ]

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
        single = single_pieces(self.spreads, a, b) if scope == "models" else ()
        return compare_pair(
            first,
            second,
            scope=scope,
            coverage=settings.coverage,
            alike_percent=settings.alike_percent,
            mounting_sd=self.spreads.seating_in(names[0][1]).sd,
            assumed=(*at_instant(self.assumed, instant), *single),
            missing=("technology",) if without_technology(self.bench) & {a, b} else (),
        )

    def in_housing(
        self,
        housing: str = "",
        *,
        scope: str = "specimens",
        point: str = "hot_spot",
        instant: str = "initial",
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

        Returns
        -------
        Joint
            ln of every lamp's illuminance, named by lamp. [ln lx]
        """
        where = self.name(self.baseline, housing=housing, point=point, instant=instant)[1:]
        joint = self.joint.among(n for n in self.weights.names if n[1:] == where).in_scope(scope)
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
        return pairwise(joint, family=family, baseline=against, coverage=self.bench.settings.coverage)

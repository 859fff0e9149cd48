"""A campaign evaluated jointly: what it holds, and the questions it answers."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse

from photolab.bench.corrections import ALL
from photolab.bench.model import Assumption, Bench
from photolab.bench.pairs import SCOPE_KINDS, PairInputs, ReadingComparison, compare_pair
from photolab.bench.seats import Weights
from photolab.bench.selection import Selection
from photolab.bench.spreads import Spreads
from photolab.errors import MethodError
from photolab.metrology.comparison import pairwise
from photolab.metrology.inputs import InputQuantity
from photolab.metrology.joint import JointResult
from photolab.metrology.propagation import combine


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


def missing_inputs(bench: Bench, lamps: tuple[str, ...]) -> tuple[str, ...]:
    """Return what is missing for an interval on some lamps.

    Parameters
    ----------
    bench : Bench
        The bench.
    lamps : tuple of str
        The lamps.

    Returns
    -------
    tuple of str
        Codes; empty where nothing is missing.
    """
    known = dict(zip(bench.tables["lamps"]["lamp"], bench.tables["lamps"]["technology"], strict=True))
    return () if all(known.get(lamp) for lamp in lamps) else ("technology",)


@dataclass(frozen=True, eq=False)
class Campaign:
    """A campaign evaluated jointly.

    Attributes
    ----------
    joint : JointResult
        ln of every lamp's illuminance, scope "specimens"; names (lamp, housing, point, instant). [ln lx]
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

    joint: JointResult
    table: pd.DataFrame
    components: pd.DataFrame
    findings: tuple[Finding, ...]
    assumed: tuple[Assumption, ...]
    baseline: str
    corrections: tuple[str, ...]
    selection: Selection
    seats: pd.DataFrame
    weights: Weights
    spreads: Spreads
    bench: Bench
    scopes: Mapping[str, JointResult] = field(repr=False)
    inputs: tuple[InputQuantity, ...] = field(repr=False)
    kinds: NDArray[np.str_] = field(repr=False)
    sensitivities: sparse.csr_array = field(repr=False)
    enabled: tuple[str, ...] = ALL

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
        if wanted not in self.weights.names:
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
        names = self.weights.names
        return [
            n for n in names if n[0] != self.baseline and n[3] == instant and (self.baseline, *n[1:]) in names
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
        coverage_factor: float | None = None,
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
        coverage_factor : float, optional
            Simultaneous factor of a family; Student's where not given. [1]

        Returns
        -------
        ReadingComparison
            The ratio with its interval, lines and verdict.
        """
        names = [self.name(lamp, housing=housing, point=point, instant=instant) for lamp in (a, b)]
        at = [self.weights.names.index(n) for n in names]
        rows = self.sensitivities[at].toarray()
        acts = (rows != 0.0).any(axis=0)
        pair = PairInputs(
            (float(self.joint.values[at[0]]), float(self.joint.values[at[1]])),
            rows[:, acts],
            [self.inputs[i] for i in np.flatnonzero(acts)],
            self.kinds[acts],
            self.spreads.mounting.sd,
        )
        return compare_pair(
            pair,
            scope=scope,
            coverage=self.bench.settings.coverage,
            alike_percent=self.bench.settings.alike_percent,
            coverage_factor=coverage_factor,
            assumed=self.assumed,
            missing=missing_inputs(self.bench, (a, b)),
        )

    def in_housing(
        self,
        housing: str = "",
        *,
        scope: str = "specimens",
        point: str = "hot_spot",
        instant: str = "initial",
    ) -> JointResult:
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
        JointResult
            ln of every lamp's illuminance, named by lamp. [ln lx]
        """
        where = self.name(self.baseline, housing=housing, point=point, instant=instant)[1:]
        names = [n for n in self.weights.names if n[1:] == where]
        at = [self.weights.names.index(n) for n in names]
        keep = np.flatnonzero(np.isin(self.kinds, list(SCOPE_KINDS[scope])))
        return combine(
            self.joint.values[at],
            sparse.csr_array(self.sensitivities[at][:, keep]),
            [self.inputs[i] for i in keep],
            names=[n[0] for n in names],
            coverage=self.bench.settings.coverage,
        )

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

"""The joint evaluation of a campaign: every lamp x housing in ln, all ratios from one covariance."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse

from photolab.bench import corrections as steps
from photolab.bench.corrections import ALL, Corrected
from photolab.bench.model import Assumption, Bench
from photolab.bench.pairs import SCOPE_KINDS, PairInputs, ReadingComparison, compare_pair
from photolab.bench.seats import Weights, lamp_weights, mounting_means
from photolab.bench.selection import Selection, select
from photolab.bench.shared_inputs import (
    Loadings,
    add_colour,
    add_meter,
    add_resolution,
    own_colour_likeness,
    spread_input,
)
from photolab.bench.spreads import Spreads, campaign_spreads
from photolab.bench.supply_and_time import add_supply_and_time, clock_hours
from photolab.errors import MethodError
from photolab.metrology.comparison import pairwise
from photolab.metrology.propagation import combine
from photolab.metrology.quantity import InputQuantity, JointResult

__all__ = ["ALL", "Campaign", "Finding", "evaluate"]


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
        Its figure, NaN where there is none.
    """

    code: str
    subject: tuple[str, ...] = ()
    value: float = math.nan


@dataclass(frozen=True, eq=False)
class Campaign:
    """A campaign evaluated jointly.

    Attributes
    ----------
    joint : JointResult
        ln of every lamp's illuminance, scope "specimens"; names (lamp, housing, point, instant). [ln lx]
    table : DataFrame
        One row a lamp, housing, point, instant and scope: ratio to the baseline with its interval, verdict, counts.
    components : DataFrame
        level, sd (in ln), dof, assumed.
    findings : tuple of Finding
        What was noticed.
    assumed : tuple of Assumption
        Declared defaults that entered.
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

    def name(self, lamp: str, *, housing: str = "", point: str = "hot_spot", instant: str = "initial") -> tuple[str, ...]:
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
            missing=_missing(self.bench, (a, b)),
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
        here = [
            n for n in self.weights.names if n[1] == self.name(self.baseline, housing=housing, point=point, instant=instant)[1]
        ]
        names = [n for n in here if n[2:] == (point, instant)]
        at = [self.weights.names.index(n) for n in names]
        keep = np.isin(self.kinds, list(SCOPE_KINDS[scope]))
        joint = combine(
            self.joint.values[at],
            sparse.csr_array(self.sensitivities[at][:, np.flatnonzero(keep)]),
            [self.inputs[i] for i in np.flatnonzero(keep)],
            names=[n[0] for n in names],
            coverage=self.bench.settings.coverage,
        )
        against = (baseline or self.baseline) if family == "dunnett" else None
        return pairwise(joint, family=family, baseline=against, coverage=self.bench.settings.coverage)


def evaluate(
    bench: Bench, *, corrections: Iterable[str] = ALL, leave_out: dict[str, str] | None = None
) -> Campaign:
    """Evaluate a campaign jointly.

    Parameters
    ----------
    bench : Bench
        A bench that was read.
    corrections : iterable of str, default `ALL`
        Corrections to apply, out of `corrections.CORRECTIONS`.
    leave_out : dict, optional
        Column to value: readings with all these values are left out.

    Returns
    -------
    Campaign
        The joint result, the table, components, findings and what was assumed.

    Raises
    ------
    MethodError
        If no reading enters.
    """
    selection = select(bench, leave_out=leave_out)
    if selection.readings.empty:
        message = "no reading enters the evaluation; every row is excluded or left out"
        raise MethodError(message, code="no_readings", known={"left_out": selection.left_out})
    corrected = steps.apply(selection.readings, bench, corrections)
    table = corrected.readings
    likeness = own_colour_likeness(bench.tables["lamps"])
    table["likeness"] = [likeness.get(lamp, "like") for lamp in table["lamp"]]
    table["clock_h"] = clock_hours(table["clock"])
    seats, readings = mounting_means(table)
    spreads = campaign_spreads(seats, bench.settings, selection.baseline)
    weights = lamp_weights(
        seats, noise_sd=spreads.noise(seats), mounting_sd=spreads.mounting.sd, day_sd=spreads.day.sd
    )
    loads = _loadings(seats, readings, bench, spreads)
    sensitivities = sparse.csr_array(sparse.csr_array(weights.matrix) @ loads.matrix())
    kinds = np.array(loads.kinds, dtype=str)
    values = weights.matrix @ seats["ln_value"].to_numpy(float)
    scopes = {
        scope: _joint(values, sensitivities, loads.inputs, kinds, weights, SCOPE_KINDS[scope], bench)
        for scope in SCOPE_KINDS
    }
    campaign = Campaign(
        joint=scopes["specimens"],
        table=pd.DataFrame(),
        components=_components(spreads),
        findings=tuple(_findings(bench, selection, seats, spreads)),
        assumed=_assumptions(bench, corrected, spreads),
        baseline=selection.baseline,
        corrections=corrected.applied,
        selection=selection,
        seats=seats,
        weights=weights,
        spreads=spreads,
        bench=bench,
        scopes=scopes,
        inputs=tuple(loads.inputs),
        kinds=kinds,
        sensitivities=sensitivities,
    )
    return replace(campaign, table=_table(campaign))


def _loadings(seats: pd.DataFrame, readings: pd.DataFrame, bench: Bench, spreads: Spreads) -> Loadings:
    """Return the inputs of a campaign and their loadings on the mounting means."""
    loads = Loadings(len(seats))
    add_meter(loads, seats, bench.meters, certificate_age=_certificate_ages(bench))
    add_resolution(loads, readings, seats, bench.meters)
    add_colour(loads, seats, bench.meters)
    ones = np.ones(len(seats))
    text = seats.astype(dict.fromkeys(("lamp", "specimen", "housing", "day", "mounting", "instant"), str))
    seated = list(zip(text["lamp"], text["specimen"], text["housing"], text["day"], text["mounting"], strict=True))
    mounting = spreads.mounting
    loads.add(
        "mounting", seated, ones, lambda k: spread_input("mounting", k, mounting.sd, mounting.dof, "mounting")
    )
    noise = spreads.noise(seats)
    each = [(*k, point, instant) for k, point, instant in zip(seated, seats["point"], text["instant"], strict=True)]
    sd_of = {k: (s, spreads.reading[k[0]].dof) for k, s in zip(each, noise, strict=True)}
    loads.add("noise", each, (noise > 0) * ones, lambda k: _noise_input(k, *sd_of[k]))
    days = list(zip(text["day"], text["housing"], strict=True))
    loads.add("day", days, ones, lambda k: spread_input("day", k, spreads.day.sd, spreads.day.dof, "day and housing"))
    specimens = list(zip(text["lamp"], text["specimen"], strict=True))
    specimen = spreads.specimen
    loads.add(
        "specimen", specimens, ones, lambda k: spread_input("specimen", k, specimen.sd, specimen.dof, "specimen")
    )
    add_supply_and_time(loads, seats, bench)
    return loads


def _noise_input(key: tuple[str, ...], sd: float, dof: float) -> InputQuantity:
    group = None if math.isinf(dof) else ("noise", f"{dof:g}")
    name = ("noise", *key)
    return InputQuantity(name, 0.0, sd, dof=dof, shared_by="reading", shared_with=" ".join(key), variance_from=group)


def _joint(
    values: NDArray[np.float64],
    sensitivities: sparse.csr_array,
    inputs: list[InputQuantity],
    kinds: NDArray[np.str_],
    weights: Weights,
    wanted: frozenset[str],
    bench: Bench,
) -> JointResult:
    keep = np.flatnonzero(np.isin(kinds, list(wanted)))
    return combine(
        values,
        sparse.csr_array(sensitivities[:, keep]),
        [inputs[i] for i in keep],
        names=list(weights.names),
        coverage=bench.settings.coverage,
    )


def _certificate_ages(bench: Bench) -> dict[str, float]:
    """Return the years between each certificate and the last day of the campaign."""
    dates = [d for d in bench.tables["days"]["date"] if d]
    ages = {}
    for meter in bench.meters.values():
        if meter.certificate is not None and meter.certificate.date and dates:
            elapsed = date.fromisoformat(max(dates)) - date.fromisoformat(meter.certificate.date)
            ages[meter.id] = elapsed.days / 365.25
    return ages


def _missing(bench: Bench, lamps: tuple[str, str]) -> tuple[str, ...]:
    """Return what is missing for an interval of two lamps."""
    known = dict(zip(bench.tables["lamps"]["lamp"], bench.tables["lamps"]["technology"], strict=True))
    return () if all(known.get(lamp) for lamp in lamps) or lamps[0] == lamps[1] else ("technology",)


def _components(spreads: Spreads) -> pd.DataFrame:
    """Return the spreads as a table, outermost first."""
    common = max(spreads.reading.values(), key=lambda s: s.dof if math.isfinite(s.dof) else 0.0)
    levels = {"specimen": spreads.specimen, "day": spreads.day, "mounting": spreads.mounting, "reading": common}
    rows = [{"level": k, "sd": s.sd, "dof": s.dof, "assumed": s.assumed} for k, s in levels.items()]
    return pd.DataFrame(rows)


def _findings(bench: Bench, selection: Selection, seats: pd.DataFrame, spreads: Spreads) -> Iterable[Finding]:
    """Yield what the evaluation noticed."""
    if not selection.baseline_declared:
        yield Finding("baseline_by_row_order", (selection.baseline,))
    residual = seats["ln_value"] - seats.groupby(["lamp", "specimen", "housing", "point", "instant"])["ln_value"].transform("median")
    for row in spreads.flagged:
        seat = seats.loc[row]
        subject = tuple(str(seat[c]) for c in ("lamp", "specimen", "housing", "day", "mounting"))
        yield Finding("mounting_flagged", subject, float(math.expm1(residual[row])))
    common = max(s.dof for s in spreads.reading.values())
    for lamp, spread in spreads.reading.items():
        if not spread.assumed and spread.dof < common:
            yield Finding("lamp_scatters", (lamp,), spread.sd)
    for (housing, day), block in seats.groupby(["housing", "day"]):
        ranges = {f"{r:g}" for r in block["range_lx"].dropna()}
        if len(ranges) > 1:
            yield Finding("ranges_differ", (str(housing), str(day), *sorted(ranges, key=float)))
    if seats["range_lx"].isna().any():
        yield Finding("range_unknown", tuple(sorted(set(seats.loc[seats["range_lx"].isna(), "lamp"]))))
    for lamp in dict.fromkeys(seats["lamp"]):
        if _missing(bench, (lamp, "")):
            yield Finding("technology_missing", (lamp,))


def _assumptions(bench: Bench, corrected: Corrected, spreads: Spreads) -> tuple[Assumption, ...]:
    """Return the defaults that entered: the reader's, the corrections', the spreads'."""
    measured = {
        name
        for name in ("mounting", "specimen", "day")
        if not getattr(spreads, name).assumed or f"{name}_sd_percent" in bench.settings.declared
    }
    kept = [a for a in bench.assumed if not any(f"{name}_sd_percent" in a.name for name in measured)]
    return (*kept, *corrected.assumed)


def _table(campaign: Campaign) -> pd.DataFrame:
    """Return one row a lamp, housing, point, instant and scope."""
    names = campaign.weights.names
    conditions = _conditions(campaign)
    rows = []
    for i, (lamp, housing, point, instant) in enumerate(names):
        if (campaign.baseline, housing, point, instant) not in names or lamp == campaign.baseline:
            continue
        counts = campaign.weights.counts.iloc[i]
        for scope in SCOPE_KINDS:
            pair = campaign.ratio(lamp, campaign.baseline, housing=housing, scope=scope, point=point, instant=instant)
            rows.append(
                {
                    "lamp": lamp,
                    "housing": housing,
                    "measurand": "illuminance ratio",
                    "baseline": campaign.baseline,
                    "point": point,
                    "instant": instant,
                    "scope": scope,
                    "value": pair.ratio,
                    "unit": "1",
                    "low": pair.low,
                    "high": pair.high,
                    "ln_expanded_uncertainty": pair.ln_expanded_uncertainty,
                    "coverage": pair.coverage,
                    "coverage_factor": pair.coverage_factor,
                    "dof": pair.dof,
                    **{c: int(counts[c]) for c in counts.index},
                    "initial_s": campaign.bench.settings.initial_s,
                    "hold_minutes": campaign.bench.settings.hold_minutes,
                    "conditions": conditions,
                    "corrections": ", ".join(campaign.corrections) or "none",
                    "assumed": "; ".join(a.name for a in pair.assumed) or "nothing",
                    "verdict": pair.verdict,
                    "small": pair.small,
                }
            )
    return pd.DataFrame(rows)


def _conditions(campaign: Campaign) -> str:
    """Return the conditions under which the ratios hold."""
    settings = campaign.bench.settings
    said = [f"{settings.initial_s:g} s after switch-on"]
    if "voltage" in campaign.corrections:
        said.append(f"{settings.reference_voltage_V:g} V")
    if "ambient" in campaign.corrections:
        said.append(f"{settings.reference_ambient_C:g} degC ambient")
    return ", ".join([*said, "one place of the meter head in each housing"])

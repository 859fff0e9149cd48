"""What the notebook on candela shows: each function returns one thing to be shown.

Where a bench folder does not hold what a view needs, the view is one sentence that says so.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
import pandas as pd

from photolab.bench.candela import bench_candela
from photolab.bench.corrections import ALL
from photolab.bench.distance_laws import product_curve
from photolab.bench.distances import DistanceResult, evaluate_distances
from photolab.bench.model import Bench
from photolab.bench.selection import baseline_lamp
from photolab.metrology.quantity import coverage_factor
from photolab.metrology.reporting import decimal, with_uncertainty
from photolab.photometry.distance import REPORTING_DISTANCES, illuminance
from photolab.publication import words_light
from photolab.publication.display import Table, Words, say, table
from photolab.publication.figures import inverse_square
from photolab.publication.figures.common import Picture, new_figure, picture
from photolab.publication.front_page import is_invented

__all__ = [
    "at_the_bench",
    "candela_answer",
    "centres",
    "dark_reading",
    "equivalents",
    "law_table",
    "products",
    "shared_doubts",
    "straight_line",
    "terms_at_the_bench",
    "usable",
]  # fmt: skip

NO_RUN = (
    "This folder has no distance run (distance.csv), so nothing shows from where on the inverse square holds."
)
NO_DISTANCE = (
    "No housing states its distance to the meter head (distance_m): no candela, not even an apparent one."
)
Runs = tuple[DistanceResult, ...]


def _covered(runs: Iterable[DistanceResult]) -> str:
    """Return the coverage of the intervals of some runs, for a column head."""
    return f"{100.0 * next(iter(runs)).coverage:g} %"


def candela_answer(bench: Bench, runs: Runs) -> Words:
    """Return the answer: candela or only apparent candela, for each run.

    Parameters
    ----------
    bench : Bench
        The bench.
    runs : tuple of DistanceResult
        Its distance runs.

    Returns
    -------
    Words
        One paragraph a run.
    """
    if runs:
        return say(*(words_light.law_words(one) for one in runs))
    found = bench_candela(bench, lamp=baseline_lamp(bench)[0])
    return say(NO_RUN, *([words_light.candela_words(one) for one in found] or [NO_DISTANCE]))


def products(bench: Bench, runs: Runs) -> Picture | Words:
    """Return illuminance times distance squared against distance, a column a run.

    Parameters
    ----------
    bench : Bench
        The bench.
    runs : tuple of DistanceResult
        Its distance runs.

    Returns
    -------
    Picture or Words
        With residuals below.
    """
    drawn = [one for one in runs if one.fit is not None and len(one.points) > 1]
    if not drawn:
        return say(NO_RUN if not runs else "No run has light at two distances or more: nothing to draw.")
    figure, panels = new_figure(2, len(drawn), width=3.6 * max(len(drawn), 2), height=4.9, share_x=True)
    for column, one in enumerate(drawn):
        pair = (panels[column], panels[column + len(drawn)])
        quoted = tuple(x / 1000.0 for x in (one.intensity, one.low, one.high)) if one.law else None
        inverse_square.draw(
            pair,
            _point_table(one),
            _curve_table(one),
            title=words_light.run_words(one),
            bench_distance=one.bench_distance,
            intensity=quoted,  # type: ignore[arg-type]
        )
    said = " ".join(_product_words(one) for one in drawn)
    alt = f"Illuminance times distance squared against distance, and what the fitted law leaves. {said}"
    return picture(figure, alt=alt, invented=is_invented(bench))


def _point_table(one: DistanceResult) -> pd.DataFrame:
    """Return the points in kilocandela with bars of each reading by itself."""
    points, k = one.points, coverage_factor(one.coverage)
    own = points["u_lx"] / points["illuminance_lx"]
    return points.assign(
        product_kcd=points["product_cd"] / 1000.0,
        product_u_kcd=k * points["product_u_cd"] / 1000.0,
        residual_u_percent=k * 100.0 * np.hypot(own, 2.0 * one.shared.placement_m / points["distance_m"]),
    )


def _curve_table(one: DistanceResult) -> pd.DataFrame:
    """Return the fitted law over the run's distances."""
    d = np.linspace(float(one.points["distance_m"].min()), float(one.points["distance_m"].max()), 120)
    if one.fit is None:
        return pd.DataFrame({"distance_m": [], "product_kcd": []})
    return pd.DataFrame({"distance_m": d, "product_kcd": np.array(product_curve(one.fit, list(d))) / 1000.0})


def _product_words(one: DistanceResult) -> str:
    """Return the key numbers of one column of the figure."""
    points = one.points
    ends = [decimal(points["product_cd"].iloc[i] / 1000.0, 2) for i in (0, -1)]
    spans = [decimal(points["distance_m"].iloc[i], 1) for i in (0, -1)]
    law = f"intensity {decimal(one.intensity / 1000.0, 2)} kcd" if one.law else "no law to quote"
    left = decimal(float(points["residual_percent"].abs().max()), 1)
    return (
        f"{words_light.run_words(one)}: E d² from {ends[0]} kcd at {spans[0]} m to {ends[1]} kcd at {spans[1]} m, "
        f"{law}, largest residual {left} %."
    )


def law_table(runs: Runs) -> Table | Words:
    """Return the laws that were tried on each run.

    Parameters
    ----------
    runs : tuple of DistanceResult
        Distance runs.

    Returns
    -------
    Table or Words
        One row a run and law.
    """
    rows = [
        {
            "run": words_light.run_words(one),
            "law": words_light.LAW_NAMES[str(law["model"])],
            "intensity": float(law["intensity"]),
            "u": coverage_factor(one.coverage) * float(law["intensity_uncertainty"]),
            "p": _chance(float(law["p"])),
            "kept": "agrees" if law["kept"] else "does not agree",
        }
        for one in runs
        for law in one.laws.to_dict("records")
    ]
    if not rows:
        return say(NO_RUN if not runs else "No run has three distances or more: the laws cannot be compared.")
    heads = {
        "run": "run",
        "law": "law",
        "intensity": "intensity (cd)",
        "u": f"± (cd, {_covered(runs)})",
        "p": "chance of such a misfit, if the law holds",
        "kept": "with the readings",
    }
    return table(pd.DataFrame(rows), columns=list(heads), heads=heads, places=0)


def _chance(p: float) -> str:
    """Return a probability as people read it."""
    if math.isnan(p):
        return "cannot be told"
    return "under 0.1 %" if p < 0.001 else f"{decimal(100.0 * p, 1)} %"


def dark_reading(bench: Bench) -> Table | Words:
    """Return what the dark reading does to each run: removed, ignored, or covered by the manual's range term.

    Parameters
    ----------
    bench : Bench
        The bench.

    Returns
    -------
    Table or Words
        Three rows a run.
    """
    dark = bench.tables["distance"]["dark_lx"]
    if len(dark) and not dark.notna().any():
        return say("No dark reading was taken with these runs, so there is nothing to take off.")
    left = set(ALL) - {"dark"}
    ways = (
        ("dark reading removed", evaluate_distances(bench)),
        ("left in, range term forgotten", evaluate_distances(bench, corrections=left, range_term=False)),
        ("left in, range term of the manual", evaluate_distances(bench, corrections=left)),
    )
    rows = [
        {"run": words_light.run_words(one), "way": way, **_way(one)} for way, runs in ways for one in runs
    ]
    if not rows:
        return say(NO_RUN)
    covered = _covered(ways[0][1])
    heads = {
        "run": "run",
        "way": "dark reading",
        "intensity": f"intensity (cd, {covered})",
        "centre": f"centre behind the face (mm, {covered})",
        "fit": "inverse square from a free centre",
    }
    frame = pd.DataFrame(rows).sort_values("run", kind="stable")
    return table(frame, columns=list(heads), heads=heads)


def _way(one: DistanceResult) -> dict[str, str]:
    """Return one row of the dark-reading table."""
    quoted = with_uncertainty(one.intensity, (one.high - one.low) / 2.0) if one.law else "none"
    fit = one.offset_fit
    if fit is None:
        return {"intensity": quoted, "centre": "none", "fit": "cannot be told"}
    half = coverage_factor(one.coverage) * fit.offset_uncertainty
    centre = with_uncertainty(1000.0 * fit.offset, 1000.0 * half)
    agrees = "does not agree" if "lack_of_fit" in fit.findings else "agrees"
    return {"intensity": quoted, "centre": centre, "fit": agrees}


def centres(runs: Runs) -> Words:
    """Return the fitted photometric centres.

    Parameters
    ----------
    runs : tuple of DistanceResult
        Distance runs.

    Returns
    -------
    Words
        One sentence a run that follows the inverse square.
    """
    said = [text for text in map(words_light.centre_words, runs) if text]
    return say(*(said or ["No run fixes a photometric centre: the declared one stands."]))


def usable(runs: Runs) -> Words:
    """Return the smallest distance at which the inverse square may be used.

    Parameters
    ----------
    runs : tuple of DistanceResult
        Distance runs.

    Returns
    -------
    Words
        One sentence a run.
    """
    return say(*(map(words_light.usable_words, runs) if runs else [NO_RUN]))


def shared_doubts(runs: Runs) -> Table | Words:
    """Return what all readings of a run have in common, and by how much it moves the intensity.

    Parameters
    ----------
    runs : tuple of DistanceResult
        Distance runs.

    Returns
    -------
    Table or Words
        One row a cause, a column a run.
    """
    fitted = [(one, one.fit) for one in runs if one.fit is not None]
    if not fitted:
        return say(NO_RUN)
    own = ["readings, each by itself (with linearity and dark reading)", "range term", "zero of the tape"]
    names = {"scale": "scale of the meter", "colour": "colour", "supply": "supply"}
    frame = pd.DataFrame({"what": [*own, *names.values()]})
    for one, fit in fitted:
        k = 100.0 * coverage_factor(one.coverage)
        parts = [k * fit.parts[key] / fit.intensity for key in ("readings", "range", "tape_zero")]
        parts += [k * one.shared.relative_u(key) for key in names]
        frame[words_light.run_words(one)] = parts
    heads = {"what": "what may be off", **{c: f"{c} (± %, {_covered(runs)})" for c in frame.columns[1:]}}
    return table(frame, heads=heads, places=2)


def at_the_bench(bench: Bench, runs: Runs) -> Words:
    """Return the baseline's candela from all its seatings at the bench's distance.

    Parameters
    ----------
    bench : Bench
        The bench.
    runs : tuple of DistanceResult
        Its distance runs.

    Returns
    -------
    Words
        One paragraph a housing.
    """
    found = bench_candela(bench, lamp=baseline_lamp(bench)[0], runs=runs)
    return say(*([words_light.candela_words(one) for one in found] or [NO_DISTANCE]))


def terms_at_the_bench(bench: Bench, runs: Runs) -> Table | Words:
    """Return the budget of the baseline's candela at the bench's distance.

    Parameters
    ----------
    bench : Bench
        The bench.
    runs : tuple of DistanceResult
        Its distance runs.

    Returns
    -------
    Table or Words
        One row a cause, a column a housing.
    """
    found = bench_candela(bench, lamp=baseline_lamp(bench)[0], runs=runs)
    if not found:
        return say(NO_DISTANCE)
    frame = pd.DataFrame({"what": list(words_light.PARTS)})
    for one in found:
        column = f"{one.housing}, apparent" if one.apparent else one.housing
        parts = [one.intensity.only(*kinds) for kinds in words_light.PARTS.values()]
        frame[column] = [100.0 * part.half_width(one.coverage) / part.value for part in parts]
    covered = f"{100.0 * bench.settings.coverage:g} %"
    heads = {"what": "what may be off", **{c: f"{c} (± %, {covered})" for c in frame.columns[1:]}}
    return table(frame.sort_values(frame.columns[1], ascending=False, kind="stable"), heads=heads, places=2)


def equivalents(runs: Runs) -> Table | Words:
    """Return the illuminance each quoted intensity would give at the usual reporting distances.

    Parameters
    ----------
    runs : tuple of DistanceResult
        Distance runs.

    Returns
    -------
    Table or Words
        One row a run that may be quoted.
    """
    quoted = [one for one in runs if one.law]
    if not quoted:
        return say("No intensity may be quoted, so there is no equivalent illuminance far away either.")
    rows = []
    for one in quoted:
        row = {"run": words_light.run_words(one)}
        for d in REPORTING_DISTANCES:
            lux, half = (float(illuminance(x, d)) for x in (one.intensity, (one.high - one.low) / 2.0))
            row[f"{d:g}"] = with_uncertainty(lux, half)
        rows.append(row)
    heads = {
        "run": "run",
        **{
            f"{d:g}": f"at {decimal(d, 3 if d % 1 else 0)} m (lx, {_covered(quoted)})"
            for d in REPORTING_DISTANCES
        },
    }
    return table(pd.DataFrame(rows), heads=heads)


def straight_line(runs: Runs) -> Words:
    """Return intensity and centre by a straight line through 1/sqrt(E), beside the fit.

    Parameters
    ----------
    runs : tuple of DistanceResult
        Distance runs.

    Returns
    -------
    Words
        One paragraph a run that follows the inverse square; for others why the line does not serve.
    """
    said = [_line_words(one) for one in runs if len(one.points) > 2]
    return say(*(said or [NO_RUN if not runs else "A straight line needs three distances or more."]))


def _line_words(one: DistanceResult) -> str:
    """Return the straight line of one run in words."""
    d, e = (one.points[c].to_numpy(float) for c in ("distance_m", "illuminance_lx"))
    slope, start = np.polyfit(d, 1.0 / np.sqrt(e), 1)
    intensity, centre = 1.0 / slope**2, 1000.0 * start / slope
    where = f"{words_light.run_words(one)}: the straight line gives {decimal(intensity, 0)} cd and a centre "
    shown = f"{where}{decimal(centre, 0)} mm behind the face"
    if one.law != "inverse_square":
        return (
            f"{shown}, where nothing glows: the points bend, and the line hides it. It does not serve here."
        )
    away, half = abs(intensity - one.intensity), (one.high - one.low) / 2.0
    verdict = "well inside" if away < half / 3.0 else "inside" if away < half else "outside"
    return f"{shown}; that is {decimal(away, 0)} cd from the fit, {verdict} its ± {decimal(half, 0)} cd."

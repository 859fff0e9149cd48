"""Sentences on candela, colour and beams: plain functions of results."""

import math
from collections.abc import Iterable, Mapping

import numpy as np

from photolab.bench.questions.colours import ColourRatio, changed_verdicts
from photolab.bench.results.beam_grids import BeamRun
from photolab.bench.results.beam_ratios import BeamRatio
from photolab.bench.results.beams import BeamResult, Beams
from photolab.bench.results.campaign import Campaign
from photolab.bench.results.candela import BenchCandela
from photolab.bench.results.distances import DistanceResult
from photolab.bench.results.pairs import ReadingComparison
from photolab.bench.terms.model import Meter
from photolab.bench.terms.schema import technology_name
from photolab.metrology.quantity import Measured, coverage_factor
from photolab.metrology.reporting import decimal, places_for, published_ends, with_uncertainty
from photolab.photometry.beam import RatioMap
from photolab.photometry.distance import LACK_OF_FIT_LEVEL
from photolab.publication.sentences import statements
from photolab.publication.sentences.statements import in_housing
from photolab.publication.sentences.words_lamp import light_words

CODE_WORDS = {
    "several_seatings": "the lamp was seated more than once within the run, and seatings differ",
    "several_ranges": "the meter changed range within the run; the step between ranges is not counted",
    "range_unknown": "the range of the meter is not stated, so its additive error is not counted",
    "several_meters": "more than one meter was used within the run",
    "dark_as_large": "readings no larger than the dark reading were left out",
    "dark_in_some_rows": "only some rows hold a dark reading; take the others too, so that it can be taken off each "
    "reading (until then the range term of the manual is counted)",
    "no_dark_reading": "no dark reading was taken off, so the range term of the manual is counted",
    "far_part_only": "only the far readings agree with the law; the near ones were left out",
}
"""What else must be said with a run."""
REASONS = {
    "no_light": "No reading is larger than the dark reading.",
    "one_distance": "One distance cannot show whether the inverse square applies.",
    "too_few_distances": "Two distances fit any law; three or more are needed.",
    "no_law_holds": "None of the laws tried agrees with the readings.",
    "": "The readings do not follow the inverse square about the declared centre.",
}
"""Why a run gives no candela."""
LAW_NAMES = {
    "point": "inverse square from the reference face",
    "offset": "inverse square from a centre behind the face",
    "near_field": "inverse square with a near-field term",
    "disc": "glowing disc",
}
POINT_HEADS = {
    "housing": "housing",
    "distance_m": "d (m)",
    "reading_lx": "reading (lx)",
    "dark_lx": "dark (lx)",
    "factor": "factor",
    "illuminance_lx": "E (lx)",
    "u_lx": "u(E) by itself (lx)",
    "product_cd": "E d² (cd)",
}
LAW_HEADS = {
    "housing": "housing",
    "model": "law",
    "intensity": "I (cd)",
    "intensity_uncertainty": "u(I) (cd)",
    "chi_square": "chi-square",
    "dof": "readings to spare",
    "p": "chance of such a misfit",
    "kept": "agrees",
}
PARTS = {
    "readings of the run and choice of its law": ("fit", "model spread", "reading scatter"),
    "scatter of seatings and days": ("seating", "day"),
    "last figure and dark reading": ("resolution",),
    "range term of the meter": ("range term",),
    "scale of the meter": ("scale",),
    "linearity of the meter": ("linearity",),
    "colour of the light": ("colour",),
    "supply of a filament lamp": ("supply",),
    "distance and photometric centre": ("distance",),
    "tilt of the meter head": ("angle",),
}
"""What may be off in a candela figure, in words, and the kinds of its inputs."""
WAY_WORDS = {
    "ignored": "colour ignored",
    "declared": "not corrected, f1' of the meter counted",
    "corrected": "corrected with the spectra",
}


def law_words(one: DistanceResult) -> str:
    """Return what a run says about candela, with its reason."""
    here, near = f"{decimal(one.place.distance_m, 2)} m", one.near_field_percent
    if one.candela is None:
        reasons = (*(REASONS[code] for code in one.codes if code in REASONS), REASONS[""])
        apparent = "" if one.apparent is None else _cd(one.apparent, one.coverage)
        remains = f" What remains is an apparent {apparent} at {here}." if apparent else ""
        said = f"no candela. {reasons[0]}{remains}"
    elif one.law == "inverse_square":
        may = f"The readings follow the inverse square, so lux at {here} may be turned into candela."
        said = f"{_at_coverage(one.candela, one.coverage)}, for these readings as seated. {may}"
    else:
        said = (
            f"{_at_coverage(one.candela, one.coverage)} far away, for these readings as seated, and only with a "
            f"near-field term: at {here} the light is {decimal(abs(near), 1)} % {'short' if near < 0 else 'in excess'} "
            f"of what the inverse square gives. Without that term nothing in candela may be quoted from {here}."
        )
    noticed = [CODE_WORDS[code] for code in one.codes if code in CODE_WORDS]
    return f"{_where(one)}: {said}" + (f" Note: {'; '.join(noticed)}." if noticed else "")


def _where(one: DistanceResult | BeamResult) -> str:
    """Return of which lamp a run or a beam is."""
    return f"{one.lamp} in housing {one.housing}"


def _cd(intensity: Measured, coverage: float) -> str:
    """Return an intensity with its half-width: "13340 ± 540 cd"."""
    return f"{with_uncertainty(intensity.value, intensity.half_width(coverage))} cd"


def _at_coverage(intensity: Measured, coverage: float) -> str:
    """Return an intensity with its half-width and its coverage."""
    return f"{_cd(intensity, coverage)} at {100.0 * coverage:g} %"


def run_cells(one: DistanceResult) -> dict[str, str]:
    """Return a run as cells of a table, by their heads."""
    percent, fit = f"{100.0 * one.coverage:g} %", one.laws.offset_fit
    centre = agrees = ""
    if fit is not None:
        half = 1000.0 * coverage_factor(one.coverage) * fit.offset_uncertainty
        centre = with_uncertainty(1000.0 * fit.offset, half)
        agrees = "does not agree" if "lack_of_fit" in fit.findings else "agrees"
    name = {"inverse_square": "candela", "near_field": "candela, near-field term"}.get(one.law, "apparent")
    return {
        "figure": f"{one.lamp} in {one.housing}, run {one.run}",
        f"intensity ({percent})": "none" if one.published is None else _cd(one.published, one.coverage),
        "what it is": name if one.published is not None else "",
        f"centre behind the face (mm, {percent})": centre,
        "inverse square from a free centre": agrees,
    }


def products_words(runs: Iterable[DistanceResult]) -> str:
    """Return the key numbers of the figure of products, for those who do not see it."""
    said = []
    for one in runs:
        near, far = (
            f"{decimal(end['product_cd'] / 1000.0, 2)} kcd at {decimal(end['distance_m'], 1)} m"
            for end in (one.points.iloc[0], one.points.iloc[-1])
        )
        law = f"intensity {decimal(one.intensity / 1000.0, 2)} kcd" if one.law else "no law to quote"
        left = decimal(float(one.points["residual_percent"].abs().max()), 1)
        said.append(f"{_where(one)}: E d² from {near} to {far}, {law}, largest residual {left} %.")
    return f"Illuminance times distance squared against distance, and what the law leaves. {' '.join(said)}"


def where_words(one: DistanceResult) -> tuple[str, ...]:
    """Return the centre that a run finds, and from where on the inverse square applies."""
    said = []
    if (found := one.centre_found) is not None:
        mm, wide = (1000.0 * x for x in (found.value, found.half_width(one.coverage)))
        said.append(
            f"the light spreads as from a point {with_uncertainty(mm, wide)} mm behind the reference face at "
            f"{100.0 * one.coverage:g} %; {decimal(1000.0 * one.centre.value, 0)} mm is declared."
        )
        apart = found - one.centre
        if abs(apart.value) > apart.half_width(one.coverage):
            said[0] += (
                f" The two do not agree, and candela from one reading rest on the declared one: look at the run, then "
                f"write offset_mm = {decimal(mm, 0)} and offset_uncertainty_mm = {decimal(wide, 0)}."
            )
    if one.laws.flatness is not None and one.laws.flatness.code != "too_few":  # else it cannot tell
        far, near, size = one.points["distance_m"].max(), one.smallest_usable, one.geometric_distance
        alone = f" The size of the opening alone would allow {decimal(size, 2)} m."
        by_size = "" if math.isnan(size) else alone
        nowhere = f"at no distance of this run, up to {decimal(far, 2)} m, do the readings follow the inverse square."
        on = f"the inverse square applies from {decimal(near, 2)} m on, as far as measured ({decimal(far, 2)} m)."
        said.append(nowhere if math.isnan(near) else on + by_size)
    return tuple(f"{_where(one)}: {text}" for text in said)


def second_way_words(one: DistanceResult, *, ruler: float, best: Iterable[float], chance: float) -> str:
    """Return intensity [cd] and centre [m] of least squares beside the figure quoted, the difference judged."""
    intensity, centre = best
    judged = ""
    if chance < LACK_OF_FIT_LEVEL:
        judged = ", but no centre explains the run: such a misfit would be seen in under one run in twenty"
    elif one.candela is not None:
        away, half = abs(intensity - one.intensity), one.candela.half_width(one.coverage)
        verdict = "well inside" if away < half / 3.0 else "inside" if away < half else "outside"
        quoted = f"the figure quoted, {verdict} its ± {decimal(half, 0)} cd"
        judged = f"; that is {decimal(away, 0)} cd from {quoted}"
    return (
        f"{_where(one)}: the ruler gives {decimal(ruler, 0)} cd, least squares {decimal(intensity, 0)} cd and a centre "
        f"{decimal(1000.0 * centre, 0)} mm behind the face{judged}."
    )


def candela_words(one: BenchCandela) -> str:
    """Return what the readings at the bench's distance give in candela."""
    at, name = one.of, "apparent intensity" if one.apparent else "intensity"
    largest = max(PARTS, key=lambda name: one.intensity.only(*PARTS[name]).u)
    count = "one seating" if at.seatings == 1 else f"mean of {at.seatings} seatings"
    lux = decimal(at.light.value, places_for(at.light.value / 100.0))
    said = (
        f"{at.lamp} in housing {at.housing}: {lux} lx at {decimal(at.distance.value, 2)} m give an {name} of "
        f"{_at_coverage(one.intensity, at.coverage)}, {count}; the largest part of the uncertainty "
        f"is the {largest}."
    )
    advice = " A lower range of the meter would narrow it." if one.lower_range else ""
    return said + advice + (f" Assumed: {'; '.join(at.assumed)}." if at.assumed else "")


def candela_cells(one: BenchCandela) -> dict[str, str]:
    """Return the candela of a lamp at the bench's distance as cells of a table, under the heads of `run_cells`."""
    at = one.of
    lux = decimal(at.light.value, places_for(at.light.value / 100.0))
    return {
        "figure": f"{at.lamp} in {at.housing}, {lux} lx at the bench",
        f"intensity ({100.0 * at.coverage:g} %)": _cd(one.intensity, at.coverage),
        "what it is": "apparent" if one.apparent else "candela",
    }


def colour_words(one: ColourRatio) -> str:
    """Return how a meter favours a lamp, and where that is known from."""
    against, percent = one.against or "the light it was trimmed to", f"{100.0 * one.coverage:g} %"
    half = 100.0 * one.ratio.half_width(one.coverage) / one.ratio.value
    head = f"Of equal light, meter {one.meter}"
    if one.known_from == "mismatch index":
        return (
            f"{head} may read {decimal(half, 1)} % more or less on {one.lamp} than on {against} at {percent}: no "
            f"factor is known, so its mismatch index f1' stands for one."
        )
    if one.known_from == "trimmed":
        return (
            f"{head} is taken to read the same on {one.lamp} as on {against}: it was trimmed to filament light, and no "
            f"spectrum of {one.lamp} is on file."
        )
    more = 100.0 * (one.ratio.value - 1.0)
    return (
        f"{head} reads {decimal(abs(more), 2)} % {'more' if more > 0 else 'less'} on {one.lamp} than on {against}: the "
        f"ratio is {decimal(one.ratio.value, 4)}, ± {decimal(half, 1)} % at {percent}, from "
        f"{'the spectra' if one.known_from == 'spectra' else 'the stated factor'}."
    )


def colour_cells(one: ColourRatio, technology: str) -> dict[str, str | float]:
    """Return how a meter favours a lamp as cells of a table, by their heads."""
    return {
        "lamp": one.lamp,
        "technology": technology_name(technology),
        f"meter {one.meter} reads more (%)": 100.0 * (one.ratio.value - 1.0),
        f"± (%, {100.0 * one.coverage:g} %)": 100.0 * one.ratio.half_width(one.coverage) / one.ratio.value,
        "than on": one.against or "the light it was trimmed to",
        "known from": {"trimmed": "taken as that light"}.get(one.known_from, one.known_from),
    }


def index_words(meter: Meter, computed: float) -> str:
    """Return the mismatch index of a meter, declared and computed (NaN without a responsivity) [1]."""
    source = "by bench.toml" if "mismatch_index_percent" in meter.declared else "assumed"
    said = f"Meter {meter.id}: f1' {decimal(meter.mismatch_index_percent, 1)} % {source}"
    if math.isnan(computed):
        return f"{said}; no responsivity on file to compute it from."
    return f"{said}, {decimal(100.0 * computed, 2)} % computed from its responsivity on 380 to 780 nm."


def pair_words(way: str, pair: ReadingComparison, lamps: str) -> str:
    """Return a comparison under one way of counting the colour."""
    scope = f"At {100.0 * pair.coverage:g} %, {statements.SCOPE_WORDS[pair.scope]}."
    return f"{lamps}: {WAY_WORDS[way]}, {_result(pair)}. {scope}"


def _result(pair: ReadingComparison) -> str:
    """Return a ratio with its interval."""
    if pair.verdict == "no_answer":
        return statements.verdict_words(pair)
    return f"{light_words(pair)} ({statements.interval_words(pair)})"


def way_cells(way: str, pair: ReadingComparison, verdict: str) -> dict[str, str | float]:
    """Return a comparison under one way of counting the colour, with its verdict among all pairs, as cells by head."""
    percent = f"{100.0 * pair.coverage:g} %"
    colour = None if pair.result is None else pair.result.only("colour", "own colour")
    half = 0.0 if colour is None else 100.0 * colour.half_width(pair.coverage)
    return {
        "colour": WAY_WORDS[way],
        f"result ({percent})": _result(pair),
        "verdict, all pairs": statements.VERDICTS[verdict],
        f"of it by colour (± %, {percent})": half,
    }


def story_words(ways: Mapping[str, Campaign]) -> str:
    """Return which verdicts, each among all pairs of its housing, change once the colour is counted."""
    rows = changed_verdicts(ways)
    named = rows["lamp"] + rows["housing"].map(in_housing)
    listed = ", ".join(named[rows["verdict"] != rows["verdict_then"]].drop_duplicates())
    turned = named[(rows["alone"] == "clear") & (rows["value"] > 1.0) & (rows["value_then"] < 1.0)]
    said = (
        f"Verdicts that change with the colour: {listed}."
        if listed
        else "No verdict changes with the colour."
    )
    if len(turned):
        said += (
            f" Taken alone, {', '.join(turned)} would be clearly more with the colour ignored; once it is "
            "counted no gain is shown: colour alone explains what was displayed."
        )
    return said


def areas_words(meter: str, areas: Mapping[str, float]) -> str:
    """Return the key numbers of the figure of spectra, for those who do not see it."""
    said = " and ".join(f"{decimal(area, 2)} % on {name}" for name, area in areas.items())
    return (
        f"Three panels over wavelength, 380 to 780 nm: the eye and meter {meter}; the light of the lamps; what the "
        f"meter reads too much at each wavelength, in all {said}."
    )


MEASURAND_WORDS = {
    "hot spot": "hot spot",
    "window flux": "light in the whole window",
    "above cut-off": "light above the cut-off",
}
CAUSE_WORDS = {
    "range term": "range term of the meter",
    "gain": "step between two ranges",
    "linearity": "linearity of the meter",
    "scale": "scale of the meter",
    "scatter": "scatter and last figure of readings",
    "colour": "colour of the light",
    "supply": "supply of the filament lamp",
    "upper limits": "cells that are only upper limits",
    "step": "step of the grid",
    "seating": "seating each lamp once",
}
CAUTIONS = (
    "The pattern is that of one lamp of each kind, seated once in this housing; another seating turns it, and a few "
    "tenths of a degree can change the light above the cut-off by a large factor.",
    "More light in the hot spot and more light above the cut-off are two results. They are not added up, and neither "
    "makes up for the other.",
    "Nothing here is a test against a regulation: no test point is read, the wall is close, and the comparison is with "
    "the bench's own baseline.",
    "The hot spot is the largest cell of each grid, searched again for each lamp. The true peak lies between cells, "
    "and the largest of many readings is a little too large.",
)
"""What must be said with every beam result."""
BEAM_CODES = {
    "no_kink": "no rise of the cut-off to one side is seen on this grid",
    "kink_on_wrong_side": "the cut-off rises on the other side than the declared traffic",
    "no_cutoff": "no column of the grid shows a cut-off",
    "shapes_differ": "the two patterns do not match under any shift",
    "at_limit": "the shift reached the limit of the search",
    "upper_limits": "some cells are only upper limits",
}


def times_words(low: float, high: float) -> str:
    """Return an interval of a ratio: "12 to 33 % more", or from a factor of two on "1.1 to 3.0 times"."""
    ends = published_ends(low, high)
    if ends[1] >= 2.0:
        return f"{decimal(ends[0], 2)} to {decimal(ends[1], 2)} times"
    return statements.ends_words(low, high, 1.0)  # whole per cent


def _ratio_words(one: BeamRatio) -> str:
    """Return one measurand with its interval as seated, as part of a sentence."""
    value = f"{decimal(one.value, 2)} times" if one.high >= 2.0 else statements.percent_of(one.value, 0)
    return f"{MEASURAND_WORDS[one.measurand]} {value} ({times_words(one.low, one.high)})"


def ratio_cells(result: BeamResult, one: BeamRatio) -> dict[str, str | float]:
    """Return one measurand as cells of a table, by their heads."""
    percent = f"{100.0 * one.coverage:g} %"
    return {
        "lamp": result.lamp,
        "housing": result.housing,
        "what": MEASURAND_WORDS[one.measurand],
        "apparent": f"{_figure(one.own)} {one.unit}",
        f"{result.baseline}, apparent": f"{_figure(one.reference)} {one.unit}",
        "ratio": one.value,
        f"as seated ({percent})": times_words(one.low, one.high),
        f"with seating once each ({percent})": times_words(*one.seated_again.interval(one.coverage)),
    }


def _figure(value: float) -> str:
    """Return a value with three figures."""
    return decimal(value, 2 - math.floor(math.log10(value))) if value > 0 else "0"


def ways_cells(
    result: BeamResult, one: BeamRatio, *, ratio: float, bare: BeamRatio
) -> dict[str, str | float]:
    """Return a measurand by other ways as cells of a table: a plain sum, no range term, the law of propagation."""
    half = coverage_factor(one.coverage) * one.as_seated.u / one.value
    ends = [one.value * math.exp(sign * half) for sign in (-1.0, 1.0)]
    away = max(abs(math.log(a / b)) for a, b in zip(ends, (one.low, one.high), strict=True))
    return {
        "housing": result.housing,
        "what": MEASURAND_WORDS[one.measurand],
        "ratio": one.value,
        "by a plain sum": ratio,
        "drawn": times_words(one.low, one.high),
        "law of propagation": times_words(*ends),
        "judged": "agree" if away < 0.1 * half else "drawn one stands",
        "dark reading alone": times_words(bare.low, bare.high),
    }


def result_words(result: BeamResult) -> str:
    """Return the three measurands of a lamp in a housing, or why there are none."""
    where = f"{result.lamp} against {result.baseline} in housing {result.housing}"
    if not result.ratios:
        return f"{where}: no ratio. {' '.join(r.message[:1].upper() + r.message[1:] + '.' for r in result.refusals)}"
    said = "; ".join(_ratio_words(one) for one in result.ratios)
    percent = f"{100.0 * result.ratios[0].coverage:g}"
    return f"{where}: {said}. At {percent} %, for these readings as seated."


def cutoff_words(result: BeamResult, *, coverage: float) -> str:
    """Return height and sharpness of a lamp's cut-off."""
    found, k = result.cutoff, coverage_factor(coverage)
    if found is None:
        said = "the light does not fall along the cut, so there is no cut-off to read"
    elif found.code:
        said = f"no sharpness; {found.message}"
    else:
        height = with_uncertainty(found.height, k * found.height_uncertainty)
        sharp = with_uncertainty(found.sharpness, k * found.sharpness_uncertainty)
        said = (
            f"height {height}° at {decimal(found.horizontal, 1)}° to the right, sharpness G {sharp}: over a tenth of a "
            f"degree the light falls by a factor of {decimal(10.0**found.sharpness, 2)}"
        )
    return f"{_where(result)}: {said}."


def aim_words(result: BeamResult) -> str:
    """Return how far a pattern is turned against the baseline's."""
    where, aim = _where(result), result.aim
    if aim is None:
        return f"{where}: no aim to compare."
    h, v = aim.horizontal, aim.vertical
    across, up = f"{decimal(abs(h), 2)}° to the {'right' if h > 0 else 'left'}", decimal(abs(v), 2)
    fifth = (aim.horizontal_step / 5.0, aim.vertical_step / 5.0)  # less than that a grid cannot tell
    beyond = abs(h) > fifth[0] or abs(v) > fifth[1]
    told = "they are aimed differently" if beyond else "no difference of aim is shown"
    return (
        f"{where}: turned {across} and {up}° {'up' if v > 0 else 'down'} against {result.baseline}; a fifth of the "
        f"grid's step is {decimal(fifth[0], 2)}° and {decimal(fifth[1], 2)}°, so {told}. After the shift "
        f"{decimal(100.0 * aim.misfit, 1)} % of the peak is left as a difference in shape."
    )


def caution_words(beams: Beams) -> tuple[str, ...]:
    """Return what was noticed on the grids and what was refused, then what must be said with every beam result."""
    said = [(x.lamp, x.housing, BEAM_CODES.get(code, code)) for x in beams.results for code in x.codes]
    refused = [*beams.refusals, *(r for one in beams.results for r in one.refusals)]
    said += [(one.lamp, one.housing, one.message) for one in refused]
    return (*(f"{lamp} in housing {housing}: {words}." for lamp, housing, words in said), *CAUTIONS)


def patterns_words(runs: Iterable[BeamRun]) -> str:
    """Return the key numbers of the figure of beams, for those who do not see it."""
    said = "; ".join(
        f"{run.lamp} in {run.housing}, peak {decimal(float(run.grid.intensity.max()) / 1000.0, 1)} kcd apparent"
        for run in runs
    )
    return (
        f"Beam patterns on white ground, darker where there is more light, contours at 1, 5, 20, 50 and 80 % of each "
        f"own peak, as the lamp sees the wall: {said}."
    )


def map_words(maps: Mapping[str, RatioMap]) -> str:
    """Return the key numbers of the figure of ratios, for those who do not see it."""
    said = "; ".join(
        f"{title} from {decimal(float(np.nanmin(one.ratio)), 2)} to {decimal(float(np.nanmax(one.ratio)), 2)} times"
        for title, one in maps.items()
    )
    return (
        f"Maps of one beam over the other, violet where the lamp gives more and orange where it gives less, contours "
        f"at simple factors: {said}."
    )


def cut_words(cuts: Mapping[str, Mapping[str, tuple[object, object, float]]]) -> str:
    """Return the key numbers of the figure of cuts, by housing and lamp, for those who do not see it."""
    said = "; ".join(
        f"{lamp} in {housing} falls fastest at {decimal(height, 2)}°"
        for housing, lamps in cuts.items()
        for lamp, (_, _, height) in lamps.items()
    )
    return f"Vertical cuts through the beams on a logarithmic scale with the cut-off marked: {said}."

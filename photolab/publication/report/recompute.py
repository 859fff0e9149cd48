"""Page one recomputed without Python: a workbook of live formulas, and one figure by pocket calculator.

From the typed reading to the ratio everything is a formula: dark reading, colour, volts, room, mean of a seating,
weighted mean of the seatings of a lamp, ratio, interval. Typed are the readings, the weights of the seatings (their
generalised least squares needs matrices), what the fit of a warm-up record says is left, the columns of the budget and
the factors of the intervals. A text of the folder is written as text, never as a formula.
"""

import math
from collections.abc import Iterable, Iterator, Mapping
from functools import partial
from typing import Any

import numpy as np
import openpyxl
import pandas as pd
from openpyxl.styles import Alignment, Font, PatternFill
from openpyxl.utils import get_column_letter as letter
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet
from scipy import sparse

from photolab.bench.inputs import corrections
from photolab.bench.inputs.electrical import POWER_LIMIT_PERCENT
from photolab.bench.inputs.readings import clock_hours
from photolab.bench.inputs.seats import mounting_means
from photolab.bench.inputs.surface import CAMERA_LIMIT_K, CAMERA_LIMIT_PERCENT, REFLECTED_LIMIT_K, surfaces
from photolab.bench.results.campaign import Campaign
from photolab.bench.results.heat import at_hold, warm_up_runs
from photolab.bench.results.pairs import variance_by_term
from photolab.bench.terms.assumptions import CANCELS
from photolab.bench.terms.schema import FOOTCANDLE_LX
from photolab.metrology.quantity import Input, Joint, Measured, coverage_factor
from photolab.metrology.reporting import decimal, significant
from photolab.publication.report.front_page import invented_words
from photolab.publication.report.page_one import LIGHT, PageOne, Told
from photolab.publication.report.workbook_table import as_bytes, write_cell
from photolab.publication.sentences.display import Words
from photolab.publication.sentences.figure_tables import signed
from photolab.publication.sentences.statements import KIND_WORDS, in_housing, time_of
from photolab.thermal.thermography import BAND_UM, SECOND_RADIATION_CONSTANT, ZERO_CELSIUS_K, band_nodes

Name = tuple[str, ...]
Lights = Mapping[Name, Measured]
"""ln of light by lamp, housing, place and instant, moved by seatings and records alone: sensitivities are weights."""
_SEATED = ["lamp", "specimen", "housing", "point", "day", "mounting", "time"]
_SEATED_HEADS = "lamp|specimen|housing|place|day|seating|time"
_PLACE_HEADS = "lamp|housing|place|time"
_TYPED = PatternFill("solid", fgColor="FFF2DC")
_BOLD = Font(name="Calibri", bold=True)
_CANCELS = 1e-12  # of a weight or a logarithm: what rounding leaves of zero
_LISTED = 30  # readings of a seating, or seatings of a lamp, that a sentence lists
_DIGITS = 8  # of what was computed and stands typed: those that every processor gives
_DRAWN = 5  # of what comes from draws
_MOST = 20_000  # readings that the workbook holds
_HOW_TO_READ = (
    "Shaded numbers are typed, all others are formulas: change a reading and the light, ratios and limits follow.",
    "Typed are readings, factors of meter and colour, weights, what fitted records say is left, the columns of the "
    "budget and the factors of the intervals; those do not follow a changed reading.",
    "Not recomputed here: beams and the fit of warm-up records.",
)
_ABOUT = {
    "lamps": "One line a lamp, as on page one: light against {base}, for the specimens on the bench, limits among all "
    "lamps; watts; temperature.",
    "limits": "Ratio of each lamp to {base} with its interval, {percent:g} %, and how far it is from results.csv, "
    "which is rounded. Standard uncertainty u: root of the sum of the squares of its line in the budget. Half-width: t "
    "x shape x u + bounds. t is Student's for the degrees of freedom; shape is less than 1 where an input with limits "
    "is large; family is the step from a lamp alone to all pairs of the housing. These the program found; they stand "
    "typed.",
    "budget": "Standard uncertainty of each ratio from each input, %. Lines as in limits.",
    "light": "Logarithm of the light of each lamp, housing and time: weighted sum of its seatings, and for the hold "
    "time what records say is left. Bounds: the middle between those of a record that ends before the hold time, where "
    "nothing else is known.",
    "records": "What is left after the hold time, by the longest record of each piece: fitted, so typed.",
    "seatings": "Mean of the logarithms of each seating, and its weight in the light of each lamp. The weights are "
    "typed: those of the mean over seatings, then over specimens, where all days hold the same lamps; else of "
    "generalised least squares, in which lamps read on several days tell what the days did.",
    "readings": "Readings that enter, from the display to the corrected light and its logarithm.",
    "watts": "Power of one lamp: volts times amperes where no watts were read, half of what a pair takes; the mean of "
    "the readings of an instant, with its limits, {percent:g} %.",
    "temperatures": "Temperature of each surface at the hold time: as displayed, corrected for its emissivity, which "
    "stays within 0.001 and 1, and for what it mirrors. Standard uncertainty u: root of the sum of the squares of what "
    "each input brings. Limits, {percent:g} %: u times a factor down and one up, which the program found by draws, as "
    "u of a thermocouple and that of the camera's law; they stand typed.",
    "planck": "Radiance of a black body over the camera's band: sum of weight / (exp(c2 / (wavelength T)) - 1).",
}
"""What each sheet shows, in their order."""


class _Formula(str):
    """A formula of this module's own making, without its sign of equality; # is the row that it stands in."""

    __slots__ = ()


def _formulas(text: str) -> list[_Formula]:
    """Return formulas that stand apart by |."""
    return [_Formula(one) for one in text.split("|")]


class _Lines:
    """A sheet that is written line by line: what it shows, an empty line, heads, then lines from `first` on."""

    shown = "0.0000"

    def __init__(self, sheet: Worksheet, about: Iterable[str], heads: Iterable[str] = ()) -> None:
        self.sheet, self.row = sheet, 0
        for text in about:
            self.add(text)
        sheet.cell(1, 1).font = _BOLD
        self.row += 1
        self.first = self.add(*heads) + 1
        for column, head in enumerate(sheet[self.row], start=1):
            head.font, head.alignment = _BOLD, Alignment(wrap_text=True, vertical="top")
            sheet.column_dimensions[letter(column)].width = 13
        sheet.row_dimensions[self.row].height = 60
        sheet.page_setup.orientation, sheet.page_setup.fitToHeight = "landscape", 0
        sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
        sheet.freeze_panes = f"B{self.first}"

    def add(self, *cells: Any) -> int:
        """Write one line of formulas, texts and typed numbers; return its row."""
        self.row += 1
        for column, value in enumerate(cells, start=1):
            cell = self.sheet.cell(self.row, column)
            if isinstance(value, _Formula):
                cell.value, cell.number_format = "=" + value.replace("#", str(self.row)), self.shown
            elif isinstance(write_cell(cell, value), int | float):
                cell.fill = _TYPED
                cell.number_format = "General" if cell.value == float(f"{cell.value:.5g}") else "0.0000"
        return self.row


class _Book:
    """The workbook, and what it recomputes."""

    def __init__(self, campaign: Campaign, rows: pd.DataFrame) -> None:
        self.campaign, self.bench, self.rows = campaign, campaign.bench, rows
        self.coverage, self.file = campaign.bench.settings.coverage, openpyxl.Workbook()
        self.time = partial(time_of, campaign.bench)
        self.file.calculation.fullCalcOnLoad = True
        told = {"base": campaign.baseline, "percent": 100.0 * self.coverage}
        self.about = {sheet: words.format(**told) for sheet, words in _ABOUT.items()}
        self.file.worksheets[0].title = "how to read this"
        for sheet in _ABOUT:
            self.file.create_sheet(sheet)

    def lines(self, sheet: str, heads: str, *more: str) -> _Lines:
        """Return a sheet that is to be written, with heads apart by |, and more of them."""
        return _Lines(self.file[sheet], [self.about[sheet]], [*heads.split("|"), *more])

    def told(self, measurand: str) -> list[dict[Any, Any]]:
        """Return the rows of a measurand that have a value."""
        rows = self.rows[(self.rows["measurand"] == measurand) & self.rows["value"].notna()]
        return rows.to_dict("records")


def as_recomputation(campaign: Campaign, rows: pd.DataFrame, *, last_day: str = "") -> bytes:
    """Return the workbook that recomputes the light of page one from the readings.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    rows : DataFrame
        Its rows, as `tables.results` returns them.
    last_day : str, default ""
        Last date of days.csv, ISO; the workbook is dated with it.

    Returns
    -------
    bytes
        XLSX; the same campaign gives the same bytes.
    """
    book = _Book(campaign, rows)
    title = [f"Page one, recomputed: {campaign.bench.settings.name}"]
    title += filter(None, [invented_words(campaign.bench, "workbook")])
    sheets = (f"{sheet}: {words}" for sheet, words in book.about.items())
    _Lines(book.file.worksheets[0], (*title, *_HOW_TO_READ, *sheets))
    lights = _lights(campaign)
    at = _write_lights(book, lights, _seatings(book, lights))
    heat = _watts(book) | _temperatures(book)
    _lamps(book, _limits(book, at), at, heat)
    return as_bytes(book.file, last_day)


def _lights(campaign: Campaign) -> dict[Name, Measured]:
    """Return the light of every lamp, moved by its seatings and records alone."""
    seats, counts = campaign.seats, campaign.weights.counts
    each = [Input(("seating", k), 1.0, kind="seating") for k in range(len(seats))]
    means = Joint(range(len(seats)), seats["ln_value"], each, sparse.eye_array(len(seats), format="csr"))
    joint = means.combined(campaign.weights.names, campaign.weights.matrix)
    held = at_hold(campaign.bench, seats, means, joint, counts).joint
    return {n: joint[n] for n in joint.names if n[3] == "initial"} | {n: held[n] for n in held.names}


def _shares(light: Measured, term: str) -> dict[Any, float]:
    """Return the weights that seatings, or records, have in the light of a lamp."""
    weights = {q.name: c for q, c in light.parts.items() if isinstance(q.name, tuple) and q.name[0] == term}
    return {name[1:]: c for name, c in weights.items() if abs(c) > _CANCELS}


def _corrected(campaign: Campaign) -> pd.DataFrame:
    """Return the readings that enter, with what is done to each and the number of its seating, seating by seating."""
    on, settings = campaign.enabled, campaign.bench.settings
    corrected = corrections.apply(campaign.selection.readings, campaign.bench, on)
    corrected.columns["clock_h"] = clock_hours(corrected.columns["clock"])
    table = corrected.readings.assign(seat=mounting_means(corrected.columns)[1])
    which = zip(table["onto"], table["lamp"], table["technology"], strict=True)
    found = [corrections.spectral_factor(campaign.bench, *one) if "spectral" in on else None for one in which]
    led = (table["technology"] == "led") & ("ambient" in on)
    table["dark_lx"] = table["dark_lx"] if "dark" in on else math.nan
    table["colour"] = [one[0] if one else 1.0 for one in found]
    table["exponent"] = table["exponent"] if "voltage" in on else 0.0
    table["per_kelvin"] = np.where(led, corrections.LED_AMBIENT_COEFFICIENT, 0.0)
    table["volts_factor"] = np.exp(table["exponent"] * table["ln_voltage_ratio"])
    table["room"] = np.exp(-table["per_kelvin"] * table["led_warmth_K"])
    others = table["colour"] * table["volts_factor"] * table["room"]
    table["scale"] = np.exp(table["ln_correction"]) / others
    table["time"] = [time_of(campaign.bench, instant) for instant in table["instant"]]
    table = table.assign(volts_to=settings.reference_voltage_V, room_to=settings.reference_ambient_C)
    return table.sort_values("seat", kind="stable")


def _seatings(book: _Book, lights: Lights) -> list[str]:
    """Write readings and the means of seatings with their weights; return the sum that each light is."""
    campaign, table = book.campaign, _corrected(book.campaign)
    heads = f"line of the file|{_SEATED_HEADS}|meter|reading, lx|dark reading, lx|volts at the lamp, V|brought to, V"
    heads += "|room, °C|brought to, °C|scale: certificate, link|colour factor|exponent on volts|change of light per K"
    heads += "|less dark, lx|volts factor|room factor|light, lx|ln of it"
    lines = book.lines("readings", heads)
    typed = "meter illuminance_lx dark_lx volts volts_to ambient_C room_to scale colour exponent per_kelvin"
    each = "J#-K#|IF(ISNUMBER(L#),(M#/L#)^R#,1)|IF(ISNUMBER(N#),EXP(-S#*(N#-O#)),1)|T#*P#*Q#*U#*V#|LN(W#)"
    formulas = _formulas(each)
    live = len(table) <= _MOST
    if not live:
        lines.add("Too many for a workbook: means of seatings are typed.")
    for row in table[["line", *_SEATED, *typed.split()]].itertuples(index=False, name=None) if live else ():
        lines.add(*row, *formulas)
    ends = lines.first - 1 + np.cumsum(np.bincount(table["seat"]))
    weighted = [f"weight in {' '.join((*n[:3], book.time(n[3])))}" for n in lights]
    seated = book.lines("seatings", f"{_SEATED_HEADS}|readings|mean of ln|light, lx", *weighted)
    own = [_shares(light, "seating") for light in lights.values()]
    means = campaign.seats["ln_value"].tolist()
    seats = campaign.seats.assign(time=campaign.seats["instant"].map(book.time))
    for k, row in enumerate(seats[[*_SEATED, "n"]].itertuples(index=False, name=None)):
        mean = _Formula(f"AVERAGE(readings!X{ends[k] - row[-1] + 1}:X{ends[k]})") if live else means[k]
        shares = (round(weights[k,], 11) if (k,) in weights else None for weights in own)
        seated.add(*row, mean, _Formula("EXP(I#)"), *shares)
    a, b, columns = seated.first, seated.row, (letter(11 + k) for k in range(len(own)))
    return [f"SUMPRODUCT(seatings!{c}{a}:{c}{b},seatings!I{a}:I{b})" for c in columns]


def _write_lights(book: _Book, lights: Lights, sums: Iterable[str]) -> dict[Name, int]:
    """Write what records say is left, and the light of every lamp; return the row of each light."""
    lines = book.lines("records", "lamp|housing|specimen|run|what is left, %|ln of it")
    cells: dict[Name, str] = {}
    for run in sorted(warm_up_runs(book.bench), key=lambda run: -len(run.record)):
        key = (run.lamp, run.housing, run.specimen)
        if run.remaining is not None and key not in cells:
            left = significant(100.0 * run.remaining.value, _DIGITS)
            cells[key] = f"records!F{lines.add(*key, run.run, left, _Formula('LN(E#/100)'))}"
    heads = "ln, from seatings|share of each record|ln left, from records|ln left, from bounds"
    lines = book.lines("light", f"{_PLACE_HEADS}|{heads}|ln of light|light, lx")
    at, means = {}, book.campaign.seats["ln_value"].to_numpy()
    for (name, light), formula in zip(lights.items(), sums, strict=True):
        shares = _shares(light, "remaining light")
        rest = light.value - math.fsum(c * means[k] for (k,), c in _shares(light, "seating").items())
        typed: list[Any] = [None, None, significant(rest, _DIGITS) if abs(rest) > _CANCELS else None]
        if shares:
            summed = _Formula(f"F#*({'+'.join(cells[key] for key in shares)})")
            typed = [next(iter(shares.values())), summed, None]
        total = (_Formula("SUM(E#,G#,H#)"), _Formula("EXP(I#)"))
        at[name] = lines.add(*name[:3], book.time(name[3]), _Formula(formula), *typed, *total)
    return at


def _limits(book: _Book, at: Mapping[Name, int]) -> dict[Name, int]:
    """Write every ratio with its interval from the columns of its budget; return the row of each."""
    campaign, coverage, base = book.campaign, book.coverage, book.campaign.baseline
    columns = "lamp housing point instant scope dof value low high family_low family_high"
    table = [[row[column] for column in columns.split()] for row in book.told(LIGHT)]
    apart = [(campaign[a, h, i, p] - campaign[base, h, i, p]).in_scope(s) for a, h, p, i, s, *_ in table]
    every = ((variance_by_term(one).items(), (CANCELS * one.u) ** 2) for one in apart)
    by_term = [{term: variance for term, variance in parts if variance > least} for parts, least in every]
    terms = list(dict.fromkeys(term for one in by_term for term in one))
    heads = "ratio|u, %|degrees of freedom|t|shape|bounds, %|half-width, %|low|high|family|low, among all"
    heads += "|high, among all|ratio, as published|low, as published|high, as published|low among all, as published"
    heads += "|high among all, as published|largest difference, % (rounding: up to 0.05)"
    lines = book.lines("limits", f"{_PLACE_HEADS}|scope|{heads}")
    budget = book.lines("budget", f"{_PLACE_HEADS}|scope", *(KIND_WORDS.get(t, t) for t in terms))
    u = _Formula(f"SQRT(SUMSQ(budget!F#:{letter(5 + max(len(terms), 1))}#))")
    alone = _formulas("I#*J#*G#+K#|F#*EXP(-L#/100)|F#*EXP(L#/100)")
    family = _formulas("F#*EXP(-(O#*(L#-K#)+K#)/100)|F#*EXP((O#*(L#-K#)+K#)/100)")
    found: dict[Name, int] = {}
    for (a, h, p, i, scope, dof, *told), one, by in zip(table, apart, by_term, strict=True):
        name, other, known = (a, h, p, i), (base, h, p, i), not math.isnan(told[1])
        half, t = one.half_width(coverage), coverage_factor(coverage, one.dof)
        bounds = campaign.held.widening(name, other) if i == "hold" else 0.0
        among_all = campaign.family(h, scope=scope, point=p, instant=i)
        low, high = among_all.loc[[a], ["low", "high"]].to_numpy()[0]
        among = (math.log(high / low) / 2.0 - bounds) / half if half else 1.0
        shape, compared = half / (t * one.u) if half else 1.0, "FMNPQ" if known else "F"
        typed = (significant(x, _DIGITS) for x in (t, shape, 100.0 * bounds))
        interval = [u, dof, *typed, *alone, significant(among, _DRAWN), *family]
        off = ",".join(f"ABS({x}#/{y}#-1)" for x, y in zip("RSTUV", compared, strict=False))
        key = (*name[:3], book.time(i), scope)
        parts = (100.0 * math.sqrt(by.get(t, 0.0)) if known else 0.0 for t in terms)
        budget.add(*key, *(significant(x, _DIGITS) if x else None for x in parts))
        ratio = _Formula(f"EXP(light!I{at[name]}-light!I{at[other]})")
        interval = interval if known else ["no answer yet", *[None] * 10]
        found[*name, scope] = lines.add(*key, ratio, *interval, *told, _Formula(f"100*MAX({off})"))
    return found


def _watts(book: _Book) -> dict[Name, str]:
    """Write the readings behind each power, and the power with its limits; return the cell of each."""
    settings, table = book.bench.settings, book.bench.tables["electrical"]
    heads = "lamp|time|watts read, W|volts, V|amperes, A|read for so many lamps|limit of the reading, %"
    heads += "|watts a lamp|mean, W|low, W|high, W|mean, as published|low, as published|high, as published"
    lines, found = book.lines("watts", heads), dict[Name, str]()
    seconds = {"initial": settings.initial_s, "hold": 60.0 * settings.hold_minutes}
    for row in book.told("electrical power"):
        mine, wanted = table[table["lamp"] == row["lamp"]], seconds[row["instant"]]
        gap = (mine["elapsed_s"] - wanted).abs()
        used = mine[gap == gap.min()]
        limit, a, b = used["uncertainty_percent"].max(), lines.row + 1, lines.row + len(used)
        limit = POWER_LIMIT_PERCENT if math.isnan(limit) else limit
        ends = "|".join(f"I#*(1{sign}{book.coverage:g}*G#/100)" for sign in "-+")
        told = [*_formulas(f"AVERAGE(H{a}:H{b})|{ends}"), row["value"], row["low"], row["high"]]
        for read in used.to_dict("records"):
            typed = (read["power_W"], read["socket_V"], read["current_A"], 1 + (read["per"] == "pair"), limit)
            each = _Formula("IF(ISNUMBER(C#),C#,D#*E#)/F#")
            lines.add(row["lamp"], book.time(row["instant"]), *typed, each, *told)
            told = []
        found[row["lamp"], "electrical power", "", row["instant"]] = f"watts!I{a}"
    return found


def _temperatures(book: _Book) -> dict[Name, str]:
    """Write what a camera displayed and the surface temperature by the law of its band; return the cell of each.

    The law is solved for 1/T, in which the logarithm of the radiance is nearly straight (Newton, three steps).
    """
    per_kelvin, weights_of = band_nodes(BAND_UM)
    planck = book.lines("planck", "wavelength, um|weight|c2 / wavelength, K")
    for wavelength, weight in zip(SECOND_RADIATION_CONSTANT / per_kelvin, weights_of, strict=True):
        planck.add(wavelength, weight, _Formula(f"{SECOND_RADIATION_CONSTANT:.10g}/A#"))
    weights, c = (f"planck!{column}{planck.first}:{column}{planck.row}" for column in "BC")

    def seen(inverse: str) -> str:
        return f"SUMPRODUCT({weights}/(EXP({c}*{inverse})-1))"

    def falls(inverse: str) -> str:
        return f"SUMPRODUCT({weights}*{c}*EXP({c}*{inverse})/(EXP({c}*{inverse})-1)^2)"

    shown, mirrored = (f"1/({column}#+{ZERO_CELSIUS_K})" for column in "DH")
    radiance = f"(E#*{seen(shown)}+(1-E#)*{seen(mirrored)}-(1-J#)*{seen(mirrored)})/J#"
    formulas = ["(MAX(F#-G#,1/1000)+MIN(F#+G#,1))/2", radiance]
    formulas += [f"{x}+LN({seen(x)}/K#)*{seen(x)}/{falls(x)}" for x in (shown, "L#", "M#")]
    formulas.append(f"1/N#-{ZERO_CELSIUS_K}")
    per_radiance = f"(J#*{falls('N#')}*N#^2)"
    camera = f"SQRT(MAX({CAMERA_LIMIT_K:g},{CAMERA_LIMIT_PERCENT:g}*D#/100)^2/3+I#^2)"
    formulas.append(f"{camera}*E#*{falls(shown)}*{shown}^2/{per_radiance}")
    formulas.append(f"(MIN(F#+G#,1)-J#)/SQRT(3)*(K#-{seen(mirrored)})/{per_radiance}")
    formulas.append(f"{REFLECTED_LIMIT_K:g}/SQRT(3)*(1-J#)*{falls(mirrored)}*{mirrored}^2/{per_radiance}")
    heads = "lamp|place|method|displayed, °C|emissivity set|emissivity|it may be off by|mirrored, °C"
    heads += "|scatter of its pixels, K|emissivity that enters|radiance of the surface|1/T, first|1/T, second"
    heads += (
        "|1/T, third|temperature, °C|u from the display, K|u from the emissivity, K|u from what it mirrors"
    )
    heads += ", K|u from the law of the camera, K|u, K|factor down|factor up|low, °C|high, °C"
    heads += "|temperature, as published|low, as published|high, as published"
    u, *limits = _formulas("SQRT(SUMSQ(P#:S#))|O#-U#*T#|O#+V#*T#")
    lines, found = book.lines("temperatures", heads), dict[Name, str]()
    all_read = ((one, one.temperature) for one in surfaces(book.bench, at_hold=True))
    read = {one.where[:3]: (one, quantity) for one, quantity in all_read if quantity is not None}
    for row in book.told("surface temperature"):
        place, _, method = row["point"].rpartition(", ")
        one, quantity = read[row["lamp"], place, method]
        typed = (one.set_emissivity, one.emissivity, one.emissivity_half_width, one.reflected, one.pixel_sd)
        apart, whole = (significant(x.u, _DIGITS) for x in (quantity.only("model spread"), quantity))
        seen_so = (*typed, *map(_Formula, formulas), apart)
        touched = (*[None] * 10, _Formula("D#"), whole, *[None] * 3)
        cells = seen_so if one.seen_by_camera else touched
        factors = (significant(abs(end - one.value) / quantity.u, _DRAWN) for end in (one.low, one.high))
        told = (row["value"], row["low"], row["high"])
        lines.add(*one.where[:3], one.displayed, *cells, u, *factors, *limits, *told)
        found[one.lamp, "surface temperature", row["point"], "hold"] = f"temperatures!O{lines.row}"
    return found


def _lamps(book: _Book, limits: Mapping[Name, int], at: Mapping[Name, int], heat: Mapping[Name, str]) -> None:
    """Write one line a lamp: what page one says of its light, watts and temperature."""
    housings = dict.fromkeys(k[1] for k in limits if k[2] == "hot_spot")
    places = [(h, i) for h in housings for i in ("initial", "hold")]
    what = ["more light", "from", "to", "left of its own light"]
    heads = [f"{h} {book.time(i)}: {w}, %" for h, i in places for w in what[: 3 + (i == "hold")]]
    lines = book.lines("lamps", "lamp", *heads, "watts", "°C")
    lines.shown = "0.0"
    for line in PageOne(book.campaign, book.rows).table:
        lamp, cells = str(line[0][0]), []
        for h, i in places:
            row = limits.get((lamp, h, "hot_spot", i, "specimens"))
            cells += [_Formula(f"100*(limits!{c}{row}-1)") if row else None for c in "FPQ"]
            early, late = (at.get((lamp, h, "hot_spot", instant)) for instant in ("initial", "hold"))
            if i == "hold":
                cells.append(_Formula(f"100*EXP(light!I{late}-light!I{early})") if early and late else None)
        named = [dict(part.row) for cell in line for part in cell if isinstance(part, Told)]
        told = {one["measurand"]: (lamp, one["measurand"], one["point"], one["instant"]) for one in named}
        keys = (told.get(measurand) for measurand in ("electrical power", "surface temperature"))
        cells += [_Formula(heat[key]) if key else None for key in keys]
        lines.add(lamp, *cells)


def by_hand(campaign: Campaign, rows: pd.DataFrame) -> Words | None:
    """Return the first ratio of page one worked from the figures on the display.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    rows : DataFrame
        Its rows, as `tables.results` returns them.

    Returns
    -------
    Words or None
        Each step with the numbers as they are shown, from which the next is computed; None without a ratio.
    """
    parts = (part for line in PageOne(campaign, rows).table[:1] for cell in line for part in cell)
    told = next((x for x in parts if isinstance(x, Told) and dict(x.row)["measurand"] == LIGHT), None)
    if told is None:
        return None
    lamp, *place = (dict(told.row)[key] for key in ("lamp", "housing", "point", "instant"))
    lights = _lights(campaign)
    apart = lights[lamp, *place] - lights[campaign.baseline, *place]
    for places in range(4, 10):  # as few as lead to the figure of the page
        *lines, end = _worked(campaign, apart, (lamp, *place), places, told.text)
        if end == told.text:
            return Words(tuple(lines))
    return None


def _worked(campaign: Campaign, apart: Measured, name: Name, places: int, told: str) -> Iterator[str]:
    """Yield the lines of one ratio, each number computed from those shown, and at last its percentage alone."""
    seats, readings, terms, rest = campaign.seats, _corrected(campaign), [], apart.value
    when = time_of(campaign.bench, name[3])
    working = "Display less dark reading, times the factor of the corrections; ln of it; the mean."
    if "illuminance_fc" in campaign.bench.tables["readings"]:
        working += f" Figures typed in fc stand here in lx: 1 fc is {FOOTCANDLE_LX:.7f} lx."
    yield f"{name[0]} against {campaign.baseline}{in_housing(name[1])}, {when}. {working}"
    for lamp, sign in ((name[0], 1.0), (campaign.baseline, -1.0)):
        own = {k: sign * c for (k,), c in _shares(apart, "seating").items() if seats["lamp"].iloc[k] == lamp}
        means = {k: float(seats["ln_value"].iloc[k]) for k in own}
        rest -= sign * math.fsum(c * means[k] for k, c in own.items())
        mine = readings[readings["seat"] == min(own)].to_dict("records")
        steps, logs = zip(*(_step(row, places) for row in mine[:_LISTED]), strict=True)
        if len(mine) <= _LISTED:
            means[min(own)] = math.fsum(logs) / len(logs)
        columns = {"scale": "scale", "colour": "colour", "volts": "volts_factor", "room": "room"}
        known = {w: mine[0][c] for w, c in columns.items() if abs(mine[0][c] - 1.0) > 1e-9}
        factors = [f"{w} {decimal(x, places)}" for w, x in known.items()]
        factor = f" (factor: {' × '.join(factors)})" if factors else ""
        shown, weights = ([decimal(x, places) for x in y.values()] for y in (means, own))
        yield f"{lamp}, seating 1 of {len(own)}{factor}: {'; '.join(steps)}; mean {shown[0]}."
        weighted = [float(w) * float(x) for w, x in zip(weights, shown, strict=True)]
        mean = decimal(math.fsum(weighted) / math.fsum(map(float, weights)), places)
        if len(own) > _LISTED:
            yield f"{lamp}, mean of its {len(own)} seatings with their weights, as in recompute.xlsx: {mean}."
        elif len(own) > 1:
            like = "" if len(set(weights)) == 1 else f" with weights {', '.join(weights)}"
            yield f"{lamp}, mean of its seatings {', '.join(shown)}{like}: {mean}."
        terms.append(decimal(sign * float(mean), places))
    if float(decimal(rest, places)):
        terms.append(decimal(rest, places))
        records = ", and what records say is left," if name[3] == "hold" else ""
        yield f"What other lamps tell of the days and hours{records} changes the difference by {terms[2]}."
    ln_ratio = decimal(math.fsum(map(float, terms)), places)
    ratio = decimal(math.exp(float(ln_ratio)), places)
    digits = len(told.partition(".")[2].removesuffix("%").strip())
    percent = signed(100.0 * (float(ratio) - 1.0), places=digits)
    difference = " + ".join(terms).replace("+ -", "- ")
    yield f"ln of the ratio: {difference} = {ln_ratio}; e to this power is {ratio}: {percent}, as on page one."
    yield percent


def _step(row: Mapping[Any, Any], places: int) -> tuple[str, float]:
    """Return one reading from the display to its logarithm, in words and as the number that they show."""
    display, net = row["illuminance_lx"], row["net_lx"]
    factor = decimal(math.exp(row["ln_correction"]), places)
    lx = decimal(net * float(factor), places - 1 - math.floor(math.log10(net)))
    ln = decimal(math.log(float(lx)), places)
    less = f"({display:g} - {display - net:.6g})" if display != net else f"{display:g}"
    return f"{less} × {factor} = {lx} lx, ln {ln}", float(ln)

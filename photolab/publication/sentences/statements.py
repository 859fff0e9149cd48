"""Verdict and scope in words: plain functions of results.

Words carry the verdict. Numbers pass through the decimal formatter; a percentage is written to the tenth where the
interval is narrower than ±5 %, else its limits are whole.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from typing import TYPE_CHECKING, NamedTuple

from photolab.bench.results.pairs import JudgedRatio, ReadingComparison
from photolab.bench.terms.assumptions import Assumption
from photolab.bench.terms.model import Bench
from photolab.metrology.reporting import decimal, published_ends

if TYPE_CHECKING:
    from photolab.bench.results.campaign import Finding

SCOPE_WORDS = {
    "readings": "for these readings alone",
    "specimens": "for the specimens on the bench",
    "models": "for the model as sold",
}
VERDICTS = {
    "clear": "clear of the bench uncertainty",
    "alike": "alike within the declared margin",
    "inside": "inside the bench uncertainty",
    "no_answer": "no answer yet",
}
"""Verdicts in few words."""


class Term(NamedTuple):
    """A sort of input, as a budget tells it.

    Attributes
    ----------
    words : str
        What it is.
    shared_by : str
        What shares one, in a word.
    unit : str
        Its unit; 1 where it is relative.
    known_from : str
        Where its size is known from; or the key of bench.toml that states it, without which it is assumed.
    advice : str
        What to do about one that is the largest part of an uncertainty.
    """

    words: str
    shared_by: str = "reading"
    unit: str = "1"
    known_from: str = "assumed"
    advice: str = ""


_TERMS = """
scale             | meter scale | meter | 1 | manual |
scale drift       | drift since the certificate | meter | 1 | drift_percent_per_year |
link              | link of two meters | meter and technology | 1 | own readings
                  | read more lamps of each technology with both meters (links.csv)
range gain        | step between two ranges | meter and range | 1 | assumed | lock {meter} to one range for all lamps
range term        | range term of the meter | meter and range | lx | manual
                  | read on the lowest range of {meter} that holds all lamps
linearity         | linearity of the meter | lamp and housing | 1 | linearity_percent
                  | state the linearity_percent of {meter} from its certificate
resolution        | last figure of the display | reading | lx | display |
noise             | scatter of readings | reading | 1 | reading_sd_percent | take each reading three times
heating           | what is left from one heating to the next | seating | 1 | own readings
                  | hold each lamp in more seatings
colour            | colour of the light | meter and technology | 1 | mismatch_index_percent
                  | get spectra or a spectral factor for {meter} (spectra.csv)
own colour        | colour of each lamp | meter and lamp | 1 | mismatch_index_percent
                  | get a spectrum of each lamp (spectra.csv), or a meter with a smaller f1'
meter temperature | temperature of the meter | meter and day | 1/K | temperature_percent_per_K |
mounting          | seating | seating | 1 | mounting_sd_percent | seat every lamp three or more times
day               | day | day and housing | 1 | day_sd_percent | read {baseline} on every day, at its start and end
drift             | drift within a day | day and housing | 1/h | assumed |
specimen          | specimen | specimen | 1 | specimen_sd_percent | test more specimens of each lamp
remaining         | light left from piece to piece | reading | 1 | remaining_sd_percent |
specimen not held | specimens that were not held | reading | 1 | remaining_sd_percent |
remaining light   | remaining light | reading | 1 | own readings |
supply voltage    | voltage reading | seating | V | assumed |
voltmeter         | voltmeter scale | bench | 1 | assumed | use a voltmeter with a certificate
supply assumed    | unknown supply voltage | bench | 1 | assumed | read the volts at the socket of {filament} (socket_V)
voltage exponent  | law of light against voltage | bench | 1 | literature | hold the supply at the protocol's voltage
ambient           | ambient temperature | lamp | 1/K | assumed | test at the protocol's ambient temperature
elapsed time      | time since switch-on | reading | s | assumed |
"""
_ROWS = re.sub(r"\n +\|", " |", _TERMS).strip().splitlines()
TERMS = {kind: Term(*told) for kind, *told in ([part.strip() for part in row.split("|")] for row in _ROWS)}
"""Sorts of inputs by the first word of their names, as `bench.shared_inputs` lists them."""
KIND_WORDS = {kind: term.words for kind, term in TERMS.items()}
RANGE_WORDS = {
    0: "the range not stated, so nothing of it is shared",
    1: "both lamps on one range",
    2: "the lamps on two ranges",
}


def count(n: int, noun: str) -> str:
    """Return a number with its noun.

    Parameters
    ----------
    n : int
        How many.
    noun : str
        In the singular.

    Returns
    -------
    str
        "1 fault", "2 faults".
    """
    return f"{n} {noun}{'s' * (n != 1)}"


def in_housing(housing: str) -> str:
    """Return in which housing.

    Parameters
    ----------
    housing : str
        Its name; blank where a bench has one without a name.

    Returns
    -------
    str
        " in HP"; blank where it has no name.
    """
    return f" in {housing}" if housing else ""


def time_of(bench: Bench, instant: str) -> str:
    """Return the time since switch-on of an instant.

    Parameters
    ----------
    bench : Bench
        The bench.
    instant : {"initial", "hold"}
        Which.

    Returns
    -------
    str
        "30 s", "20 min".
    """
    settings = bench.settings
    return f"{settings.hold_minutes:g} min" if instant == "hold" else f"{settings.initial_s:g} s"


def percent_of(ratio: float, places: int) -> str:
    """Return a ratio as "5.0 % more" or "5.0 % less".

    Parameters
    ----------
    ratio : float
        The ratio. [1]
    places : int
        Decimal places. [1]

    Returns
    -------
    str
        The words; "no difference" where the figure is zero.
    """
    figure = decimal(abs(100.0 * (ratio - 1.0)), places)
    if float(figure) == 0.0:
        return "no difference"
    return f"{figure} % {'more' if ratio > 1 else 'less'}"


def limit_places(ln_half_width: float) -> int:
    """Return the decimal places of interval limits in percent.

    Parameters
    ----------
    ln_half_width : float
        Half-width in ln. [1]

    Returns
    -------
    int
        0 from ±5 % up, 1 below, 2 below ±0.5 %. [1]
    """
    if 100.0 * ln_half_width >= 5.0:
        return 0
    return 1 if 100.0 * ln_half_width >= 0.5 else 2


def interval_words(pair: ReadingComparison | JudgedRatio) -> str:
    """Return the interval of a ratio as "4 % less to 15 % more".

    Parameters
    ----------
    pair : ReadingComparison or JudgedRatio
        The comparison.

    Returns
    -------
    str
        Low end to high end.
    """
    return ends_words(pair.low, pair.high, pair.ln_expanded_uncertainty)


def ends_words(low: float, high: float, ln_half_width: float) -> str:
    """Return two ends of a ratio as "4 % less to 15 % more".

    Parameters
    ----------
    low, high : float
        The ends. [1]
    ln_half_width : float
        Half-width in ln, which decides on the places. [1]

    Returns
    -------
    str
        Low end to high end.
    """
    ends, places = published_ends(low, high), limit_places(ln_half_width)
    apart = 1.0 not in ends and (low > 1.0 or high < 1.0)
    while apart and "no difference" in (percent_of(end, places) for end in ends):
        places += 1  # an interval without 1 shows that it has none
    less, more = (percent_of(end, places) for end in ends)
    if less.split()[-1] == more.split()[-1] and less != "no difference":
        return f"{less.split()[0]} to {more}" if low > 1 else f"{more.split()[0]} to {less}"
    return f"{less} to {more}"


def verdict_words(pair: ReadingComparison | JudgedRatio) -> str:
    """Return the verdict in words.

    Parameters
    ----------
    pair : ReadingComparison or JudgedRatio
        The comparison.

    Returns
    -------
    str
        One sentence without its full stop.
    """
    if pair.verdict == "no_answer":
        return f"no answer yet: {pair.missing[0]} missing; say whether each lamp is filament, led, discharge or other"
    if pair.verdict == "clear":
        small = f"; but small: within {pair.alike_percent:g} %" if pair.small else ""
        return f"clear of the bench uncertainty: {interval_words(pair)}{small}"
    if pair.verdict == "alike":
        return f"alike within {pair.alike_percent:g} %"
    return "inside the bench uncertainty: these readings do not show which lamp gives more"


def advice(
    term: str,
    otherwise: str,
    *,
    baseline: str = "the baseline",
    meter: str = "the meter",
    filament: str = "filament lamps",
) -> str:
    """Return what to do about the largest part of an uncertainty.

    Parameters
    ----------
    term : str
        Key of `KIND_WORDS`.
    otherwise : str
        What to say where nothing is known to help.
    baseline, meter, filament : str
        How the baseline, the meter and filament lamps are called.

    Returns
    -------
    str
        A clause without its full stop.
    """
    do = TERMS.get(term, Term(term)).advice or otherwise
    return do.format(baseline=baseline, meter=meter, filament=filament)


def separate_words(pair: ReadingComparison) -> str:
    """Return what more seatings would do.

    Parameters
    ----------
    pair : ReadingComparison
        The comparison.

    Returns
    -------
    str
        One sentence; empty unless the verdict is `inside`.
    """
    if pair.verdict != "inside" or pair.mountings_to_separate is None:
        return ""
    share = decimal(abs(100.0 * (pair.ratio - 1.0)), 1).removesuffix(".0")
    need = pair.mountings_to_separate
    if need.even_chance is None:
        term = KIND_WORDS.get(pair.largest_term, pair.largest_term)
        do = advice(pair.largest_term, f"the {term} must shrink")
        return f"More seatings will not show {share} %, because of the {term}: {do}."
    known = need.four_in_five
    four = f" or {known} times (4 in 5)" if known else "; no number gives 4 chances in 5"
    return f"To show {share} %, seat each lamp {_times(need.even_chance)} (even chance){four}."


def _times(n: int) -> str:
    return "once" if n == 1 else "twice" if n == 2 else f"{n} times"


def assumed_words(assumed: Iterable[Assumption]) -> str:
    """Return the assumptions as one line.

    Parameters
    ----------
    assumed : iterable of Assumption
        The defaults that entered.

    Returns
    -------
    str
        "Assumed: seating 3 % (measure this first), …"; "Nothing was assumed." where there are none.
    """
    said = [f"{one.about} {one.figure}{f' ({one.words})' if one.words else ''}" for one in assumed]
    return f"Assumed: {', '.join(said)}." if said else "Nothing was assumed."


def sentence(pair: ReadingComparison) -> str:
    """Return the whole statement on two readings, ready to be read aloud.

    Parameters
    ----------
    pair : ReadingComparison
        The comparison.

    Returns
    -------
    str
        Verdict, scope, and what was assumed.
    """
    head = capital(verdict_words(pair))
    if pair.verdict == "no_answer":
        return f"{head}."
    return f"{head}, {SCOPE_WORDS[pair.scope]}. {assumed_words(pair.assumed)}"


def capital(text: str) -> str:
    """Return text with its first letter as a capital.

    Parameters
    ----------
    text : str
        The text.

    Returns
    -------
    str
        The same with a capital.
    """
    return text[:1].upper() + text[1:]


def against_words(a: float, b: float, unit: str = "lx") -> str:
    """Return which two readings are compared.

    Parameters
    ----------
    a, b : float
        The readings as typed. [unit]
    unit : {"lx", "fc"}
        Their unit.

    Returns
    -------
    str
        "334 lx against 318 lx".
    """
    return f"{b:g} {unit} against {a:g} {unit}"


def compare_report(head: str, pair: ReadingComparison, *, ranges: int = 1, seatings: int = 1) -> list[str]:
    """Return the lines that `photolab compare` prints.

    Parameters
    ----------
    head : str
        What is compared, as "334 lx against 318 lx".
    pair : ReadingComparison
        The comparison.
    ranges : {1, 2, 0}
        On how many ranges both readings were taken; 0 where that is unknown. [1]
    seatings : int
        How often each lamp was seated. [1]

    Returns
    -------
    list of str
        Lines without line ends.
    """
    lines = answer_lines(head, pair)
    if pair.verdict == "no_answer":
        return lines  # nothing was assumed for a ratio alone
    seated = f"the meter and seating each lamp {_times(seatings)}"
    lines += ["", *blurs(pair, f"the meter, {RANGE_WORDS[ranges]}", seated)]
    applies = "these two lamps, seated again on this bench; not to other specimens or housings"
    if pair.scope == "models":
        models = decimal(100.0 * pair.ln_expanded_uncertainty, 1)
        decides = "meter, seating, and one specimen of each model        <- this one decides"
        lines.append(f"  {models:>4} %   {decides}")
        applies = "the two models, judged by one specimen of each; not to other housings"
    more = filter(None, (_meter_or_seating(pair, seatings), separate_words(pair)))
    return [*lines, *more, assumed_words(pair.assumed), f"Applies to {applies}."]


def answer_lines(head: str, pair: ReadingComparison) -> list[str]:
    """Return the answer on two readings or two lamps: the difference with its interval, and the verdict.

    Parameters
    ----------
    head : str
        What is compared, as "334 lx against 318 lx".
    pair : ReadingComparison
        The comparison.

    Returns
    -------
    list of str
        Two sentences.
    """
    known = "no interval yet"
    if pair.verdict != "no_answer":
        known = f"between {interval_words(pair).replace(' to ', ' and ')} ({100.0 * pair.coverage:g} %)"
    return [f"{head}: {percent_of(pair.ratio, 1)}; {known}.", f"{capital(verdict_words(pair))}."]


def blurs(pair: ReadingComparison, meter: str, bench: str) -> list[str]:
    """Return what blurs a difference, a line each.

    Parameters
    ----------
    pair : ReadingComparison
        The comparison.
    meter, bench : str
        What the first and the second line stand for.

    Returns
    -------
    list of str
        A head and three lines; the one that decides is marked, unless the models are meant.
    """
    mark = "        <- this one decides" if pair.scope == "specimens" else ""
    rows = {
        meter: pair.lines.meter_only,
        f"{bench}{mark}": pair.lines.this_bench,
        "if the two readings had no meter fault in common (a what-if)": pair.lines.nothing_in_common,
    }
    head = f"What blurs the difference (±, {100 * pair.coverage:g} %)"
    return [head, *(f"  {decimal(half, 1):>4} %   {text}" for text, half in rows.items())]


def _meter_or_seating(pair: ReadingComparison, seatings: int) -> str:
    """Return the line that says which of meter and seating stands in the way."""
    if pair.verdict != "inside":
        return ""
    if 100.0 * abs(math.log(pair.ratio)) <= pair.lines.meter_only:
        return "The meter alone could not tell them apart."
    each = "one seating" if seatings == 1 else f"{seatings} seatings"
    hidden = "seating" if pair.scope == "specimens" else "what differs from specimen to specimen"
    return f"The meter alone would show this difference; with {each} each, {hidden} hides it."


FINDING_WORDS = {
    "baseline_by_row_order": "No lamp has the role baseline; ratios are against {0}, the first in row order.",
    "mounting_flagged": (
        "{0} specimen {1} in {2}, {3} seating {4}, reads {percent} than the lamp's other seatings: look whether it "
        "was seated or aimed wrongly; until you exclude it, it counts in the value and in the seating SD alike."
    ),
    "readings_linked": (
        "Readings of {2} lamps with {0}, {3} of them, enter on the scale of {1}: a link, {4} read with both "
        "(standard uncertainty {sd} %)."
    ),
    "lamp_scatters": "{0} scatters by {sd} % from reading to reading, far more than the others: modulated light?",
    "ranges_differ": (
        "{where}he meter's ranges differ ({ranges} lx): range terms are not shared between them, so ratios "
        "across ranges are wider."
    ),
    "baseline_absent": (
        "No reading of {0} enters on: {days}. Lamps of those days are compared with it across days, so the day's own "
        "scatter counts."
    ),
    "baseline_one_end": (
        "{0} was read at one end only on: {days}. A drift of supply or meter within the day is not bracketed; read it "
        "first and last."
    ),
    "record_apart": (
        "{0}{piece}{place}: by its record {percent} light is left at the hold time than by its readings at both "
        "instants, which is more than the two allow. The record counts; find out which of them is wrong."
    ),
    "range_unknown": "The range is unknown for {all}: its terms are not shared.",
    "technology_missing": "{0} has no technology: no answer on its light yet.",
}


def _where(housing: str, day: str) -> str:
    """Return how a sentence begins that is about a housing and a day, as far as they are named."""
    named = [f"in {housing}"] * bool(housing) + [f"on {day}"] * bool(day)
    return capital(f"{' '.join(named)} t") if named else "T"


def finding_words(finding: Finding) -> str:
    """Return a finding as a sentence.

    Parameters
    ----------
    finding : Finding
        What the evaluation noticed.

    Returns
    -------
    str
        One sentence.
    """
    value, apart = finding.value, finding.code == "record_apart"
    return FINDING_WORDS[finding.code].format(
        *(part or "(blank)" for part in finding.subject),
        percent="" if math.isnan(value) else percent_of(1.0 + value, 0),
        sd="" if math.isnan(value) else decimal(100.0 * value, 1),
        ranges=" and ".join(finding.subject[2:]),
        where=_where(*finding.subject[:2]) if finding.code == "ranges_differ" else "",
        all=", ".join(finding.subject),
        place=in_housing(finding.subject[1]) if apart else "",
        piece=f", specimen {finding.subject[2]}" if apart and finding.subject[2] else "",
        days=", ".join(finding.subject[1:]),
    )

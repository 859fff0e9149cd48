"""What a reader must know beside the figures: cautions, what is not claimed, what an assumption touches."""

from collections.abc import Iterable, Mapping

import pandas as pd

from photolab.bench.results.pairs import ReadingComparison, variance_by_term
from photolab.bench.terms.assumptions import Assumption
from photolab.metrology.reporting import shortened
from photolab.publication.sentences.figure_tables import CANCELS
from photolab.publication.sentences.statements import KIND_WORDS, in_housing

#: What a reader must know before acting on a figure; shown in the first notebook and in the appendix.
CAUTIONS = (
    "This is a bench test, not a type-approval test. It says nothing about compliance, legality or safety "
    "in road use.",
    "Many places do not allow LED replacements in housings approved for filament lamps; rules differ and "
    "change: ask your local authority or a licensed workshop.",
    "A brighter hot spot can come with more light above the cut-off: aim before any road use.",
    "Do not look into lit lamps at close range (IEC 62471).",
    "Lamps and heat sinks get hot enough to burn you, bulbs are hotter; do not touch the glass, and never leave a "
    "closed powered housing alone.",
    "A short circuit at 12 V can start a fire: fuse at the source, leads rated for the current, tape rated for the "
    "heat.",
    "Modulated light may trouble sensitive people.",
)

#: Those of them that somebody needs who reads a report and runs no bench.
READERS = CAUTIONS[:4]

#: What belongs beside a powered bench, on the page of an evening.
AT_THE_BENCH = (
    "Keep hot lamps from cloth, cardboard and tape; let a lamp cool before seating it again, longer than planned where "
    "it is still hot; stay with a powered housing, an extinguisher at hand.",
    "Stand beside the beam, never in it.",
    "Discharge lamps: the ballast strikes with thousands of volts; do not open, touch or re-plug it while powered.",
    "Mains supplies and battery chargers: as their makers say.",
)

#: What no figure of a report says.
NOT_CLAIMED = (
    "Nothing here is a statement on a regulation or a test point, on glare, or on lumens: one place of the "
    "beam was read.",
    "Nothing here is a statement on life in hours or on temperatures inside a lamp.",
    "A result for these specimens is not a result for the model as sold. Figures for a model say so.",
    "Lamps that these readings cannot tell apart may still differ.",
)

_TECHNOLOGIES = "every ratio between technologies"
#: Of what no ratio of two lamps at one place and instant rests on, likewise.
_BESIDE_RATIOS = (
    ("power reading", (), "watts, light per watt"),
    ("hold", (), "figures after the hold time"),
    ("traffic", (), "figures above the cut-off"),
    ("offset", (), "candela, not ratios"),
    ("tilt", (), "candela, not ratios"),
    ("sensor", (), "intensities of a beam; not ratios at one place"),
    ("drift", (), "the meter's scale: light levels, not ratios on one meter"),
)
#: A word in the key of an assumption, what of a budget it sizes, and which results would change with it; the first
#: row that says so counts.
_ASSUMED = (
    ("mismatch", ("colour", "own colour"), f"{_TECHNOLOGIES}, and a little between LED lamps"),
    ("spectral", ("colour",), _TECHNOLOGIES),
    ("calibration_source", (), _TECHNOLOGIES),
    ("mounting_sd", ("mounting",), "every ratio, most where a lamp was seated once"),
    ("day_sd", ("day",), "ratios of lamps read on different days"),
    (
        "remaining_sd",
        ("specimen not held", "remaining"),
        "figures after the hold time, for the models and where a piece was not held",
    ),
    ("specimen_sd", ("specimen",), "statements for the models"),
    ("limit_kind", ("range term",), "every ratio: how wide the meter's part is"),
    ("linearity", ("linearity",), "every ratio, most where the readings lie far apart"),
    ("temperature_percent", ("meter temperature",), "ratios of lamps read on different days"),
    ("voltmeter", ("voltmeter",), "ratios between filament and other lamps"),
    ("supply voltage", ("supply assumed",), ""),
    ("voltage reading", ("supply voltage",), ""),
    ("supply", (), "ratios between filament and other lamps"),
    ("voltage", (), "ratios between filament and other lamps"),
    ("ambient", ("ambient",), "ratios of lamps read at different room temperatures"),
    ("step between", ("range gain",), ""),
    ("time since", ("elapsed time",), ""),
    ("over the record", ("remaining light",), ""),
    ("provisional link", ("link",), ""),
    ("range_percent", ("range term",), ""),
    ("initial", (), "every figure: another instant is another figure"),
    ("range", (), "every ratio: range terms are not shared"),
    ("within a day", ("drift",), "ratios of lamps read at different hours of a day"),
    *_BESIDE_RATIOS,
)


def sized(key: str) -> tuple[str, ...]:
    """Return the terms of a budget that an assumption sizes.

    Parameters
    ----------
    key : str
        Its key.

    Returns
    -------
    tuple of str
        Keys of `statements.KIND_WORDS` and others; none where no budget holds it.
    """
    return next((terms for word, terms, _ in _ASSUMED if terms and word in key), ())


def entering(pair: ReadingComparison) -> tuple[Assumption, ...]:
    """Return what was assumed of a ratio at the initial time, without what cancels and what only other results rest on.

    Parameters
    ----------
    pair : ReadingComparison
        Two lamps compared; without an answer everything is kept.

    Returns
    -------
    tuple of Assumption
        Those that size a term of its budget, or that every ratio rests on.
    """
    if pair.result is None:
        return pair.assumed
    least = CANCELS**2 * pair.result.u**2
    moving = {term for term, variance in variance_by_term(pair.result).items() if variance > least}
    kept = []
    for one in pair.assumed:
        row = next((row for row in _ASSUMED if row[0] in one.key), None)
        terms = sized(one.key) or (("colour",) if row and row[2] == _TECHNOLOGIES else ())
        if moving.intersection(terms) or not (terms or row in _BESIDE_RATIOS):
            kept.append(one)
    return tuple(kept)


def assumed_words(
    assumed: Iterable[Assumption], budgets: Mapping[tuple[str, str], pd.DataFrame]
) -> pd.DataFrame:
    """Return what was assumed in words, the input that moves a ratio most first.

    Parameters
    ----------
    assumed : iterable of Assumption
        The declared defaults that entered.
    budgets : mapping
        Lamp and housing to the rows of `figure_tables.budget`.

    Returns
    -------
    DataFrame
        input, value, change (text), moves (the most that it moves a ratio [± %]; 0 where no budget holds it) and where.
    """
    rows = []
    for item in assumed:
        kinds = {KIND_WORDS.get(term, term) for term in sized(item.key)}
        found = [
            (shortened(line["moves"]), f"{lamp}{in_housing(housing)}")
            for (lamp, housing), lines in budgets.items()
            for line in lines[lines["assumed"]].to_dict("records")
            if line["what"] in kinds
        ]
        change = next((words for word, _, words in _ASSUMED if words and word in item.key), "every ratio")
        most = max(found, key=lambda one: one[0], default=(0.0, ""))
        rows.append((item.about, item.figure, change, *most))
    table = pd.DataFrame(rows, columns=["input", "value", "change", "moves", "where"])
    return table.sort_values("moves", ascending=False, kind="stable", ignore_index=True)

"""What a reader must know beside the figures: cautions, what is not claimed, what an assumption touches."""

import math
from collections.abc import Iterable, Mapping

import pandas as pd

from photolab.bench.terms.assumptions import Assumption
from photolab.metrology.reporting import shortened
from photolab.publication.sentences.statements import in_housing

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

#: Where a discharge lamp is seated.
DISCHARGE = (
    "Discharge lamps: the ballast strikes with thousands of volts; do not open, touch or re-plug it while "
    "powered."
)

#: What belongs beside a powered bench, on the page of an evening.
AT_THE_BENCH = (
    "Keep hot lamps from cloth, cardboard and tape; let a lamp cool before seating it again, longer than planned where "
    "it is still hot; stay with a powered housing, an extinguisher at hand.",
    "Stand beside the beam, never in it.",
    DISCHARGE,
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
#: How the key of an assumption begins, and which results would change with it; the first row that says so counts.
_CHANGED = (
    ("mismatch", f"{_TECHNOLOGIES}, and a little between LED lamps"),
    ("spectral", _TECHNOLOGIES),
    ("calibration_source", _TECHNOLOGIES),
    ("mounting_sd", "every ratio, most where a lamp was seated once"),
    ("day_sd", "ratios of lamps read on different days"),
    ("reading_sd", "what is left of each lamp's light, and with it ratios after the hold time"),
    ("remaining_sd", "figures after the hold time, for the models and where a piece was not held"),
    ("specimen_sd", "statements for the models"),
    ("limit_kind", "every ratio: how wide the meter's part is"),
    ("linearity", "every ratio, most where the readings lie far apart"),
    ("temperature_percent", "ratios of lamps read on different days"),
    ("voltmeter", "ratios between filament and other lamps"),
    ("supply", "ratios between filament and other lamps"),
    ("voltage", "ratios between filament and other lamps"),
    ("ambient", "ratios of lamps read at different room temperatures"),
    ("initial", "every figure: another instant is another figure"),
    ("step between", "ratios of lamps read on different ranges"),
    ("range", "every ratio: range terms are not shared"),
    ("power reading", "watts, light per watt"),
    ("hold", "figures after the hold time"),
    ("traffic", "figures above the cut-off"),
    ("offset", "candela, not ratios"),
    ("tilt", "candela, not ratios"),
    ("sensor", "intensities of a beam; not ratios at one place"),
    ("drift within", "ratios of lamps read at different hours of a day"),
    ("drift", "the meter's scale: light levels, not ratios on one meter"),
)


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
        found = [
            (shortened(math.hypot(*moved)), f"{lamp}{in_housing(housing)}")
            for (lamp, housing), lines in budgets.items()
            for inputs in lines.loc[lines["assumed"], "inputs"]
            if (moved := [size for name, size in inputs.items() if item.sizes(name)])
        ]
        change = next((words for word, words in _CHANGED if item.key.startswith(word)), "every ratio")
        most = max(found, key=lambda one: one[0], default=(0.0, ""))
        rows.append((item.about, item.figure, change, *most))
    table = pd.DataFrame(rows, columns=["input", "value", "change", "moves", "where"])
    return table.sort_values("moves", ascending=False, kind="stable", ignore_index=True)

"""What a page says comes from the object that was just computed: `say`, and `agree` beside the report."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from photolab.bench.baseline_days import BaselineChart
from photolab.bench.beams import BeamResult
from photolab.bench.candela import BenchCandela
from photolab.bench.colours import ColourRatio
from photolab.bench.derived import Gain, HousingDifference
from photolab.bench.distances import DistanceResult
from photolab.bench.overturning import LeftOut
from photolab.bench.pairs import ReadingComparison
from photolab.bench.protocols import ProtocolComparison
from photolab.bench.repeatability import Levels
from photolab.bench.review import Forecast
from photolab.bench.surface import Surface
from photolab.errors import MethodError
from photolab.metrology.comparison import Equivalence
from photolab.metrology.monte_carlo import Validation
from photolab.metrology.precision import Homogeneity
from photolab.metrology.quantity import Measured
from photolab.metrology.reporting import VALUE_DIGITS, decimal, significant
from photolab.publication import words_bench, words_heat, words_lamp, words_surface
from photolab.publication.display import Words
from photolab.publication.findings import NotToldApart, apart_sentence
from photolab.publication.held_back import HeldBack
from photolab.publication.statements import capital, sentence
from photolab.publication.words_light import candela_words, colour_words, law_words
from photolab.publication.words_light_beam import result_words
from photolab.publication.words_protocol import change_log, forecast_sentence
from photolab.thermal.coupling import ExpectedLight, Slope, TimeConstants
from photolab.thermal.thermography import SurfaceReading
from photolab.thermal.warm_up_result import Remaining, Settled, WarmUp

SENTENCES: dict[type, Callable[[Any], str | tuple[str, ...]]] = {
    Words: lambda words: words.paragraphs,
    Measured: lambda quantity: f"{quantity}.",
    ReadingComparison: sentence,
    DistanceResult: law_words,
    BenchCandela: candela_words,
    ColourRatio: colour_words,
    BeamResult: result_words,
    MethodError: words_heat.refusal_sentences,
    Remaining: words_heat.remaining_sentence,
    WarmUp: words_heat.warm_up_sentences,
    Settled: words_heat.settled_sentence,
    Slope: words_heat.slope_sentences,
    TimeConstants: words_heat.constants_sentences,
    ExpectedLight: words_heat.expected_sentences,
    Surface: words_surface.surface_sentence,
    SurfaceReading: words_surface.reading_sentence,
    Gain: words_lamp.gain_sentence,
    HousingDifference: words_lamp.housings_sentence,
    NotToldApart: apart_sentence,
    Equivalence: words_lamp.equivalence_sentence,
    LeftOut: words_lamp.left_out_sentence,
    Forecast: forecast_sentence,
    ProtocolComparison: change_log,
    HeldBack: lambda held: str(held.words),
    BaselineChart: words_bench.chart_words,
    Levels: words_bench.levels_words,
    Homogeneity: words_bench.homogeneity_words,
    Validation: words_bench.validation_words,
}
"""The closed table: what is said of a result of each type."""


def say(*things: object, bullets: bool = False) -> Words | None:
    """Return what is to be said of results, as sentences to be shown.

    Parameters
    ----------
    *things : str or result
        A text is a paragraph as it stands; a result goes to its sentences by its type, see `SENTENCES`.
    bullets : bool, default False
        Show each sentence as one item of a list.

    Returns
    -------
    Words or None
        Put it on the last line of a cell; None where there is nothing to be said.

    Raises
    ------
    ValueError
        If nothing is said of such an object.
    """
    paragraphs: list[str] = []
    for thing in things:
        if isinstance(thing, str):
            paragraphs.append(thing)
            continue
        kind = next((kind for kind in SENTENCES if isinstance(thing, kind)), None)
        if kind is None:
            message = f"nothing is said of a {type(thing).__name__}; say takes text and results"
            raise ValueError(message)
        said = SENTENCES[kind](thing)
        lines = [said] if isinstance(said, str) else said
        if kind is MethodError:  # one refusal answers several questions
            lines = [line for line in lines if line not in paragraphs]
        paragraphs += lines
    shown = tuple(text for text in paragraphs if text.strip())
    return Words(shown, bullets=bullets) if shown else None


def agree(mine: float | Measured, reports: float | Measured, what: str) -> Words:
    """Return whether the number of a cell is the one that the report prints.

    Parameters
    ----------
    mine, reports : float or Measured
        The number made in the notebook and that of the report; of two `Measured`, the half-widths are held
        against each other too. [any]
    what : str
        What the number is.

    Returns
    -------
    Words
        One sentence.
    """
    differences = []
    if isinstance(mine, Measured) and isinstance(reports, Measured):
        pairs = [("", mine.value, reports.value), (" in its uncertainty", mine.u, reports.u)]
    else:
        ends = [x.value if isinstance(x, Measured) else float(x) for x in (mine, reports)]
        pairs = [("", ends[0], ends[1])]
    for where, ours, theirs in pairs:
        if significant(ours, VALUE_DIGITS) != significant(theirs, VALUE_DIGITS):
            share = 100.0 * (ours / theirs - 1.0) if theirs else 100.0
            differences.append(f"by {decimal(share, 2 if abs(share) >= 0.01 else 4)} %{where}")
    if not differences:
        return Words((f"The cell and the report give the same figure: {what}.",))
    return Words((f"{capital(what)}: the cell differs from the report {' and '.join(differences)}.",))

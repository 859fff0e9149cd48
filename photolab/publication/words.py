"""What a page says comes from the object that was just computed: `say`, and `agree` beside the report."""

from collections.abc import Callable
from typing import Any, get_type_hints

from photolab.errors import MethodError
from photolab.metrology.quantity import Measured
from photolab.metrology.reporting import VALUE_DIGITS, decimal, significant
from photolab.publication.report.held_back import HeldBack
from photolab.publication.sentences import (  # fmt: skip
    findings,
    statements,
    words_bench,
    words_heat,
    words_lamp,
    words_light,
    words_protocol,
    words_surface,
)
from photolab.publication.sentences.display import Words
from photolab.publication.sentences.statements import capital

_SAYING: tuple[Callable[[Any], str | tuple[str, ...]], ...] = (
    statements.sentence, findings.apart_sentence, words_light.result_words,
    words_light.law_words, words_light.candela_words, words_light.colour_words,
    words_heat.refusal_sentences, words_heat.remaining_sentence, words_heat.warm_up_sentences,
    words_heat.settled_sentence, words_heat.slope_sentences, words_heat.constants_sentences,
    words_heat.expected_sentences, words_surface.surface_sentence, words_surface.reading_sentence,
    words_lamp.gain_sentence, words_lamp.housings_sentence, words_lamp.equivalence_sentence,
    words_lamp.left_out_sentence, words_protocol.forecast_sentence, words_protocol.change_log,
    words_bench.chart_words, words_bench.levels_words, words_bench.homogeneity_words, words_bench.validation_words,
)  # fmt: skip
SENTENCES = {next(iter(get_type_hints(say_of).values())): say_of for say_of in _SAYING} | {
    str: str,
    Words: lambda words: words.paragraphs,
    Measured: lambda quantity: f"{quantity}.",
    HeldBack: lambda held: str(held.words),
}
"""The closed table: what is said of a result of each type, which is the first argument of what says it."""


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
        kind = next((kind for kind in SENTENCES if isinstance(thing, kind)), None)
        if kind is None:
            message = f"nothing is said of a {type(thing).__name__}; say takes text and results"
            raise ValueError(message)
        said = SENTENCES[kind](thing)
        lines = [said] if isinstance(said, str) else said
        # one refusal answers several questions
        paragraphs += [line for line in lines if kind is not MethodError or line not in paragraphs]
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
    differences, figures = [], ("", " in its uncertainty")
    # a plain number has no uncertainty to hold against that of the other
    for where, ours, theirs in zip(figures, _figures(mine), _figures(reports), strict=False):
        if significant(ours, VALUE_DIGITS) != significant(theirs, VALUE_DIGITS):
            share = 100.0 * (ours / theirs - 1.0) if theirs else 100.0
            differences.append(f"by {decimal(share, 2 if abs(share) >= 0.01 else 4)} %{where}")
    if not differences:
        return Words((f"The cell and the report give the same figure: {what}.",))
    return Words((f"{capital(what)}: the cell differs from the report {' and '.join(differences)}.",))


def _figures(x: float | Measured) -> tuple[float, ...]:
    """Return a number, and the uncertainty of a measured one."""
    return (x.value, x.u) if isinstance(x, Measured) else (float(x),)

"""What is said of results, and the cell beside the report. Oracle: the results' own figures."""

import pytest

import photolab as pl
from photolab.metrology.monte_carlo import Validation
from photolab.metrology.quantity import Input, measured
from photolab.publication.sentences.words_bench import validation_words
from photolab.publication.words import agree, say

METER = pl.Meter("M", reading_percent=(4.0,), range_percent=(0.5,), ranges_lx=(4000.0,), resolution_lx=(1.0,))


def test_text_stays_and_a_result_goes_to_its_sentence():
    """Oracle: the text typed, and the ratio's own interval."""
    pair = pl.compare(318, 436, METER, technology="led")
    text, sentence = say("As it stands.", pair).paragraphs
    assert text == "As it stands."
    assert sentence.startswith(f"Clear of the bench uncertainty: {100 * (pair.low - 1):.0f} to ")


def test_what_was_said_before_is_said_again():
    """Oracle: the sentences of each by itself."""
    checks = [agree(1.0, 1.0, "the ratio"), agree(1.02, 1.0, "the light")]
    assert say(*checks).paragraphs == tuple(str(one) for one in checks)


def test_a_quantity_says_its_interval():
    """Oracle: k = 1.96 for a normal input."""
    quantity = measured(13480.0, Input("scale", 270.0), unit="cd")
    assert str(say(quantity)).startswith("13 480 ± 530 cd")


def test_nothing_is_said_of_anything_else():
    with pytest.raises(ValueError, match="nothing is said of a dict; say takes text and results"):
        say({})


def test_agreement_is_to_the_printed_digits():
    """Oracle: six significant digits of a value are published."""
    assert "give the same figure: the ratio." in str(agree(1.2345671, 1.2345669, "the ratio"))
    assert str(agree(1.02, 1.0, "the ratio")) == "The ratio: the cell differs from the report by 2.00 %."
    assert "differs from the report by 0.0010 %" in str(agree(1.00001, 1.0, "the ratio"))


def test_an_uncertainty_that_differs_is_seen():
    """Oracle: half of the standard uncertainty."""
    mine, theirs = (measured(1.0, Input(name, u)) for name, u in (("a", 0.1), ("b", 0.2)))
    assert "by -50.00 % in its uncertainty" in str(agree(mine, theirs, "it"))
    assert "same figure" in str(agree(mine, mine, "it"))


def test_names_at_the_top_are_loaded_when_used():
    """Oracle: the definitions themselves."""
    assert set(pl.__all__) <= set(dir(pl))
    for name in pl.__all__:
        assert getattr(pl, name).__name__ == name
    with pytest.raises(AttributeError, match="no attribute 'reading'"):
        pl.reading  # noqa: B018 - it is the look that fails


def test_draws_that_lie_apart_are_told_in_a_readable_multiple():
    """Oracle: by hand: 0.8 over 0.05 is 16 times; 0.02 over 0.05 is 40 %."""
    apart = validation_words(Validation(0.8, 0.3, 0.05, False, False))
    assert "by up to 16 times half the last digit given" in apart
    near = validation_words(Validation(0.02, 0.01, 0.05, True, True))
    assert "at most 40 % of half the last digit given: the law of propagation stands" in near

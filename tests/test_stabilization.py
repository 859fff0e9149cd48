"""Oracles: closed form on an exponential; the criterion's figures are from memory (IES LM-79, CIE S 025)."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from photolab.errors import MethodError
from photolab.thermal.stabilization import PRACTICE, Criterion, stabilized_at

TIME_S = np.arange(0.0, 7201.0, 60.0)


def test_exponential_meets_the_criterion_at_its_closed_form_instant():
    # Oracle: closed form; with E = 0.8 + 0.2 exp(-t/tau) the spread of three readings ending at t is
    # 0.2 exp(-t/tau) (exp(1800/tau) - 1) over their mean.
    tau = 900.0
    light = lambda t: 800.0 + 200.0 * np.exp(-t / tau)  # noqa: E731
    fine = np.arange(1800.0, 7200.0, 60.0)
    three = np.stack([light(fine - back) for back in (0.0, 900.0, 1800.0)])
    expected = fine[np.argmax(np.ptp(three, axis=0) / three.mean(axis=0) <= 0.005)]
    assert_allclose(stabilized_at(TIME_S, light(TIME_S)), expected, rtol=0)
    assert expected > 1800.0


def test_declared_criterion_replaces_the_practice():
    # Oracle: closed form; light that falls 1 % an hour is within 0.2 % over ten minutes at once, and never
    # within 0.1 %.
    light = 1000.0 * (1.0 - 0.01 * TIME_S / 3600.0)
    assert stabilized_at(TIME_S, light, criterion=Criterion(2, 600.0, 0.2, "own")) == 600.0
    with pytest.raises(
        MethodError, match=r"no 2 readings agree within 0.1 %; the smallest spread is 0.17 %"
    ) as refusal:
        stabilized_at(TIME_S, light, criterion=Criterion(2, 600.0, 0.1, "own"))
    assert refusal.value.code == "not_stabilized"


def test_short_record_is_refused():
    # Oracle: definition; three readings 900 s apart take 1800 s.
    with pytest.raises(MethodError, match="needs readings over 1800 s") as refusal:
        stabilized_at(TIME_S[:30], np.full(30, 900.0))
    assert refusal.value.known == {"needed_s": 1800.0}
    assert PRACTICE.source.endswith("from memory")


def test_disorder_is_refused():
    # Oracle: the contract of the function.
    with pytest.raises(ValueError, match="time_s must strictly increase"):
        stabilized_at([0.0, 60.0, 60.0], [1.0, 1.0, 1.0])

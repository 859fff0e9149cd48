"""Claimed flux against measured power: four boxes judged, limits, and refusals."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from photolab.photometry.lamp import (
    DEVICE_LIMIT,
    WHITE_LIGHT_LIMIT,
    claim_against_power,
)
from photolab.photometry.spectrum import led_illuminant, luminous_efficacy_of_radiation

NM = np.arange(380.0, 781.0)
REFERENCE = Path(__file__).parent / "reference" / "photometry"


@pytest.mark.parametrize(
    ("flux", "power", "efficacy", "code"),
    [
        (9000.0, 17.4, 517.0, "beyond_white_light"),
        (3000.0, 27.5, 109.0, "plausible"),
        (6500.0, 31.0, 210.0, "above_current_devices"),
        (12000.0, 23.6, 508.0, "beyond_white_light"),  # the demo's K7
    ],
)
def test_boxes(flux, power, efficacy, code):
    """Oracle: division by hand, and the published limits: 370 lm/W (Murphy 2012), 199 lm/W (US DOE 2012)."""
    claim = claim_against_power(flux, power)
    assert_allclose(claim.implied_efficacy, efficacy, rtol=0, atol=0.5)  # printed digit
    assert claim.code == code
    assert claim.implied_low == claim.implied_high == claim.implied_efficacy
    assert (claim.limit, claim.device_limit) == (370.0, 199.0)
    assert_allclose(claim.flux_at_limit, 370.0 * power, rtol=1e-14)  # float rounding


def test_pair_and_lamp():
    """Oracle: a pair is two lamps: 18 000 lm a pair on 17.4 W a lamp is 9000 lm a lamp."""
    lamp = claim_against_power(9000.0, 17.4)
    assert claim_against_power(18000.0, 17.4, claimed_per="pair").implied_efficacy == lamp.implied_efficacy
    assert claim_against_power(9000.0, 34.8, power_per="pair").implied_efficacy == lamp.implied_efficacy
    both = claim_against_power(18000.0, 34.8, claimed_per="pair", power_per="pair", power_uncertainty=1.0)
    assert both.implied_low == claim_against_power(9000.0, 17.4, power_uncertainty=0.5).implied_low


def test_a_doubtful_wattmeter_accuses_nobody():
    """Oracle: closed form: 380 lm/W with 2 W of doubt on 20 W is at least 316.7 lm/W, under the limit."""
    sure, doubtful = (claim_against_power(7600.0, 20.0, power_uncertainty=u) for u in (0.0, 2.0))
    assert sure.code == "beyond_white_light"
    assert doubtful.code == "above_current_devices"
    assert_allclose(doubtful.implied_low, 7600.0 / 24.0, rtol=1e-14)  # float rounding
    assert_allclose(doubtful.implied_high, 7600.0 / 16.0, rtol=1e-14)  # float rounding
    assert claim_against_power(7600.0, 20.0, power_uncertainty=10.0).implied_high == float("inf")


def test_limits_are_inclusive():
    """Oracle: the rule: a claim exactly at a limit is not beyond it."""
    assert claim_against_power(370.0, 1.0).code == "above_current_devices"
    assert claim_against_power(199.0, 1.0).code == "plausible"


def test_limits_are_the_published_ones():
    """Oracle: the rows of limits_of_efficacy.csv; the white LED illuminants of CIE 015:2018 lie below."""
    table = pd.read_csv(REFERENCE / "limits_of_efficacy.csv").set_index("limit")["value_lm_per_W"]
    assert table["white light of useful colour"] == WHITE_LIGHT_LIMIT
    assert table["phosphor-converted LED packages"] == DEVICE_LIMIT
    for name in ("LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5", "LED-BH1", "LED-RGB1", "LED-V1", "LED-V2"):
        assert luminous_efficacy_of_radiation(NM, led_illuminant(NM, name)) < WHITE_LIGHT_LIMIT


def test_refusals():
    """Oracle: the rule on messages."""
    with pytest.raises(
        ValueError, match="claimed_per must be lamp or pair, so that claim and power match; got ''"
    ):
        claim_against_power(9000.0, 17.4, claimed_per="")
    with pytest.raises(ValueError, match="power must be more than zero and finite; got 0 W"):
        claim_against_power(9000.0, 0.0)
    with pytest.raises(ValueError, match="claimed_flux must be more than zero and finite; got -1 lm"):
        claim_against_power(-1.0, 10.0)
    with pytest.raises(ValueError, match="power_uncertainty must be zero or more; got -1 W"):
        claim_against_power(1.0, 10.0, power_uncertainty=-1.0)

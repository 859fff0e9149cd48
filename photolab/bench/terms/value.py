"""What a box claims against the measured power, and what a gain costs: one rule for each.

The price rule: a price for each gained percent is given only where the gain is resolved. Where its interval
includes zero there is nothing to divide by, and a small gain by luck would look like a bargain. The price is that of
the lamp: what the baseline costs is not subtracted, and is said beside it.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from photolab.errors import demand
from photolab.metrology.arguments import not_negative
from photolab.photometry.lamp import Claim, claim_against_power

LAMPS = {"lamp": 1, "pair": 2}
OLD_PRICE_DAYS = 180


@dataclass(frozen=True)
class ClaimJudgement:
    """The claim on a box against the measured power.

    Attributes
    ----------
    claim : Claim or None
        Implied luminous efficacy and its code; None where there is nothing to compare. [lm/W]
    code : str
        Code of the claim (`beyond_white_light`, `above_current_devices`, `plausible`), or what is missing:
        `no_claim`, `claim_without_per`, `no_power`, `power_without_per`. [text]
    """

    claim: Claim | None
    code: str


@dataclass(frozen=True)
class PowerJudgement:
    """The watts on a box over the measured ones.

    Attributes
    ----------
    times, low, high : float
        Claimed over measured power, with the interval that the measured power gives; NaN where refused. [1]
    code : str
        `given`, or what is missing: `no_claim`, `claim_without_per`, `no_power`. [text]
    """

    times: float
    low: float
    high: float
    code: str


@dataclass(frozen=True)
class PriceJudgement:
    """What one gained percent of light costs, for a pair of lamps.

    Attributes
    ----------
    per_percent, low, high : float or None
        Price of a pair for each percent gained, with the interval the gain gives; None where refused.
        [currency]
    code : str
        `given`, or why not: `no_price`, `no_currency`, `price_without_per`, `gain_not_resolved`,
        `less_light`; `open_among_all` and `less_among_all` are those of words, where all lamps are compared. [text]
    cautions : tuple of str
        `price_without_date`, `old_price`, `price_after_bench`, `bench_without_date`. [text]
    age_days : int or None
        Age of the price on the last day of the bench. [d]
    """

    per_percent: float | None
    low: float | None
    high: float | None
    code: str
    cautions: tuple[str, ...]
    age_days: int | None


def judge_claim(
    claimed_flux: float | None, power: float | None, *, claimed_per: str = "", power_per: str = ""
) -> ClaimJudgement:
    """Return what a claimed flux implies at the measured power, or what is missing to say so.

    Parameters
    ----------
    claimed_flux : float or None
        Luminous flux on the box; None or NaN: no claim. [lm]
    power : float or None
        Measured power at hold, or the upper end of what it may be; None or NaN: not measured. [W]
    claimed_per, power_per : str
        `lamp` or `pair`: what the claim and the power are for; blank: not stated. [text]

    Returns
    -------
    ClaimJudgement
        The claim and its code. [lm/W]

    Raises
    ------
    ValueError
        If a flux or a power is not positive, or `claimed_per` or `power_per` is another word.
    """
    flux, watts = (math.nan if x is None else x for x in (claimed_flux, power))
    lacking = {
        "no_claim": math.isnan(flux),
        "claim_without_per": not claimed_per,
        "no_power": math.isnan(watts),
        "power_without_per": not power_per,
    }
    if code := _first(lacking):
        return ClaimJudgement(None, code)
    claim = claim_against_power(flux, watts, claimed_per=claimed_per, power_per=power_per)
    return ClaimJudgement(claim, claim.code)


def judge_claimed_power(
    claimed_power: float, power: float, low: float, high: float, *, claimed_per: str
) -> PowerJudgement:
    """Return how many times the measured power of a lamp its box claims.

    Parameters
    ----------
    claimed_power : float
        Power on the box; NaN: no claim. [W]
    power, low, high : float
        Measured power of one lamp, with its interval; NaN: not measured. [W]
    claimed_per : str
        `lamp` or `pair`: what the claim is for; blank: not stated. [text]

    Returns
    -------
    PowerJudgement
        The factor with its interval, or what is missing.
    """
    missing = {
        "no_claim": math.isnan(claimed_power),
        "claim_without_per": not claimed_per,
        "no_power": math.isnan(power),
    }
    if code := _first(missing):
        return PowerJudgement(math.nan, math.nan, math.nan, code)
    each = claimed_power / LAMPS[claimed_per]
    return PowerJudgement(each / power, each / high, each / low, "given")


def price_of_gain(
    price: float | None,
    *,
    ratio: float,
    low: float,
    high: float,
    price_per: str = "",
    price_date: str = "",
    last_day: str = "",
    currency: str = "",
) -> PriceJudgement:
    r"""Return the price of a pair of lamps for each percent of light gained, where the gain is resolved.

    .. math:: p = P_\mathrm{pair} / \bigl(100\,(r - 1)\bigr)

    Parameters
    ----------
    price : float or None
        Price; None or NaN: unknown. [currency]
    ratio, low, high : float
        Light over that of the baseline, with its interval. [1]
    price_per : str
        `lamp` or `pair`: what the price buys; blank: not stated. [text]
    price_date, last_day : str
        Day of the price, and last day of the bench, YYYY-MM-DD; blank: not stated. [text]
    currency : str
        Currency; blank: prices are not used. [text]

    Returns
    -------
    PriceJudgement
        Price for each percent with its interval, or the reason why none is given. [currency]

    Raises
    ------
    ValueError
        If the price is negative, the interval is not in order, a date cannot be read or `price_per` is
        another word.

    Notes
    -----
    The interval is that of the ratio that is passed in, for its scope and its instant: the price counts as exact, and
    that of the baseline is not subtracted.
    """
    inside, got = 0.0 < low <= ratio <= high < math.inf, f"{ratio:g} in {low:g} to {high:g}"
    demand(inside, "ratio must lie within its interval, all more than 0", got)
    paid = math.nan if price is None else float(not_negative("price", price))
    known = not math.isnan(paid)
    age, cautions = price_age(price_date, last_day) if known else (None, ())
    code = _first({"no_price": not known, "no_currency": not currency, "price_without_per": not price_per})
    demand(code or price_per in LAMPS, "price_per must be lamp or pair", repr(price_per))
    code = code or _first({"less_light": high < 1.0, "gain_not_resolved": low <= 1.0})
    if code:
        return PriceJudgement(None, None, None, code, cautions, age)
    pair = paid * LAMPS["pair"] / LAMPS[price_per]
    per_percent, cheapest, dearest = (pair / (100.0 * (r - 1.0)) for r in (ratio, high, low))
    return PriceJudgement(per_percent, cheapest, dearest, "given", cautions, age)


def price_age(price_date: str, last_day: str) -> tuple[int | None, tuple[str, ...]]:
    """Return how old a price was on the last day of the bench, and the cautions that follow.

    Parameters
    ----------
    price_date, last_day : str
        Days, YYYY-MM-DD; blank: not stated. [text]

    Returns
    -------
    age : int or None
        Age of the price. [d]
    cautions : tuple of str
        `price_without_date`, `bench_without_date`, `old_price` (more than 180 days), `price_after_bench`.
        [text]

    Raises
    ------
    ValueError
        If a date cannot be read.
    """
    if not price_date:
        return None, ("price_without_date",)
    of_price = _day("price_date", price_date)
    if not last_day:
        return None, ("bench_without_date",)
    age = (_day("last_day", last_day) - of_price).days
    if age > OLD_PRICE_DAYS:
        return age, ("old_price",)
    return age, ("price_after_bench",) if age < 0 else ()


def _first(lacking: Mapping[str, bool]) -> str:
    """Return the first code that holds; blank where none does."""
    return next((code for code, holds in lacking.items() if holds), "")


def _day(name: str, text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        message = f"{name} must be a day, YYYY-MM-DD; got {text!r}"
        raise ValueError(message) from None

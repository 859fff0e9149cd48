"""Tidy tables behind the figures and the notebooks: numbers of results put into rows."""

import functools
import math

import numpy as np
import pandas as pd

from photolab.bench.results.campaign import Campaign
from photolab.bench.results.pairs import ReadingComparison
from photolab.bench.results.ratio_table import with_families
from photolab.bench.terms.assumptions import CANCELS
from photolab.bench.terms.model import Bench, Meter
from photolab.metrology.quantity import COVERAGE
from photolab.metrology.reporting import decimal, places_for, shortened
from photolab.publication.sentences.statements import TERMS, Term


def signed(percent: float, *, places: int = 0, unit: str = "\N{NO-BREAK SPACE}%") -> str:
    """Return a percentage with its sign.

    Parameters
    ----------
    percent : float
        The percentage. [%]
    places : int, default 0
        Decimal places. [1]
    unit : str, default " %" that keeps together
        What follows.

    Returns
    -------
    str
        "+12 %", "-3 %", "0 %".
    """
    text = decimal(percent, places)
    return f"{'+' if not text.startswith('-') and float(text) else ''}{text}{unit}"


def lamp_order(campaign: Campaign) -> list[str]:
    """Return the lamps compared: most light after the heat in the first housing first, not held there last.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    list of str
        Tables and pictures have this order; where no lamp was held, the light at the initial time gives it.
    """
    at = {i: [n for n in campaign.compared(i) if n[2] == "hot_spot"] for i in ("hold", "initial")}
    listed = list(campaign.bench.tables["lamps"]["lamp"])
    names = sorted((n for some in at.values() for n in some), key=lambda n: (listed.index(n[0]), n[1]))
    place, instant = names[0][1] if names else "", "hold" if at["hold"] else "initial"
    here, base = [n[0] for n in at[instant] if n[1] == place], (campaign.baseline, place, instant)
    light = {lamp: (campaign[lamp, place, instant] - campaign[base]).value for lamp in here}
    lamps = dict.fromkeys(n[0] for n in names)
    # the last bits of a float decide no order
    return sorted(lamps, key=lambda x: (x not in light, -float(f"{math.exp(light.get(x, 0.0)):.6g}"), x))


def all_lamps(campaign: Campaign) -> pd.DataFrame:
    """Return one row a lamp and housing: how much more light than the baseline at the initial time.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    DataFrame
        lamp, housing, percent, low, high [%], specimens; housings by name, lamps in the order of `lamp_order`. The
        interval is that of all pairs of the housing, which decides.
    """
    columns = ["lamp", "housing", "percent", "low", "high", "specimens"]
    if campaign.table.empty:
        return pd.DataFrame(columns=columns)
    table, order = campaign.table, lamp_order(campaign)
    chosen = with_families(campaign, table[(table["scope"] == "specimens") & (table["point"] == "hot_spot")])
    drawn = {"value": "percent", "family_low": "low", "family_high": "high"}
    # rounded, so that a picture does not hang on the last bits of a processor
    rows = (100.0 * (chosen[[*drawn]] - 1.0)).rename(columns=drawn).round(4)
    rows = rows.assign(lamp=chosen["lamp"], housing=chosen["housing"], specimens=chosen["n_specimens"])
    rows["place"] = rows["lamp"].map(order.index)
    return rows.sort_values(["housing", "place"], kind="stable")[columns].reset_index(drop=True)


def all_lamps_words(rows: pd.DataFrame, baseline: str, *, coverage: float = COVERAGE) -> str:
    """Return what the figure of all lamps shows, in words.

    Parameters
    ----------
    rows : DataFrame
        As `all_lamps` returns them.
    baseline : str
        Name of the baseline lamp.
    coverage : float, default COVERAGE
        Of the lines. [1]

    Returns
    -------
    str
        One sentence a housing with every number of the figure.
    """
    said = [
        f"A dot with its {100.0 * coverage:g} % line for each lamp, all lamps of a housing compared at once, light "
        f"against {baseline} in per cent, a panel a housing."
    ]
    if (rows["specimens"] == 1).any():
        said.append("An open dot is one specimen.")
    for housing, block in rows.groupby("housing", sort=False):
        lamps = []
        for lamp, *figures in block[["lamp", "percent", "low", "high"]].itertuples(index=False):
            known = [signed(x, places=1, unit="") for x in figures if not math.isnan(x)]
            told = f"{known[0]} ({known[1]} to {known[2]})" if known[2:] else "no answer"
            lamps.append(f"{lamp} {told}")
        said.append(f"{str(housing) or 'Housing not named'}: {', '.join(lamps)}.")
    return " ".join(said)


def budget(pair: ReadingComparison, bench: Bench, components: pd.DataFrame | None = None) -> pd.DataFrame:
    """Return the budget of a ratio as people read it, one row a kind of input, the largest first.

    Parameters
    ----------
    pair : ReadingComparison
        Two lamps compared.
    bench : Bench
        The bench, for where each input is known from.
    components : DataFrame, optional
        Of the campaign: which spreads were measured.

    Returns
    -------
    DataFrame
        what, shared_by, how_far (text with its unit), known_from, moves (±, percent, at the coverage of the
        ratio), label (``moves`` as printed), part (of the variance, percent), assumed, inputs (by name what each of
        them moves, with its sign; percent).
    """
    columns = ["what", "shared_by", "how_far", "known_from", "moves", "label", "part", "assumed", "inputs"]
    if pair.budget.empty:
        return pd.DataFrame(columns=columns)
    lines = pair.budget.assign(term=[str(name[0]) for name in pair.budget["name"]])
    rows = []
    for kind in dict.fromkeys(lines["term"]):
        block = lines[lines["term"] == kind]
        first = block.sort_values("contribution", key=abs, ascending=False, kind="stable").iloc[0]
        known = _known_from(kind, tuple(first["name"]), bench, components)
        moves = 100.0 * pair.coverage_factor * math.sqrt(float((block["contribution"] ** 2).sum()))
        moves = 0.0 if moves < CANCELS else moves
        part = 100.0 * float(block["variance_fraction"].sum()) if moves else 0.0
        named = (_term(kind).words, _term(kind).shared_by, how_far(first), known)
        each = 100.0 * pair.coverage_factor * block["contribution"]
        inputs = dict(zip(block["name"], each, strict=True)) if moves else {}
        rows.append((*named, moves, two_digits(moves), part, known == "assumed", inputs))
    table = pd.DataFrame(rows, columns=columns)
    return table.sort_values(["moves", "what"], ascending=[False, True], ignore_index=True)


@functools.lru_cache(maxsize=2)  # several parts of a page ask for them; a campaign is told by its identity
def budgets(campaign: Campaign) -> dict[tuple[str, str], tuple[str, pd.DataFrame]]:
    """Return the budget of every lamp against the baseline in each housing, after the heat where it was held.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    dict
        Lamp and housing to "hold" or "initial", and the rows of `budget`; those after the heat come first.
    """
    found: dict[tuple[str, str], tuple[str, pd.DataFrame]] = {}
    for lamp, housing, point, instant in (*campaign.compared("hold"), *campaign.compared()):
        if point == "hot_spot" and (lamp, housing) not in found:
            pair = campaign.ratio(lamp, campaign.baseline, housing=housing, instant=instant)
            found[lamp, housing] = (instant, budget(pair, campaign.bench, campaign.components))
    return found


def two_digits(x: float) -> str:
    """Return a size with two significant digits, at most two decimals.

    Parameters
    ----------
    x : float
        The size. [any]

    Returns
    -------
    str
        "0" where it is nothing.
    """
    return decimal(x, min(max(places_for(x), 0), 2)) if x > 0 else "0"


def how_far(line: pd.Series) -> str:  # type: ignore[type-arg]
    """Return how far off an input may be, in its own unit: its limits, or twice its standard uncertainty.

    Parameters
    ----------
    line : Series
        One row of a budget.

    Returns
    -------
    str
        For instance "± 20 lx" or "± 1.2 %".
    """
    factor = {"rectangular": math.sqrt(3.0), "triangular": math.sqrt(6.0), "arcsine": math.sqrt(2.0)}
    half = factor.get(str(line["distribution"]), 2.0) * float(line["standard_uncertainty"])
    unit = _term(line["name"][0]).unit
    if unit.startswith("1") and line["name"][0] != "voltage exponent":
        half, unit = 100.0 * half, f"%{unit[1:]}"
    return "\N{NO-BREAK SPACE}".join(["±", two_digits(half), *([] if unit == "1" else [unit])])


def _known_from(kind: str, name: tuple[object, ...], bench: Bench, components: pd.DataFrame | None) -> str:
    """Return where an input is known from."""
    meter = bench.meters.get(str(name[1])) if len(name) > 1 else None
    known = _term(kind).known_from
    if hasattr(bench.settings, known):  # a spread: assumed until it is stated or measured
        level = "reading" if kind == "noise" else kind
        assumed = components is None or components.set_index("level")["assumed"].get(level, True)
        stated = "bench.toml" if known in bench.settings.declared else "assumed"
        return stated if assumed else "own readings"
    if "colour" in kind and "corrected" in name:
        return "spectra"
    if hasattr(Meter, known):
        if meter is not None and known == "linearity_percent":
            return "manual" if meter.states_linearity else "assumed"
        return "manual" if meter is not None and known in meter.declared else "assumed"
    return "certificate" if kind == "scale" and meter is not None and meter.certificate is not None else known


def _term(kind: str) -> Term:
    """Return what is told of a sort of input; of one that is not listed, its name."""
    return TERMS.get(kind, Term(kind))


def budget_annex(pair: ReadingComparison, *, largest: int = 12) -> pd.DataFrame:
    """Return the working table of a ratio in ln, one row an input, in the layout of EA-4/02.

    Parameters
    ----------
    pair : ReadingComparison
        Two lamps compared.
    largest : int, default 12
        So many rows; the inputs that follow stand together in one more.

    Returns
    -------
    DataFrame
        quantity, estimate, standard_uncertainty, unit, distribution, sensitivity, contribution, last the
        result.
    """
    lines, result = pair.budget, pair.result
    columns = ["quantity", "estimate", "standard_uncertainty", "unit", "distribution", "sensitivity"]
    columns += ["contribution"]
    if lines.empty or result is None:
        return pd.DataFrame(columns=columns)
    # the last bits of a float decide neither the order nor how many there are: what cancels leaves rounding
    size = lines["contribution"].abs().map(shortened)
    texts = [": ".join(filter(None, [_term(n[0]).words, " ".join(map(str, n[1:]))])) for n in lines["name"]]
    units = [_term(name[0]).unit for name in lines["name"]]
    lines = lines.assign(size=size, quantity=texts, estimate=0.0, unit=units)[size > CANCELS * result.u]
    whole = lines.sort_values(["size", "quantity"], ascending=[False, True])[columns]
    rows, rest = [*whole.head(largest).itertuples(index=False, name=None)], whole.iloc[largest:]
    if len(rest):
        together = math.sqrt(float((rest["contribution"] ** 2).sum()))
        rows.append((f"{len(rest)} smaller inputs together", np.nan, np.nan, "", "", np.nan, together))
    rows.append(("ln of the ratio", result.value, np.nan, "1", "", np.nan, result.u))
    return pd.DataFrame(rows, columns=columns)

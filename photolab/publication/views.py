"""What the notebooks show of one comparison: each function returns one thing to be shown.

Where a bench folder does not hold what a view needs, the view is one sentence that says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from photolab.bench.campaign import Campaign
from photolab.bench.pairs import ReadingComparison
from photolab.errors import MethodError
from photolab.metrology.reporting import decimal
from photolab.publication import figure_tables, readiness, statements
from photolab.publication.cautions import assumed_table
from photolab.publication.display import Table, Words, say, table
from photolab.publication.figures import budget as budget_figure
from photolab.publication.figures.common import Picture, new_figure, picture
from photolab.publication.second_way import ratio_by_monte_carlo
from photolab.publication.words_lamp import light_words

__all__ = [
    "Chosen",
    "annex",
    "assumptions",
    "budget",
    "budget_bars",
    "choose",
    "dominant",
    "second_way",
    "without_each",
]

NO_INTERVAL = "No interval yet, so there is nothing to take apart: "


@dataclass(frozen=True, eq=False)
class Chosen:
    """Two lamps in one housing, compared.

    Attributes
    ----------
    lamp, against, housing : str
        Which.
    pair : ReadingComparison
        Their ratio.
    campaign : Campaign
        Where it comes from.
    """

    lamp: str
    against: str
    housing: str
    pair: ReadingComparison
    campaign: Campaign

    @property
    def name(self) -> str:
        """The comparison in words."""
        where = f" in housing {self.housing}" if self.housing else ""
        return f"{self.lamp} against {self.against}{where}"


def choose(
    campaign: Campaign, *, lamp: str | None = None, against: str | None = None, housing: str | None = None
) -> Chosen | None:
    """Return the comparison a notebook takes apart.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    lamp, against, housing : str, optional
        Which; the first lamp that has an answer, against the baseline, where they are not given.

    Returns
    -------
    Chosen or None
        None where no two lamps were read in one housing.
    """
    rows = figure_tables.all_lamps(campaign)
    rows = rows[(rows["lamp"] == lamp) | (lamp is None)] if against is None else rows
    rows = rows[(rows["housing"] == housing) | (housing is None)]
    rows = rows.assign(open=rows["low"].isna()).sort_values("open", kind="stable")
    if rows.empty:
        return None
    first, where = lamp or str(rows["lamp"].iloc[0]), str(rows["housing"].iloc[0])
    second = against or campaign.baseline
    return Chosen(first, second, where, campaign.ratio(first, second, housing=where), campaign)


def _unanswered(chosen: Chosen | None) -> Words | None:
    """Return why there is nothing to show; None where there is."""
    if chosen is None:
        return say(NO_INTERVAL + "no two lamps were read in one housing.")
    if chosen.pair.result is None:
        return say(f"{NO_INTERVAL}{chosen.name}: {statements.verdict_words(chosen.pair)}.")
    return None


def _invented(chosen: Chosen) -> bool:
    return "invented" in chosen.campaign.bench.settings.name.casefold()


def dominant(chosen: Chosen | None) -> Words:
    """Return what dominates the doubt of a comparison, and what would help most.

    Parameters
    ----------
    chosen : Chosen or None
        The comparison.

    Returns
    -------
    Words
        Two or three sentences.
    """
    nothing = _unanswered(chosen)
    if nothing is not None or chosen is None:
        return nothing or say(NO_INTERVAL)
    pair, campaign = chosen.pair, chosen.campaign
    rows = figure_tables.budget(pair, campaign.bench, campaign.components)
    first = rows.iloc[0]
    places = statements.limit_places(pair.ln_expanded_uncertainty)
    scope = "for the specimens on the bench"
    return say(
        f"{chosen.name}: {light_words(pair.ratio, places)}, "
        f"{statements.interval_words(pair)} at {100.0 * pair.coverage:g} %, {scope}.",
        f"What blurs it most is the {first['what']}: {decimal(first['part'], 0)} % of the doubt, and alone "
        f"it moves "
        f"the result by ± {first['label']} % ({first['known_from']}).",
        f"Best next step: {readiness.next_step(campaign.bench, campaign)}",
    )


def budget(chosen: Chosen | None) -> Table | Words:
    """Return the budget of a comparison as people read it.

    Parameters
    ----------
    chosen : Chosen or None
        The comparison.

    Returns
    -------
    Table or Words
        The largest input first.
    """
    nothing = _unanswered(chosen)
    if nothing is not None or chosen is None:
        return nothing or say(NO_INTERVAL)
    rows = figure_tables.budget(chosen.pair, chosen.campaign.bench, chosen.campaign.components)
    heads = {
        "what": "what may be off",
        "shared_by": "shared by",
        "how_far": "how far off",
        "known_from": "known from",
        "moves": "moves the result by (± %)",
        "part": "part of the doubt (%)",
    }
    return table(rows, columns=list(heads), heads=heads, places={"moves": 2, "part": 1})


def budget_bars(chosen: Chosen | None, *, smallest: float = 0.05) -> Picture | Words:
    """Return the budget of a comparison as bars.

    Parameters
    ----------
    chosen : Chosen or None
        The comparison.
    smallest : float, default 0.05
        Inputs that move the result by less are left out of the figure. [%]

    Returns
    -------
    Picture or Words
        The longest bar first; hatched where the input is assumed.
    """
    nothing = _unanswered(chosen)
    if nothing is not None or chosen is None:
        return nothing or say(NO_INTERVAL)
    rows = figure_tables.budget(chosen.pair, chosen.campaign.bench, chosen.campaign.components)
    rows = rows[rows["moves"] >= smallest]
    figure, (axes,) = new_figure(height=1.2 + 0.28 * len(rows))
    budget_figure.draw(axes, rows)
    bars_said = ", ".join(
        f"{what} {label}{' (assumed)' if assumed else ''}"
        for what, label, assumed in zip(rows["what"], rows["label"], rows["assumed"], strict=True)
    )
    alt = f"What blurs {chosen.name}, in ± % of the result, longest bar first: {bars_said}."
    return picture(figure, alt=alt, invented=_invented(chosen))


def assumptions(campaign: Campaign) -> Table | Words:
    """Return what was assumed, and what would change with it.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    Table or Words
        One row a declared default.
    """
    rows = assumed_table(campaign.assumed)
    if rows.empty:
        return say("Nothing was assumed.")
    return table(rows, heads={"input": "assumed", "change": "what would change"})


def without_each(chosen: Chosen | None, *, largest: int = 5) -> Table | Words:
    """Return how wide the interval would be if one input were known exactly.

    Parameters
    ----------
    chosen : Chosen or None
        The comparison.
    largest : int, default 5
        So many inputs, the largest first.

    Returns
    -------
    Table or Words
        Half-widths in percent.
    """
    nothing = _unanswered(chosen)
    if nothing is not None or chosen is None:
        return nothing or say(NO_INTERVAL)
    rows = figure_tables.budget(chosen.pair, chosen.campaign.bench, chosen.campaign.components).head(largest)
    whole = 100.0 * chosen.pair.ln_expanded_uncertainty
    left = rows.assign(
        now=whole, then=[whole * math.sqrt(max(1.0 - part / 100.0, 0.0)) for part in rows["part"]]
    )
    heads = {"what": "if this were known exactly", "now": "now (± %)", "then": "then (± %)"}
    return table(left, columns=list(heads), heads=heads, places=2)


def annex(chosen: Chosen | None, *, largest: int = 12) -> Table | Words:
    """Return the working table of a comparison, in ln.

    Parameters
    ----------
    chosen : Chosen or None
        The comparison.
    largest : int, default 12
        So many inputs by themselves.

    Returns
    -------
    Table or Words
        In the layout of EA-4/02, one row an input.
    """
    nothing = _unanswered(chosen)
    if nothing is not None or chosen is None:
        return nothing or say(NO_INTERVAL)
    rows = figure_tables.budget_annex(chosen.pair, largest=largest)
    heads = {
        "quantity": "quantity",
        "estimate": "estimate",
        "standard_uncertainty": "standard uncertainty",
        "unit": "unit",
        "distribution": "distribution",
        "sensitivity": "sensitivity coefficient",
        "contribution": "contribution",
    }
    places = {"estimate": 4, "standard_uncertainty": 5, "sensitivity": 5, "contribution": 5}
    text = rows.assign(
        **{
            name: [decimal(x, n) if not math.isnan(x) else "" for x in rows[name]]
            for name, n in places.items()
        }
    )
    shown = table(text, heads=heads)
    return Table(shown.header, shown.rows, tuple(name in places for name in rows.columns))


def second_way(chosen: Chosen | None) -> Words:
    """Return a comparison by Monte Carlo beside the law of propagation, judged.

    Parameters
    ----------
    chosen : Chosen or None
        The comparison.

    Returns
    -------
    Words
        Both intervals, their distance and whether it matters.
    """
    nothing = _unanswered(chosen)
    if nothing is not None or chosen is None:
        return nothing or say(NO_INTERVAL)
    pair = chosen.pair
    try:
        second = ratio_by_monte_carlo(pair)
    except MethodError as refused:
        return say(
            f"No second way: {refused}. An input is so far from known that a light of less than nothing lies within "
            "its limits; the interval above holds only as far as effects are small. Look at the largest line of the "
            "budget."
        )
    apart = 100.0 * max(second.validation.d_low, second.validation.d_high)
    good = 100.0 * second.validation.tolerance
    judged = (
        "The difference does not reach the second digit of the uncertainty, so the law of propagation stands"
        if second.validation.validated
        else "The difference reaches the second digit of the uncertainty: use the interval of the trials"
    )
    return say(
        f"Law of propagation: {_percents(pair.low, pair.high)}. Monte Carlo, "
        f"{_thousands(second.trials)} "
        f"trials of {second.inputs} inputs: {_percents(second.low, second.high)}.",
        f"The ends of the two intervals lie at most {decimal(apart, 2)} % apart; up to {decimal(good, 2)} % "
        f"would be "
        f"within the digits given. {judged}.",
    )


def _thousands(count: int) -> str:
    """Return a whole number in groups of three."""
    return f"{count:,}".replace(",", "\N{NO-BREAK SPACE}")


def _percents(low: float, high: float) -> str:
    """Return the ends of the interval of a ratio in percent more light, to the hundredth."""
    ends = [decimal(100.0 * (end - 1.0), 2) for end in (low, high)]
    return f"{ends[0]} % to {ends[1]} % more light"

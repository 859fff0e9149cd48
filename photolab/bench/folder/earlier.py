"""Figures of others and of an earlier report, read and set beside those of a bench.

The score is that of two laboratories with their expanded uncertainties (ISO 13528:2022, 9.7), on ln of the ratios. A
bench set beside itself is no independent witness: what both its reports share cannot show. Where one rectangular input
carries most of both, their intervals are narrower than the factor k times u of that score: of equal figures at a
coverage of 0.95 it then sets 7 % apart (four fifths of either variance), 9 % (nearly all of it), in place of 5 %.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import pandas as pd

from photolab.bench.folder.checks import names_in
from photolab.bench.folder.declared import FILE, Declared
from photolab.bench.folder.files import Folder, Rows
from photolab.bench.folder.tables import read_table
from photolab.bench.results.campaign import Campaign
from photolab.bench.terms.faults import Faults, shown
from photolab.bench.terms.model import OurEarlier, TheirFigure
from photolab.bench.terms.schema import EARLIER_FILE
from photolab.errors import MethodError
from photolab.metrology.agreement import normalized_error
from photolab.metrology.quantity import SCOPES, coverage_factor

SAME_ROW = ["lamp", "housing", "measurand", "baseline", "point", "instant", "scope"]
_OLDER_SCOPES = {f"these {scope}": scope for scope in SCOPES}
"""What format 1 of results.csv called the scopes (see `publication.provenance`)."""


def read_earlier(folder: Folder, declared: Declared, lamps: pd.Series[str]) -> tuple[OurEarlier, ...]:
    """Return the earlier reports that bench.toml names, and check the lamps of others' figures.

    Parameters
    ----------
    folder : Folder
        The bench folder; keeps what is wrong.
    declared : Declared
        What bench.toml says.
    lamps : Series
        Lamps of the bench.

    Returns
    -------
    tuple of OurEarlier
        Those that could be read.
    """
    known = names_in(lamps)
    for figure, section in declared.their_figures:
        for key in ("lamp", "baseline") if known else ():
            section.unknown(key, known, " is no lamp of this bench")
        if figure.lamp == figure.baseline:
            words = "their_figure.baseline is the lamp itself; name another one."
            section.fault("fault 14", words, "baseline")
    found = []
    for section in declared.earlier:
        name, line = section.values["file"], section.line("file")
        if not section.whole or not folder.holds(name, FILE, line=line, column="file"):
            continue
        rows = folder.rows(name, ",")
        table = None if rows is None else _rows(rows, folder.faults)
        if table is None:
            continue
        if known and not (table["lamp"].isin(known)).any():
            words = "no row is of a lamp of this bench; nothing is set beside it."
            folder.faults.add("caution 38", name, words)
        found.append(OurEarlier(**section.values, rows=table))
    return tuple(found)


def _rows(rows: Rows, faults: Faults) -> pd.DataFrame | None:
    """Return the rows of an earlier results.csv, scopes by their names of today; None after a fault."""
    wanted = EARLIER_FILE.names
    missing = [name for name in wanted if name not in rows.header]
    if missing:
        listed = ", ".join(shown(header) for header in rows.header[:12])
        words = f"no column {', '.join(missing)}; found {listed}. Wanted a results.csv as photolab writes it."
        faults.add("fault 10", rows.file, words, line=1)
        return None
    places = [rows.header.index(name) for name in wanted]
    read = Rows(rows.file, list(wanted), [rows.columns[place] for place in places], rows.numbers)
    table = read_table(EARLIER_FILE, read, faults)
    names = {name: table[name].str.replace(r"^'(?=[=+\-@])", "", regex=True) for name in SAME_ROW}
    table = table.assign(**names).assign(scope=names["scope"].replace(_OLDER_SCOPES))
    strange = table[~table["scope"].isin(SCOPES)]
    words = f'"{{scope}}" is no scope; wanted one of {", ".join(SCOPES)}.'
    faults.where("fault 12", rows.file, strange, "scope", words)
    ratios = table[(table["unit"] == "1") & (table["value"] <= 0.0)]
    faults.where("fault 14", rows.file, ratios, "value", "{value:g}; a ratio is more than 0.")
    twice = table[table.duplicated(SAME_ROW)]
    words = "the same figure as in a row above (lamp {lamp}, {measurand})."
    faults.where("fault 17", rows.file, twice, "", words)
    return table


@dataclass(frozen=True)
class Beside:
    """A figure of this bench with one of another bench, or of an earlier report, beside it.

    Attributes
    ----------
    whose : str
        Title of the source, or label of the earlier report.
    own : bool
        True for an earlier report of one's own.
    lamp, baseline, housing, measurand, instant, scope : str
        What both are of.
    ours, theirs : tuple of float
        ln of the figure, and its expanded uncertainty; NaN where ours is not known. [1]
    coverage : float
        Coverage probability of both, that of this bench. [1]
    """

    whose: str
    own: bool
    lamp: str
    baseline: str
    housing: str
    measurand: str
    instant: str
    scope: str
    ours: tuple[float, float]
    theirs: tuple[float, float]
    coverage: float

    @property
    def score(self) -> float:
        """E_n with nothing shared; beyond -1 to 1 the two differ; NaN where ours is not known [1]."""
        if math.isnan(sum(self.ours)):
            return math.nan
        (x, u), (reference, expanded) = self.ours, self.theirs
        # a bench declared without any uncertainty leaves that of the other one
        return float(normalized_error(x, max(u, 1e-12), reference, max(expanded, 1e-12)))


def set_beside(campaign: Campaign, rows: pd.DataFrame) -> tuple[Beside, ...]:
    """Return every figure of others and of earlier reports with the figure of this bench that it is about.

    Parameters
    ----------
    campaign : Campaign
        The evaluation.
    rows : DataFrame
        Its rows of results.csv.

    Returns
    -------
    tuple of Beside
        Others' figures (for the models: other pieces were on the other bench), then each earlier report, row by row.
    """
    theirs = [figure for figure in campaign.bench.their_figures if not figure.text]
    earlier = (one for report in campaign.bench.earlier for one in _linked(campaign, rows, report))
    return (*(_with_ours(campaign, figure) for figure in theirs), *earlier)


def _with_ours(campaign: Campaign, figure: TheirFigure) -> Beside:
    """Return somebody else's figure beside ours."""
    baseline = figure.baseline or campaign.baseline
    ours, scope = (math.nan, math.nan), "models"
    where = {"housing": figure.housing, "instant": figure.instant}
    with suppress(MethodError):  # the lamps were not read together there
        if figure.lamp != baseline:
            pair = campaign.ratio(figure.lamp, baseline, scope=scope, **where)
            ours = (math.log(pair.ratio), pair.ln_expanded_uncertainty)
    half = math.log(figure.high / figure.low) / 2.0
    half = math.log1p(figure.expanded_percent / 100.0) if math.isnan(half) else half
    what = {
        "lamp": figure.lamp,
        "baseline": baseline,
        "measurand": "illuminance ratio",
        "scope": scope,
        **where,
    }
    theirs, now = (math.log(figure.ratio), half), campaign.bench.settings.coverage
    return Beside(figure.source, False, **what, ours=ours, theirs=theirs, coverage=now)


def _linked(campaign: Campaign, rows: pd.DataFrame, report: OurEarlier) -> Iterator[Beside]:
    """Yield the rows of an earlier report that are in this one too, in the scope in which both may be compared."""
    wanted = "specimens" if report.pieces == "same" else "models"
    whole = rows[rows["unit"] == "1"].fillna(dict.fromkeys(SAME_ROW, ""))
    scoped = set(whole.loc[whole["scope"] == wanted, "measurand"])
    alone = (report.pieces == "same") & ~whole["measurand"].isin(scoped)  # given for the readings only
    ours = whole[(whole["scope"] == wanted) | alone]
    both = ours.merge(report.rows, on=SAME_ROW, suffixes=("", "_then"))
    half = "ln_expanded_uncertainty"
    known = both[[half, f"{half}_then", "value_then"]].notna().all(axis=1)
    told = both[known & (both[half] + both[f"{half}_then"] > 0.0)]
    now = campaign.bench.settings.coverage
    for row in told.to_dict("records"):
        cells: dict[str, Any] = {str(name): cell for name, cell in row.items()}
        wider = coverage_factor(now) / coverage_factor(cells["coverage_then"])
        what = {name: str(cells[name]) for name in SAME_ROW if name != "point"}
        here = math.log(cells["value"]), float(cells[half])
        then = math.log(cells["value_then"]), float(cells[f"{half}_then"]) * wider
        yield Beside(report.label, True, **what, ours=here, theirs=then, coverage=now)

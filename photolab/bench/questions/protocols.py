"""One set of raw readings under two protocols: two texts of bench.toml, one campaign each, and what differs.

The readings are never read anew or changed: what a protocol declares (settings, meters, housings) is put
beside them.
"""

import math
import os
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

import pandas as pd

from photolab.bench.folder.cautions import cautions
from photolab.bench.folder.checks import check_completed, check_tables
from photolab.bench.folder.completion import complete
from photolab.bench.folder.declared import FILE, read_toml
from photolab.bench.folder.files import Folder
from photolab.bench.inputs.linking import SAME_RESULT, changed_verdicts
from photolab.bench.results.campaign import Campaign
from photolab.bench.results.ratio_table import heat_rows, with_families
from photolab.bench.terms.faults import Faults
from photolab.bench.terms.model import Bench
from photolab.errors import RecordError

MOVED = 0.0005
"""A value or half-width that changes by less (in ln) has not moved. [1]"""


@dataclass(frozen=True, eq=False)
class ProtocolComparison:
    """What changes between two protocols over the same readings.

    Attributes
    ----------
    before, after : Campaign
        Both evaluations.
    settings : DataFrame
        key, before, after of everything the two declare differently, defaults included.
    verdicts : DataFrame
        Rows whose verdict among all pairs of the housing changed, as `linking.changed_verdicts`.
    moved : DataFrame
        lamp, housing, measurand, point, instant, scope, value_before, value_after, half_before, half_after
        of rows whose value or half-width (in ln) moved by more than `MOVED`.
    gained, lost : int
        Results that only one of the two has. [1]
    """

    before: Campaign
    after: Campaign
    settings: pd.DataFrame
    verdicts: pd.DataFrame
    moved: pd.DataFrame
    gained: int
    lost: int


def protocol_text(text_or_path: str | os.PathLike[str]) -> str:
    """Return the text of a bench.toml, given as text, as a file or as its folder.

    Parameters
    ----------
    text_or_path : str or path
        Text of more than one line is taken as it stands; anything else names a file, or a folder with a
        bench.toml.

    Returns
    -------
    str
        The text.

    Raises
    ------
    RecordError
        If the file cannot be read.
    """
    if isinstance(text_or_path, str) and "\n" in text_or_path:
        return text_or_path
    path = Path(text_or_path).expanduser()
    folder, name = (Folder(path), FILE) if path.is_dir() else (Folder(path.parent), path.name)
    text = folder.text(name)
    if text is None:
        raise RecordError(folder.faults.faults)
    return text


def under_protocol(bench: Bench, text_or_path: str | os.PathLike[str]) -> Bench:
    """Return the same readings under another bench.toml.

    Parameters
    ----------
    bench : Bench
        A bench that was read; it is not changed.
    text_or_path : str or path
        The other bench.toml, see `protocol_text`.

    Returns
    -------
    Bench
        The same tables with the other settings, meters and housings; cautions and assumptions are those of
        the other.

    Raises
    ------
    RecordError
        If the other bench.toml has a fault, or does not fit the readings: a meter or housing that it does
        not describe, a reading above its range.

    Notes
    -----
    Cells that were blank and that the first bench.toml answered (the only housing, the only meter, its only
    range) stay as they were filled.
    """
    faults = Faults()
    declared = read_toml(protocol_text(text_or_path), faults)
    tables = dict(bench.tables)
    if not faults.faults:
        check_tables(tables, declared, faults)
        complete(tables, declared, faults)
        check_completed(tables, tables["readings"]["line"], declared, faults)
    if faults.faults:
        raise RecordError(faults.faults)
    other = replace(
        bench, tables=tables, warnings=(),
        settings=declared.settings, meters=declared.meters, housings=declared.housings,
    )  # fmt: skip
    said = Faults()
    cautions(other, said)
    return replace(other, warnings=tuple(said.cautions))


def compare_campaigns(before: Campaign, after: Campaign) -> ProtocolComparison:
    """Return what differs between two evaluations of one set of readings.

    Parameters
    ----------
    before, after : Campaign
        The same readings under an old and a new protocol.

    Returns
    -------
    ProtocolComparison
        Settings, verdicts and numbers that differ.
    """
    tables = [_results(one) for one in (before, after)]
    both = tables[0].merge(tables[1], on=SAME_RESULT, suffixes=("_before", "_after"))
    settings = [pd.Series(_flat(one.bench), dtype=object) for one in (before, after)]
    declared = pd.concat(settings, axis=1, keys=["before", "after"]).fillna("").rename_axis("key")
    differ = declared[declared["before"] != declared["after"]].reset_index()
    lost, gained = (len(table) - len(both) for table in tables)
    return ProtocolComparison(before, after, differ, changed_verdicts(*tables), _moved(both), gained, lost)


def _results(campaign: Campaign) -> pd.DataFrame:
    """Return the rows of a campaign at the initial and at the hold time, with the verdicts of their families."""
    parts = [with_families(campaign, part) for part in (campaign.table, heat_rows(campaign)) if len(part)]
    if not parts:
        return pd.DataFrame(columns=[*SAME_RESULT, "value", "verdict"])
    table = pd.concat(parts, ignore_index=True)
    return table.assign(verdict=table["family_verdict"])


def _moved(both: pd.DataFrame) -> pd.DataFrame:
    """Return the rows whose value or half-width moved, the largest move of a value first."""
    columns = [*SAME_RESULT, "value_before", "value_after", "half_before", "half_after"]
    rows = both.rename(columns=lambda name: name.replace("ln_expanded_uncertainty_", "half_")).reindex(
        columns=columns
    )
    value = (rows["value_after"] / rows["value_before"] - 1.0).abs()
    half = (rows["half_after"] - rows["half_before"]).abs()
    rows = rows.assign(size=value)[(value > MOVED) | (half > MOVED)]
    return rows.sort_values("size", ascending=False, kind="stable", ignore_index=True)[columns]


def _flat(bench: Bench) -> dict[str, str]:
    """Return every setting under its key, as text."""
    records: dict[str, Any] = {"": bench.settings}
    records |= {f"meter {one.id} ": one for one in bench.meters.values()}
    records |= {f"housing {one.id} ": one for one in bench.housings.values()}
    return {
        f"{prefix}{item.name}": _text(getattr(record, item.name))
        for prefix, record in records.items()
        for item in fields(record)
        if item.name not in {"declared", "name", "id"}
    }


def _text(value: object) -> str:
    """Return a setting as it would be typed; blank where nothing is declared."""
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, tuple):
        return ", ".join(_text(one) for one in value)
    if hasattr(value, "__dataclass_fields__"):
        return "; ".join(f"{f.name} {_text(getattr(value, f.name))}" for f in fields(value)).strip()  # type: ignore[arg-type]
    return str(value)

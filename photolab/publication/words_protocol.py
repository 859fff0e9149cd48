"""The change log of a protocol: what moved, which verdicts changed, what was declared differently."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from photolab.bench.protocols import ProtocolComparison
from photolab.metrology.reporting import decimal
from photolab.publication.statements import SCOPE_WORDS
from photolab.publication.words_bench import verdict_name

__all__ = ["change_log"]


def change_log(comparison: ProtocolComparison, *, largest: int = 3) -> tuple[str, ...]:
    """Return the change log of a protocol, the numbers that moved first.

    Parameters
    ----------
    comparison : ProtocolComparison
        Two protocols over the same readings.
    largest : int, default 3
        So many of the largest moves are named. [1]

    Returns
    -------
    tuple of str
        One paragraph each.
    """
    moved, verdicts = comparison.moved, comparison.verdicts
    revisions = [
        one.bench.settings.protocol_revision or "(none)" for one in (comparison.before, comparison.after)
    ]
    # a ratio is named once, for the specimens; remaining light has one scope only
    rows = moved[(moved["scope"] == "specimens") | (moved["measurand"] != "illuminance ratio")]
    named = ", ".join(_move(row) for row in rows.head(largest).to_dict("records"))
    readings = len(comparison.before.selection.readings)
    lines = [
        f"Protocol revision {revisions[0]} to {revisions[1]}, over the same {readings} readings.",
        f"Numbers that moved: {len(moved)} results; the largest: {named}." if named else "No number moved.",
    ]
    changes = [
        f"{row['lamp']}{' in ' + row['housing'] if row['housing'] else ''} ({row['instant']}, "
        f"{SCOPE_WORDS[row['scope']]}) from {verdict_name(row['before'])} to {verdict_name(row['after'])}"
        for row in verdicts.to_dict("records")
    ]
    lines.append(f"Verdicts that changed: {'; '.join(changes)}." if changes else "No verdict changed.")
    keys = [
        f"{r['key']} {r['before'] or '(blank)'} to {r['after'] or '(blank)'}"
        for r in comparison.settings.to_dict("records")
    ]
    lines.append(f"What was changed: {'; '.join(keys)}." if keys else "The two protocols declare the same.")
    if comparison.gained or comparison.lost:
        lines.append(f"Results gained: {comparison.gained}; lost: {comparison.lost}.")
    return tuple(lines)


def _move(row: Mapping[Any, Any]) -> str:
    """Return one moved number."""
    where = f" in {row['housing']}" if row["housing"] else ""
    halves = " to ".join(decimal(100.0 * row[f"half_{when}"], 1) for when in ("before", "after"))
    values = " to ".join(decimal(row[f"value_{when}"], 3) for when in ("before", "after"))
    return f"{row['measurand']} of {row['lamp']}{where}, {row['instant']}, {values} (± {halves} %)"

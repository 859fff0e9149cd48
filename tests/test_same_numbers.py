"""The same numbers from the same bench: no result hangs on the last bits of a cell. Oracle: continuity."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.testing import assert_allclose

from photolab.bench.folder.records import read_bench
from photolab.bench.results.evaluation import evaluate
from photolab.bench.terms.model import to_ten_digits
from photolab.publication.report import tables

DEMO = Path(__file__).parent.parent / "data" / "demo"
NUMBERS = [
    "value",
    "low",
    "high",
    "ln_expanded_uncertainty",
    "coverage_factor",
    "dof",
    "family_low",
    "family_high",
]


def shaken(table: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Return a table with every number times 1 + 1e-12 or 1 - 1e-12."""
    numeric = [c for c in table.columns if pd.api.types.is_float_dtype(table[c])]
    factors = 1.0 + 1e-12 * rng.choice([-1.0, 1.0], (len(table), len(numeric)))
    return table.assign(**{name: table[name] * factors[:, i] for i, name in enumerate(numeric)})


def unrounded(bench, monkeypatch):
    monkeypatch.setattr(tables, "_rounded", lambda table: table)
    return tables.results(evaluate(bench))


def test_last_bits_of_the_cells_move_no_result(monkeypatch):
    # Tolerance: 1e-7 of the number, 1e5 times what was done to the cells.
    bench, rng = read_bench(DEMO), np.random.default_rng(12)
    other = replace(bench, tables={name: shaken(table, rng) for name, table in bench.tables.items()})
    changed = {n for n, t in bench.tables.items() if len(t) and not t.equals(other.tables[n])}
    assert {"readings", "warm_up", "thermal", "electrical", "distance", "beam"} <= changed
    before, after = unrounded(bench, monkeypatch), unrounded(other, monkeypatch)
    assert len(before) > 200
    for name in NUMBERS:
        assert_allclose(after[name].astype(float), before[name].astype(float), rtol=1e-7, err_msg=name)
    words = [c for c in before.columns if c not in NUMBERS]
    pd.testing.assert_frame_equal(before[words], after[words])


def test_positions_do_not_hang_on_a_conversion():
    # Oracle: closed form; twelve steps of a foot are metres to the last bit only after rounding.
    feet = np.arange(1, 40) / 4.0
    converted = to_ten_digits(feet * 12.0 * 0.0254)
    assert_allclose(converted, feet * 0.3048, rtol=1e-15)
    assert (converted == [float(f"{x:.9e}") for x in feet * 0.3048]).all()
    special = np.array([np.nan, np.inf, -np.inf, 0.0, -2.0, 1e-300])
    np.testing.assert_array_equal(to_ten_digits(special), special)
    far = np.array([1.23456789012e11, -1.23456789012e-7, 9.99999999999])
    assert_allclose(to_ten_digits(far), [1.234567890e11, -1.234567890e-7, 10.0], rtol=1e-15)

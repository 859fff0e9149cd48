"""What is public in the calculation rooms is used. Oracle: the contributor's guide, read off the sources."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
ROOMS = ("metrology", "photometry", "thermal")
DOORS = {  # what other programs and a person at a notebook call by name
    "conformance_probability": "metrology",
    "equivalence": "metrology",
    "from_readings": "metrology",
    "gauge_study": "metrology",
    "values_that_conform": "metrology",
    "zeta_score": "metrology",
    "crossover_distance": "photometry",
    "disc_source_ratio": "photometry",
    "line_source_ratio": "photometry",
    "luminous_efficacy_of_radiation": "photometry",
    "square_source_ratio": "photometry",
    "value_at_voltage": "photometry",
    "published_emissivities": "thermal",
    "radiance": "thermal",
    "temperature_of": "thermal",
}
PIECES = {"check_covariance", "groups_of", "flat_factor"}  # of the comparisons, each with a test of its own


def functions(path):
    """Return the public functions of a module."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return {n.name for n in tree.body if isinstance(n, ast.FunctionDef) and not n.name.startswith("_")}


def words(path):
    return set(re.findall(r"\w+", path.read_text(encoding="utf-8")))


def test_every_public_function_is_used_by_another_module_or_is_a_door():
    said = {path: words(path) for path in (ROOT / "photolab").rglob("*.py")}
    said |= {path: words(path) for path in [ROOT / "README.md", *(ROOT / "notebooks").glob("*.ipynb")]}
    unused = set()
    for room in ROOMS:
        for path in (ROOT / "photolab" / room).glob("*.py"):
            elsewhere = set().union(*(names for other, names in said.items() if other != path))
            unused |= functions(path) - elsewhere
    assert unused <= set(DOORS) | PIECES


@pytest.mark.parametrize("name", DOORS)
def test_a_door_is_there(name):
    found = [path for path in (ROOT / "photolab" / DOORS[name]).glob("*.py") if name in functions(path)]
    assert len(found) == 1

"""No coverage is typed where bench.toml declares one. Oracle: the source text of the package and the notebooks."""

import re
from pathlib import Path

import nbformat
import pytest

HERE = Path(__file__).parent
TYPED = re.compile(
    r"(?<![\d.])(?:0\.95|0\.975|1\.9[56]\d*)(?!\d)|\b95 ?%|\b95 (?:of|in|per)\b|19 of 20|two_sided_95",
    re.IGNORECASE,
)
ALLOWED = {
    "metrology/quantity.py": 2,  # the default of all, and the example of a text
    "metrology/components.py": 1,  # how wide few degrees of freedom are, in words
    "metrology/planning.py": 1,  # a rule of thumb, with its coverage
    "thermal/bounds.py": 1,  # the coverage that a simulated allowance was found for
    "thermal/exponentials.py": 1,  # efficiency of the biweight, a constant of its rule
    "bench/drawn/simulation_tables.py": 1,  # an emissivity
    "bench/folder/earlier.py": 1,  # the coverage that a share was found at
    "bench/inputs/surface.py": 2,  # emissivities of tape and paint
    "bench/terms/schema.py": 2,  # examples of an emissivity
}
PACKAGE = HERE.parent / "photolab"
NOTEBOOKS = sorted((HERE.parent / "notebooks").glob("*.ipynb"))


def test_no_coverage_is_typed_in_the_package():
    found = {
        path.relative_to(PACKAGE).as_posix(): len(TYPED.findall(path.read_text(encoding="utf-8")))
        for path in sorted(PACKAGE.rglob("*.py"))
    }
    assert {path: count for path, count in found.items() if count} == ALLOWED


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_no_coverage_is_typed_in_a_notebook(path):
    for cell in nbformat.read(path, as_version=4).cells:
        # an answer is written from results, at the coverage of its bench
        source = re.sub(r"<!-- answer -->.*<!-- end -->", "", cell.source, flags=re.DOTALL)
        assert not TYPED.findall(source), source


@pytest.mark.parametrize(
    "text", ["k = 1.959964", "0.975", "at 95 %", "(95%)", "in 95 of 100", "coverage: float = 0.95"]
)
def test_what_counts_as_typed(text):
    assert TYPED.search(text)


@pytest.mark.parametrize("text", ["10.95", "0.955", "1958", "11.96", "195 %"])
def test_what_does_not(text):
    assert not TYPED.search(text)

"""README's first screen. Oracles: the command line it prints, the drawing it shows, the notebooks that exist."""

import doctest
import io
import re
import sys
from pathlib import Path

import numpy as np
from matplotlib import image as reader
from numpy.testing import assert_array_equal

sys.path.append(str(Path(__file__).parents[1] / ".ci"))
import readme_picture

ROOT = Path(__file__).parent.parent
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_first_two_fenced_blocks_are_the_two_commands():
    blocks = re.findall(r"^```[a-z]*\n(.*?)^```", TEXT, re.M | re.S)
    setup = "python3 -m venv .venv && .venv/bin/pip install -q -c .ci/constraints.txt -e '.[lab"
    assert blocks[0] == setup + "]' && .venv/bin/photolab appendix data/demo --out reports/demo\n"
    assert blocks[1] == setup + ",test]' && .venv/bin/python -m pytest\n"


def test_the_picture_shows_the_comparison_that_is_computed():
    def pixels(data):
        return np.asarray(reader.imread(io.BytesIO(data)))

    assert_array_equal(pixels(readme_picture.PLACE.read_bytes()), pixels(readme_picture.image()))


def test_every_notebook_is_in_the_table():
    names = {p.stem for p in (ROOT / "notebooks").glob("[0-9][0-9]_*.ipynb")}
    listed = set(re.findall(r"\(notebooks/([0-9a-z_]+)\.ipynb\)", TEXT))
    assert listed == names
    assert len(names) == 15


def test_the_job_stands_in_one_paragraph_at_the_top():
    lines = [line for line in TEXT.splitlines() if line]
    assert lines[0] == "# photolab: a methods workbench for bench tests of headlamp light sources"
    assert all(
        word in lines[1] for word in ("lux meter", "uncertainty", "candela", "warm-up", "methods appendix")
    )


def test_the_snippets_for_a_notebook_print_what_stands_there():
    """Oracle: the text of README."""
    snippets = "\n".join(re.findall(r"^```python\n(.*?)^```", TEXT, re.M | re.S))
    examples = doctest.DocTestParser().get_doctest(snippets, {}, "README", None, None)
    assert len(examples.examples) > 10
    said = io.StringIO()
    assert doctest.DocTestRunner().run(examples, out=said.write).failed == 0, said.getvalue()

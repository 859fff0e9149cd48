"""environment.yml against pyproject.toml. Oracle: pyproject.toml, read by packaging's own parser."""

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
import yaml
from packaging.requirements import Requirement
from packaging.specifiers import SpecifierSet

ROOT = Path(__file__).resolve().parents[1]
# conda-forge's name -> PyPI's
CONDA_NAMES = {"seaborn-base": "seaborn", "matplotlib-base": "matplotlib", "jupyter_client": "jupyter-client"}
# not on conda-forge: they come with `pip install -e .`
THROUGH_PIP = {"ziamath", "typst"}
# taken from the `test` extra, because a reader runs the notebooks' comparison too, in two processes
ALSO = {"nbval", "pytest-xdist"}
LINE = re.compile(r"([a-z0-9][a-z0-9._-]*)((?:(?:>=|<=|==|!=|~=|=|<|>)[0-9][0-9a-z.*]*,?)*)")


def wanted(project: dict[str, Any]) -> dict[str, SpecifierSet]:
    """Return what pyproject.toml asks for: base, lab and nbval."""
    extras = project["optional-dependencies"]
    lines = [
        *project["dependencies"],
        *extras["lab"],
        *(r for r in extras["test"] if Requirement(r).name in ALSO),
    ]
    found = {Requirement(line).name.lower(): Requirement(line).specifier for line in lines}
    return {name: specifier for name, specifier in found.items() if name not in THROUGH_PIP}


def problems(environment: dict[str, Any], project: dict[str, Any]) -> list[str]:
    """Return every difference between the two files."""
    found: list[str] = []
    if environment.get("name") != project["name"]:
        found.append("name")
    if environment.get("channels") != ["conda-forge"]:
        found.append("channels")
    plain = [line for line in environment["dependencies"] if isinstance(line, str)]
    pip = [line for line in environment["dependencies"] if not isinstance(line, str)]
    if pip != [{"pip": ["-e ."]}]:
        found.append("pip section")
    conda: dict[str, str] = {}
    for line in plain:
        match = LINE.fullmatch(line)
        if match is None:
            found.append(f"line {line!r}")
            continue
        name = CONDA_NAMES.get(match[1], match[1])
        found += [f"{name} twice"] if name in conda else []
        conda[name] = match[2]
    if conda.pop("pip", None) != "":
        found.append("pip")
    if conda.pop("python", None) != "=3.11":
        found.append("python")
    need = wanted(project)
    found += [f"{name} missing" for name in sorted(need.keys() - conda.keys())]
    found += [f"{name} not asked for" for name in sorted(conda.keys() - need.keys())]
    found += [f"{n} differs" for n in sorted(need.keys() & conda.keys()) if SpecifierSet(conda[n]) != need[n]]
    return found


@pytest.fixture
def both() -> tuple[dict[str, Any], dict[str, Any]]:
    environment = yaml.safe_load((ROOT / "environment.yml").read_text(encoding="utf-8"))
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return environment, project


def test_the_two_files_agree(both):
    """Oracle: pyproject.toml."""
    assert problems(*both) == []


def test_python_of_the_environment_is_allowed(both):
    """Oracle: requires-python of pyproject.toml."""
    assert SpecifierSet(both[1]["requires-python"]).contains("3.11.0")


@pytest.mark.parametrize(
    ("old", "new", "problem"),
    [
        ("numpy>=2.0", "numpy>=1.26", "numpy differs"),
        ("numpy>=2.0", "numpi>=2.0", "numpy missing"),
        ("nbval>=0.11", "nbval >= 0.11", "line 'nbval >= 0.11'"),
        ("python=3.11", "python>=3.11", "python"),
        ("mistune>=3.0.2", "ziamath>=0.12", "ziamath not asked for"),
    ],
)
def test_a_difference_is_found(both, old, new, problem):
    """Oracle: a difference put in on purpose."""
    environment, project = both
    environment["dependencies"] = [new if line == old else line for line in environment["dependencies"]]
    assert problem in problems(environment, project)


def test_another_name_is_found(both):
    """Oracle: a name put in on purpose."""
    environment, project = both
    environment["name"] = "photolab"
    assert problems(environment, project) == ["name"]


def test_another_pip_line_is_found(both):
    """Oracle: a line put in on purpose."""
    environment, project = both
    environment["dependencies"][-1]["pip"].append("requests")
    assert problems(environment, project) == ["pip section"]

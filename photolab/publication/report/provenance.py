"""Where a report comes from: hashes of every input file and notebook, versions, protocol revision, seeds.

The record is plain JSON without a date or a path, so that two runs on the same inputs write the same bytes.
"""

import hashlib
import importlib.metadata
import json
import os
import platform
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import photolab
from photolab.bench.terms.model import Bench
from photolab.bench.terms.schema import FILES
from photolab.metrology.monte_carlo import SEED
from photolab.publication.report.report_folder import place_in
from photolab.publication.report.tables import data_hash

#: Name of the record inside a report.
FILE_NAME = "provenance.json"
_SCHEMA = 1
#: Of results.csv: 1 called the scopes these readings, these specimens, these models; 2 has families.
_FORMAT = 2
_PACKAGES = (
    "beautifulsoup4",
    "ipykernel",
    "matplotlib",
    "mistune",
    "nbclient",
    "nbformat",
    "numpy",
    "openpyxl",
    "pandas",
    "pillow",
    "scipy",
    "seaborn",
    "statsmodels",
    "typst",
    "ziamath",
)


@dataclass(frozen=True)
class MissingPart:
    """A part of a report that could not be made.

    Attributes
    ----------
    part : str
        The question it answers, or the name of the file.
    notebook : str, default ""
        File name of its notebook; empty where it comes from none.
    cell : int, default 0
        Place of the cell that stopped, all cells counted from 1; 0 where none did.
    """

    part: str
    notebook: str = ""
    cell: int = 0

    def __str__(self) -> str:
        where = f"stopped at cell {self.cell} from the top" if self.cell else "could not be made"
        return f'"{self.part}" is missing: {self.notebook or "it"} {where}.'


def file_hash(path: str | os.PathLike[str]) -> str:
    """Return the SHA-256 of a file as 64 hexadecimal digits.

    Parameters
    ----------
    path : path
        The file.

    Returns
    -------
    str
        Lower-case digits.
    """
    with Path(path).open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def record(
    bench: Bench,
    notebooks: Mapping[Path, Any],
    outputs: Mapping[str, bytes],
    missing: Iterable[MissingPart] = (),
) -> dict[str, Any]:
    """Return the record of one report.

    Parameters
    ----------
    bench : Bench
        The bench, with the hashes of the files that were read.
    notebooks : mapping
        The notebooks that were run, each with its settings, as typed; see `notebooks.settings_of`.
    outputs : mapping
        Name and content of every file of the report.
    missing : iterable of MissingPart, optional
        What could not be made; the report is complete without any.

    Returns
    -------
    dict
        JSON values only.
    """
    lost = [asdict(part) for part in missing]
    return {
        "schema": _SCHEMA,
        "format": _FORMAT,
        "complete": not lost,
        "missing": lost,
        "bench": bench.settings.name,
        "protocol_revision": bench.settings.protocol_revision,
        "data_hash": data_hash(bench.hashes),
        "inputs": dict(bench.hashes),
        "notebooks": {path.name: file_hash(path) for path in notebooks},
        "seeds": {"monte_carlo": SEED},
        "settings": {path.name: settings for path, settings in notebooks.items()},
        "photolab": photolab.__version__,
        "python": platform.python_version(),
        "packages": {name: importlib.metadata.version(name) for name in _PACKAGES},
        "outputs": {name: hashlib.sha256(content).hexdigest() for name, content in outputs.items()},
    }


def to_json(content: Mapping[str, Any]) -> str:
    """Return a record as text: sorted by name, one line end at the end.

    Parameters
    ----------
    content : mapping
        What `record` returns.

    Returns
    -------
    str
        JSON.
    """
    return json.dumps(content, indent=1, sort_keys=True, ensure_ascii=False, allow_nan=False) + "\n"


@dataclass(frozen=True)
class ReportState:
    """Whether a report is what its record says.

    Attributes
    ----------
    complete : bool
        True if every file is there and unchanged, and the bench folder, where it was looked at, is the same.
    problems : tuple of str
        One sentence for each difference.
    missing : tuple of str
        Those of them that the record itself names: parts that could not be made.
    """

    complete: bool
    problems: tuple[str, ...]
    missing: tuple[str, ...] = ()


def report_state(report: str | os.PathLike[str], bench: str | os.PathLike[str] | None = None) -> ReportState:
    """Return whether the files of a report match its record.

    Parameters
    ----------
    report : path
        Folder of the report.
    bench : path, optional
        The bench folder, to be compared too.

    Returns
    -------
    ReportState
        Complete, or incomplete with every difference named.
    """
    folder = Path(report)
    try:
        content = _read(folder)
        outputs, inputs = dict(content["outputs"]), dict(content["inputs"])
        # a report of an earlier version does not say whether it is complete: it was written only if it was
        lost = [str(MissingPart(**part)) for part in content.get("missing", [])]
        if not content.get("complete", True) and not lost:
            lost = ["a part is missing"]
    except (OSError, ValueError, KeyError, TypeError) as error:
        what = "is missing" if isinstance(error, FileNotFoundError) else "cannot be read"
        return ReportState(complete=False, problems=(f"{FILE_NAME} {what}",))
    without = [] if outputs else [f"{FILE_NAME} names no file of the report"]
    problems = [*lost, *_differences(folder, outputs), *without]
    if bench is not None:
        problems += _differences(Path(bench), inputs)
        others = sorted({*FILES} - {*inputs, "plan.csv"})  # a plan is no input of a result
        new = [name for name in others if (Path(bench) / name).is_file()]
        problems += [f"{name} is new since the report was made" for name in new]
    return ReportState(complete=not problems, problems=tuple(problems), missing=tuple(lost))


def _read(folder: Path) -> Any:
    """Return the record in a folder."""
    return json.loads((folder / FILE_NAME).read_text(encoding="utf-8"))


def listed(report: str | os.PathLike[str]) -> tuple[str, ...]:
    """Return the names of the files that the record of a report lists, itself the last.

    Parameters
    ----------
    report : path
        Folder of the report.

    Returns
    -------
    tuple of str
        Names; none where no record can be read.
    """
    try:
        return (*dict(_read(Path(report))["outputs"]), FILE_NAME)
    except (OSError, ValueError, KeyError, TypeError):
        return ()  # `report_state` says that the record cannot be read


def _differences(folder: Path, hashes: Mapping[str, str]) -> list[str]:
    """Return a sentence for each file that is missing or changed."""
    found = []
    for name, expected in sorted(hashes.items()):
        path = place_in(folder, name)
        if path is None or not path.is_file():
            found.append(f"{name} is missing")
        elif file_hash(path) != expected:
            found.append(f"{name} changed since the report was made")
    return found

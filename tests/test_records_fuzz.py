"""Damaged folders are read or refused, never a crash. Oracle: a folder may raise `RecordError` alone."""

import re

import bench_folders as bf
import numpy as np
import pytest

from photolab.bench.folder.records import RecordError, read_bench

TOKENS = [
    ",", '"', "\n", "\r", ";", "nan", "-1", "0", "1e999", "[", "]", "=", "#",
    "\x00", "OL", " ", "'", "{}", "[]",
    "true", "2025-01-01", "1979-05-27T07:32:00Z", "\u2028", "_lx", "K1", '""', "\x1b[2J",
]  # fmt: skip
NUMBER = re.compile(r"(?<=[,= ])[-0-9.]+(?=[,\n])")


def demo_files():
    """Return the first rows of every file of the demo bench, with a logger's file beside them."""
    files = {}
    for path in sorted((bf.DATA / "demo").iterdir()):
        text = path.read_text(encoding="utf-8")
        files[path.name] = "\n".join(text.split("\n")[:12]) + "\n" if path.suffix == ".csv" else text
    files["bench.toml"] += bf.LOG.replace("A1", "K1").replace("W1", "LL")
    files["log.csv"] = "t,E\n30,300\n60,299\n"
    return files


def damaged(text, rng):
    """Return a text with one insertion, deletion, lost line or changed number."""
    place, kind = int(rng.integers(len(text) + 1)), rng.integers(4)
    token = TOKENS[rng.integers(len(TOKENS))]
    if kind == 0:
        return text[:place] + token + text[place:]
    if kind == 1:
        return text[:place] + text[place + int(rng.integers(1, 12)) :]
    if kind == 2:
        lines = text.split("\n")
        del lines[rng.integers(len(lines))]
        return "\n".join(lines)
    numbers = list(NUMBER.finditer(text))
    if not numbers:
        return text
    found = numbers[rng.integers(len(numbers))]
    return text[: found.start()] + token + text[found.end() :]


@pytest.mark.parametrize("seed", range(24))
def test_a_damaged_folder_is_read_or_refused_in_printable_words(tmp_path, seed):
    rng = np.random.default_rng(seed)
    files = demo_files()
    for _ in range(1 + seed % 3):
        name = sorted(files)[rng.integers(len(files))]
        files[name] = damaged(files[name], rng)
    for name, text in files.items():
        (tmp_path / name).write_text(text, encoding="utf-8", newline="")
    try:
        said = read_bench(tmp_path).warnings
    except RecordError as error:
        said = error.problems
        assert any(not problem.is_caution for problem in said)
    assert all(str(problem).isprintable() for problem in said)

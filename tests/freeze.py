"""The net: what is published of each bench, kept, so that no number or sentence moves unseen.

``python tests/freeze.py`` writes the files of ``tests/net`` anew; do so only where a defect was mended, and say which
at the top of reports/README.md: "Changes that moved a number". `test_net.py` compares.
"""

import contextlib
import html
import io
import re
import shlex
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from shared_demo import bench_of, campaign_of, rows_of

from photolab import cli
from photolab.bench.terms.model import Bench
from photolab.publication.report import tables
from photolab.publication.report.front_page import front_page

HERE = Path(__file__).parent
NET = HERE / "net"
FOLDERS = {
    folder.name: folder
    for folder in [
        HERE.parent / "data" / "demo",
        HERE.parent / "data" / "two-readings",
        *sorted(path.parent for path in (HERE / "benches").glob("*/bench.toml")),
    ]
}
COVERAGES = (0.95, 0.99)
METER = "--reading-percent 4 --range-percent 0.5 --range 4000 --resolution 1"
TYPED = [
    f"318 334 {METER} --technology led",
    f"318 436 {METER} --technology filament,led",
    f"318 347 {METER} --technology filament,led --mountings 5",
    f"334 318 {METER} --technology led --specimen-sd-percent 4 --coverage 0.99",
    f"318 334 {METER}",
]
KEPT = ["lamp", "housing", "measurand", "baseline", "point", "instant", "scope", "value", "low", "high"]
KEPT += ["coverage_factor", "dof", "n_specimens", "n_held", "n_mountings", "verdict"]
KEPT += ["family_low", "family_high", "family_verdict", "assumed"]


def published(bench: Bench, coverage: float) -> str:
    """Return the rows and page one of a bench at a coverage, as text."""
    if coverage != bench.settings.coverage:
        bench = replace(bench, settings=replace(bench.settings, coverage=coverage))
    campaign = campaign_of(bench)
    results = rows_of(campaign)
    rows = tables.as_csv(results[KEPT])
    page = re.sub(
        r"<style.*?</style>|<img[^>]*>",
        "",
        "\n".join(front_page(campaign, results, fingerprint="")),
        flags=re.DOTALL,
    )
    page = re.sub(r"</?data[^>]*>", "", page)
    words = re.sub(r"\s*\n\s*", "\n", html.unescape(re.sub(r"<[^>]+>", "\n", page))).strip()
    return f"{rows}\n{words}\n"


def net() -> Iterator[tuple[str, str]]:
    """Yield the name and the text of each file of the net."""
    for name, folder in FOLDERS.items():
        bench = bench_of(folder)
        for coverage in COVERAGES:
            yield f"{name}-{100 * coverage:g}.txt", published(bench, coverage)
    yield "compare.txt", "\n".join(f"$ compare {line}\n{typed(line)}" for line in TYPED)


def typed(line: str) -> str:
    """Return what `photolab compare` prints, in words and as JSON."""
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        for form in ([], ["--json"]):
            cli.main(["compare", *shlex.split(line), *form])
    return printed.getvalue()


if __name__ == "__main__":
    NET.mkdir(exist_ok=True)
    for file, text in net():
        (NET / file).write_text(text, encoding="utf-8")

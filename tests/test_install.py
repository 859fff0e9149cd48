"""photolab as people install it: a wheel, a source archive, an editable checkout, each used outside the checkout.

Oracle: the checkout's own files. Each environment is new and holds photolab alone; the libraries it needs are those
of the running interpreter, lent by one path, so that nothing of the checkout is importable.
"""

import os
import re
import shutil
import signal
import subprocess
import sys
import sysconfig
import tarfile
import time
import urllib.request
import venv
import zipfile
from pathlib import Path

import pytest

from photolab.bench.folder.records import read_bench
from photolab.bench.results.evaluation import evaluate
from photolab.publication.report import tables

ROOT = Path(__file__).resolve().parents[1]
BUILD = "import sys; from setuptools import build_meta; print(build_meta.build_{}(sys.argv[1]))"


def quiet(command: list[object], **more: object) -> subprocess.CompletedProcess[str]:
    """Run a command outside the checkout, warnings and Python's own settings as a user has them."""
    names = ("PYTHONPATH", "PYTHONWARNINGS", "PHOTOLAB_BENCH")
    environment = {name: value for name, value in os.environ.items() if name not in names}
    return subprocess.run(
        [str(part) for part in command], env=environment, capture_output=True, text=True, timeout=300, **more
    )


def built(kind: str, source: Path, out: Path) -> Path:
    """Build a wheel or a source archive from a copy, so that the tree stays as it is."""
    done = quiet([sys.executable, "-c", BUILD.format(kind), out], cwd=source)
    assert done.returncode == 0, done.stderr[-2000:]
    return out / done.stdout.splitlines()[-1]


def installed(place: Path, *what: object) -> Path:
    """Install into a new environment that borrows the running interpreter's libraries; return its photolab."""
    venv.create(place, symlinks=os.name != "nt")
    paths = {"base": str(place), "platbase": str(place)}
    scheme = "venv" if "venv" in sysconfig.get_scheme_names() else sysconfig.get_default_scheme()
    libraries, scripts = (Path(sysconfig.get_path(name, scheme, paths)) for name in ("purelib", "scripts"))
    (libraries / "lent.pth").write_text(sysconfig.get_path("purelib") + "\n", encoding="utf-8")
    pip = [sys.executable, "-m", "pip", "--python", scripts / "python", "install", "-q"]
    done = quiet([*pip, "--no-deps", "--no-index", "--no-build-isolation", *what])
    assert done.returncode == 0, done.stderr[-2000:]
    return scripts / "photolab"


def answers(address: str) -> bool:
    """Whether a server answers within a minute; it prints its address before it listens."""
    for _ in range(120):
        try:
            with urllib.request.urlopen(address, timeout=60) as answer:
                return answer.status == 200
        except OSError:
            time.sleep(0.5)
    return False


def committed(under: str) -> dict[str, bytes]:
    """Return the files of a folder of the checkout, without what running leaves behind."""
    return {p.name: p.read_bytes() for p in (ROOT / under).iterdir() if p.is_file()}


@pytest.fixture(scope="module")
def source(tmp_path_factory):
    place = tmp_path_factory.mktemp("source") / "copy"
    aside = shutil.ignore_patterns(
        ".*", "tests", "reports", "build", "*.egg-info", "__pycache__", "two-readings"
    )
    shutil.copytree(ROOT, place, ignore=aside)
    return place


@pytest.fixture(scope="module")
def wheel(source, tmp_path_factory):
    return built("wheel", source, tmp_path_factory.mktemp("wheel"))


@pytest.fixture(scope="module")
def photolab(wheel, tmp_path_factory):
    return installed(tmp_path_factory.mktemp("wheel-environment") / "venv", wheel)


def test_the_wheel_carries_every_module_the_notebooks_and_the_demo(wheel):
    with zipfile.ZipFile(wheel) as archive:
        modules = {str(path.relative_to(ROOT)) for path in (ROOT / "photolab").rglob("*.py")}
        assert {n for n in archive.namelist() if n.endswith(".py")} == modules
        for folder, inside in (
            ("notebooks", "photolab/notebooks/"),
            ("data/demo", "photolab/demo/"),
            ("data/studies", "photolab/studies/"),
        ):
            found = {n[len(inside) :]: archive.read(n) for n in archive.namelist() if n.startswith(inside)}
            assert found == committed(folder)


def test_the_source_archive_builds_the_same_wheel(source, wheel, tmp_path):
    archive = built("sdist", source, tmp_path)
    with tarfile.open(archive) as packed:
        packed.extractall(tmp_path, filter="data")
    again = built("wheel", tmp_path / archive.name.removesuffix(".tar.gz"), tmp_path)
    with zipfile.ZipFile(again) as one, zipfile.ZipFile(wheel) as other:
        assert {n: one.read(n) for n in one.namelist() if not n.endswith("RECORD")} == {
            n: other.read(n) for n in other.namelist() if not n.endswith("RECORD")
        }


def test_a_wheel_does_the_whole_job(photolab, tmp_path):
    """Oracle: the committed results of the demo."""
    steps = (
        ["compare", 318, 334, "--reading-percent", 4, "--technology", "led"],
        ["new", "mine"],
        ["new", "invented", "--demo"],
        ["check", "invented"],
        ["appendix", "invented", "--out", "out"],
    )
    for step in steps:
        done = quiet([photolab, *step], cwd=tmp_path)
        assert done.returncode == 0, (step, done.stderr[-2000:])
    told = (tmp_path / "out" / "results.csv").read_text(encoding="utf-8")
    assert told == (ROOT / "reports" / "demo" / "results.csv").read_text(encoding="utf-8")
    again = quiet([photolab, "new", "invented", "--demo"], cwd=tmp_path)
    assert again.returncode == 2
    assert "not an empty folder" in again.stderr


def test_a_wheel_publishes_a_bench_of_ones_own(photolab, tmp_path):
    """Oracle: the same folder evaluated by the checkout's package."""
    bench = tmp_path / "garage"
    shutil.copytree(ROOT / "data" / "two-readings", bench)
    done = quiet([photolab, "appendix", "garage"], cwd=tmp_path)
    assert done.returncode == 0, done.stderr[-2000:]
    told = (tmp_path / "reports" / "garage" / "results.csv").read_text(encoding="utf-8")
    assert told == tables.as_csv(tables.results(evaluate(read_bench(bench))))


@pytest.mark.skipif(os.name == "nt", reason="Ctrl-C is sent as on Linux")
def test_a_wheel_opens_jupyterlab(photolab, tmp_path):
    """Oracle: a server that answers, and working copies with the bench typed in."""
    pytest.importorskip("jupyterlab")
    shutil.copytree(ROOT / "data" / "two-readings", tmp_path / "garage")
    command = [photolab, "open", "garage", "--no-browser", "--", "--allow-root", "--ServerApp.port=0"]
    with subprocess.Popen(
        command, cwd=tmp_path, stderr=subprocess.PIPE, text=True, start_new_session=True
    ) as lab:
        assert lab.stderr is not None
        try:
            found = (re.search(r"http://127\.0\.0\.1:\d+\S*", line) for line in lab.stderr)
            address = next(hit[0] for hit in found if hit)
            assert answers(address)
        finally:
            os.killpg(lab.pid, signal.SIGINT)
            lab.stderr.read()
    copies = sorted(path.name for path in (tmp_path / "garage-notebooks").glob("*.ipynb"))
    assert copies == sorted(committed("notebooks"))
    assert "garage" in (tmp_path / "garage-notebooks" / copies[0]).read_text(encoding="utf-8")


def test_an_editable_install_finds_them_beside_the_package(source, tmp_path):
    photolab = installed(tmp_path / "venv", "-e", source)
    script = (
        "from photolab.publication.report import notebooks as n; print(n.demo_folder(), n.notebooks_folder())"
    )
    found = quiet([photolab.with_name("python"), "-c", script], cwd=tmp_path)
    assert found.stdout.split() == [str(source / "data" / "demo"), str(source / "notebooks")], found.stderr
    done = quiet([photolab, "check", source / "data" / "demo"], cwd=tmp_path)
    assert done.returncode == 0, done.stderr

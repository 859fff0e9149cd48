"""`photolab open`: working copies.

Oracle: the committed notebooks' bytes; a person's own copy is never written over.
"""

import contextlib
import json
import os
import shutil
import signal
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import nbformat
import pytest
from jupyter_client import BlockingKernelClient
from nbformat.v4 import new_code_cell, new_notebook
from test_jupyterlab import free_port, wait_for

from photolab import cli
from photolab.errors import PhotolabError, RecordError
from photolab.publication.commands import workplace
from photolab.publication.report.notebooks import notebooks_folder

DATA = Path(__file__).parent.parent / "data"


def test_copies_stand_in_a_folder_of_their_own(tmp_path):
    place = workplace.working_copies(DATA / "two-readings", tmp_path / "mine")
    names = sorted(path.name for path in place.iterdir())
    assert names == sorted(path.name for path in notebooks_folder().glob("*.ipynb"))


def test_a_copy_names_the_bench_and_shows_nothing_of_another(tmp_path):
    """Oracle: the text of the committed notebooks, which is that of the demo."""
    place = workplace.working_copies(DATA / "two-readings", tmp_path / "mine")
    for path in place.glob("*.ipynb"):
        cells = nbformat.read(path, as_version=4).cells
        code = [cell for cell in cells if cell.cell_type == "code"]
        assert not [cell for cell in code if cell.outputs or cell.execution_count]
        settings = [cell.source for cell in code if "parameters" in cell.metadata.get("tags", [])]
        assert f"bench = {str(DATA.resolve() / 'two-readings')!r}" in settings[0]
        for cell in cells:
            assert "answer" not in cell.metadata.get("tags", []) or "Not run yet" in cell.source
            assert not cell.get("attachments")


def test_copies_are_run_when_asked(tmp_path, monkeypatch, capsys):
    """Oracle: two toy notebooks, one of which stops."""
    folder = tmp_path / "notebooks"
    folder.mkdir()
    settings = new_code_cell("bench = None", metadata={"tags": ["parameters"]})
    for name, source in (("00_start_here", "len(bench) > 4"), ("01_stops", "1 / 0")):
        nbformat.write(new_notebook(cells=[settings, new_code_cell(source)]), folder / f"{name}.ipynb")
    monkeypatch.setattr(workplace, "notebooks_folder", lambda: folder)
    place = workplace.working_copies(DATA / "two-readings", tmp_path / "mine", run=True)
    ran, stopped = (nbformat.read(path, as_version=4) for path in sorted(place.glob("*.ipynb")))
    assert ran.cells[1].outputs[0].data["text/plain"] == "True"
    assert stopped.cells[1].outputs == []
    assert "01_stops.ipynb: cell 2 stopped: ZeroDivisionError" in capsys.readouterr().err


def test_a_persons_own_copy_is_left_as_it_is(tmp_path):
    place = workplace.working_copies(DATA / "two-readings", tmp_path / "mine")
    (place / workplace.FIRST).write_text("my notes", encoding="utf-8")
    workplace.working_copies(DATA / "two-readings", tmp_path / "mine")
    assert (place / workplace.FIRST).read_text(encoding="utf-8") == "my notes"


def test_a_faulty_bench_is_refused_before_anything_is_copied(tmp_path):
    bad = tmp_path / "bad"
    bad.mkdir()
    with pytest.raises(RecordError, match=r"\[fault 3\]"):
        workplace.working_copies(bad, tmp_path / "mine")
    assert not (tmp_path / "mine").exists()


def test_lab_is_started_on_the_bench_with_the_address_of_this_machine_only(tmp_path, monkeypatch):
    calls = {}

    class Lab(contextlib.nullcontext):
        def wait(self):
            return 5

    def start(command, *, env):
        calls.update(command=command, bench=env["PHOTOLAB_BENCH"])
        return Lab(Lab())

    monkeypatch.setattr(workplace.subprocess, "Popen", start)
    options = ["--allow-root", "--port=9"]
    status = workplace.open_lab(DATA / "two-readings", work=tmp_path / "mine", browser=False, options=options)
    assert status == 5
    assert calls["bench"] == str((DATA / "two-readings").resolve())
    assert "--ServerApp.ip=127.0.0.1" in calls["command"]
    assert str(tmp_path / "mine" / workplace.FIRST) in calls["command"]
    assert calls["command"][-3:] == ["--no-browser", *options]


def test_a_link_in_place_of_a_copy_is_not_followed(tmp_path):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / workplace.FIRST).symlink_to(tmp_path / "elsewhere")
    workplace.working_copies(DATA / "two-readings", tmp_path / "mine")
    assert not (tmp_path / "elsewhere").exists()


def test_the_bench_folder_is_no_place_for_the_copies(tmp_path):
    bench = shutil.copytree(DATA / "two-readings", tmp_path / "bench")
    before = sorted(bench.iterdir())
    with pytest.raises(ValueError, match="work must be another folder than the bench; got 'bench'"):
        workplace.working_copies(bench, tmp_path / "." / "bench")
    assert sorted(bench.iterdir()) == before


@pytest.mark.parametrize("options", [[], ["--port=9"]])
def test_root_is_told_what_to_do(tmp_path, monkeypatch, options):
    monkeypatch.setattr(workplace.os, "geteuid", lambda: 0, raising=False)
    words = r"Run photolab open as an ordinary user; .* type: photolab open bench -- --allow-root$"
    with pytest.raises(PhotolabError, match=words):
        workplace.open_lab(Path("bench"), work=tmp_path / "mine", options=options)
    assert not (tmp_path / "mine").exists()


# ---- a real JupyterLab, started in a bench folder that is out to harm

STRANGE = (
    "jupyterlab",
    "jupyter_server",
    "ipykernel_launcher",
    "ipykernel",
    "numpy",
    "jupyter_server_config",
)


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    """Start it with arguments of its own, then a kernel at the first notebook."""
    place = tmp_path_factory.mktemp("lab")
    bench, work = shutil.copytree(DATA / "two-readings", place / "bench"), place / "bench-notebooks"
    work.mkdir()
    for folder, name in ((bench, name) for name in STRANGE):
        (folder / f"{name}.py").write_text(f"open({str(place / 'taken')!r}, 'a').write({name!r})")
    shutil.copyfile(bench / "numpy.py", work / "numpy.py")
    port = free_port()
    environment = {k: v for k, v in os.environ.items() if k not in {"PYTHONWARNINGS", "PYTHONSAFEPATH"}}
    environment |= {f"JUPYTER_{key}_DIR": str(place / key) for key in ("CONFIG", "DATA", "RUNTIME")}
    # a shell lets what it starts with & ignore Ctrl-C
    heeding = (
        "import os, signal as s, sys; s.signal(s.SIGINT, s.SIG_DFL); os.execv(sys.argv[1], sys.argv[1:])"
    )
    command = [sys.executable, "-P", "-c", heeding, sys.executable]
    command += ["-m", "photolab", "open", ".", "--no-browser", "--"]
    command += ["--allow-root", f"--ServerApp.port={port}", "--IdentityProvider.token=word"]
    ours, terminal = os.openpty()
    with (place / "log").open("w") as log:
        server = subprocess.Popen(
            command,
            cwd=bench,
            env=environment,
            stdin=terminal,
            stdout=log,
            stderr=log,
            start_new_session=True,
        )
        try:
            wait_for(f"http://127.0.0.1:{port}/api", place / "log")
            yield place, server, f"http://127.0.0.1:{port}/api"
        finally:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(server.pid, signal.SIGKILL)
            server.wait()
            os.close(ours)
            os.close(terminal)


def answer_of_kernel(place, address, code):
    """Start a kernel at the first notebook and return what its code prints."""
    wanted = {"path": workplace.FIRST, "type": "notebook", "name": "", "kernel": {"name": "python3"}}
    headers = {"Authorization": "token word", "Content-Type": "application/json"}
    request = urllib.request.Request(f"{address}/sessions", json.dumps(wanted).encode(), headers)
    with urllib.request.urlopen(request, timeout=30) as reply:
        number = json.load(reply)["kernel"]["id"]
    client = BlockingKernelClient(connection_file=str(place / "RUNTIME" / f"kernel-{number}.json"))
    client.load_connection_file()
    client.start_channels()
    printed = []
    try:
        client.wait_for_ready(timeout=30)
        client.execute_interactive(
            code, output_hook=lambda message: printed.append(message["content"].get("text", "")), timeout=30
        )
    finally:
        client.stop_channels()
    return "".join(printed)


@pytest.mark.skipif(sys.platform == "win32", reason="signals of a process group")
def test_jupyterlab_takes_no_module_from_the_current_folder_and_ends_with_ctrl_c(lab):
    """Oracle: modules of well-known names that leave a trace; the clock."""
    place, server, address = lab
    code = "import numpy, os; print(os.getpid(), os.getcwd(), os.environ['PHOTOLAB_BENCH'], numpy.__file__)"
    pid, folder, bench, file = answer_of_kernel(place, address, code).split()
    assert (folder, bench) == (str(place / "bench-notebooks"), str(place / "bench"))
    assert "site-packages" in file
    assert not (place / "taken").exists()

    start = time.monotonic()
    os.killpg(server.pid, signal.SIGINT)
    assert server.wait(10) == 130
    assert time.monotonic() - start < 2
    while time.monotonic() - start < 2 and Path(f"/proc/{pid}").exists():
        time.sleep(0.05)
    assert not Path(f"/proc/{pid}").exists()
    said = (place / "log").read_text(encoding="utf-8")
    assert "Traceback" not in said
    assert "Stopped by Ctrl-C." in said


def test_without_jupyterlab_it_says_what_to_type(tmp_path, monkeypatch):
    monkeypatch.setattr(workplace, "find_spec", lambda name: None)
    with pytest.raises(PhotolabError, match="JupyterLab is not installed; type: pip install"):
        workplace.open_lab(DATA / "two-readings", work=tmp_path)


@pytest.mark.parametrize("asked", [True, False])
def test_the_command_runs_copies_only_when_asked(tmp_path, monkeypatch, asked):
    """Oracle: what was typed."""
    seen = {}
    monkeypatch.setattr(workplace, "open_lab", lambda folder, **options: seen.update(options) or 0)
    assert cli.main(["open", str(DATA / "two-readings"), *["--run"][:asked]]) == 0
    assert seen["run"] is asked

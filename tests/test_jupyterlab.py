"""Notebook 01 in a real JupyterLab in a headless browser.

Oracle: the committed outputs, the error outputs JupyterLab marks itself, and the addresses the browser asked
for.
"""

import contextlib
import os
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import nbformat
import pytest

from photolab.publication.report.notebooks import canonical_text, notebooks_folder

CHROMIUM = Path("/usr/bin/chromium")
NAME = "01_within_meter_error.ipynb"
ACCEPT = ".jp-Dialog button.jp-mod-accept"
BROWSER = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
ERROR = '.jp-OutputArea-output[data-mime-type="application/vnd.jupyter.error"]'
ALL_RUN = """([n, error]) => {
  if (document.querySelector(error)) return true;
  const prompts = [...document.querySelectorAll('.jp-CodeCell .jp-InputPrompt')]
    .map(e => e.textContent.trim());
  return prompts.length === n && prompts.every((text, i) => text === `[${i + 1}]:`);
}"""
READY = "() => document.body.innerText.includes('(ipykernel) | Idle')"  # the kernel has answered
MOVED = """before => {
  const now = document.querySelector('.widget-interact .jp-OutputArea').innerText;
  return now.trim() && now !== before;
}"""
STARTED = """() => {
  const first = document.querySelector('.jp-CodeCell .jp-InputPrompt');
  return first && first.textContent.trim() !== '[ ]:';
}"""


def missing() -> str:
    """Return why the test cannot run; empty if it can."""
    if not CHROMIUM.exists():
        return f"no Chromium at {CHROMIUM}"
    try:
        import jupyterlab  # noqa: F401
        import playwright  # noqa: F401
    except ImportError as error:
        return f"{error.name} is not installed"
    return ""


@pytest.fixture
def browser_needed():
    """Skip with a reason where there is no browser, or fail where one is required."""
    reason = missing()
    if reason and os.environ.get("PHOTOLAB_REQUIRE_BROWSER") == "1":
        pytest.fail(f"PHOTOLAB_REQUIRE_BROWSER=1, but {reason}")
    if reason:
        pytest.skip(reason)


def without_outputs(source: Path, copy: Path) -> int:
    """Write a copy of a notebook that was never run; return the number of its code cells."""
    notebook = nbformat.read(source, as_version=4)
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    for cell in code:
        cell.outputs, cell.execution_count = [], None
    nbformat.write(notebook, copy)
    return len(code)


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


@contextlib.contextmanager
def jupyterlab(work: Path):
    """Start JupyterLab on a folder and give its address."""
    port = free_port()
    places = {key: str(work / f".{key.lower()}") for key in ("CONFIG", "DATA", "RUNTIME")}
    environment = {k: v for k, v in os.environ.items() if k not in {"PYTHONWARNINGS", "PHOTOLAB_BENCH"}}
    environment |= {f"JUPYTER_{key}_DIR": value for key, value in places.items()} | {"HOME": str(work)}
    options = [
        f"--ServerApp.port={port}",
        "--ServerApp.ip=127.0.0.1",
        f"--ServerApp.root_dir={work}",
        "--IdentityProvider.token=",
        "--ServerApp.password=",
        "--LabApp.news_url=",
        "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
    ]
    choices = {
        "apputils-extension/notification": '{"fetchNews": "false"}',
        "notebook-extension/tracker": '{"windowingMode": "none"}',  # all cells are in the page at once
    }
    for name, choice in choices.items():
        place = work / ".settings" / "@jupyterlab" / f"{name}.jupyterlab-settings"
        place.parent.mkdir(parents=True)
        place.write_text(choice, encoding="utf-8")
    environment["JUPYTERLAB_SETTINGS_DIR"] = str(work / ".settings")
    command = [sys.executable, "-m", "jupyter", "lab", "--no-browser", "--allow-root", *options]
    with (work / "server.log").open("w", encoding="utf-8") as log:
        server = subprocess.Popen(command, env=environment, stdout=log, stderr=subprocess.STDOUT)
        try:
            wait_for(f"http://127.0.0.1:{port}/api", work / "server.log")
            yield f"http://127.0.0.1:{port}"
        finally:
            server.terminate()
            server.wait(30)


def wait_for(address: str, log: Path) -> None:
    """Wait until the server answers."""
    deadline = time.monotonic() + 90
    while time.monotonic() < deadline:
        with contextlib.suppress(urllib.error.URLError, OSError), urllib.request.urlopen(address, timeout=2):
            return
        time.sleep(0.2)
    pytest.fail(f"JupyterLab did not start:\n{log.read_text(encoding='utf-8')[-2000:]}")


def run_all(page, address: str, cells: int, name: str = NAME) -> None:
    """Open a notebook and run all its cells through the menu."""
    page.goto(f"{address}/lab/tree/{name}?reset")
    page.wait_for_selector(".jp-NotebookPanel .jp-Cell", timeout=90_000)
    wait_until(page, READY, None)
    for _ in range(3):  # on a busy machine the first try can meet the dialog instead
        page.click("text=Run >> nth=0")
        page.click('.lm-Menu-itemLabel:text-is("Run All Cells")')
        page.wait_for_timeout(3000)
        wait_until(page, READY, None)
        if page.evaluate(STARTED):
            break
    wait_until(page, ALL_RUN, [cells, ERROR])
    wait_until(page, READY, None)


def wait_until(page, condition: str, argument, *, seconds: float = 120.0) -> None:
    """Wait for a condition in the page, accepting a dialog on the way."""
    deadline = time.monotonic() + seconds
    while page.locator(ACCEPT).count() or not page.evaluate(condition, argument):
        if page.locator(ACCEPT).count():
            page.locator(ACCEPT).first.click()
        if time.monotonic() > deadline:
            pytest.fail(f"not reached in {seconds} s: {page.locator('body').inner_text()[-1500:]}")
        page.wait_for_timeout(200)


def save(page, path: Path) -> None:
    """Save the notebook and wait until the file has changed."""
    before = path.stat().st_mtime_ns
    page.keyboard.press("Escape")
    page.keyboard.press("Control+s")
    deadline = time.monotonic() + 30
    while path.stat().st_mtime_ns == before and time.monotonic() < deadline:
        page.wait_for_timeout(100)
    page.wait_for_timeout(300)


def test_notebook_runs_in_jupyterlab(browser_needed, tmp_path):
    """Oracle: the committed notebook; nothing is asked of any other machine."""
    from playwright.sync_api import sync_playwright

    committed = notebooks_folder() / NAME
    copy = tmp_path / NAME
    cells = without_outputs(committed, copy)
    asked: list[str] = []
    with jupyterlab(tmp_path) as address, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=str(CHROMIUM), headless=True, args=BROWSER)
        page = browser.new_page(viewport={"width": 1280, "height": 1500})
        page.on("request", lambda request: asked.append(request.url))
        run_all(page, address, cells)
        errors = page.locator(ERROR).all_inner_texts()
        page.evaluate("document.querySelector('.jp-WindowedPanel-outer')?.scrollTo(0, 0)")
        page.wait_for_timeout(300)
        page.screenshot(path=str(tmp_path / "screen.png"))
        save(page, copy)
        browser.close()
    assert errors == []
    assert len(asked) > 10
    local = (f"{address}/", address.replace("http", "ws") + "/", "data:", "blob:", "attachment:")
    assert [url for url in asked if not url.startswith(local)] == []
    assert canonical_text(nbformat.read(copy, as_version=4)) == committed.read_text(encoding="utf-8")
    assert (tmp_path / "screen.png").stat().st_size > 10_000


def test_sliders_move_the_answer(browser_needed, tmp_path):
    """Oracle: what the last cell says before the first slider is moved by ten steps."""
    from playwright.sync_api import sync_playwright

    paths = sorted(notebooks_folder().glob("*.ipynb"))
    sources = [path for path in paths if "sliders(" in path.read_text("utf-8")]
    assert [path.name[:2] for path in sources] == ["01", "04", "06", "08", "12", "13"]
    cells = {path.name: without_outputs(path, tmp_path / path.name) for path in sources}
    with jupyterlab(tmp_path) as address, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=str(CHROMIUM), headless=True, args=BROWSER)
        for name, count in cells.items():
            page = browser.new_page(viewport={"width": 1280, "height": 1500})
            run_all(page, address, count, name)
            assert page.locator(ERROR).all_inner_texts() == [], name
            handles = page.locator(".widget-interact .noUi-handle")
            handles.first.wait_for(timeout=30_000)
            assert 1 <= handles.count() <= 4, name
            answer = page.locator(".widget-interact .jp-OutputArea")
            before = answer.inner_text()
            now, most = (handles.first.get_attribute(f"aria-{what}") for what in ("valuenow", "valuemax"))
            handles.first.focus()
            for _ in range(10):
                page.keyboard.press("ArrowLeft" if float(now) >= float(most) else "ArrowRight")
            wait_until(page, MOVED, before)
            assert before.strip(), name
            assert page.locator(ERROR).all_inner_texts() == [], name
            page.close()
        browser.close()


@pytest.mark.parametrize(("required", "outcome"), [("1", "Failed"), ("0", "Skipped")])
def test_no_browser_is_said(monkeypatch, required, outcome, request):
    """Oracle: a browser that is not there."""
    monkeypatch.setattr(sys.modules[__name__], "CHROMIUM", Path("/nonexistent/chromium"))
    monkeypatch.setenv("PHOTOLAB_REQUIRE_BROWSER", required)
    with pytest.raises(BaseException, match="no Chromium at /nonexistent/chromium") as caught:
        request.getfixturevalue("browser_needed")
    assert type(caught.value).__name__ == outcome

"""Every notebook in a real JupyterLab on a bench folder: run, one thing typed into its law, run again, what moved.

Run it as ``python tests/benchmarks/notebooks_in_jupyterlab.py BENCH OUT [NUMBER …]``. It needs Chromium; OUT gets the
working copies, two screenshots a notebook and a table of what moved. It ends with 1 where nothing did.
"""

import sys
from pathlib import Path

import nbformat
from playwright.sync_api import sync_playwright

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from test_jupyterlab import BROWSER, CHROMIUM, ERROR, READY, jupyterlab, run_all, wait_until

from photolab.publication.commands.workplace import working_copies

TYPED = {  # number of the notebook: text of its law cell, what is typed behind it
    "00": ('initial["dark_lx"].fillna(0.0)', " * 9"),
    "01": ('term = limits(("range term", meter), range_percent / 100 * ', "2 * "),
    "02": ("reading_sd = np.sqrt(", "2 * "),
    "03": ("size = ", "1.1 * "),
    "04": ("\nvalue = ", "1.1 * "),
    "05": ("factors[name] = np.trapezoid(source * eye", "**1.1"),
    "06": ("return at.light * ", "1.1 * "),
    "07": ("falls = level(at) - level(at + 0.1", "5"),
    "08": ("left = attempt(WarmUp.remaining, fit, 60.0", " / 2"),
    "09": ("um**-5", ".1"),
    "10": ("difference = ", "1.1 * "),
    "11": ("resolved=t > ", "2 * "),
    "12": ("\n    own = ", "2 * "),
    "13": ("difference = ", "1.1 * "),
    "14": ("m = ", "2 * "),
}
CURSOR = """text => {
  for (const content of document.querySelectorAll('.jp-CodeCell .cm-content')) {
    const view = (content.cmView ?? content.cmTile).view;
    const at = view.state.doc.toString().indexOf(text);
    if (at < 0) continue;
    view.dispatch({selection: {anchor: at + text.length}, scrollIntoView: true});
    view.focus();
    return true;
  }
  return false;
}"""
SHOWN = """() => [...document.querySelectorAll('.jp-CodeCell')].map(cell =>
  [...cell.querySelectorAll('.jp-OutputArea-output')].map(one => one.innerText).join('\\n'))"""
AGAIN = """n => {
  const now = [...document.querySelectorAll('.jp-CodeCell .jp-InputPrompt')].map(e => e.textContent.trim());
  return now.every((text, i) => text === `[${n + i + 1}]:`) || !!document.querySelector(
    '.jp-OutputArea-output[data-mime-type="application/vnd.jupyter.error"]');
}"""


def moved(before: list[str], after: list[str]) -> list[str]:
    """Return the lines that are shown now and were not before, with the place of their cell."""
    found = []
    for place, (old, new) in enumerate(zip(before, after, strict=True), start=1):
        was = set(old.splitlines())
        found += [
            f"[{place}] {line.strip()}" for line in new.splitlines() if line.strip() and line not in was
        ]
    return found


def one_notebook(page, address: str, path: Path, out: Path) -> tuple[list[str], list[str]]:
    """Run a notebook, type into its law, run it again; return its errors and the lines that moved."""
    text, typed = TYPED[path.name[:2]]
    code = [c for c in nbformat.read(path, as_version=4).cells if c.cell_type == "code"]
    places = [c.metadata.get("tags", []) for c in code if text in c.source]
    assert len(places) == 1, f"{path.name}: {text!r} stands in {len(places)} cells"
    assert "law" in places[0], f"{path.name}: {text!r} stands in no law cell"
    run_all(page, address, len(code), path.name)
    errors = page.locator(ERROR).all_inner_texts()
    before = page.evaluate(SHOWN)
    panel = page.locator(".jp-NotebookPanel").first
    panel.screenshot(path=str(out / f"{path.stem}_run.png"))
    assert page.evaluate(CURSOR, text), f"{path.name}: no editor shows {text!r}"
    page.keyboard.type(typed)
    page.keyboard.press("Escape")
    page.click('.lm-MenuBar-itemLabel:text-is("Run")')
    page.click('.lm-Menu-itemLabel:text-is("Run All Cells")')
    wait_until(page, AGAIN, len(code))
    wait_until(page, READY, None)
    lines = moved(before, page.evaluate(SHOWN))
    page.screenshot(path=str(out / f"{path.stem}_changed.png"))
    return [*errors, *page.locator(ERROR).all_inner_texts()], lines


def main(bench: str, place: str, *numbers: str) -> int:
    """Go through the notebooks and print the table."""
    out = Path(place).resolve()
    copies = working_copies(Path(bench), out)
    failed = 0
    with jupyterlab(copies) as address, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=str(CHROMIUM), headless=True, args=BROWSER)
        for path in sorted(copies.glob("[0-9][0-9]_*.ipynb")):
            if numbers and path.name[:2] not in numbers:
                continue
            page = browser.new_page(viewport={"width": 1100, "height": 12000})
            errors, lines = one_notebook(page, address, path, out)
            text, typed = TYPED[path.name[:2]]
            failed += bool(errors) or not lines
            print(f"| {path.stem} | {(text + '⟨' + typed + '⟩').strip()} | {len(lines)} lines: {lines[:2]} |")
            print(*errors, sep="\n", end="", flush=True)
            page.close()
        browser.close()
    return int(failed > 0)


if __name__ == "__main__":
    raise SystemExit(main(*sys.argv[1:]))

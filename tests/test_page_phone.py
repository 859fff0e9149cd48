"""The page in a browser: a phone, dark colours, the keyboard. Oracle: what a real browser lays out."""

import re

import pytest
from shared_demo import kept, rows_of
from test_jupyterlab import BROWSER, CHROMIUM, browser_needed

from photolab.publication.report.front_page import front_page
from photolab.publication.report.lamp_parts import lamp_parts
from photolab.publication.report.page import Section, clean_table, markdown, page
from photolab.publication.report.page_one import PageOne

__all__ = ["browser_needed"]

WIDE = "<table><tr>" + "".join(f"<th>column {n}</th>" for n in range(20)) + "</tr></table>"
LONG = "`" + "x" * 300 + "` " + "y" * 300 + "\n\n$$\n" + " + ".join(f"a_{n}" for n in range(40)) + "\n$$\n"
BEYOND = """() => [...document.querySelectorAll('body *')].filter(e => !e.closest('.scroll, svg')
  && e.getBoundingClientRect().right > innerWidth + 1).map(e => e.outerHTML.slice(0, 80))"""
SCROLLS = """() => [...document.querySelectorAll('body *')].filter(e => e.scrollWidth > e.clientWidth + 1
  && ['auto', 'scroll'].includes(getComputedStyle(e).overflowX)).map(e => {
    e.focus(); return [document.activeElement === e, parseFloat(getComputedStyle(e).borderRightWidth) > 0,
      !!e.getAttribute('aria-label')]; })"""
COLOURS = "() => ['color', 'backgroundColor'].map(c => getComputedStyle(document.body)[c])"


@pytest.fixture(scope="module")
def whole():
    campaign = kept("feet-and-commas")
    rows = rows_of(campaign)
    more = Section("Wide", (clean_table(WIDE), markdown(LONG)))
    return page(
        "T", front_page(campaign, rows, fingerprint="f" * 64), [lamp_parts(PageOne(campaign, rows)), more]
    )


@pytest.fixture(scope="module")
def browser():
    if not CHROMIUM.exists():
        yield None  # said, or refused, by the fixture of each test
        return
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        yield play.chromium.launch(executable_path=str(CHROMIUM), headless=True, args=BROWSER)


@pytest.mark.usefixtures("browser_needed")
@pytest.mark.parametrize("width", [390, 1280])
def test_nothing_is_cut_off_and_what_scrolls_can_be_focused(browser, whole, width):
    """Oracle: where the browser puts every element; which element has the focus after it was given."""
    screen = browser.new_page(viewport={"width": width, "height": 800})
    screen.set_content(whole)
    screen.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    assert screen.evaluate("document.documentElement.scrollWidth") <= width
    assert screen.evaluate(BEYOND) == []
    scrolls = screen.evaluate(SCROLLS)
    assert len(scrolls) >= 1
    assert all(all(one) for one in scrolls)
    screen.close()


@pytest.mark.usefixtures("browser_needed")
def test_dark_colours_where_they_are_preferred(browser, whole):
    """Oracle: the contrast of WCAG 2, from memory: 4.5 to 1 for text; dark text on light, and light on dark."""
    light = []
    for scheme in ("light", "dark"):
        screen = browser.new_page(color_scheme=scheme)
        screen.set_content(whole)
        text, ground = (luminance(colour) for colour in screen.evaluate(COLOURS))
        assert (max(text, ground) + 0.05) / (min(text, ground) + 0.05) >= 4.5
        light.append(ground > text)
        screen.close()
    assert light == [True, False]


def luminance(colour):
    """Return the relative luminance of "rgb(r, g, b)"."""
    parts = [int(x) / 255.0 for x in re.findall(r"\d+", colour)[:3]]
    linear = [x / 12.92 if x <= 0.04045 else ((x + 0.055) / 1.055) ** 2.4 for x in parts]
    return sum(a * b for a, b in zip((0.2126, 0.7152, 0.0722), linear, strict=True))

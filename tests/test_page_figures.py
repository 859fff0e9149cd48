"""The pictures beside the page. Oracle: a second reader of images, the letters of the figures, bytes of two runs."""

import io
import re

import pytest
from matplotlib.text import Text
from PIL import Image
from shared_demo import demo_campaign, demo_rows, kept, rows_of

from photolab.publication.figures.common import new_figure, picture
from photolab.publication.report.lamp_parts import _drawn, figure_files, file_name
from photolab.publication.report.page_one import PageOne, after_heat_figure, drawn


def files_of(name):
    campaign = kept(name)
    return figure_files(PageOne(campaign, rows_of(campaign)))


@pytest.fixture(scope="module")
def two():
    return files_of("two-clear")


def test_names_say_what_is_shown_and_each_is_png_and_svg(two):
    """Oracle: the names; the bench has no record and no name of its one housing."""
    names = ["light-at-first", "light-at-first-01-1920x1080", "all-lamps-at-first", "budget-01-dune-led"]
    assert list(two) == [f"figures/{name}.{kind}" for name in names for kind in ("png", "svg")]
    assert file_name("warm-up", 2, '../<b>"', "É x") == "warm-up-02-b-x"


def test_the_same_bench_gives_the_same_bytes(two):
    """Oracle: the bytes of the first run."""
    assert files_of("two-clear") == two


def test_pictures_for_a_video_fill_the_frame_and_svg_needs_no_font(two):
    """Oracle: the frame of full HD; no text element, no date."""
    assert Image.open(io.BytesIO(two["figures/light-at-first-01-1920x1080.png"])).size == (1920, 1080)
    for name, content in two.items():
        if name.endswith(".svg"):
            assert b"<text" not in content
            assert b"<dc:date>" not in content


def test_bench_days_and_invention_stand_in_each_picture():
    """Oracle: the texts of the figures as they are drawn."""
    campaign = demo_campaign()
    found = PageOne(campaign, demo_rows())
    with pytest.MonkeyPatch.context() as patch:
        seen = []
        figure = "matplotlib.figure.Figure.savefig"
        patch.setattr(figure, lambda self, stream, **_: seen.append([t.get_text() for t in self.texts]))
        made = figure_files(found)
    assert len(seen) == len(made) > 20
    for texts in seen:
        (foot,) = (" ".join(one.split()) for one in texts)
        assert foot == f"Invented data. {campaign.bench.settings.name}, 13 April 2026 to 3 June 2026"


def test_every_letter_of_page_one_is_large():
    """Oracle: 48 of 1600 pixels of the width, in each text that is not empty."""
    campaign = demo_campaign()
    found = PageOne(campaign, demo_rows())
    figures = [after_heat_figure(campaign, found.pictured)]
    figures += [figure for name, figure in _drawn(found) if name.endswith("1080")]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("matplotlib.figure.Figure.savefig", lambda self, stream, **_: figures.append(self))
        drawn(found, invented=True)
    assert len(figures) == 4
    for figure in figures:
        texts = [one for one in figure.findobj(Text) if one.get_text()]
        assert len(texts) > 10
        least = min(one.get_fontsize() for one in texts)
        assert least / 72.0 / figure.get_figwidth() * 1600.0 >= 48.0


def test_pictures_stand_in_the_order_of_the_table_on_one_scale():
    """Oracle: the lamps of the table of page one, the limits of the panels."""
    campaign = demo_campaign()
    found = PageOne(campaign, demo_rows())
    order = [row[0][0] for row in found.table]
    figures = dict(_drawn(found))
    labels = [one.get_text() for one in figures["all-lamps-at-first"].axes[0].get_yticklabels()]
    assert labels == order
    whole, *panels = (figures[name] for name in figures if name.startswith("light-after-heat"))
    shown = [re.sub(r" \(.*", "", one.get_text()) for one in whole.axes[0].get_yticklabels()]
    assert shown == order
    limits = {axes.get_xlim() for figure in (whole, *panels) for axes in figure.axes}
    assert len(limits) == 1
    for name, figure in figures.items():
        assert len({axes.get_xlim() for axes in figure.axes}) == 1, name
        assert all(axes.has_data() for axes in figure.axes), name


def test_long_names_beside_a_panel_make_room_for_themselves():
    """Oracle: the box of all that is drawn, as the library measures it, against that of the figure."""
    figure, (axes,) = new_figure()
    axes.set_yticks([0.2, 0.8], ["a lamp with a name of many letters", "another one"])
    axes.set_ylabel("two lines\nof words")
    picture(figure, alt="Two names beside an empty panel.")
    held, whole = axes.get_tightbbox(), figure.bbox
    assert held.x0 >= 0.0
    assert held.y0 >= 0.0
    assert held.x1 <= whole.x1
    assert held.y1 <= whole.y1

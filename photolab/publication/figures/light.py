"""The light itself: the eye, a meter and lamps over wavelength; a run over distance with the law that explains it."""

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes

from photolab.bench.results.distances import DistanceResult
from photolab.metrology.quantity import coverage_factor
from photolab.publication.figures.common import COLOURS, GREY, INK, Floats, Look, shown_name, styled
from photolab.publication.sentences.words_light import areas_words, products_words


@styled
def draw_spectra(
    panels: Sequence[Axes],
    lights: Mapping[str, Floats],
    excess: Mapping[str, Floats],
    wavelength: Floats,
    eye: Floats,
    head: Floats,
    meter: str,
) -> str:
    """Draw three panels that share the wavelength.

    Parameters
    ----------
    panels : sequence of three Axes
        Eye and meter; light of the lamps; what the meter reads too much.
    lights, excess : mapping of str to ndarray, shape (n,)
        By the words that name a lamp: its light, any scale; what the meter reads too much at each wavelength. [1, %/nm]
    wavelength, eye, head : ndarray, shape (n,)
        Wavelengths [nm]; V(lambda) and the meter, scaled to agree on the light it was trimmed to [1].
    meter : str
        Name of the meter.

    Returns
    -------
    str
        What it shows: the area under each curve at the bottom.
    """
    panels[0].plot(wavelength, eye, color=INK, linewidth=1.6, linestyle=(0, (5, 2)), label="the eye, V(λ)")
    panels[0].plot(wavelength, head, color=COLOURS["blue"], linewidth=1.6, label=shown_name(f"meter {meter}"))
    panels[0].fill_between(wavelength, eye, head, color=COLOURS["sky"], alpha=0.35, linewidth=0)
    looks = (("vermilion", "-"), ("orange", (0, (6, 2))), ("green", ":"), ("purple", "-."))
    for (words, light), (colour, line) in zip(lights.items(), looks, strict=False):
        how: Look = {"color": COLOURS[colour], "linewidth": 1.6, "linestyle": line}
        panels[1].plot(wavelength, light / light.max(), label=shown_name(words, 40), **how)
        panels[2].plot(wavelength, excess[words], label=shown_name(words, 40), **how)
        panels[2].fill_between(wavelength, 0.0, excess[words], color=COLOURS[colour], alpha=0.15, linewidth=0)
    panels[2].axhline(0.0, color=GREY, linewidth=0.8)
    panels[2].set_xlabel("wavelength (nm)")
    labels = ("relative", "relative power", "read too much\n(% for each nm)")
    for axes, label in zip(panels, labels, strict=True):
        axes.set(ylabel=label, xlim=(wavelength[0], wavelength[-1]))
        axes.grid(axis="y")
        axes.legend(loc="center right" if axes is panels[1] else "upper right", fontsize=8.0)
    return areas_words(meter, {name: float(np.trapezoid(area, wavelength)) for name, area in excess.items()})


@styled
def draw_runs(panels: Sequence[Axes], runs: Sequence[DistanceResult]) -> str:
    """Draw runs side by side: products above, residuals below, bars at the coverage of the runs.

    Parameters
    ----------
    panels : sequence of Axes
        Two a run: those above, then those below.
    runs : sequence of DistanceResult
        Each has a law.

    Returns
    -------
    str
        What it shows, run by run.
    """
    for above, below, run in zip(panels, panels[len(runs) :], runs, strict=False):
        _draw_run(above, below, run)
    return products_words(runs)


def _draw_run(above: Axes, below: Axes, run: DistanceResult) -> None:
    """Draw one run; the intensity with its interval where one may be quoted."""
    points, k = run.points, coverage_factor(run.coverage)
    d = np.linspace(points["distance_m"].min(), points["distance_m"].max(), 120)
    value, low, high = (x / 1000.0 for x in (run.intensity, run.low, run.high))
    if value == value:
        above.axhspan(low, high, color=COLOURS["sky"], alpha=0.25, linewidth=0)
        above.axhline(value, color=COLOURS["blue"], linewidth=1.2, linestyle=(0, (5, 3)))
    above.plot(d, run.product(d) / 1000.0, color=COLOURS["orange"], linewidth=1.6)
    below.axhline(0.0, color=COLOURS["orange"], linewidth=1.6)
    for axes, y, u in (
        (above, points["product_cd"] / 1000.0, points["product_u_cd"] / 1000.0),
        (below, points["residual_percent"], points["own_percent"]),
    ):
        look: Look = {"fmt": "o", "color": INK, "markersize": 4.5, "elinewidth": 1.2, "capsize": 2.5}
        axes.errorbar(points["distance_m"], y, yerr=k * u, **look)
        axes.axvline(run.place.distance_m, color=GREY, linewidth=1.0, linestyle=":")
        axes.grid(axis="y")
        axes.margins(x=0.06)
    above.set(title=shown_name(f"{run.lamp} in housing {run.housing}", 90), ylabel="E d² (kcd)")
    below.set(xlabel="distance from the reference face (m)", ylabel="left over (%)")
    below.margins(y=0.15)

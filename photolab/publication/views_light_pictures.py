"""The figures of the notebooks on colour and beams: each function returns one figure, or a sentence without data."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from photolab.bench.beam_grids import BeamRun
from photolab.bench.beams import BeamResult
from photolab.bench.colours import colour_curves
from photolab.metrology.reporting import decimal
from photolab.publication.display import Words, say
from photolab.publication.figures import beam_pair, beam_ratio, spectra, vertical_cut
from photolab.publication.figures.common import Picture, new_figure, picture
from photolab.publication.front_page import is_invented
from photolab.publication.views_light_beam import Patterns
from photolab.publication.views_light_colour import KINDS, Colour

__all__ = ["cut_picture", "map_picture", "pair_picture", "spectra_picture"]


def spectra_picture(colour: Colour) -> Picture | Words:
    """Return eye, meter and lamps over wavelength.

    Parameters
    ----------
    colour : Colour
        The comparison.

    Returns
    -------
    Picture or Words
        Three panels.
    """
    names = [name for name in (colour.lamp, colour.against) if name]
    curves = colour_curves(colour.bench, colour.meter.meter, names)
    drawn = [name for name in names if f"light {name}" in curves]
    if curves.empty or not drawn:
        return say("No responsivity of the meter and no spectrum of a lamp is on file: nothing to draw.")
    kinds = dict(
        zip(colour.bench.tables["lamps"]["lamp"], colour.bench.tables["lamps"]["technology"], strict=True)
    )
    names_said = {name: f"{name}, {KINDS.get(str(kinds[name]), 'lamp')}" for name in drawn}
    figure, panels = new_figure(3, 1, width=7.0, height=6.2, share_x=True)
    spectra.draw(panels, curves, lamps=names_said, meter=colour.meter.meter)
    sums = " and ".join(
        f"{decimal(float(curves[f'excess {n}'].sum()), 2)} % on {names_said[n]}" for n in drawn
    )
    alt = (
        f"Three panels over wavelength, 380 to 780 nm: the eye and meter {colour.meter.meter}; the light of the lamps; "
        f"what the meter reads too much at each wavelength, in all {sums}."
    )
    return picture(figure, alt=alt, invented=is_invented(colour.bench))


def pair_picture(patterns: Patterns) -> Picture | Words:
    """Return the baseline's and the lamp's beam side by side, one row a housing.

    Parameters
    ----------
    patterns : Patterns
        The beams.

    Returns
    -------
    Picture or Words
        As the lamp sees the wall.
    """
    results = patterns.results
    if not results:
        return patterns.missing
    rows = len(results)
    figure, panels = new_figure(rows, 2, width=7.4, height=0.6 + 2.35 * rows, share_x=True, share_y=True)
    said = []
    for row, one in enumerate(results):
        for column, run in enumerate((one.reference, one.beam)):
            if run is None:
                continue
            peak = float(run.grid.intensity.max())
            title = f"{run.lamp} in {run.housing}, peak {decimal(peak / 1000.0, 1)} kcd"
            edge = (row == rows - 1, column == 0)
            beam_pair.draw(panels[2 * row + column], _beam_table(run), title=title, edge=edge)
            said.append(f"{title} apparent")
    alt = (
        "Beam patterns on white ground, darker where there is more light, contours at 1, 5, 20, 50 and 80 % of each "
        f"own peak, as the lamp sees the wall: {'; '.join(said)}."
    )
    return picture(figure, alt=alt, invented=is_invented(patterns.bench))


def _beam_table(run: BeamRun) -> pd.DataFrame:
    """Return a beam as rows, in per cent of its own peak."""
    h, v = np.meshgrid(run.grid.horizontal, run.grid.vertical)
    peak = float(run.grid.intensity.max())
    percent = 100.0 * run.grid.intensity / (peak if peak > 0.0 else 1.0)
    return pd.DataFrame({"horizontal_deg": h.ravel(), "vertical_deg": v.ravel(), "percent": percent.ravel()})


def map_picture(patterns: Patterns) -> Picture | Words:
    """Return where the lamp gives more and where less than the baseline, a panel a housing.

    Parameters
    ----------
    patterns : Patterns
        The beams.

    Returns
    -------
    Picture or Words
        One map a housing; cells whose difference is within their own doubt stay white.
    """
    if not patterns.results:
        return patterns.missing
    maps = [(one, one.map(coverage=patterns.bench.settings.coverage)) for one in patterns.results]
    maps = [(one, found) for one, found in maps if np.isfinite(found.ratio).any()]
    if not maps:
        return say("No map: in no direction was there enough light of both lamps for a ratio.")
    figure, panels = new_figure(1, len(maps), width=3.8 * max(2, len(maps)), height=3.0, share_y=True)
    said = []
    for number, (axes, (one, found)) in enumerate(zip(panels, maps, strict=True)):
        h, v = np.meshgrid(found.horizontal, found.vertical)
        cells = {"ratio": found.ratio.ravel(), "resolved": found.resolved.ravel()}
        rows = pd.DataFrame({"horizontal_deg": h.ravel(), "vertical_deg": v.ravel(), **cells})
        title = f"{one.lamp} over {one.baseline} in {one.housing}"
        last = number == len(maps) - 1
        beam_ratio.draw(axes, rows, title=title, edge=(True, number == 0), bar=last)
        ends = [decimal(float(f(found.ratio)), 2) for f in (np.nanmin, np.nanmax)]
        said.append(f"{title} from {ends[0]} to {ends[1]} times")
    alt = (
        "Maps of one beam over the other, violet where the lamp gives more and orange where it gives less, contours at "
        f"simple factors: {'; '.join(said)}."
    )
    return picture(figure, alt=alt, invented=is_invented(patterns.bench))


def cut_picture(patterns: Patterns) -> Picture | Words:
    """Return the vertical scans of both lamps, a panel a housing, cut-offs marked.

    Parameters
    ----------
    patterns : Patterns
        The beams.

    Returns
    -------
    Picture or Words
        Intensity over height on a logarithmic scale.
    """
    drawn = [(one, rows) for one in patterns.results if len(rows := _cut_table(patterns, one))]
    if not drawn:
        return (
            patterns.missing if not patterns.results else say("No vertical scan is on file: nothing to draw.")
        )
    figure, panels = new_figure(1, len(drawn), width=3.8 * max(2, len(drawn)), height=3.2, share_y=True)
    said = []
    for number, (axes, (one, rows)) in enumerate(zip(panels, drawn, strict=True)):
        vertical_cut.draw(axes, rows, title=f"housing {one.housing}", first=number == 0)
        for lamp, block in rows.groupby("lamp", sort=False):
            said.append(
                f"{lamp} in {one.housing} falls fastest at {decimal(float(block['height_deg'].iloc[0]), 2)}°"
            )
    alt = (
        f"Vertical cuts through the beams on a logarithmic scale with the cut-off marked: {'; '.join(said)}."
    )
    return picture(figure, alt=alt, invented=is_invented(patterns.bench))


def _cut_table(patterns: Patterns, one: BeamResult) -> pd.DataFrame:
    """Return the scans of the baseline and the lamp in a housing as rows."""
    parts = []
    for lamp in (one.baseline, one.lamp):
        scan = next((s for s in patterns.beams.scans if (s.lamp, s.housing) == (lamp, one.housing)), None)
        found = patterns.beams.find(lamp, one.housing)
        if scan is None or found is None:
            continue
        height = math.nan if found.cutoff is None else found.cutoff.height
        rows = {"vertical_deg": scan.vertical, "intensity_kcd": scan.intensity / 1000.0}
        parts.append(pd.DataFrame({"lamp": lamp, **rows, "height_deg": height}))
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()

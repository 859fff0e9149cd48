"""Light against case temperature of one record, with the straight line of %/K."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from photolab.errors import MethodError
from photolab.metrology.reporting import decimal
from photolab.publication.figures.common import COLOURS, GREY, styled
from photolab.publication.figures.warm_up import percent_of_initial
from photolab.thermal.coupling import Slope
from photolab.thermal.warm_up_result import WarmUp


@styled
def draw(axes: Axes, record: pd.DataFrame, fit: WarmUp | None, slope: Slope | MethodError) -> str:
    """Draw one record.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    record : DataFrame
        Rows of warm_up.csv that state a case: elapsed_s, illuminance_lx, case_C. [s], [lx], [degC]
    fit : WarmUp or None
        Their curve, which gives the initial light and the step; what follows a step did not enter the line.
    slope : Slope or MethodError
        The line, or why there is none.

    Returns
    -------
    str
        What it shows, with its key numbers.
    """
    case = record["case_C"].to_numpy(float)
    percent = percent_of_initial(record["illuminance_lx"].to_numpy(float), fit)
    until = np.inf if fit is None or fit.step is None else fit.step.time_s
    used = record["elapsed_s"].to_numpy(float) < until
    for entered, colour, marker, words in (
        (True, COLOURS["blue"], "o", "readings"),
        (False, GREY, "x", "after the step"),
    ):
        rows = used == entered
        if rows.any():
            axes.plot(
                case[rows], percent[rows], linestyle="none", marker=marker, markersize=4, color=colour,
                markerfacecolor="none", label=words,
            )  # fmt: skip
    said = "no line"
    if isinstance(slope, Slope):
        mine, light, tilt = case[used], percent[used], slope.percent_per_kelvin / 100.0
        ends = np.array([mine.min(), mine.max()])
        line = np.exp(np.log(light).mean() + tilt * (ends - float(mine.mean())))
        axes.plot(ends, line, color=COLOURS["vermilion"], linewidth=1.6, label="straight in ln(light)")
        said = f"the line falls by {decimal(-slope.percent_per_kelvin, 3)} % a kelvin"
    axes.grid()
    axes.set_xlabel("case (°C)")
    axes.set_ylabel("light (% of the initial light)")
    axes.legend(loc="upper right")
    return f"{decimal(float(case.min()), 0)} to {decimal(float(case.max()), 0)} °C; {said}."

"""Light, case temperature and watts of one record: three stacked panels on one time axis."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
from matplotlib.axes import Axes

from photolab.metrology.reporting import decimal
from photolab.publication.figures.common import COLOURS, GREY, styled
from photolab.publication.figures.warm_up import percent_of_initial
from photolab.thermal.warm_up_result import WarmUp

_ROWS = (
    ("light", "blue", "o", "light (% of initial)", "%"),
    ("case", "vermilion", "s", "case (°C)", "°C"),
    ("power", "green", "^", "power (W)", "W"),
)


@styled
def draw(panels: Sequence[Axes], record: pd.DataFrame, fit: WarmUp | None) -> str:
    """Draw one record.

    Parameters
    ----------
    panels : sequence of Axes
        Three, from the top, on one time axis.
    record : DataFrame
        Rows of warm_up.csv: elapsed_s, illuminance_lx, case_C, socket_V, current_A; NaN where not logged. [s], [lx],
        [degC], [V], [A]
    fit : WarmUp or None
        Its curve, which gives the initial light and the step.

    Returns
    -------
    str
        What it shows, with the first and the last value of each panel.
    """
    minutes, step = (
        record["elapsed_s"] / 60.0,
        None if fit is None or fit.step is None else fit.step.time_s / 60.0,
    )
    light = pd.Series(percent_of_initial(record["illuminance_lx"].to_numpy(float), fit), record.index)
    columns = (light, record["case_C"], record["socket_V"] * record["current_A"])
    said = []
    for axes, values, (name, colour, marker, label, unit) in zip(panels, columns, _ROWS, strict=True):
        known = values.notna()
        axes.plot(
            minutes[known], values[known], linestyle="none", marker=marker, markersize=3.2, color=COLOURS[colour],
            markerfacecolor="none", markeredgewidth=0.9,
        )  # fmt: skip
        if known.any():
            first, last = (decimal(float(values[known].iloc[i]), 1) for i in (0, -1))
            said.append(f"{name} from {first} to {last} {unit}")
        else:
            axes.text(0.5, 0.5, "not logged", transform=axes.transAxes, ha="center", va="center", color=GREY)
            axes.set_yticks([])
            said.append(f"{name} not logged")
        if step is not None:
            axes.axvline(step, color=GREY, linewidth=1.1, linestyle="--", zorder=0)
        axes.grid(axis="y")
        axes.margins(y=0.12)
        axes.set_ylabel(label)
    if step is not None:
        panels[0].annotate(
            "step", (step, 1.0), xycoords=("data", "axes fraction"), xytext=(4, -4), textcoords="offset points",
            va="top",
        )  # fmt: skip
        said.append(f"a step at {decimal(step, 1)} min")
    panels[-1].set_xlabel("since switch-on (min)")
    return ", ".join(said) + "."

"""The law of a notebook, played with: an answer that follows sliders, where ipywidgets is installed."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from importlib.util import find_spec
from typing import Any


def sliders(answer: Callable[..., Any], **ranges: tuple[float, float, float]) -> Any:
    """Return sliders over the arguments of an answer, and the answer below them.

    Parameters
    ----------
    answer : callable
        Called with every argument by name when a slider is let go; what it returns is shown. Its defaults are where
        the sliders begin.
    **ranges : tuple of numbers, length 3
        Lowest, highest and step of each argument; widened to its default.

    Returns
    -------
    ipywidgets.Widget or None
        Put it on the last line of a cell; None where ipywidgets is not installed.

    Notes
    -----
    What a slider shows is a what-if of this moment: it is kept in no output, and no result depends on it.
    """
    if find_spec("ipywidgets") is None:
        return None
    import ipywidgets

    begin = {name: parameter.default for name, parameter in inspect.signature(answer).parameters.items()}
    return ipywidgets.interactive(
        answer,
        {"manual": False, "auto_display": True},
        **{
            name: ipywidgets.FloatSlider(
                value=begin[name],
                min=min(low, begin[name]),
                max=max(high, begin[name]),
                step=step,
                description=name.replace("_", " "),
                continuous_update=False,
                style={"description_width": "initial"},
                layout={"width": "30em"},
            )
            for name, (low, high, step) in ranges.items()
        },
    )

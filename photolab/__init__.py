"""A methods workbench for bench tests of headlamp light sources.

The names a person types; each is loaded when it is used::

    import photolab as pl

    meter = pl.Meter("M1", reading_percent=(4,), range_percent=(0.5,), ranges_lx=(4000,), resolution_lx=(1,))
    print(pl.compare(318, 334, meter, technology="led"))
"""

import importlib
from typing import Any

__version__ = "0.1.0"

_HOME = {
    "Input": "metrology.quantity",
    "Measured": "metrology.quantity",
    "Meter": "bench.terms.model",
    "agree": "publication.words",
    "bench_folder": "publication.report.notebooks",
    "compare": "bench.results.two_readings",
    "evaluate": "bench.results.evaluation",
    "fit_warm_up": "thermal.warm_up",
    "luminous_intensity": "photometry.distance",
    "mismatch_correction": "photometry.spectrum",
    "read_bench": "bench.folder.records",
    "say": "publication.words",
    "surface_temperature": "thermal.thermography",
    "table": "publication.sentences.display",
}
__all__ = list(_HOME)


def __getattr__(name: str) -> Any:
    """Return one of the names, loading its module; it stands among the names of the package from then on."""
    if name not in _HOME:
        message = f"module 'photolab' has no attribute {name!r}"
        raise AttributeError(message)
    globals()[name] = getattr(importlib.import_module(f"photolab.{_HOME[name]}"), name)
    return globals()[name]


def __dir__() -> list[str]:
    """Return the names, for completion."""
    return sorted({*globals(), *_HOME})

"""Input quantities, results, and several results that share inputs.

What is shared between results is the *same* input quantity entering each of them; covariances are never
typed. The classes stand in `inputs` (what enters) and `results` (what comes out); this module is where
other rooms import them from.
"""

from photolab.metrology.inputs import InputQuantity
from photolab.metrology.joint import JointResult
from photolab.metrology.results import MeasurementResult

__all__ = ["InputQuantity", "JointResult", "MeasurementResult"]

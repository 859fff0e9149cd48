"""Cautions of a sound folder, and the declared defaults it leans on."""

import numpy as np
import pandas as pd

def cautions(bench, faults): ...
def assumptions(bench): return ()

"""The demo bench, read, evaluated and fitted once for a whole run of the tests; nobody changes what is handed out."""

from functools import cache
from pathlib import Path

import pandas as pd

from photolab.bench.campaign import Campaign
from photolab.bench.evaluation import evaluate
from photolab.bench.model import Bench
from photolab.bench.records import read_bench
from photolab.publication.tables import results

DEMO = Path(__file__).parents[1] / "data" / "demo"


@cache
def demo_bench() -> Bench:
    """Return the demo bench as it is read."""
    return read_bench(DEMO)


@cache
def demo_campaign() -> Campaign:
    """Return the demo bench evaluated."""
    return evaluate(demo_bench())


@cache
def demo_rows() -> pd.DataFrame:
    """Return the rows of results.csv of the demo bench."""
    return results(demo_campaign())

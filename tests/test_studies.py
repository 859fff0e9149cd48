"""The stored studies of `data/studies`: a few draws give what the many gave, within the error of drawing."""

import math
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from photolab.bench.redraw import AS_DECLARED
from photolab.publication.notebooks import studies_folder

sys.path.append(str(Path(__file__).parent / "benchmarks"))
import stored_studies  # the module that wrote them

FEW = 4000


def stored(name):
    return pd.read_csv(studies_folder() / f"{name}.csv")


def test_every_study_says_that_it_was_simulated_and_with_which_seed():
    for name in stored_studies.STUDIES:
        table = stored(name)
        assert table["source"].str.startswith("simulated").all()
        assert set(table["seed"].dropna()) <= {stored_studies.SEED}
        assert table["draws"].min() >= 200


@pytest.mark.parametrize("name", stored_studies.SITUATIONS)
def test_four_ways_to_judge(name):
    """Oracle: the stored rates, on other draws, within 4 standard errors; the shared way 5.0 ± 0.3 %."""
    table = stored("claims").set_index(["situation", "rule"])
    words = stored_studies.SITUATIONS[name].words
    for rule, share in stored_studies.claim_rates(name, FEW, seed=77).items():
        row = table.loc[words, stored_studies.WAYS[rule]]
        p = max(row["value"] / 100.0, 5.0 / FEW)
        assert abs(share - row["value"] / 100.0) < 4.0 * math.sqrt(p * (1.0 - p) / FEW), rule
    shared = table.loc[words, stored_studies.WAYS["shared"]]["value"]
    assert abs(shared - 5.0) <= 0.3


def test_ten_equal_lamps():
    """Oracle: the stored rates, on other draws."""
    table = stored("families").set_index(["situation", "rule"])["value"] / 100.0
    for situation, rule, share in stored_studies.family_rates(FEW, seed=78):
        p = table[situation, rule]
        assert abs(share - p) < 4.0 * math.sqrt(p * (1.0 - p) / FEW), (situation, rule)
        assert 0.047 <= p <= 0.053 or rule == "each pair alone"


def test_intervals_of_one_evening():
    """Oracle: the stored rehearsal, on 60 other benches."""
    found = stored_studies.rehearsed(stored_studies.evening(), AS_DECLARED, 60, seed=79, every=1000)
    table = stored("coverage")
    table = table[(table["rule"] == "as declared") & (table["situation"] == "one evening, seated once")]
    table = table.set_index(["figure", "instant", "scope"])
    for row in found[found["figure"].isin(["coverage", "half-width", "bias"])].to_dict("records"):
        before = table.loc[(row["figure"], row["instant"], row["scope"])]
        error = math.hypot(row["standard_error"], before["standard_error"])
        assert abs(row["value"] - before["value"]) < 4.0 * max(error, 0.01), row


def test_measurands_are_those_of_the_benchmark():
    """Oracle: the head of the benchmark that measured them."""
    table = stored("measurands")
    assert table.equals(pd.DataFrame(stored_studies.measurands(0)))
    told = table.set_index("situation")["value"]
    assert told["remaining light beyond the record"] == 98.6
    assert told["surface temperature, tape"] == 94.8


def test_an_equal_light_is_shown_unequal_by_what_is_off_alone():
    """Oracle: JCGM 100, 5.1.2 by hand: the draws of the shared way have the variance of its inputs."""
    for name, way in stored_studies.SITUATIONS.items():
        u = math.sqrt(sum(((on[1] - on[0]) * q.u) ** 2 for q, on in stored_studies.inputs(way)))
        by_hand = {"one range": 2 * (0.01**2 / 3 + (0.08 / 5) ** 2 / 6 + 0.025**2 + 0.003**2 / 3)}
        if name in by_hand:
            assert np.isclose(u, math.sqrt(by_hand[name]), rtol=1e-12)

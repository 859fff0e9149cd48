"""Links between meters. Oracle: closed form of the mean log ratio and Student's t; synthetic truth."""

import math

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from photolab.bench.inputs.linking import changed_verdicts, converted, level_slope, technology_links
from photolab.errors import MethodError

COLUMNS = ["lamp", "technology", "old_meter", "new_meter", "old_lx", "new_lx"]


def table(*rows):
    return pd.DataFrame(list(rows), columns=COLUMNS)


THREE = table(
    ("K1", "led", "M1", "M2", 400, 380),
    ("K2", "led", "M1", "M2", 500, 470),
    ("K3", "led", "M1", "M2", 450, 430),
)


def test_factor_and_interval_in_closed_form():
    link = technology_links(THREE).iloc[0]
    ln = np.log([0.95, 0.94, 430 / 450])
    half = stats.t.ppf(0.975, 2) * ln.std(ddof=1) / math.sqrt(3)
    assert_allclose(
        np.log([link.factor, link.low, link.high]), ln.mean() + np.array([0, -half, half]), rtol=1e-12
    )
    assert (link.n, link.dof, bool(link.established)) == (3, 2, True)


def test_specimens_of_one_lamp_are_provisional():
    rows = table(*(("B0", "filament", "M1", "M2", 360 + i, 350 + 2 * i) for i in range(3)))
    link = technology_links(rows).iloc[0]
    assert (link.n, link.readings, bool(link.established)) == (1, 3, False)


def test_two_lamps_do_not_establish_a_link():
    assert not technology_links(THREE.iloc[:2]).iloc[0].established


def test_one_reading_gives_no_interval():
    link = technology_links(THREE.iloc[:1]).iloc[0]
    assert math.isnan(link.low)
    assert_allclose(link.factor, 0.95, rtol=1e-12)


def test_each_technology_has_its_own_factor():
    rows = pd.concat([THREE, table(*((f"F{i}", "filament", "M1", "M2", 300, 300 + i) for i in range(3)))])
    links = technology_links(rows).set_index("technology")
    assert links.loc["led", "factor"] < 0.96 < links.loc["filament", "factor"]


def test_swapped_meter_ids_are_refused():
    rows = pd.concat([THREE, table(("K4", "led", "M2", "M1", 380, 400))])
    with pytest.raises(MethodError, match="names the meters both ways round"):
        technology_links(rows)
    with pytest.raises(MethodError, match=r"links\.csv has no row"):
        technology_links(THREE.iloc[:0])


def test_a_factor_that_depends_on_level_is_said():
    lux = np.array([50, 100, 200, 400, 800.0])
    bent = table(*((f"K{i}", "led", "M1", "M2", x, 0.9 * x**1.05) for i, x in enumerate(lux)))
    slope, _ = level_slope(bent)
    assert_allclose(slope, 0.05, rtol=1e-9)  # ln(new/old) = ln 0.9 + 0.05 ln old, closed form
    assert not technology_links(bent)["level_constant"].item()
    straight = table(*((f"K{i}", "led", "M1", "M2", x, 0.9 * x) for i, x in enumerate(lux)))
    assert technology_links(straight)["level_constant"].item()


def test_conversion_keeps_the_raw_values():
    readings = pd.DataFrame(
        {"lamp": ["K1", "B0", "K9"], "meter": ["M1", "M1", "M2"], "illuminance_lx": [400.0, 360.0, 5.0]}
    )
    linked = converted(readings, {"K1": "led", "B0": "filament"}, technology_links(THREE))
    assert list(linked["illuminance_lx"]) == [400.0, 360.0, 5.0]
    assert_allclose(linked["linked_lx"].iloc[0], 400 * technology_links(THREE)["factor"].iloc[0], rtol=1e-12)
    assert linked["link"].iloc[0] == "link M1 to M2, led, 3 lamps"
    assert list(linked["link_refused"]) == ["", "no link for filament", ""]


def test_changed_verdicts_lists_only_changes():
    keys = {
        "housing": "HP",
        "measurand": "illuminance ratio",
        "point": "hot_spot",
        "instant": "initial",
        "scope": "specimens",
    }
    before = pd.DataFrame(
        [
            {"lamp": "K1", "verdict": "clear", "value": 1.1, **keys},
            {"lamp": "K2", "verdict": "inside", "value": 1.0, **keys},
        ]
    )
    after = before.assign(verdict=["inside", "inside"])
    changed = changed_verdicts(before, after)
    assert list(changed["lamp"]) == ["K1"]
    assert (changed["before"].iloc[0], changed["after"].iloc[0]) == ("clear", "inside")

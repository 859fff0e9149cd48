"""One reading at the bench's distance to candela: the budget, the word apparent, the advice."""

import math

import pytest
from numpy.testing import assert_allclose
from small_benches import METER, bench

from photolab.bench.candela import bench_candela
from photolab.publication.words_light import candela_words

HEAD = "lamp,illuminance_lx,housing,range_lx\n"
PLACE = '[[housing]]\nid = "HP"\ndistance_m = 8\ndistance_uncertainty_mm = 20\n'


def one_of(folder, *, lux=151, offset="offset_mm = 120\noffset_uncertainty_mm = 10\n", top=4000):
    """Read one lamp once at 8 m."""
    rows = f"{HEAD}B0,{lux},HP,{top}\nK1,{lux},HP,{top}\n"
    return bench_candela(bench(folder, rows, toml=METER + PLACE + offset), lamp="B0")[0]


@pytest.mark.parametrize(("offset", "kilocandela"), [("offset_mm = 120\n", 9.96), ("offset_mm = 0\n", 9.66)])
def test_reading_at_eight_metres(tmp_path, offset, kilocandela):
    """Oracle: closed form 151 lx x (8.12 m)^2 and x (8.00 m)^2, to the printed digit."""
    one = one_of(tmp_path, offset=offset)
    assert_allclose(one.budget.intensity / 1000.0, kilocandela, atol=0.005)


def test_distance_part(tmp_path):
    """Oracle: closed form 2 x (20 mm/sqrt 3)/8.12 m = 0.28 %."""
    one = one_of(tmp_path)
    assert_allclose(one.budget.parts["distance"], 2 * 0.020 / math.sqrt(3) / 8.12, rtol=1e-12)


def test_range_term_dominates_and_a_lower_range_is_advised(tmp_path):
    """Oracle: closed form 20 lx/sqrt 3 of 151 lx = 7.6 % on the 4000 lx range; 2 lx/sqrt 3 on the 400 lx range."""
    one = one_of(tmp_path)
    assert one.budget.largest == "range"
    assert_allclose(one.budget.parts["range"], 20 / math.sqrt(3) / 151, rtol=1e-12)
    assert "lower_range" in one.budget.codes
    assert "A lower range of the meter would narrow it" in candela_words(one)
    low = one_of(tmp_path / "low", top=400)
    assert_allclose(low.budget.parts["range"], 2 / math.sqrt(3) / 151, rtol=1e-12)
    assert "lower_range" not in low.budget.codes


def test_apparent_without_a_run(tmp_path):
    """Oracle: by definition: nothing shows that the inverse square holds."""
    one = one_of(tmp_path)
    assert one.apparent
    assert "apparent intensity" in candela_words(one)


def test_no_distance_no_candela(tmp_path):
    """Oracle: by definition."""
    made = bench(tmp_path, f"{HEAD}B0,151,HP,4000\nK1,151,HP,4000\n")
    assert bench_candela(made, lamp="B0") == ()

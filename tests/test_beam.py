"""Beam patterns: closed forms, the demo's beams with known truth, refusals."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import integrate

from photolab.errors import MethodError
from photolab.photometry.beam import (
    BeamGrid,
    aim_offset,
    intensity_from_angles,
    intensity_from_wall,
    mean_above_cutoff,
    peak,
    ratio_map,
    window_flux,
)
from photolab.photometry.cutoff import cutoff_line, cutoff_sharpness

SHAPES = {  # foreground weight, width of the cut-off, haze: the demo's beams
    "B0-HP": (0.31, 0.06, 0.009),
    "K3-HP": (0.28, 0.07, 0.009),
    "B0-HR": (0.21, 0.15, 0.0186),
    "K3-HR": (0.32, 0.30, 0.057),
}
ACROSS, UP = np.arange(-20.0, 21.0), np.arange(-6.0, 4.01, 0.5)


def shape(name, h, v, kink=0.0):
    """The demo's beam shape, not normalised; `kink` lifts the cut-off to one side, in deg."""
    w, c, s = SHAPES[name]
    spot = np.exp(-(((h - 1) / 3) ** 2) / 2 - ((v + 1.3) / 0.75) ** 2 / 2)
    foreground = w * np.exp(-((h / 11) ** 2) / 2 - ((v + 2.2) / 2) ** 2 / 2)
    edge = -0.57 + np.clip(kink * h, 0, abs(kink) * 4)
    return (spot + foreground) / (1 + np.exp((v - edge) / c)) + s * np.exp(
        -((h / 12) ** 2) / 2 - (v / 4) ** 2 / 2
    )


def beam(name, hot=1.0, across=ACROSS, up=UP, shift=(0.0, 0.0), kink=0.0):
    fine = shape(name, *np.meshgrid(np.linspace(-2, 4, 121), np.linspace(-3, 0, 301)))
    cells = shape(name, *np.meshgrid(across - shift[0], up - shift[1]), kink) / fine.max()
    return BeamGrid(across, up, hot * cells, projection="sphere")


def level(across=ACROSS, up=UP, value=100.0, **more):
    return BeamGrid(across, up, np.full((up.size, across.size), value), **more)


@pytest.mark.parametrize(("sensor", "power"), [("faces_lamp", 0), ("flat_wall", 1)])
def test_an_even_source_on_a_wall_is_even(sensor, power):
    """Oracle: closed form: 5000 cd in all directions: I cos^2/D^2 to a facing head, cos^3 to a flat one."""
    x, y, d = np.linspace(-3000, 3000, 7), np.linspace(-1000, 1000, 5), 6.0
    square = d**2 + (x[None, :] ** 2 + y[:, None] ** 2) * 1e-6
    lux = 5000.0 / square * (d / np.sqrt(square)) ** power
    grid = intensity_from_wall(x, y, lux, distance=d, sensor=sensor)
    assert_allclose(grid.intensity, 5000.0, rtol=1e-14)  # float rounding
    assert_allclose(np.tan(np.radians(grid.horizontal)), x / 6000.0, rtol=1e-12, atol=1e-15)  # float rounding
    assert_allclose(np.tan(np.radians(grid.vertical)), y / 6000.0, rtol=1e-12, atol=1e-15)  # float rounding
    same = intensity_from_angles(
        grid.horizontal, grid.vertical, lux, distance=d - 0.1, offset=0.1, sensor=sensor
    )
    assert_allclose(same.intensity, 5000.0, rtol=1e-12)  # float rounding
    assert (same.projection, grid.projection) == ("screen", "screen")


def test_the_wrong_way_to_hold_the_head_costs_a_cosine():
    """Oracle: closed form: 1/cos 20 degrees is 6.4 %."""
    x = 6000.0 * np.tan(np.radians([0.0, 20.0]))
    grids = [
        intensity_from_wall(x, [0.0, 1.0], np.ones((2, 2)), distance=6.0, sensor=s)
        for s in ("flat_wall", "faces_lamp")
    ]
    ratio = grids[0].intensity[0, 1] / grids[1].intensity[0, 1]
    assert_allclose(ratio, 1 / np.cos(np.radians(20.0)), rtol=1e-12)  # float rounding


def test_a_turned_lamp_needs_no_cosine():
    """Oracle: definition: I = E d^2 for every direction."""
    grid = intensity_from_angles([0, 1, 2], [0, 1], np.ones((2, 3)), distance=5.0, offset=0.5)
    assert (grid.intensity == 5.5**2).all()
    assert grid.projection == "sphere"


def test_rows_in_any_order_make_the_same_grid():
    """Oracle: symmetry: row order does not matter; a list of points equals the grid it fills."""
    x, y = np.arange(-2.0, 3.0) * 100, np.arange(3.0) * 50
    lux = np.random.default_rng(1).uniform(1, 100, (3, 5))
    low = lux < 30
    whole = intensity_from_wall(x, y, lux, distance=6.0, sensor="faces_lamp", at_most=low)
    across, up = np.meshgrid(x, y)
    order = np.random.default_rng(2).permutation(15)
    rows = [a.ravel()[order] for a in (across, up, lux)]
    listed = intensity_from_wall(*rows, distance=6.0, sensor="faces_lamp", at_most=low.ravel()[order])
    assert (listed.intensity == whole.intensity).all()
    assert (listed.censored == low).all()


@pytest.mark.parametrize("projection", ["screen", "sphere"])
def test_flux_of_an_even_source_is_intensity_times_solid_angle(projection):
    """Oracle: closed form: on a screen 4 asin(sin a sin b); on a sphere 2 a (sin b2 - sin b1)."""
    up = np.linspace(-30.0, 30.0, 601)
    grid = level(np.linspace(-40.0, 40.0, 801), up, projection=projection)
    a, b = np.radians(35.0), np.radians(25.0)
    half = {"screen": 4 * np.arcsin(np.sin(a) * np.sin(b)), "sphere": 4 * a * np.sin(b)}[projection]
    found = window_flux(grid, horizontal=(-35, 35), vertical=(-25, 25))
    assert_allclose(found.weight, half, rtol=1e-5)  # trapezoid on 0.1 deg
    assert_allclose(found.value, 100.0 * half, rtol=1e-5)  # likewise
    # whole cells and parts of cells add up
    parts = [
        window_flux(grid, horizontal=(left, right), vertical=(-25, 25)).value
        for left, right in ((-35, 1.234), (1.234, 35))
    ]
    assert_allclose(sum(parts), found.value, rtol=1e-7)  # curvature of the solid angle inside one cell


def test_flux_of_a_spot_by_integration():
    """Oracle: scipy.integrate on the demo's shape; the stated step uncertainty covers the rest."""

    def density(v, h):
        return shape("B0-HR", h, v) * np.cos(np.radians(v)) * (np.pi / 180) ** 2

    truth = integrate.dblquad(density, -8, 8, -3, 2, epsabs=1e-9)[0]
    h, v = np.meshgrid(ACROSS, UP)
    grid = BeamGrid(ACROSS, UP, shape("B0-HR", h, v), projection="sphere")
    found = window_flux(grid, horizontal=(-8, 8), vertical=(-3, 2))
    assert abs(found.value - truth) < 3 * found.step_uncertainty
    assert_allclose(found.value, truth, rtol=0.02)  # steps of 1 and 0.5 deg
    fine = np.arange(-10, 10.01, 0.05)
    h, v = np.meshgrid(fine, fine)
    close = window_flux(
        BeamGrid(fine, fine, shape("B0-HR", h, v), projection="sphere"), horizontal=(-8, 8), vertical=(-3, 2)
    )
    assert_allclose(close.value, truth, rtol=3e-5)  # trapezoid on 0.05 deg


def test_demo_ratios():
    """Oracle: the demo's truth for K3/B0: HP 1.249 peak, 1.195 flux, 1.28 above; HR 0.895, 1.26, 2.61."""
    for housing, hot, wanted in (("HP", 1.250, (1.249, 1.195, 1.28)), ("HR", 0.88, (0.895, 1.26, 2.61))):
        lamp, stock = beam(f"K3-{housing}", hot), beam(f"B0-{housing}")
        flux = [window_flux(g, horizontal=(-20, 20), vertical=(-6, 4)).value for g in (lamp, stock)]
        above = [mean_above_cutoff(g).value for g in (lamp, stock)]
        assert_allclose(
            peak(lamp).intensity / peak(stock).intensity, wanted[0], rtol=0.005
        )  # 1 x 0.5 deg grid
        assert_allclose(flux[0] / flux[1], wanted[1], rtol=0.005)  # likewise
        assert_allclose(above[0] / above[1], wanted[2], rtol=0.005)  # likewise, and the printed digit


def test_uncertainty_of_a_mean_and_a_flux():
    """Oracle: closed form: own terms fall as the root of the number of cells, common ones do not."""
    grid = level()
    own = mean_above_cutoff(grid, cell_uncertainty=2.0)
    assert own.cells == 17 * 4
    assert_allclose(own.standard_uncertainty, 2.0 / np.sqrt(68), rtol=1e-13)  # float rounding
    common = np.full(grid.intensity.shape, 2.0)
    assert_allclose(
        mean_above_cutoff(grid, common_uncertainty=common).standard_uncertainty, 2.0, rtol=1e-13
    )  # likewise
    assert_allclose(
        mean_above_cutoff(grid, scale_uncertainty=0.03).standard_uncertainty, 3.0, rtol=1e-13
    )  # likewise
    window = {"horizontal": (-8, 8), "vertical": (-3, 2)}
    plain, scaled, shared = (
        window_flux(grid, **window, **more)
        for more in ({}, {"scale_uncertainty": 0.03}, {"common_uncertainty": 2.0})
    )
    for flux, share in ((scaled, 0.03), (shared, 0.02)):
        wanted = np.hypot(share * plain.value, plain.step_uncertainty)
        assert_allclose(flux.standard_uncertainty, wanted, rtol=1e-12)  # float rounding


def test_cells_that_are_upper_limits():
    """Oracle: by hand: 4 of 8 cells at most 10 cd, 4 read 30 cd: between 15 and 20 cd."""
    cells = np.array([[30.0] * 4, [10.0] * 4])
    grid = BeamGrid([0, 1, 2, 3], [0.5, 1.0], cells, censored=cells < 20)
    found = mean_above_cutoff(grid, horizontal=(0, 3), vertical=(0.5, 1.0))
    assert (found.low, found.value, found.high) == (15.0, 17.5, 20.0)
    assert (found.cells, found.at_most_cells, found.code) == (8, 4, "partly_at_most")
    assert_allclose(
        found.standard_uncertainty, 5.0 / np.sqrt(12), rtol=1e-13
    )  # rectangular between low and high
    upper = mean_above_cutoff(grid, horizontal=(0, 3), vertical=(0.8, 1.2))
    assert (upper.code, upper.low, upper.high) == ("at_most", 0.0, 10.0)
    assert mean_above_cutoff(grid, horizontal=(0, 3), vertical=(0.4, 0.8)).code == "measured"
    flux = window_flux(grid, horizontal=(0, 3), vertical=(0.5, 1.0))
    assert flux.at_most_cells == 4
    assert_allclose([flux.low / flux.weight, flux.high / flux.weight], [15.0, 20.0], rtol=1e-4)  # cos v
    assert_allclose(flux.value, (flux.low + flux.high) / 2, rtol=1e-12)  # float rounding
    assert grid.halves.tolist() == [[30.0] * 4, [5.0] * 4]


def test_step_of_a_grid_counts_a_third_of_what_every_second_node_changes():
    """Oracle: definition: the fluxes of two grids written out, upper limits counted half in both."""
    cells = np.random.default_rng(3).uniform(10.0, 30.0, (4, 5))
    grid = BeamGrid([0, 1, 2, 3, 4], [0, 1, 2, 3], cells, censored=cells < 15)
    assert 0 < grid.censored[np.ix_([0, 2, 3], [0, 2, 4])].sum() < 9
    halved = np.where(cells < 15, cells / 2, cells)[[0, 2, 3]][:, [0, 2, 4]]
    window = {"horizontal": (0, 4), "vertical": (0, 3)}
    fine, coarse = (window_flux(g, **window) for g in (grid, BeamGrid([0, 2, 4], [0, 2, 3], halved)))
    assert_allclose(fine.step_uncertainty, abs(fine.value - coarse.value) / 3, rtol=1e-12)


def test_peak_is_coarse_where_a_neighbour_lies_a_tenth_below():
    """Oracle: by construction."""
    for beside, said in ((91.0, ()), (89.0, ("coarse",))):
        cells = np.full((3, 3), beside)
        cells[1, 1] = 100.0
        assert peak(BeamGrid([0, 1, 2], [0, 1, 2], cells)).codes == said


def test_peak_and_its_cautions():
    """Oracle: by construction."""
    found = peak(beam("B0-HP", 13400.0))
    assert (found.horizontal, found.vertical) == (1.0, -1.5)
    assert found.codes == ("coarse",)
    fine = np.arange(-3, 3, 0.05)
    assert peak(beam("B0-HP", across=fine, up=fine)).codes == ()
    assert peak(beam("B0-HP", across=ACROSS[ACROSS >= 1])).codes == ("at_edge", "coarse")
    with pytest.raises(MethodError, match="the largest cell must be a reading; 100 cd is an upper limit"):
        peak(level(censored=np.ones((UP.size, ACROSS.size), bool)))


def test_ratio_map():
    """Oracle: by construction, and the stated error rate: of equal cells one in twenty is marked."""
    stock = beam("B0-HP", 13400.0)
    lamp = BeamGrid(ACROSS, UP, 1.2 * stock.intensity, censored=stock.intensity < 150, projection="sphere")
    found = ratio_map(lamp, stock, cell_uncertainty=0.01 * lamp.intensity)
    known = ~lamp.censored
    assert_allclose(found.ratio[known], 1.2, rtol=1e-14)  # float rounding
    assert np.isnan(found.ratio[~known]).all()
    assert found.resolved[known].all()
    assert not found.resolved[~known].any()
    rng = np.random.default_rng(9)
    noisy = [
        BeamGrid(
            ACROSS,
            UP,
            stock.intensity * (1 + 0.01 * rng.standard_normal(stock.intensity.shape)),
            projection="sphere",
        )
        for _ in range(2)
    ]
    doubt = 0.01 * stock.intensity
    marked = ratio_map(*noisy, cell_uncertainty=doubt, reference_cell_uncertainty=doubt).resolved.mean()
    assert 0.05 - 0.023 < marked < 0.05 + 0.023  # 3 standard errors of 861 cells
    with pytest.raises(MethodError, match="both beams must stand on the same directions"):
        ratio_map(stock, beam("B0-HP", across=ACROSS + 0.1))


@pytest.mark.parametrize("shift", [(0.0, -0.4), (0.7, 0.25), (-1.3, 0.9)])
def test_aim_offset(shift):
    """Oracle: synthetic truth: the demo's beams turned; known to a fifth of a coarse step."""
    for name in ("B0-HR", "K3-HR"):
        stock = beam("B0-HR", 17250.0)
        turned = aim_offset(beam(name, 15000.0, shift=shift), stock)
        assert abs(turned.horizontal - shift[0]) < turned.horizontal_step / 5
        assert abs(turned.vertical - shift[1]) < turned.vertical_step / 5
        assert (turned.horizontal_step, turned.vertical_step) == (1.0, 0.5)
    fine = np.arange(-8, 8.01, 0.1)
    one, other = (beam("B0-HR", 17250.0, fine, fine, s) for s in (shift, (0.0, 0.0)))
    found = aim_offset(one, other)
    assert_allclose(
        [found.horizontal, found.vertical, found.scale], [*shift, 1.0], rtol=0, atol=2e-3
    )  # spline
    assert found.codes == ()
    assert found.misfit < 0.005


@pytest.mark.parametrize(("width", "differ"), [(1.5, True), (1.6, False)])
def test_scale_of_beams_of_two_shapes_is_the_least_squares_one(width, differ):
    """Oracle: closed form sum(I ref) / sum(ref^2) of two centred spots, which match best where they stand.

    The root of the mean square of what that leaves is 12 and 9 % of the peak: shapes differ from 10 % on.
    """
    inner, outer = np.arange(-4, 4.1, 0.5), np.arange(-6, 6.1, 0.5)
    spots = []
    for nodes, wide, top in ((outer, width, 300.0), (inner, 2.0, 200.0)):
        h, v = np.meshgrid(nodes, nodes)
        spots.append(BeamGrid(nodes, nodes, top * np.exp(-(h**2 + v**2) / (2 * wide**2))))
    found = aim_offset(*spots, largest=2.0)
    narrow, wide = spots[0].intensity[4:-4, 4:-4], spots[1].intensity
    assert_allclose([found.horizontal, found.vertical], 0.0, atol=1e-6)
    scale = (narrow * wide).sum() / (wide**2).sum()
    misfit = np.sqrt(np.mean((narrow / scale - wide) ** 2)) / wide.max()
    assert_allclose([found.scale, found.misfit], [scale, misfit], rtol=1e-9)
    assert (bool(misfit > 0.1), found.codes) == (differ, ("shapes_differ",) * differ)


def test_aim_offset_cautions():
    """Oracle: by construction: a spot and a level field match under no shift; a limit reached says so."""
    stock = beam("B0-HR")
    assert "shapes_differ" in aim_offset(level(), stock).codes
    assert "at_limit" in aim_offset(beam("B0-HR", shift=(0.0, 1.5)), stock, largest=1.0).codes
    with pytest.raises(MethodError, match="must reach 3 deg beyond at least 3 directions") as refusal:
        aim_offset(beam("B0-HR", up=np.arange(-3, 3.1, 0.5)), stock)
    assert refusal.value.code == "no_overlap"
    with pytest.raises(MethodError, match="must carry light where both grids overlap"):
        aim_offset(stock, level(value=0.0))


@pytest.mark.parametrize(("reach", "directions"), [(3.5, 3), (3.25, 2)])
def test_an_aim_needs_three_directions_on_each_axis(reach, directions):
    """Oracle: by hand: steps of 0.5 deg to 3.5 deg leave -0.5, 0 and 0.5 deg under shifts of 3 deg; to 3.25 deg two."""
    small = beam("B0-HR", up=np.arange(-reach, reach + 0.1, 0.5))
    if directions == 3:
        found = aim_offset(small, small, largest=3.0)
        assert_allclose([found.horizontal, found.vertical], 0.0, atol=1e-6)
    else:
        with pytest.raises(MethodError, match="on each axis; got 2"):
            aim_offset(small, small, largest=3.0)


@pytest.mark.parametrize("phase", [0.0, 0.012, 0.025])
@pytest.mark.parametrize("step", [0.05, 0.1])
def test_sharpness_of_known_cutoffs(step, phase):
    """Oracle: closed form: 1.5 tanh(0.05/0.30) for a tanh step of 1.5 decades, wherever the readings fall."""
    v = np.arange(-40, 41) * step + phase
    found = cutoff_sharpness(v, 10.0 ** (-0.75 * np.tanh((v + 0.57) / 0.30)))
    assert_allclose(found.sharpness, 1.5 * np.tanh(0.05 / 0.30), rtol=2e-3)  # interpolation between readings
    assert_allclose(found.angle, -0.57, rtol=0, atol=0.01)  # likewise
    assert_allclose(found.ratio, 10**found.sharpness, rtol=1e-15)  # definition
    best, angle = found
    assert (best, angle) == (found.sharpness, found.angle)


def test_sharpness_of_the_demo_scan_and_the_coarse_grid():
    """Oracle: the demo's shape on a very fine grid; on its 0.5 deg grid the same reads under two thirds."""
    fine = np.arange(-3.0, 3.0, 0.001)
    log = np.log10(shape("B0-HP", 2.5, fine))
    truth = (log[:-100] - log[100:]).max()
    scan = np.arange(-2.0, 1.01, 0.05)
    assert_allclose(
        cutoff_sharpness(scan, shape("B0-HP", 2.5, scan)).sharpness, truth, rtol=2e-3
    )  # interpolation
    with pytest.raises(
        MethodError, match=r"must be at most 0\.1 deg within 1 deg of the cut-off; got 0\.5 deg"
    ) as refusal:
        cutoff_sharpness(UP, shape("B0-HP", 2.5, UP))
    assert refusal.value.code == "scan_too_coarse"
    assert refusal.value.known["sharpness_read"] < truth / 1.5


def test_sharpness_refusals():
    """Oracle: the rules: head under 0.1 deg, cut-off inside the scan, light that falls."""
    v = np.arange(-40, 41) * 0.05
    light = 10.0 ** (-0.75 * np.tanh(v / 0.30))
    with pytest.raises(MethodError, match=r"must cover at most 0\.1 deg from the lamp; got 0\.\d+ deg"):
        cutoff_sharpness(v, light, head_diameter=0.012, distance=6.0)
    assert cutoff_sharpness(v, light, head_diameter=0.010, distance=6.0).sharpness > 0.24
    with pytest.raises(MethodError, match="the scan must reach beyond the cut-off"):
        cutoff_sharpness(v[:41], light[:41])
    with pytest.raises(MethodError, match="the light must fall somewhere along the scan"):
        cutoff_sharpness(v, light[::-1])
    sparse = np.concatenate([[-3.0, -2.0], v[(v > -1.2) & (v < 1.2)], [2.0, 3.0]])
    assert_allclose(
        cutoff_sharpness(sparse, 10.0 ** (-0.75 * np.tanh(sparse / 0.30))).sharpness, 0.24771, rtol=1e-3
    )  # interpolation
    with pytest.raises(ValueError, match=r"intensity\[3\] must be more than zero and finite; got 0 cd"):
        cutoff_sharpness(v, np.where(np.arange(81) == 3, 0.0, light))
    with pytest.raises(ValueError, match=r"vertical_angle_deg\[1\] must be more than the one before"):
        cutoff_sharpness(v[::-1], light)
    with pytest.raises(ValueError, match=r"must be longer than 0\.1 deg"):
        cutoff_sharpness([0.0, 0.05], [2.0, 1.0])


def test_cutoff_line_and_the_side_of_the_road():
    """Oracle: synthetic truth: the inflection of the demo's shape, and kinks built to one side."""
    up = np.arange(-4.0, 4.01, 0.1)
    straight = cutoff_line(beam("B0-HP", up=up), traffic="symmetrical")
    assert (straight.rises, straight.codes) == ("none", ())
    middle = np.abs(straight.horizontal) < 8
    assert (np.abs(straight.height[middle] + 0.45) < 0.15).all()  # haze lifts the inflection above -0.57
    for kink, side, wrong in ((0.25, "right", "left"), (-0.25, "left", "right")):
        grid = beam("B0-HP", up=up, kink=kink)
        found = cutoff_line(grid, traffic=side)
        assert (found.rises, found.codes) == (side, ())
        assert_allclose(
            abs(found.right_height - found.left_height), 1.0, rtol=0, atol=0.1
        )  # kink of 4 x 0.25 deg
        assert cutoff_line(grid, traffic=wrong).codes == ("kink_on_wrong_side",)
        assert cutoff_line(grid, traffic="symmetrical").codes == ()
    assert cutoff_line(beam("B0-HP", up=up), traffic="right").codes == ("no_kink",)
    assert "no_cutoff" in cutoff_line(level(), traffic="symmetrical").codes
    with pytest.raises(ValueError, match="traffic must be one of right, left, symmetrical; got 'both'"):
        cutoff_line(level(), traffic="both")


@pytest.mark.parametrize("height", [-0.62, -0.57, -0.50])
def test_cutoff_height_between_rows(height):
    """Oracle: closed form: a tanh step of known height in every column, on rows 0.2 deg apart."""
    up = np.arange(-2.0, 1.01, 0.2)
    column = 10.0 ** (-0.75 * np.tanh((up - height) / 0.30))
    grid = BeamGrid([-1.0, 0.0, 1.0], up, np.tile(column[:, None], (1, 3)))
    # a parabola through three differences of a tanh; half a row is 0.1 deg
    assert_allclose(cutoff_line(grid, traffic="symmetrical").height, height, rtol=0, atol=0.015)


def test_refused_grids():
    """Oracle: the rules on messages and refusals."""
    x, y = (a.ravel() for a in np.meshgrid([0.0, 1.0, 2.0], [0.0, 1.0]))
    wall = {"distance": 6.0, "sensor": "faces_lamp"}
    with pytest.raises(
        MethodError, match=r"fill the grid of 2 rows and 3 columns once; 1 point is missing.*\(2, 1\)"
    ) as no:
        intensity_from_wall(x[:-1], y[:-1], np.ones(5), **wall)
    assert (no.value.code, no.value.known) == ("grid_has_holes", {"points": 1})
    with pytest.raises(MethodError, match=r"1 point is doubled, the first at \(0, 0\)"):
        intensity_from_wall(np.append(x, 0.0), np.append(y, 0.0), np.ones(7), **wall)
    with pytest.raises(MethodError, match="intensity must have no holes; 1 of 6 cells are missing"):
        BeamGrid([0, 1, 2], [0, 1], [[1, 1, 1], [1, np.nan, 1]])
    with pytest.raises(ValueError, match="sensor must be faces_lamp or flat_wall; got 'turned_lamp'"):
        intensity_from_wall(x, y, np.ones(6), distance=6.0, sensor="turned_lamp")
    with pytest.raises(ValueError, match="sensor must be one of faces_lamp, flat_wall, turned_lamp"):
        intensity_from_angles(x, y, np.ones(6), distance=6.0, sensor="eye")
    with pytest.raises(ValueError, match=r"horizontal_deg\[0\] must be between -90 and 90; got 90 deg"):
        intensity_from_angles([90.0, 91.0], [0.0, 1.0], np.ones((2, 2)), distance=5.0)
    with pytest.raises(ValueError, match=r"illuminance\[0, 1\] must be zero or more; got -1 lx"):
        intensity_from_wall([0, 1], [0, 1], [[1, -1], [1, 1]], **wall)
    with pytest.raises(ValueError, match=r"illuminance must have shape \(y, x\) \(2, 3\); got \(3, 2\)"):
        intensity_from_wall([0, 1, 2], [0, 1], np.ones((3, 2)), **wall)
    with pytest.raises(ValueError, match="x, y and illuminance must have one length"):
        intensity_from_wall([0, 1, 2], [0, 1], np.ones(3), **wall)
    with pytest.raises(ValueError, match="at_most must have the shape of illuminance"):
        intensity_from_wall([0, 1], [0, 1], np.ones((2, 2)), at_most=[True], **wall)
    with pytest.raises(
        ValueError, match=r"horizontal\[1\] must be more than the one before; got 0 after 1 deg"
    ):
        BeamGrid([1, 0], [0, 1], np.ones((2, 2)))
    with pytest.raises(ValueError, match="projection must be screen or sphere; got 'map'"):
        BeamGrid([0, 1], [0, 1], np.ones((2, 2)), projection="map")
    with pytest.raises(ValueError, match=r"must have shape \(2, 2\); got \(2, 3\)"):
        BeamGrid([0, 1], [0, 1], np.ones((2, 3)))


def test_refused_windows():
    """Oracle: as above."""
    grid = level()
    with pytest.raises(
        MethodError, match="horizontal must lie in the grid, -20 to 20 deg; got -25 to 5 deg"
    ) as no:
        window_flux(grid, horizontal=(-25, 5), vertical=(-1, 1))
    assert no.value.known == {"covered_deg": (-20.0, 20.0)}
    with pytest.raises(ValueError, match="vertical must run from a lower to a higher angle; got 1 to -1 deg"):
        window_flux(grid, horizontal=(-5, 5), vertical=(1, -1))
    with pytest.raises(MethodError, match="the window must hold at least one cell"):
        mean_above_cutoff(grid, horizontal=(0.1, 0.9))
    with pytest.raises(ValueError, match=r"cell_uncertainty must be zero or more; got -1 cd"):
        mean_above_cutoff(grid, cell_uncertainty=-1.0)


def test_a_large_grid_is_taken_whole():
    """Oracle: what the same beams give on a grid of a fifth of the steps; time: benchmarks/beam_speed.py."""

    def found(step):
        across, up = np.linspace(-20, 20, 1001)[::step], np.linspace(-6, 4, 501)[::step]
        lamp, stock = (shape(name, *np.meshgrid(across, up)) for name in ("K3-HP", "B0-HP"))
        one, two = (intensity_from_angles(across, up, lux, distance=6.0) for lux in (lamp, stock))
        flux = window_flux(one, horizontal=(-10, 10), vertical=(-4, 0)).value
        aim = aim_offset(one, two)
        assert aim.codes == ()
        line = cutoff_line(one, traffic="right")
        return peak(one).intensity, flux, mean_above_cutoff(one).value, aim.misfit, len(line.codes)

    assert_allclose(found(1), found(5), rtol=0.01)  # of the coarse grid

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from pipeline.compare import quantities
from pipeline.compare.overlay import overlay
from pipeline.compare.quantities import (
    end_area_volume,
    parts,
    prismoidal_volume,
    quantity,
    section_cut_fill_area,
    volumes_per_piece,
)
from pipeline.errors import SurfaceError
from pipeline.model import Overlay
from pipeline.surface.mesh import area
from tests.forms import both_forms

form = both_forms("pipeline.compare.overlay.BREAK_EVEN", "pipeline.compare.quantities.BREAK_EVEN")

CUBIC_FEET_PER_YARD = 27.0


@pytest.fixture
def measure():
    def make(ground, design, layer="clay subgrade"):
        return quantity(layer, overlay(ground, design), area(design))

    return make


# --- solids whose volume anybody can work out -------------------------------------------------


def test_prism(measure, rectangle):
    """Analytic: 8 x 5 m, 0.30 m deep."""
    got = measure(rectangle(8, 5, (0.3, 0, 0)), rectangle(8, 5))
    assert (got.cut_m3, got.fill_m3) == (pytest.approx(12.0), 0.0)
    assert (got.cut_area_m2, got.fill_area_m2) == (pytest.approx(40.0), 0.0)
    assert got.mean_cut_m == pytest.approx(0.3)
    assert got.layer == "clay subgrade"


def test_wedge(measure, rectangle):
    """Analytic: from nothing to 0.6 m deep over 8 m, 5 m wide: half the prism."""
    got = measure(rectangle(8, 5, (0, -0.075, 0)), rectangle(8, 5))
    assert (got.cut_m3, got.fill_m3) == (0.0, pytest.approx(12.0))
    assert got.mean_cut_m == pytest.approx(-0.3)


def test_cut_and_fill_are_split_along_the_zero_line(measure, rectangle, published):
    ref = published("REF-TIN-3")
    got = measure(rectangle(10, 4, (-0.2, 0.04, 0)), rectangle(10, 4))
    ref.check("cut", got.cut_m3)
    ref.check("fill", got.fill_m3)
    assert (got.cut_area_m2, got.fill_area_m2) == (pytest.approx(20), pytest.approx(20))


def test_two_tilted_planes_that_cross_aslant(measure, rectangle):
    """Analytic: d = x - y over the unit square is 1/6 on each side of the diagonal."""
    got = measure(rectangle(1, 1, (7, 0.4, -0.7)), rectangle(1, 1, (7, -0.6, 0.3)))
    assert (got.cut_m3, got.fill_m3) == (pytest.approx(1 / 6), pytest.approx(1 / 6))
    assert got.cut_area_m2 == pytest.approx(0.5)


def test_pyramid(measure, pyramid, rectangle, published):
    got = measure(pyramid, rectangle(10, 10))
    published("REF-TIN-4").check("V", got.cut_m3)
    assert got.fill_m3 == 0


def test_pyramid_cut_at_a_third_of_its_height(measure, pyramid, rectangle):
    """Analytic: above a third, (2/3)^3 of 100 m3; below it the same again is missing."""
    got = measure(pyramid, rectangle(10, 10, (1, 0, 0)))
    assert got.cut_m3 == pytest.approx(100 * (2 / 3) ** 3, rel=1e-13)
    assert got.fill_m3 == pytest.approx(29.62962963, abs=5e-9)
    assert got.cut_area_m2 == pytest.approx(100 * (2 / 3) ** 2, rel=1e-13)


def test_the_diagonal_decides_the_volume(measure, rectangle, surface_of, published):
    ref = published("REF-TIN-5")
    square = ([0, 10, 10, 0], [0, 0, 10, 10], [0, 0, 0, 1.0])
    through = measure(surface_of(*square, [[0, 1, 3], [1, 2, 3]]), rectangle(10, 10))
    # the raised corner is 3: an edge from 1 to 3 runs through it
    other = measure(surface_of(*square, [[0, 1, 2], [0, 2, 3]]), rectangle(10, 10))
    ref.check("V_diagonal_through_raised", through.cut_m3)
    ref.check("V_other", other.cut_m3)


def test_cell_of_a_square_grid(measure, rectangle, surface_of, published):
    """The published mean of four corners lies midway between the two diagonals."""
    ref = published("REF-EW-3")
    side, grade = ref.inputs["side"], ref.inputs["grade"]
    square = ([0, side, side, 0], [0, 0, side, side], ref.inputs["corners"])
    both = [
        measure(surface_of(*square, t), rectangle(side, side, (grade, 0, 0))).fill_m3
        for t in ([[0, 1, 2], [0, 2, 3]], [[0, 1, 3], [1, 2, 3]])
    ]
    ref.check("V_cy", np.mean(both) / CUBIC_FEET_PER_YARD)
    ref.check("fill_depth", np.mean(both) / side**2)


def test_a_plane_over_any_triangulation(measure, surface_of, rectangle, published):
    ref = published("REF-TIN-2")
    rng = np.random.default_rng(ref.inputs["seed"])
    e, n = rng.uniform(0, 100, (ref.inputs["n"], 2)).T
    ground = surface_of(e, n, 2 + 0.03 * e - 0.02 * n)
    got = measure(ground, rectangle(100, 100))
    ref.check("V", got.cut_m3)
    ref.check("area", got.compared_area_m2)
    ref.check("area", area(ground))


def _disc(surface_of, sectors, rings, profile):
    """Surface of revolution about the origin, radius 6 m; `profile` gives height by radius."""
    radius = np.repeat(np.linspace(0, 6, rings + 1)[1:], sectors)
    angle = np.tile(np.arange(sectors) * 2 * np.pi / sectors, rings)
    e, n = np.r_[0, radius * np.cos(angle)], np.r_[0, radius * np.sin(angle)]
    k = np.arange(sectors)
    tip = np.c_[0 * k, 1 + k, 1 + (k + 1) % sectors]
    bands = [
        np.r_[np.c_[a + k, a + sectors + k, b], np.c_[a + sectors + k, b + sectors, b]]
        for r in range(rings - 1)
        for a, b in [(1 + r * sectors, 1 + r * sectors + (k + 1) % sectors)]
    ]
    return surface_of(e, n, profile(np.r_[0, radius]), np.concatenate([tip, *bands]))


def test_cone_is_the_pyramid_inscribed_in_it(measure, surface_of, rectangle):
    """Analytic: n sides of radius r hold n/2 r^2 sin(2 pi/n) h/3; the cone is the limit."""
    lost = []
    for n in (12, 24, 48):
        cone = _disc(surface_of, n, 3, lambda r: 2 * (1 - r / 6))
        got = measure(cone, rectangle(20, 20, at=(-10, -10))).cut_m3
        assert got == pytest.approx(n / 2 * 36 * np.sin(2 * np.pi / n) * 2 / 3, rel=1e-12)
        lost.append(np.pi * 36 * 2 / 3 - got)
    # the chord's sagitta goes with the square of its length
    assert np.divide(lost[:-1], lost[1:]) == pytest.approx(4, rel=0.03)


def test_paraboloid_is_approached_with_the_square_of_the_mesh(measure, surface_of, rectangle):
    """Analytic: pi R^2 h / 2."""
    lost = []
    for n in (4, 8, 16):
        bowl = _disc(surface_of, 6 * n, n, lambda r: 2 * (1 - (r / 6) ** 2))
        got = measure(bowl, rectangle(20, 20, at=(-10, -10)))
        lost.append(np.pi * 36 * 2 / 2 - got.cut_m3)
        assert got.fill_m3 == 0
    assert np.divide(lost[:-1], lost[1:]) == pytest.approx(4, rel=0.05)
    assert lost[-1] < 0.01 * np.pi * 36


# --- rules ------------------------------------------------------------------------------------


def test_a_fine_grid_agrees_as_far_as_a_grid_can(measure, random_pair, height_at):
    """Source: scipy's linear interpolation of both, summed over 5 cm cells."""
    ground, design = random_pair(11)
    got = measure(ground, design)
    e, n = np.meshgrid(np.arange(0.025, 65, 0.05), np.arange(0.025, 65, 0.05))
    deep = height_at(ground)(e, n) - height_at(design)(e, n)
    assert got.cut_m3 == pytest.approx(np.nansum(np.maximum(deep, 0)) * 0.0025, rel=2e-3)
    assert got.fill_m3 == pytest.approx(-np.nansum(np.minimum(deep, 0)) * 0.0025, rel=2e-3)
    assert got.cut_area_m2 == pytest.approx(np.sum(deep > 0) * 0.0025, rel=2e-3)


def test_what_no_shot_covers_is_counted_and_not_filled_in(measure, random_pair, triangle_polygons):
    """Source: union and difference by shapely."""
    ground, design = random_pair(12)
    got = measure(ground, design)
    wanted = shapely.union_all(triangle_polygons(design))
    known = shapely.union_all(triangle_polygons(ground))
    assert got.uncovered_area_m2 == pytest.approx(wanted.difference(known).area, rel=1e-9)
    assert got.compared_area_m2 + got.uncovered_area_m2 == pytest.approx(wanted.area, rel=1e-12)


def test_nothing_compared_has_no_mean(measure, rectangle):
    got = measure(rectangle(5, 5, at=(100, 0)), rectangle(5, 4))
    assert (got.cut_m3, got.fill_m3, got.compared_area_m2) == (0, 0, 0)
    assert got.uncovered_area_m2 == pytest.approx(20)
    assert np.isnan(got.mean_cut_m)


def test_ground_on_the_design_is_neither_cut_nor_fill(measure, rectangle, surface_of):
    """Half on grade, half rising from it: 10 x 2 m of ground, level up to x = 5."""
    ground = surface_of(
        [0, 5, 10, 0, 5, 10], [0, 0, 0, 2, 2, 2], [1, 1, 2, 1, 1, 2],
        [[0, 1, 4], [0, 4, 3], [1, 2, 5], [1, 5, 4]],
    )  # fmt: skip
    got = measure(ground, rectangle(10, 2, (1, 0, 0)))
    assert (got.cut_area_m2, got.fill_area_m2) == (pytest.approx(10), 0)
    assert (got.cut_m3, got.compared_area_m2) == (pytest.approx(5), pytest.approx(20))


def test_faces_lying_on_one_another_are_refused(measure, rectangle, surface_of):
    twice = surface_of([0, 4, 4, 0], [0, 0, 4, 4], [1, 1, 1, 1], [[0, 1, 2], [0, 2, 3], [0, 1, 2]])
    with pytest.raises(
        SurfaceError, match=r"layer gravel: 24\.000 m2 compared .* covers 16\.000 m2"
    ):
        measure(twice, rectangle(4, 4), "gravel")


def test_pieces_can_be_grouped(random_pair, rectangle):
    """By the two triangles of the design: together they are the whole."""
    ground, _ = random_pair(13)
    found = overlay(ground, rectangle(50, 50, (100.3, 0.02, 0)))
    each = parts(found)
    first = found.design_triangle == 0
    cut, fill, area = volumes_per_piece(found)
    assert (cut == each.cut).all()
    assert (fill == each.fill).all()
    assert area[first].sum() + area[~first].sum() == pytest.approx(area.sum(), rel=1e-14)
    assert each.cut_area + each.fill_area == pytest.approx(each.area, abs=1e-12)
    assert min(each.cut.min(), each.fill.min(), each.cut_area.min()) >= 0


def test_blocks_of_pieces_do_not_change_a_bit(random_pair, monkeypatch):
    found = overlay(*random_pair(14))
    whole = parts(found)
    monkeypatch.setattr(quantities, "PIECE_BLOCK", 7)
    small = parts(found)
    for name in ("cut", "fill", "cut_area", "fill_area", "area"):
        assert getattr(whole, name).tobytes() == getattr(small, name).tobytes()


# --- cross-sections ---------------------------------------------------------------------------


def test_prismoid_and_end_area_as_published(published):
    ref = published("REF-EW-1")
    a1, am, a2, length = (ref.inputs[k] for k in ("A1", "Am", "A2", "L"))
    cubic = prismoidal_volume(a1, am, a2, length)
    ref.check("V_prismoidal_cy", float(cubic) / CUBIC_FEET_PER_YARD)
    ref.check("V_end_area_cy", end_area_volume([a1, a2], length)[0] / CUBIC_FEET_PER_YARD)


def test_level_sections_of_a_railroad_as_published(published):
    """Sections measured by `section_cut_fill_area`, volumes by their end areas."""
    ref = published("REF-EW-4")
    half, slope = ref.inputs["base"] / 2, ref.inputs["slope"]
    areas = []
    for depth in ref.inputs["cut"]:
        toe = half + slope * depth
        areas.append(
            section_cut_fill_area([-toe, -half, half, toe], [0] * 4, [0, -depth, -depth, 0]).cut
        )
    ref.check("A", areas)
    volume = end_area_volume(areas, [ref.inputs["spacing"]] * 4)
    ref.check("V", volume)
    ref.check("total", volume.sum())


def test_end_areas_are_exact_for_prisms_and_wedges_and_not_for_pyramids():
    """Source: REF-EW-7, Deakin & Hunter 2009; a pyramid is A L / 3, its end areas say A L / 2."""
    assert end_area_volume([6, 6], 10)[0] == 60
    assert end_area_volume([6, 0], 10)[0] == 30
    assert prismoidal_volume(6, 6 / 4, 0, 10) == pytest.approx(20)
    assert end_area_volume([6, 0], 10)[0] == 1.5 * prismoidal_volume(6, 6 / 4, 0, 10)


def test_a_ditch_deepening_evenly_is_a_prismoid(measure, surface_of, rectangle):
    """Analytic: sides 1 to 1, depth 0 to D over L: L D^2 / 3, also by the exact overlay."""
    length, depth = 12.0, 1.5
    ditch = surface_of(
        [0, length, length, length], [0, -depth, 0, depth], [0, 0, -depth, 0],
        [[0, 1, 2], [0, 2, 3]],
    )  # fmt: skip
    flat = rectangle(length, 4, at=(0, -2))
    exact = measure(flat, ditch).cut_m3
    assert exact == pytest.approx(length * depth**2 / 3, rel=1e-12)
    assert prismoidal_volume(0, (depth / 2) ** 2, depth**2, length) == pytest.approx(exact)


@given(st.integers(0, 10**6), st.integers(2, 15))
def test_section_areas_as_numpy_integrates_them(seed, n):
    """Source: numpy's trapezoid rule, exact once the crossings are among the points."""
    rng = np.random.default_rng(seed)
    offset = np.sort(rng.uniform(-8, 8, n))
    ground, design = rng.normal(0, 0.3, (2, n))
    deep = ground - design
    left, right = deep[:-1], deep[1:]
    cross = left * right < 0
    at = offset[:-1] + np.diff(offset) * np.divide(left, left - right, where=cross, out=0 * left)
    x = np.sort(np.r_[offset, at[cross]])
    y = np.interp(x, offset, deep)
    got = section_cut_fill_area(offset, ground, design)
    assert got.cut == pytest.approx(np.trapezoid(np.maximum(y, 0), x), abs=1e-12)
    assert got.fill == pytest.approx(np.trapezoid(np.maximum(-y, 0), x), abs=1e-12)
    assert got.width == pytest.approx(offset[-1] - offset[0])


def test_section_leaves_out_what_was_not_surveyed():
    """Analytic: 0.1 m over the 2 m that both cover; the NaN takes its two neighbours with it."""
    got = section_cut_fill_area([0, 2, 4, 6], [1.1, 1.1, np.nan, 1.1], [1, 1, 1, 1])
    assert got == (pytest.approx(0.2), 0.0, 2.0)


def test_section_with_a_step_counts_both_sides_of_it():
    """Analytic: 1 m at +0.2, a curb face of no width, 1 m at -0.1."""
    got = section_cut_fill_area([0, 1, 1, 2], [0.2, 0.2, -0.1, -0.1], [0, 0, 0, 0])
    assert got == (pytest.approx(0.2), pytest.approx(0.1), 2.0)


@pytest.mark.parametrize(
    ("offset", "ground"), [([0, 2, 1], [0, 0, 0]), ([0, 1], [0, 0, 0]), ([0, 1, 2], [0, 0])]
)
def test_section_that_cannot_be_is_refused(offset, ground):
    with pytest.raises(ValueError, match=r"offsets of a section rise|could not be broadcast"):
        section_cut_fill_area(offset, ground, [0, 0, 0])


def test_a_triangle_that_touches_the_design_belongs_to_one_side_whole():
    """0.5 m2 each: corners on the design count for neither side; by the formula of a pyramid."""
    cuts = {
        (1.0, 0.0, 0.0): (1 / 6, 0.0, 0.5, 0.0),
        (-1.0, 0.0, 0.0): (0.0, 1 / 6, 0.0, 0.5),
        (0.0, -1.0, -1.0): (0.0, 1 / 3, 0.0, 0.5),
        (0.0, 0.0, 0.0): (0.0, 0.0, 0.0, 0.0),
    }
    for cut, expected in cuts.items():
        one = Overlay(
            origin=[0, 0], x=[0, 1, 0], y=[0, 0, 1], cut=cut, start=[0, 3],
            ground_triangle=[0], design_triangle=[0],
        )  # fmt: skip
        found = quantity("x", one, 0.5)
        got = found.cut_m3, found.fill_m3, found.cut_area_m2, found.fill_area_m2
        assert got == pytest.approx(expected, abs=1e-15)
        # half a square metre, all of it compared
        assert found.uncovered_area_m2 == 0.0
        assert found.mean_cut_m == pytest.approx(sum(cut) / 3)


def test_what_each_piece_has_cannot_be_written_over(random_pair):
    whole = parts(overlay(*random_pair()))
    for name in ("cut", "fill", "cut_area", "fill_area", "area"):
        with pytest.raises(ValueError, match="read-only"):
            getattr(whole, name)[0] = 1.0

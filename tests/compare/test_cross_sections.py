"""Sections against scipy, end areas and prismoids against solids with a formula."""

import numpy as np
import pytest

from pipeline.compare.bulking import in_state
from pipeline.compare.cross_sections import by_sections, sections
from pipeline.compare.intervals import by_interval
from pipeline.compare.overlay import overlay
from pipeline.design.alignment import build, point_at
from pipeline.errors import JobError
from pipeline.model import AlignmentRows, ElementRow
from pipeline.settings_earthwork import Bulking


def straight(start, length, azimuth=np.pi / 2):
    return build(AlignmentRows("x", (ElementRow("line", length, start=start),), 0.0, azimuth))[0]


def test_sections_of_a_random_pair_against_scipy(random_pair, height_at):
    """Independent: both surfaces interpolated by scipy at 40 001 places along the section."""
    ground, design = random_pair(4)
    alignment = straight((5.0, 20.0), 60.0, 1.2)
    at = np.array([18.0, 31.3, 40.0])
    got = sections(overlay(ground, design), alignment, at)
    offset = np.linspace(-40, 40, 40_001)
    upper, lower = height_at(ground), height_at(design)
    for k, station in enumerate(at):
        east, north, _ = point_at(alignment, np.full(len(offset), station), offset)
        cut = np.nan_to_num(upper(east, north) - lower(east, north))
        step = offset[1] - offset[0]
        assert got.cut_m2[k] == pytest.approx(np.maximum(cut, 0).sum() * step, abs=2e-3)
        assert got.fill_m2[k] == pytest.approx(np.maximum(-cut, 0).sum() * step, abs=2e-3)
        moment = (np.maximum(cut, 0) * offset).sum() / np.maximum(cut, 0).sum()
        assert got.cut_offset[k] == pytest.approx(moment, abs=5e-3)


def test_pyramid_by_end_areas_and_by_the_prismoid(pyramid, rectangle):
    """Analytic: A(x) = 6x - 0.6x², so 100 m3; end areas of 0, 15, 0 give 75, the prismoid 100."""
    design = rectangle(10, 10)
    pieces = overlay(pyramid, design)
    exact = by_interval("clay", pieces, design, straight((0.0, 5.0), 10.0), np.array([0.0, 5, 10]))
    got = by_sections(exact, pieces, straight((0.0, 5.0), 10.0))
    assert got.exact_cut_m3.sum() == pytest.approx(100.0)
    assert got.end_area_cut_m3.sum() == pytest.approx(75.0, abs=1e-3)
    assert got.prismoidal_cut_m3.sum() == pytest.approx(100.0, abs=1e-3)
    assert got.off_by("end_area", "cut") == pytest.approx(-0.25, abs=1e-4)
    assert np.isnan(got.off_by("end_area", "fill"))


def test_the_width_that_nobody_shot_is_told(rectangle):
    """Analytic: ground 6 m wide over a design 8 m wide leaves 2 m of every section unseen."""
    design, ground = rectangle(40, 8), rectangle(40, 6, (0.1, 0, 0))
    pieces, line = overlay(ground, design), straight((0.0, 4.0), 40.0)
    exact = by_interval("clay", pieces, design, line, np.arange(0.0, 41.0, 10.0))
    got = by_sections(exact, pieces, line, design)
    assert got.unseen_m == pytest.approx([2.0] * 4, abs=1e-6)
    assert got.end_area_cut_m3.sum() == pytest.approx(0.1 * 40 * 6)
    assert by_sections(exact, overlay(design, design), line, design).unseen_m.tolist() == [0.0] * 4
    assert np.isnan(by_sections(exact, pieces, line).unseen_m).all()


def test_wedge_and_prism_are_exact_by_end_areas(rectangle):
    """REF-EW-7: exact for prisms and wedges. 40 x 8 m, from 0.1 to 0.5 m deep."""
    design, ground = rectangle(40, 8), rectangle(40, 8, (0.1, 0.01, 0))
    pieces, line = overlay(ground, design), straight((0.0, 4.0), 40.0)
    exact = by_interval("clay", pieces, design, line, np.arange(0.0, 41.0, 10.0))
    got = by_sections(exact, pieces, line)
    assert got.end_area_cut_m3 == pytest.approx(got.exact_cut_m3, rel=1e-5)
    assert got.exact_cut_m3.sum() == pytest.approx(0.3 * 320)


def test_end_areas_of_a_straight_rough_street_within_three_per_cent(surface_of):
    """End areas beside the exact volume, sections at the rows of shots."""
    s, o = (v.ravel() for v in np.meshgrid(np.arange(0.0, 201, 10), np.linspace(-5, 5, 7)))
    z = 0.03 * np.sin(s / 28) + 0.005 * np.cos(s / 28 + o / 3)
    ground = surface_of(s, o, z)
    design = surface_of([0, 200, 200, 0], [-5, -5, 5, 5], np.zeros(4), [[0, 1, 2], [0, 2, 3]])
    pieces, line = overlay(ground, design), straight((0.0, 0.0), 200.0)
    got = by_sections(
        by_interval("clay", pieces, design, line, np.arange(0.0, 201.0, 10.0)), pieces, line
    )
    assert abs(got.off_by("end_area", "cut")) < 0.03
    assert abs(got.off_by("end_area", "fill")) < 0.03


@pytest.mark.parametrize(("turn", "side"), [(1, 1), (1, -1), (-1, 1), (-1, -1)])
def test_the_curve_correction_follows_pappus(turn, side, surface_of):
    """Analytic: a lane 5 m wide and 0.2 m deep, its centroid 2.5 m off a bend of 30 m.

    Volume = area times the centroid's path, A L (1 -+ e/R): theorem of Pappus, from memory.
    """
    radius, length = 30.0, 24.0
    row = ElementRow("arc", length, radius, radius, turn, start=(0.0, 0.0))
    line = build(AlignmentRows("x", (row,), 0.0, 0.3))[0]
    s, o = (v.ravel() for v in np.meshgrid(np.linspace(0, length, 97), np.linspace(0, 5, 3)))
    east, north, _ = point_at(line, s, side * o)
    k = np.arange(97 * 3).reshape(3, 97)
    a, b, c, d = (v.ravel() for v in (k[:-1, :-1], k[:-1, 1:], k[1:, 1:], k[1:, :-1]))
    triangles = np.concatenate((np.stack((a, b, c), 1), np.stack((a, c, d), 1)))
    design = surface_of(east, north, np.zeros(len(s)), triangles)
    ground = surface_of(east, north, np.full(len(s), 0.2), triangles)
    pieces = overlay(ground, design)
    exact = by_interval("clay", pieces, design, line, np.array([0.0, 8.0, 24.0]))
    got = by_sections(exact, pieces, line)
    factor = 1 - turn * side * 2.5 / radius
    assert got.end_area_cut_m3.sum() == pytest.approx(0.2 * 5 * length * factor, rel=1e-3)
    assert got.end_area_cut_m3.sum() == pytest.approx(got.exact_cut_m3.sum(), rel=1e-3)
    assert got.curve_cut_m3.sum() == pytest.approx(0.2 * 5 * length * (factor - 1), rel=1e-2)


def test_sections_are_added_where_the_line_changes(surface_of):
    """A stretch half on a line and half on a bend: the correction belongs to the bend alone."""
    rows = (
        ElementRow("line", 10.0, start=(0.0, 0.0)),
        ElementRow("arc", 10.0, 20.0, 20.0, 1),
    )
    line = build(AlignmentRows("x", rows, 0.0, np.pi / 2))[0]
    s, o = (v.ravel() for v in np.meshgrid(np.linspace(0, 20, 81), [0.0, 4.0]))
    east, north, _ = point_at(line, s, o)
    k = np.arange(162).reshape(2, 81)
    a, b, c, d = (v.ravel() for v in (k[:-1, :-1], k[:-1, 1:], k[1:, 1:], k[1:, :-1]))
    triangles = np.concatenate((np.stack((a, b, c), 1), np.stack((a, c, d), 1)))
    design = surface_of(east, north, np.zeros(162), triangles)
    ground = surface_of(east, north, np.full(162, 0.1), triangles)
    pieces = overlay(ground, design)
    got = by_sections(
        by_interval("clay", pieces, design, line, np.array([0.0, 20.0])), pieces, line
    )
    assert got.end_area_cut_m3[0] == pytest.approx(0.4 * (10 + 10 * (1 - 2 / 20)), rel=1e-3)


# --- bank, loose, compacted -------------------------------------------------------------------


def test_the_published_matrix_of_clay(published):
    ref = published("REF-EW-5")
    states = ("bank", "loose", "compacted")
    got = [in_state(1.0, of, to, Bulking()) for of in states for to in states]
    ref.check("clay", got)


def test_swell_per_cent(published):
    ref = published("REF-EW-6")
    factor = ref.inputs["loose"] / ref.inputs["bank"]
    loose = in_state(ref.inputs["bank"], "bank", "loose", Bulking(loose_per_bank=factor))
    ref.check("swell_pct", 100 * (loose / ref.inputs["bank"] - 1))


def test_a_factor_of_nothing_is_refused_by_name():
    with pytest.raises(JobError, match=r"bulking\.loose_per_bank: found 0"):
        in_state(1.0, "bank", "loose", Bulking(loose_per_bank=0.0))

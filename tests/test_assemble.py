"""The parts of a design put together from a job folder: eyebrow, patch, strings, layers below."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from click.testing import CliRunner

from pipeline import assemble
from pipeline.cli import main
from pipeline.compare import compose, levels, ponds
from pipeline.design import alignment as line
from pipeline.errors import DesignError
from pipeline.ingest.job.designfiles import read_design
from pipeline.ingest.job.job import read_job
from pipeline.surface.locate import interpolate
from pipeline.surface.mesh import area

ALIGNMENT = "kind,length_m,radius_m,radius_end_m,turn,easting_m,northing_m,azimuth_deg,station\n"
PROFILE = "station,elevation_m,curve_in_m,curve_out_m\n"
SECTIONS = """\
[[section]]
name = "one"
from = 0
to = 110
[section.layers.finish]
right = [{ to = "lip", width_m = 4.0, fall_pct = 2.0 }, { to = "back", width_m = 0.2, step_m = 0.15 }]
left = "mirror"
[section.layers.clay]
drop_m = 0.4
right = [{ to = "edge of clay", width_m = 5.0, fall_pct = 2.0 }]
left = "mirror"
"""  # noqa: E501
JOB = """\
name = "invented"
control = ""
[[layers]]
name = "finish"
[[layers]]
name = "clay"
[target]
layer = "clay"
"""


@pytest.fixture
def folder(tmp_path):
    """110 m due north from (1000, 2000), 1 % up from 50.000, lips at 4.0 and 2 %."""
    design = tmp_path / "design"
    design.mkdir()
    text = ALIGNMENT + "start,,,,,1000,2000,0,0\nline,110,,,,,,,\n"
    (design / "alignment.csv").write_text(text, encoding="utf-8")
    (design / "profile.csv").write_text(PROFILE + "0,50,,\n110,51.1,,\n", encoding="utf-8")
    (design / "sections.toml").write_text(SECTIONS, encoding="utf-8")
    (tmp_path / "job.toml").write_text(JOB, encoding="utf-8")
    return tmp_path


def built(folder, more="", *, instead=None):
    text = JOB if instead is None else JOB.replace(*instead)
    (folder / "job.toml").write_text(text + more, encoding="utf-8")
    job = read_job(folder)
    return (*assemble.design(read_design(job), job), job)


RADIUS, TURN = 12.0, math.asin(30.0 / 48.0)
"""A bay of 30 m: right, left, right again on one radius, 4 R sin(turn) = 30."""
EYEBROW = """
[[design.edges]]
name = "bay"
kind = "eyebrow"
side = "right"
start = 40.0
end = 70.0
alignment = "design/bay.csv"
profile = "design/bay_profile.csv"
sections = "design/bay.toml"
"""


@pytest.fixture
def bay(folder):
    arc = RADIUS * TURN
    rows = [f"arc,{arc:.12f},12,,right,,,,", f"arc,{2 * arc:.12f},12,,left,,,,",
            f"arc,{arc:.12f},12,,right,,,,"]  # fmt: skip
    text = ALIGNMENT + "start,,,,,1004,2040,0,0\n" + "\n".join(rows) + "\n"
    (folder / "design" / "bay.csv").write_text(text, encoding="utf-8")
    length = 4.0 * arc
    # lip 50.32 at 40 and 50.62 at 70; lowest a little before the middle
    profile = f"0,50.32,,\n{0.25 * length},50.21,,\n{length},50.62,,\n"
    (folder / "design" / "bay_profile.csv").write_text(PROFILE + profile, encoding="utf-8")
    sections = (
        f'[[section]]\nname = "bay"\nfrom = 0\nto = {length}\n[section.layers.finish]\n'
        'right = [{ to = "back", width_m = 0.2, step_m = 0.15 }]\nleft = []\n'
        "[section.layers.clay]\ndrop_m = 0.4\n"
        'right = [{ to = "edge of clay", width_m = 1.0, fall_pct = 2.0 }]\nleft = []\n'
    )
    (folder / "design" / "bay.toml").write_text(sections, encoding="utf-8")
    return folder


def test_an_eyebrow_has_no_crack_along_the_line_it_shares(bay):
    corridor, found, job = built(bay, EYEBROW)

    (closing,) = [one for one in found if one.kind == "ring closure"]
    assert closing.severity == "note"
    for layer in ("finish", "clay"):
        whole = compose.layer_surface(corridor, layer, job.design)
        shared = [s for s in whole.seams if {s.first, s.second} == {"bay surface", "alignment"}]
        assert len(shared) == 1
        assert abs(shared[0].step) < 0.001
        assert shared[0].length == pytest.approx(30.0, abs=0.26)
        assert max(abs(seam.step) for seam in whole.seams) < 0.001


@pytest.mark.parametrize("north", [2042.0, 2050.0, 2055.0, 2063.0, 2068.0])
def test_lath_at_tells_the_same_on_both_sides_of_the_shared_line(bay, north):
    (bay / "job.toml").write_text(JOB + EYEBROW, encoding="utf-8")
    told = []
    for east in (1003.999, 1004.001):
        words = ["at", str(bay), "--east", str(east), "--north", str(north), "--elev", "60"]
        said = CliRunner().invoke(main, [*words, "--json"], catch_exceptions=False)
        told.append(json.loads(said.stdout)["layers"])
    # the lip: 1 % up from 50.000, 0.08 lower; a millimetre along 2 % is nothing
    for one in told:
        assert one["finish"] == pytest.approx(49.92 + 0.01 * (north - 2000.0), abs=1.1e-3)
    assert told[0]["clay"] == pytest.approx(told[1]["clay"], abs=1.1e-3)


def test_an_eyebrow_lies_between_the_lip_and_its_edge(bay):
    """The area between a straight lip and three arcs; a pond at its low edge, and none uphill."""
    corridor, _, job = built(bay, EYEBROW)
    whole = compose.layer_surface(corridor, "finish", job.design)
    own = whole.surface.triangles[whole.owner == whole.names.index("bay surface")]
    x, y = whole.surface.x[own], whole.surface.y[own]
    plan = 0.5 * float(
        np.sum((x[:, 1] - x[:, 0]) * (y[:, 2] - y[:, 0])
               - (x[:, 2] - x[:, 0]) * (y[:, 1] - y[:, 0]))
    )  # fmt: skip
    # under a curve of arcs that begins and ends along the lip: depth 2 R (1 - cos), half the box
    depth = 2.0 * RADIUS * (1.0 - math.cos(TURN))
    assert plan == pytest.approx(15.0 * depth, abs=0.1)
    # no curb in the mouth, the bay's own curb outside it
    e, n = np.array([1004.1, 1004.0 + depth + 0.1]), np.array([2055.0, 2055.0])
    feet = line.locate(corridor.alignment, e, n)
    z = levels.layer_elevation(corridor, corridor.layers[0], feet.station, feet.offset, e, n)
    assert z[0] < 50.47 + 0.01
    assert np.isfinite(z[1])
    (pond,) = ponds.ponds(whole.surface, 0.01)
    assert pond.bottom == pytest.approx(50.21, abs=1e-6)


def test_an_eyebrow_without_its_side_is_refused(bay):
    with pytest.raises(DesignError, match="eyebrow 'bay': its side, start or end is missing"):
        built(bay, EYEBROW.replace('side = "right"\n', ""))


PATCH = """
[[design.patches]]
name = "plaza"
file = "design/plaza.xml"
layers = { finish = 0.0, clay = 0.35 }
"""


def landxml(points, faces):
    rows = "".join(f'<P id="{k}">{n} {e} {z}</P>' for k, (e, n, z) in enumerate(points, start=1))
    made = "".join(f"<F>{a} {b} {c}</F>" for a, b, c in faces)
    return (
        '<?xml version="1.0"?>\n<LandXML xmlns="http://www.landxml.org/schema/LandXML-1.2"'
        ' version="1.2"><Units><Metric linearUnit="meter" areaUnit="squareMeter"'
        ' volumeUnit="cubicMeter" temperatureUnit="celsius" pressureUnit="HPA"/></Units>'
        f'<Surfaces><Surface name="s"><Definition surfType="TIN"><Pnts>{rows}</Pnts>'
        f"<Faces>{made}</Faces></Definition></Surface></Surfaces></LandXML>\n"
    )


@pytest.fixture
def plaza(folder):
    corners = [(1001.0, 2050.0, 50.60), (1007.0, 2050.0, 50.60), (1007.0, 2058.0, 50.68),
               (1001.0, 2058.0, 50.68)]  # fmt: skip
    text = landxml(corners, [(1, 2, 3), (1, 3, 4)])
    (folder / "design" / "plaza.xml").write_text(text, encoding="utf-8")
    return folder


def test_a_patch_overrides_the_street_inside_its_boundary_only(plaza):
    corridor, _, job = built(plaza, PATCH)
    e, n = np.array([1002.0, 1006.5, 1000.5, 1002.0]), np.array([2054.0, 2054.0, 2054.0, 2049.0])
    feet = line.locate(corridor.alignment, e, n)
    finish, clay = (
        levels.layer_elevation(corridor, layer, feet.station, feet.offset, e, n)
        for layer in corridor.layers
    )

    street = 50.0 + 0.01 * (n - 2000.0)
    np.testing.assert_allclose(
        finish, [50.64, 50.64, street[2] - 0.01, street[3] - 0.04], atol=1e-9
    )
    np.testing.assert_allclose(clay[:2], 50.64 - 0.35, atol=1e-9)
    assert clay[2] == pytest.approx(street[2] - 0.41)
    whole = compose.layer_surface(corridor, "finish", job.design)
    np.testing.assert_allclose(interpolate(whole.surface, e, n), finish, atol=1e-6)
    # 110 x 8.4 m of street and what of the 6 x 8 m lies outside it
    assert area(whole.surface) == pytest.approx(924.0 + 2.8 * 8.0, abs=1e-6)
    told = assemble.checked(corridor, job, None)
    (step,) = [f for f in told if f.kind == "design step" and "layer 'finish'" in f.text]
    # the largest step is at its far corner inside: 50.68 over 50.58 - 0.02
    assert "plaza lies +" in step.text


def test_a_patch_of_a_layer_that_is_none_is_refused(plaza):
    with pytest.raises(DesignError, match="patch 'plaza': its layers are gravel, those of the job"):
        built(plaza, PATCH.replace("finish = 0.0, clay = 0.35", "gravel = 0.2"))


def test_the_main_street_may_stand_before_a_patch(plaza):
    stated = PATCH + '\n[design]\npriority = ["main", "plaza"]\n'
    text = stated.replace("[[design.patches]]", "", 1)
    order = (
        '\n[design]\npriority = ["main", "plaza"]\n[[design.patches]]' + text.split("[design]")[0]
    )
    corridor, _, job = built(plaza, order)
    e, n = np.array([1002.0, 1006.5]), np.array([2054.0, 2054.0])
    feet = line.locate(corridor.alignment, e, n)
    z = levels.layer_elevation(corridor, corridor.layers[0], feet.station, feet.offset, e, n)

    assert corridor.rank == 0
    np.testing.assert_allclose(z, [50.54 - 0.04, 50.64], atol=1e-9)
    assert job.design.priority == ["main", "plaza"]


def test_a_layer_below_a_surface_is_measured_as_it_says(plaza):
    """On a plane of 1 % a thickness of 0.35 square to it is 0.35 sqrt(1 + 0.01²) down."""
    layers = '[[layers]]\nname = "finish"\nfile = "design/plaza.xml"\n[[layers]]\nname = "clay"\n'
    layers += 'below = "finish"\nby_m = 0.35\nmeasured = "perpendicular"\n'
    old = JOB.split("[target]", maxsplit=1)[0].split('control = ""\n')[1]
    corridor, _, job = built(plaza, instead=(old, layers))
    drop = interpolate(corridor.layers[0].surface, [1004.0], [2054.0]) - interpolate(
        corridor.layers[1].surface, [1004.0], [2054.0]
    )
    assert drop[0] == pytest.approx(0.35 * math.sqrt(1.0 + 0.01**2), abs=1e-9)

    corridor, _, _ = built(plaza, instead=(old, layers.replace("perpendicular", "vertical")))
    drop = corridor.layers[0].surface.z - corridor.layers[1].surface.z
    np.testing.assert_allclose(drop, 0.35, atol=1e-12)
    assert job.layers[1].below == "finish"


def test_a_section_layer_below_another_keeps_its_breaks(folder):
    layers = (
        '[[layers]]\nname = "finish"\n[[layers]]\nname = "base"\nbelow = "finish"\nby_m = 0.2\n'
    )
    layers += '[[layers]]\nname = "clay"\n'
    old = JOB.split("[target]", maxsplit=1)[0].split('control = ""\n')[1]
    corridor, _, _ = built(folder, instead=(old, layers))

    top, base, _ = corridor.layers
    assert base.breaks == top.breaks
    np.testing.assert_allclose(top.rise - base.rise, 0.2)
    with pytest.raises(DesignError, match="square below 'finish', which comes from sections"):
        built(folder, instead=(old, layers.replace("by_m = 0.2", 'by_m = 0.2\nmeasured = "perpendicular"')))  # noqa: E501  # fmt: skip
    with pytest.raises(DesignError, match="below 'asphalt', which is no layer above it"):
        built(folder, instead=(old, layers.replace('below = "finish"', 'below = "asphalt"')))


def test_a_surface_is_made_of_strings(folder):
    """Three strings of a roof: eaves at 50.0, ridge at 50.3, 4 m to either side."""
    import ezdxf

    drawing = ezdxf.new("R2010")
    drawing.header["$INSUNITS"] = 6
    for east, z in ((1000.0, 50.0), (1004.0, 50.3), (1008.0, 50.0)):
        drawing.modelspace().add_polyline3d([(east, 2000.0, z), (east, 2030.0, z)])
    drawing.saveas(folder / "design" / "roof.dxf")
    layers = '[[layers]]\nname = "finish"\nfile = "design/roof.dxf"\n[[layers]]\nname = "clay"\n'
    layers += 'below = "finish"\nby_m = 0.4\n'
    old = JOB.split("[target]", maxsplit=1)[0].split('control = ""\n')[1]
    corridor, _, _ = built(folder, "[surface]\nmax_edge_m = 40.0\n", instead=(old, layers))
    surface = corridor.layers[0].surface

    z = interpolate(surface, [1002.0, 1004.0, 1007.0], [2010.0, 2015.0, 2020.0])
    np.testing.assert_allclose(z, [50.15, 50.3, 50.075], atol=1e-9)
    assert area(surface) == pytest.approx(240.0)
    assert np.isnan(interpolate(surface, [999.0], [2010.0]))[0]


TIE = """
[[design.ties]]
end = "start"
file = "design/existing.csv"
"""


def test_a_tie_reads_its_shots_and_shows_the_step(folder):
    rows = "".join(f"{k},{e},2000.0,{z}\n" for k, (e, z) in enumerate(
        [(995.8, 50.1), (996.0, 49.95), (1000.0, 50.03), (1004.0, 49.95), (1004.2, 50.1)]
    ))  # fmt: skip
    text = "point,easting,northing,elevation\n" + rows
    (folder / "design" / "existing.csv").write_text(text, encoding="utf-8")
    corridor, found, _ = built(folder, TIE)

    (told,) = [one for one in found if one.kind == "tie to existing" and one.severity == "note"]
    # the design at the crown is 50.00, what is built 50.03; at 0.5 % that is 6 m
    assert "0.030 m under what is built" in told.text
    assert "blended over 6.0 m" in told.text
    feet = line.locate(corridor.alignment, [1000.0, 1000.0], [2000.0, 2003.0])
    z = levels.layer_elevation(
        corridor, corridor.layers[0], feet.station, feet.offset,
        np.full(2, 1000.0), np.array([2000.0, 2003.0]),
    )  # fmt: skip
    np.testing.assert_allclose(z, [50.03, 50.03 + 0.015], atol=1e-9)


def test_parts_of_one_name_and_streets_that_are_not_there_are_refused(plaza):
    with pytest.raises(DesignError, match="part 'plaza' of the job file: two parts"):
        built(plaza, PATCH + PATCH)
    with pytest.raises(DesignError, match="names the street 'lane'; there are main"):
        built(plaza, TIE.replace("end", 'street = "lane"\nend', 1))

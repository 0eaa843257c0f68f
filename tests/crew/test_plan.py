"""The day's drawing, made of an invented street: a line, an arc, a line, a reverse arc.

Ground minus design is a formula of station and offset, so bands and contours
come from matplotlib's contour generator instead of our own comparison.
"""

import io
import itertools
import math
import re
from collections import Counter
from dataclasses import replace
from types import SimpleNamespace

import contourpy
import ezdxf
import numpy as np
import pytest
import shapely

from pipeline.crew.buried.listed import NOTHING
from pipeline.crew.plan.drawing import drawing
from pipeline.crew.plan.frame import PlanWords, band_span, band_words, corners, frame, wrapped
from pipeline.crew.plan.inputs import PlanInputs, band_limits, contour_levels
from pipeline.crew.plan.labels import text_width
from pipeline.crew.plan.lines import broken_line, line_stations, station_ticks, street_of, strokes
from pipeline.crew.plan.plain import plain_drawing
from pipeline.crew.plan.sheets import strips
from pipeline.deliver.dxf import dxf_bytes
from pipeline.design import alignment as line
from pipeline.design.feet import locate
from pipeline.errors import JobError, OutputError
from pipeline.model import (
    LAYERS,
    PENS,
    AlignmentRows,
    Band,
    Corridor,
    ElementRow,
    Layer,
    Profile,
    Region,
    Stakes,
    Utilities,
    make_shots,
    texts,
)
from pipeline.model.charts import Chart, Curve
from pipeline.settings import Rounding, Sheet
from pipeline.surface.contour import Isolines
from pipeline.units import format_station, ground_mark, parse_station
from tests.drawings import text_boxes

EAST, NORTH = 512_340.0, 5_460_200.0
BANDS = [0.02, 0.05, 0.10, 0.20]
BREAKS = (("edge of clay", -1), ("lip", -1), ("crown", 0), ("lip", 1), ("edge of clay", 1))
OFFSETS = np.array([-6.0, -4.3, 0.0, 4.3, 6.0])
CAUTION = (
    "Arithmetic on surveyed and recorded heights, not a locate. Call and renew the locate"
    " ticket, expose by hand; if marks and this sheet disagree, stop and ask."
)


def difference(s, o):
    """Cut of the invented morning [m]."""
    return 0.09 * np.sin(s / 23) + 0.07 * np.cos(s / 9 + o / 3) + 0.05 * np.sin(s / 61) + 0.006 * o


def in_gap(s, o):
    """Where nobody shot: 26 m of the right lane."""
    return (s > 305) & (s < 331) & (o > 1.5)


def street():
    pieces = [("line", 120.0, math.inf, 0), ("arc", 150.0, 100.0, 1), ("line", 60.0, math.inf, 0),
              ("arc", 60.0, 60.0, -1), ("line", 30.0, math.inf, 0)]  # fmt: skip
    rows = [ElementRow(kind, length, r, r, turn) for kind, length, r, turn in pieces]
    rows[0] = replace(rows[0], start=(EAST, NORTH))
    built, _ = line.build(AlignmentRows("invented street", tuple(rows), azimuth=1.2))
    ends = np.array([0.0, 420.0])
    names, sides = zip(*BREAKS, strict=True)
    layer = Layer("clay subgrade", "Clay", names, sides, ends, np.tile(OFFSETS, (2, 1)),
                  np.zeros((2, 5)))  # fmt: skip
    grade = Profile("profile", ends, [100.0], [0.01], [0.01], [np.inf])
    return Corridor("invented street", built, grade, (layer,))


def on_grid(corridor, s, o):
    return line.point_at(corridor.alignment, np.asarray(s, float), np.asarray(o, float))[:2]


def bands_and_contours(corridor):
    s, o = np.linspace(0, 420, 841), np.linspace(-6, 6, 49)
    grid = np.meshgrid(s, o)
    cut = np.ma.array(difference(*grid), mask=in_gap(*grid))
    maker = contourpy.contour_generator(s, o, cut, fill_type="OuterOffset", corner_mask=True)
    limits = band_limits(BANDS)
    bands = []
    for low, high in itertools.pairwise(limits):
        regions = []
        for points, offsets in zip(*maker.filled(max(low, -9), min(high, 9)), strict=True):
            rings = [points[a : b - 1] for a, b in itertools.pairwise(offsets)]
            on = [np.column_stack(on_grid(corridor, ring[:, 0], ring[:, 1])) for ring in rings]
            if shapely.Polygon(on[0]).area > 0.05:
                regions.append(Region(low, high, tuple(on)))
        bands.append(Band(low, high, tuple(regions), 0.0, 0.0, 0.0))
    level, parts = [], []
    for wanted in contour_levels(BANDS):
        for points in maker.lines(wanted):
            level.append(wanted)
            parts.append(np.column_stack(on_grid(corridor, points[:, 0], points[:, 1])))
    every = np.concatenate(parts)
    start = np.concatenate([[0], np.cumsum([len(part) for part in parts])])
    return tuple(bands), Isolines(level, every[:, 0], every[:, 1], start)


def places(corridor, kind, s, o, mark, ids):
    e, n = on_grid(corridor, s, o)
    none = np.full(len(s), np.nan)
    return Stakes(
        layers=("clay subgrade",), id=texts(ids), kind=texts(kind), what=texts([""] * len(s)),
        station=s, offset=o, easting=e, northing=n, ground=none, design=none[:, None],
        mark=texts(mark), note=texts([""] * len(s)),
    )  # fmt: skip


def stakes_of(corridor):
    along = np.arange(0.0, 421.0, 5.0)
    s, o = np.concatenate([along, along[::-1]]), np.repeat([-7.5, 7.5], len(along))
    ids = [
        f"{format_station(a).replace('+', '')}{'L' if b < 0 else 'R'}"
        for a, b in zip(s, o, strict=True)
    ]
    key_s = np.array([0.0, 120.0, 270.0, 330.0, 390.0, 420.0, 145.0, 352.0])
    key = ["start", "PC", "PT", "PC", "PT", "end", "HP", "LP"]
    return places(
        corridor, ["stake"] * len(s) + ["point"] * 8, np.concatenate([s, key_s]),
        np.concatenate([o, np.zeros(8)]), ["1.50 TBC"] * len(s) + key, ids + key,
    )  # fmt: skip


def dots_of(corridor):
    s, o = np.repeat(np.arange(2.5, 420.0, 5.0), 5), np.tile(OFFSETS, 84)
    mark = [
        "NOT SHOT" if in_gap(a, b) else ground_mark(float(difference(a, b)), on_grade=0.01)
        for a, b in zip(s, o, strict=True)
    ]
    return places(corridor, ["number"] * len(s), s, o, mark, [str(i) for i in range(len(s))])


def scene():
    """700 shots less those of the gap, 420 dots, 170 stakes, 5 buried things."""
    random = np.random.default_rng(5)
    corridor = street()
    s = np.repeat(np.arange(0.0, 420.0, 3.0), 5) + random.uniform(-0.4, 0.4, 700)
    o = np.tile(OFFSETS, 140) * 0.95 + random.uniform(-0.2, 0.2, 700)
    s = np.clip(s, 0, 420)
    shot = ~in_gap(s, o)
    s, o = s[shot], o[shot]
    used = np.ones(len(s), bool)
    used[[37, 222, 481]] = False
    bands, contours = bands_and_contours(corridor)
    around_s = np.concatenate([np.linspace(305, 331, 30), np.linspace(331, 305, 30)])
    gap = np.column_stack(on_grid(corridor, around_s, np.repeat([1.5, 6.0], 30)))
    e, n = on_grid(corridor, [52, 133, 236, 318, 400], [-2.5, 3, -1.5, 3.2, 2])
    return PlanInputs(
        corridor=corridor, layer="clay subgrade",
        shots=make_shots(*on_grid(corridor, s, o), 100 + difference(s, o)), used=used,
        cut=np.where(used, difference(s, o), np.nan), bands=bands, contours=contours,
        not_surveyed=(Region(np.nan, np.nan, (gap,)),), stakes=stakes_of(corridor),
        dots=dots_of(corridor),
        utilities=Utilities(
            id=texts(["V1", "MH2", "V3", "CB4", "V5"]),
            kind=texts(["valve", "manhole", "valve", "catch basin", "valve"]), easting=e,
            northing=n, lid=[99.8, 100.0, np.nan, 99.7, 99.9], depth_to_top=[0.3] * 5,
            note=texts([""] * 5),
        ),
        sheet=Sheet(bands_m=BANDS), rounding=Rounding(),
        words=PlanWords(
            job="Invented street, phase 2", day="2026-05-14", layer="clay subgrade", grid="local",
            heights="site bench marks", shots="670 used, 3 not used", package="a1b2c3d4e5",
            prepared_by="day shift", numbers=("mean C 0.012",), cautions=(CAUTION,),
        ),
    )  # fmt: skip


@pytest.fixture(scope="module")
def inputs():
    return scene()


@pytest.fixture(scope="module")
def drawn(inputs):
    return drawing(inputs)


@pytest.fixture(scope="module")
def content(drawn):
    return dxf_bytes(drawn)


@pytest.fixture(scope="module")
def document(content):
    return ezdxf.read(io.StringIO(content.decode("utf-8")))


def map_words(picture):
    """(layer, text, box) of every text on the map itself."""
    return list(text_boxes(picture, ("text-title", "text-legend", "text-caution")))


def test_no_two_texts_of_the_map_overlap(drawn):
    """No box of a text overlaps another, at 1:500."""
    boxes = [box for _, _, box in map_words(drawn.picture)]
    assert len(boxes) > 500
    first, second = shapely.STRtree(boxes).query(boxes, predicate="intersects")
    assert (first == second).all()


def test_texts_are_as_high_on_paper_as_a_person_can_read(drawn):
    """1.8 to 5 mm; drafting guides give 1.8 mm as the least (from memory)."""
    heights = np.concatenate([words.height for words in drawn.picture.words]) / 0.5
    assert heights.min() >= 1.8 - 1e-9
    assert heights.max() <= 5.0 + 1e-9
    for page in drawn.pages:
        heights = np.concatenate([words.height for words in page.picture.words])
        assert heights.min() >= 1.8
        assert heights.max() <= 5.0


def test_what_warns_and_what_locates_is_never_left_out(drawn, inputs):
    said = Counter(layer for layer, _, _ in map_words(drawn.picture))
    assert said["text-hazard"] == 5
    assert said["text-key-point"] == 8
    assert said["text-shot-refused"] == 3
    assert said["text-not-surveyed"] == 1
    assert said["text-stake"] == 170
    # the start, the end and three curve points write their station themselves
    assert said["text-station"] >= 22 - 5
    assert said["text-dot"] + said["text-shot"] > 250


def test_a_buried_thing_without_a_height_says_so(drawn):
    said = {text for layer, text, _ in map_words(drawn.picture) if layer == "text-hazard"}
    assert said == {
        "valve V1", "manhole MH2", "valve V3 NO HEIGHT", "catch basin CB4", "valve V5",
    }  # fmt: skip


def test_not_surveyed_is_written_inside_its_region(drawn, inputs):
    gap = shapely.Polygon(inputs.not_surveyed[0].rings[0])
    boxes = [box for _, text, box in map_words(drawn.picture) if text == "NOT SURVEYED"]
    assert all(gap.contains(box) for box in boxes)


def test_no_text_lies_on_a_buried_thing(drawn, inputs):
    things = shapely.points(inputs.utilities.easting, inputs.utilities.northing)
    for _, text, box in map_words(drawn.picture):
        assert not any(box.contains(thing) for thing in things), text


def test_a_number_belongs_to_the_mark_it_stands_nearest_to(drawn, inputs):
    """Of the shots and dots within 0.3 mm of the nearest one, some has just that mark."""
    shots, dots = inputs.shots, inputs.dots
    marks = np.concatenate([
        [ground_mark(float(cut), on_grade=0.01) for cut in inputs.cut], dots.mark,
    ])  # fmt: skip
    spots = shapely.points(
        np.concatenate([shots.easting, dots.easting]),
        np.concatenate([shots.northing, dots.northing]),
    )
    checked = 0
    for layer, text, box in map_words(drawn.picture):
        if layer in ("text-shot", "text-dot"):
            away = shapely.distance(box, spots)
            assert text in marks[away <= away.min() + 0.15 + 1e-6]
            # and it is so near that no one looks elsewhere: 2.7 mm of paper
            assert away.min() < 2.7 * 0.5
            checked += 1
    assert checked > 250


def test_the_drawing_opens_clean_and_reads_back(document, drawn, inputs):
    audit = document.audit()
    assert (audit.errors, audit.fixes) == ([], [])
    space = document.modelspace()
    points = [e for e in space.query("POINT") if e.dxf.layer == "mark-shot"]
    used = inputs.used
    want = np.column_stack([inputs.shots.easting, inputs.shots.northing, inputs.shots.elevation])
    got = np.array([tuple(e.dxf.location) for e in points])
    np.testing.assert_allclose(got, want[used], atol=5.1e-5)
    layers = Counter(e.dxf.layer for e in space)
    assert set(layers) <= set(LAYERS)
    assert layers["mark-shot-refused"] == 2 * 3
    assert layers["mark-dot"] == 420
    assert layers["mark-stake"] == 170
    assert layers["key-point"] == 8
    assert all(e.dxf.text.isascii() for e in space.query("TEXT"))
    for name in (
        "band-cut-4", "band-fill-4", "centreline", "contour-zero", "edge-outer", "edge-break",
        "gap-not-surveyed", "back-paper", "legend", "text-break", "text-band",
    ):  # fmt: skip
        assert layers[name] > 0, name


def test_stakes_hazards_and_high_points_say_what_they_are(document, inputs):
    """Attributes by tag and extended data, as ezdxf reads them back."""
    stakes, things = inputs.stakes, inputs.utilities
    for layer, names, stations in (
        ("mark-stake", stakes.id[stakes.kind != "point"], stakes.station[stakes.kind != "point"]),
        ("key-point", stakes.id[stakes.kind == "point"], stakes.station[stakes.kind == "point"]),
        ("hazard-buried", things.id, None),
    ):
        marks = [e for e in document.modelspace().query("INSERT")
                 if e.dxf.layer == layer and e.dxf.name == layer]  # fmt: skip
        assert [mark.get_attrib_text("ID") for mark in marks] == list(names)
        told = [[tag.value for tag in mark.get_xdata("LATH")] for mark in marks]
        assert [one[0] for one in told] == list(names)
        if stations is not None:
            assert [one[1] for one in told] == pytest.approx(list(stations), abs=1e-4)
            assert [mark.get_attrib_text("STATION") for mark in marks] == [
                format_station(s) for s in stations.tolist()
            ]
        assert all(attribute.is_invisible for mark in marks for attribute in mark.attribs)
        # whoever switches them on reads them at the height of the map's other texts
        heights = [a.dxf.height / 0.5 for mark in marks for a in mark.attribs]
        assert 1.8 <= min(heights) <= max(heights) <= 5.0
        defined = document.blocks.get(layer).attdefs()
        assert [tag.dxf.tag for tag in defined] == [a.dxf.tag for a in marks[0].attribs]


def test_every_shot_on_the_map_says_its_number_and_station(document, inputs):
    points = [e for e in document.modelspace().query("POINT") if e.dxf.layer == "mark-shot"]
    told = [[tag.value for tag in point.get_xdata("LATH")] for point in points]
    assert [one[0] for one in told] == list(inputs.shots.id[inputs.used])
    # the station, put back on the line at its offset, is where the point lies
    assert all(0 <= one[1] <= 420 for one in told)


def test_bands_stay_few_and_cover_what_was_shot(document, inputs):
    """Area of the hatches by ezdxf's reading, against the formula on a fine grid."""
    total = {"cut": 0.0, "fill": 0.0}
    hatches = document.modelspace().query("HATCH")
    for hatch in hatches:
        rings = [shapely.Polygon(np.array(path.vertices)[:, :2]) for path in hatch.paths]
        total[hatch.dxf.layer.split("-")[1]] += rings[0].area - sum(r.area for r in rings[1:])
    assert len(hatches) < 100
    s, o = np.meshgrid(np.arange(0.1, 420, 0.2), np.arange(-5.9, 6, 0.2))
    shot, cut = ~in_gap(s, o), difference(s, o)
    # the area of a patch of a curved street grows with the offset to the outside of the curve
    curvature = np.where(
        (s > 120) & (s < 270), 1 / 100, np.where((s > 330) & (s < 390), -1 / 60, 0)
    )
    patch = 0.04 * (1 - o * curvature)
    np.testing.assert_allclose(total["cut"], patch[shot & (cut > 0.02)].sum(), rtol=0.01)
    np.testing.assert_allclose(total["fill"], patch[shot & (cut < -0.02)].sum(), rtol=0.01)


def test_it_stays_small(content):
    """700 shots, 420 dots, 170 stakes in 2 MB at the most."""
    assert len(content) < 2_000_000


def test_two_drawings_of_one_day_are_the_same_bytes(inputs, content):
    assert dxf_bytes(drawing(scene())) == content


def render(document, box, dots_per_metre):
    """Pixels of part of the map on a black screen; texts and symbols elsewhere are left out."""
    import matplotlib as mpl

    mpl.use("Agg")
    import matplotlib.pyplot as plt
    from ezdxf.addons.drawing import Frontend, RenderContext
    from ezdxf.addons.drawing.config import BackgroundPolicy, Configuration
    from ezdxf.addons.drawing.matplotlib import MatplotlibBackend

    west, south, east, north = box

    def near(entity):
        at = {"TEXT": "align_point", "INSERT": "insert"}.get(entity.dxftype())
        if at is None:
            return entity.dxftype() != "POINT"
        x, y, _ = entity.dxf.get(at)
        return west - 9 < x < east + 9 and south - 9 < y < north + 9

    figure = plt.figure(figsize=(east - west, north - south), dpi=dots_per_metre)
    axes = figure.add_axes((0, 0, 1, 1))
    dark = Configuration(background_policy=BackgroundPolicy.BLACK)
    backend = MatplotlibBackend(axes, adjust_figure=False)
    frontend = Frontend(RenderContext(document), backend, config=dark)
    frontend.draw_layout(document.modelspace(), filter_func=near)
    axes.set_aspect("auto")
    axes.set_xlim(west, east)
    axes.set_ylim(south, north)
    figure.canvas.draw()
    pixels = np.asarray(figure.canvas.buffer_rgba())[:, :, :3].astype(int)
    plt.close(figure)
    return pixels


def share(pixels, colour):
    return float((np.abs(pixels - np.array(colour)).max(axis=2) <= 2).mean())


@pytest.fixture(scope="module")
def picture(document):
    """50 m by 40 m of the first arc, rendered by ezdxf and matplotlib on a black screen."""
    x, y = on_grid(street(), [190.0], [0.0])
    return render(document, (x[0] - 25, y[0] - 30, x[0] + 25, y[0] + 10), 12)


def test_the_map_renders_with_every_band_it_should_have(picture):
    s, o = np.meshgrid(np.arange(165, 215, 0.5), np.arange(-6, 6.1, 0.5))
    cut = np.abs(difference(s, o))
    sign = np.where(difference(s, o) > 0, "cut", "fill")
    for side in ("cut", "fill"):
        for k, low in enumerate(BANDS):
            high = [*BANDS, np.inf][k + 1]
            part = ((cut >= low) & (cut < high) & (sign == side)).mean()
            seen = share(picture, PENS[f"band-{side}-{k + 1}"].colour)
            if part > 0.02:
                # 600 m2 of street in 2000 m2 of picture; texts and lines hide some
                assert 0.25 * part < seen / (600 / 2000) < 1.3 * part, (side, k)
            if part == 0:
                assert seen < 1e-4


def test_the_map_is_white_paper_on_a_black_screen(picture):
    assert share(picture, (255, 255, 255)) > 0.5
    assert share(picture, (0, 0, 0)) < 0.01


def test_texts_stand_out_from_their_plates(document, drawn):
    """WCAG 2 asks 4.5:1 of body text (level AA, from memory); every pen that writes has 6:1."""

    def luminance(colour):
        c = np.array(colour) / 255
        linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
        return float(linear @ [0.2126, 0.7152, 0.0722])

    for name, pen in PENS.items():
        if name.startswith("text-"):
            contrast = 1.05 / (luminance(pen.colour) + 0.05)
            assert contrast >= 6.0, name
    plates = [fill for fill in drawn.picture.fills if fill.layer == "label-plate"]
    assert len(plates) == len(map_words(drawn.picture))


def test_sheets_show_the_whole_street_at_scale(drawn, inputs, document):
    """Every 2 m of both hub lines lies in some window, by ezdxf's own matrix of it."""
    s = np.repeat(np.arange(0.0, 420.1, 2.0), 2)
    o = np.tile([-7.5, 7.5], len(s) // 2)
    e, n = on_grid(inputs.corridor, s, o)
    shown = np.zeros(len(s), bool)
    assert [page.name for page in drawn.pages] == [
        name for name in document.layouts.names() if name != "Model"
    ]
    for page in drawn.pages:
        windows = [v for v in document.layouts.get(page.name).viewports() if v.dxf.id != 1]
        assert len(windows) == len(page.views)
        for window in windows:
            np.testing.assert_allclose(window.get_scale(), 2.0, rtol=1e-6)
            matrix = window.get_transformation_matrix()
            on = np.array([tuple(matrix.transform((a, b, 0)))[:2] for a, b in
                           zip(e.tolist(), n.tolist(), strict=True)])  # fmt: skip
            size = np.array([window.dxf.width, window.dxf.height]) / 2
            middle = np.array([window.dxf.center[0], window.dxf.center[1]])
            shown |= (np.abs(on - middle) <= size + 0.1).all(axis=1)
    assert shown.all()


def a_chart(first, last, cut, along="station", note=""):
    """Ground over a plane that rises 2 %, a layer above, and no ground in the middle fifth."""
    x = np.linspace(first, last, 841)
    plane = 100 + 0.02 * x
    middle, fifth = (first + last) / 2, (last - first) / 10
    z = np.where(np.abs(x - middle) < fifth, np.nan, plane + cut)
    curves = (Curve("finish", "layer", x, plane + 0.5), Curve("clay", "today", x, plane),
              Curve("ground as shot", "ground", x, z))  # fmt: skip
    return Chart("Along the line" if along == "station" else "0+100.0", along, curves, note)


@pytest.fixture(scope="module")
def sided(inputs):
    profiles = tuple(a_chart(0.0, 420.0, cut) for cut in (0.05, 0.0, -0.12))
    sections = tuple(a_chart(-7.0, 7.0, 0.03, "offset", "C 0.030 on the line") for _ in range(20))
    return drawing(replace(inputs, profiles=profiles, sections=sections))


def is_line(entity, layer):
    return entity.dxf.layer == layer and entity.dxftype() in {"LINE", "LWPOLYLINE"}


def points_of(entity):
    if entity.dxftype() == "LINE":
        return np.array([tuple(entity.dxf.start)[:2], tuple(entity.dxf.end)[:2]])
    return np.array([tuple(point) for point in entity.get_points("xy")])


def test_profiles_and_sections_have_sheets_that_read_back_at_their_scale(sided, inputs):
    """Heights and stations measured on the paper, against the plane and its cut."""
    document = ezdxf.read(io.StringIO(dxf_bytes(sided).decode("utf-8")))
    assert document.audit().errors == []
    names = document.layouts.names()
    assert [name for name in names if "profile" in name] == [
        f"A3 profile {k} of 3" for k in (1, 2, 3)
    ]
    assert [name for name in names if "sections" in name] == [
        "A3 sections 1 of 2", "A3 sections 2 of 2",
    ]  # fmt: skip
    page = document.layouts.get("A3 profile 2 of 3")
    (said,) = {e.dxf.text for e in page.query("TEXT") if "STATION 0+140.0 TO 0+280.0" in e.dxf.text}
    along, up = (int(part) for part in re.findall(r"1:(\d+)", said))
    assert along == 500
    lines = {name: [points_of(e) for e in page if is_line(e, name)]
             for name in ("side-ground", "side-today")}  # fmt: skip
    # three panels; in each the ground is broken off where nobody shot it
    assert len(lines["side-today"]) == 3
    assert len(lines["side-ground"]) == 6
    for cut, today in zip((0.05, 0.0, -0.12), sorted(lines["side-today"], key=lambda p: -p[0, 1]),
                          strict=True):  # fmt: skip
        assert np.ptp(today[:, 0]) * along / 1000 == pytest.approx(140.0, abs=0.01)
        assert np.ptp(today[:, 1]) * up / 1000 == pytest.approx(2.8, abs=0.01)
        near = min(lines["side-ground"], key=lambda g: abs(g[0, 1] - today[0, 1]))
        assert (near[0, 1] - today[0, 1]) * up / 1000 == pytest.approx(cut, abs=0.002)
    texts_there = [e.dxf.text for e in page.query("TEXT")]
    assert texts_there.count("C 5") >= 4
    assert texts_there.count("F 12") >= 4
    assert texts_there.count("MATCH LINE 0+280.0: A3 PROFILE 3") == 3
    assert texts_there.count("NOT SURVEYED") == 1, "only the legend says so"


def test_texts_of_the_side_sheets_do_not_overlap(sided):
    """No box of a text overlaps another."""
    for page in sided.pages[-5:]:
        found = []
        for words in page.picture.words:
            if words.layer in ("text-side", "text-match"):
                shift = {"left": 0.0, "centre": 0.5, "right": 1.0}[words.anchor]
                for text, x, y, h in zip(words.text, words.x, words.y, words.height, strict=True):
                    w = text_width(text) * h
                    found.append(shapely.box(x - shift * w, y - h / 2, x + (1 - shift) * w,
                                             y + h / 2))  # fmt: skip
        first, second = shapely.STRtree(found).query(found, predicate="intersects")
        assert len(found) > 30
        assert (first == second).all(), page.name


def test_match_lines_lie_square_to_the_street_where_two_windows_meet(drawn, inputs):
    """The dashes put back on the ground by the window's own place, scale and turn."""
    seen = []
    for page in drawn.pages:
        said = [t for w in page.picture.words if w.layer == "text-match" for t in w.text]
        dashed = [part for part in page.picture.lines if part.layer == "match-line"]
        assert len(dashed) == len(said)
        for part, text in zip(dashed, said, strict=True):
            view = min(page.views, key=lambda v: abs(v.y - part.y.mean()))
            paper = np.column_stack([part.x - view.x, part.y - view.y]) * view.scale / 1000
            cos, sin = np.cos(-view.turn), np.sin(-view.turn)
            east = view.easting + paper @ [cos, -sin]
            north = view.northing + paper @ [sin, cos]
            feet = locate(inputs.corridor.alignment, east, north)
            name = re.search(r"MATCH LINE (\S+): ", text)[1]
            np.testing.assert_allclose(feet.station, parse_station(name), atol=0.06)
            seen.append(name)
    counts = Counter(seen)
    assert set(counts.values()) == {2}, "each is on the window before and on the one after"


def test_the_plain_map_is_an_old_version_with_strokes_and_the_same_marks(drawn, inputs):
    plain = plain_drawing(drawn, inputs)
    content = dxf_bytes(plain, plain=True)
    document = ezdxf.read(io.StringIO(content.decode("utf-8")))
    audit = document.audit()
    assert (audit.errors, audit.fixes) == ([], [])
    # R12 (DXF reference, $ACADVER; from memory)
    assert document.dxfversion == "AC1009"
    space = document.modelspace()
    kinds = Counter(e.dxftype() for e in space)
    assert set(kinds) == {"INSERT", "POINT", "TEXT", "LINE", "POLYLINE"}
    layers = Counter(e.dxf.layer for e in space)
    assert set(layers) <= set(LAYERS)
    assert layers["mark-stake"] == 170
    marks = [e for e in space.query("INSERT") if e.dxf.layer == "hazard-buried"]
    assert [m.get_attrib_text("ID") for m in marks] == list(inputs.utilities.id)
    for side, lean in (("cut", 45.0), ("fill", 135.0)):
        strokes = [e for e in space.query("LINE") if e.dxf.layer.startswith(f"band-{side}")]
        ways = [(e.dxf.end - e.dxf.start).angle_deg % 180 for e in strokes
                if (e.dxf.end - e.dxf.start).magnitude > 1.0]  # fmt: skip
        assert len(ways) > 20
        np.testing.assert_allclose(ways, lean, atol=0.1)
    # the strokes lie in the regions that the other map shades
    (band,) = (b for b in inputs.bands if b.lower == BANDS[-1])
    shapes = shapely.union_all([shapely.Polygon(r.rings[0], r.rings[1:]) for r in band.regions])
    for e in space.query("LINE"):
        if e.dxf.layer == "band-cut-4":
            middle = (e.dxf.start + e.dxf.end) / 2
            assert shapes.buffer(0.01).contains(shapely.Point(middle.x, middle.y))
    with pytest.raises(OutputError, match="shaded regions or sheets"):
        dxf_bytes(drawn, plain=True)


def test_everything_on_a_sheet_lies_on_the_paper(drawn, sided):
    for page in (*drawn.pages, *sided.pages):
        west, south, east, north = corners(page.picture)
        assert west >= 12 - 1e-9
        assert south >= 12 - 1e-9
        assert east <= 420 - 12 + 1e-9
        assert north <= 297 - 12 + 1e-9
        for view in page.views:
            assert view.turn == pytest.approx(math.remainder(view.turn, math.pi), abs=1e-9), (
                "no window is upside down"
            )


@pytest.mark.parametrize("limits", [[], [0.0, 0.1], [-0.1, 0.1], [0.1, 0.05], [0.1, 0.1],
                                    [0.01, 0.02, 0.03, 0.04, 0.05, 0.06], [math.nan]])  # fmt: skip
def test_bands_that_cannot_be_drawn_are_refused(inputs, limits):
    with pytest.raises(JobError, match=r"sheet\.bands_m: found \[.*one to 5 limits in metres"):
        drawing(replace(inputs, sheet=Sheet(bands_m=limits)))


@pytest.mark.parametrize("count", [1, 5])
def test_one_to_five_bands_a_side_can_be_drawn(inputs, count):
    limits = [0.02, 0.05, 0.1, 0.15, 0.2][:count]
    edges = band_limits(limits)
    ring = np.array([[EAST, NORTH], [EAST + 9, NORTH], [EAST, NORTH + 9]])
    bands = tuple(
        Band(a, b, (Region(a, b, (ring,)),), 0.0, 0.0, 0.0) for a, b in itertools.pairwise(edges)
    )
    drawn = drawing(replace(inputs, bands=bands, sheet=Sheet(bands_m=limits)))
    layers = [fill.layer for fill in drawn.picture.fills if fill.layer.startswith("band-")]
    assert layers == [f"band-fill-{k}" for k in range(count, 0, -1)] + [
        f"band-cut-{k}" for k in range(1, count + 1)
    ]
    samples = [fill.pen for fill in drawn.picture.fills if fill.layer == "legend"]
    assert sorted(samples) == sorted(layers)


def test_band_words_say_their_limits():
    assert [band_words(BANDS, k) for k in (1, 2, 3, 4)] == [
        "2 to 5 cm", "5 to 10 cm", "10 to 20 cm", "over 20 cm",
    ]  # fmt: skip
    assert [band_span([0.0125, 0.03], k) for k in (1, 2)] == ["1.25-3", "over 3"]


def test_a_local_shift_goes_into_every_coordinate_and_is_printed(inputs, drawn):
    """Within 1 mm after a reader has cut every coordinate to 32 bits."""
    near = drawing(replace(inputs, local_shift=True))
    east, north = near.shift
    assert drawn.shift == (0.0, 0.0)
    assert east % 100 == north % 100 == 0
    for ours, theirs in zip(near.picture.marks, drawn.picture.marks, strict=True):
        if ours.layer == "legend":
            continue
        short = ours.x.astype(np.float32).astype(float) + east
        np.testing.assert_allclose(short, theirs.x, rtol=0, atol=1e-3)
        short = ours.y.astype(np.float32).astype(float) + north
        np.testing.assert_allclose(short, theirs.y, rtol=0, atol=1e-3)
    said = [text for words in near.picture.words for text in words.text]
    assert f"E {east:.0f} N {north:.0f}" in said
    assert not any("SHIFTED" in text for words in drawn.picture.words for text in words.text)
    view, plain = near.pages[0].views[0], drawn.pages[0].views[0]
    np.testing.assert_allclose(view.easting + east, plain.easting, atol=1e-6)


def test_the_title_block_says_what_when_and_who(drawn):
    for picture in (drawn.picture, *(page.picture for page in drawn.pages)):
        said = " | ".join(text for words in picture.words for text in words.text)
        for part in (
            "CLAY SUBGRADE", "Invented street, phase 2", "2026-05-14", "site bench marks",
            "1:500 on A3", "670 used, 3 not used", "a1b2c3d4e5", "day shift", "mean C 0.012",
            "EOC edge of clay", "NOT SURVEYED", "C = CUT, TAKE OFF",
        ):  # fmt: skip
            assert part in said, part
        caution = " ".join(
            text for words in picture.words if words.layer == "text-caution" for text in words.text
        )
        assert caution == CAUTION
        assert "HOLD" not in said


def test_a_held_day_says_hold_on_the_map_and_on_every_sheet(inputs):
    held = drawing(replace(inputs, words=replace(inputs.words, held=True)))
    for picture in (held.picture, *(page.picture for page in held.pages)):
        words = [part for part in picture.words if part.layer == "text-caution"]
        assert "HOLD" in [text for part in words for text in part.text]


def test_the_longest_names_and_cautions_still_fit_the_sheet():
    words = PlanWords(
        job="Wide Worded Way " * 5, day="2026-05-14", layer="stabilised clay " * 5, grid="x" * 80,
        heights="site bench marks " * 4, shots="1000000 used, 123456 not used",
        package="a1b2c3d4e5", prepared_by="MW" * 40, numbers=("mean C 0.012",) * 5,
        cautions=(CAUTION, CAUTION), held=True,
    )  # fmt: skip
    block = frame(words, Sheet(bands_m=[0.02, 0.05, 0.1, 0.15, 0.2]), (100.0, 200.0), north=True)
    west, south, east, north = corners(block)
    assert (west, east, north) == (0.0, 100.0, 0.0)
    assert south > -(276 - 12)
    for part in block.words:
        for text, x, height in zip(part.text, part.x, part.height, strict=True):
            assert x + text_width(text) * height <= 100.0, text


def test_wrapped_lines_fit_and_lose_nothing():
    text = "one two three " * 9 + "W" * 70
    lines = wrapped(text, 60.0, 2.5)
    assert all(text_width(part) * 2.5 <= 60 for part in lines)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")
    assert wrapped("", 60.0, 2.5) == []


def test_too_many_shots_are_thinned_and_the_sheet_says_so(inputs):
    random = np.random.default_rng(3)
    s, o = random.uniform(0, 420, 30_000), random.uniform(-6, 6, 30_000)
    used = np.ones(30_000, bool)
    used[:5] = False
    many = replace(
        inputs, shots=make_shots(*on_grid(inputs.corridor, s, o), 100 + 0 * s), used=used,
        cut=difference(s, o), utilities=NOTHING,
    )  # fmt: skip
    drawn = drawing(many)
    marks = {mark.layer: len(mark.x) for mark in drawn.picture.marks}
    assert marks["mark-shot-refused"] == 5
    # cells of 1 m over 5040 m2 would be more than 5000; so they are 3 mm of paper, 1.5 m
    assert 2240 < marks["mark-shot"] < 2800
    said = [text for words in drawn.picture.words for text in words.text]
    told = f"shots drawn: {marks['mark-shot'] + 5} of 30000, the deepest in each 3 mm of paper"
    assert told in " ".join(said)
    first, second = shapely.STRtree(boxes := [b for *_, b in map_words(drawn.picture)]).query(
        boxes, predicate="intersects"
    )
    assert (first == second).all()


def test_dots_that_lie_on_one_another_on_paper_are_drawn_once_and_the_sheet_says_so(inputs):
    """Lip, flowline and back of curb within 0.4 m: the layer's own break stays."""
    s, o = np.repeat(np.arange(10.0, 400.0, 10.0), 4), np.tile([4.1, 4.3, 4.5, 0.0], 39)
    dots = places(inputs.corridor, ["number"] * len(s), s, o, ["C 1"] * len(s), ["d"] * len(s))
    dots = replace(dots, what=texts(["flowline", "lip", "top of face", "crown"] * 39))
    drawn = drawing(replace(inputs, dots=dots))
    (marks,) = (mark for mark in drawn.picture.marks if mark.layer == "mark-dot")
    want = np.column_stack([dots.easting, dots.northing])[np.isin(o, [4.3, 0.0])]
    np.testing.assert_allclose(np.column_stack([marks.x, marks.y]), want)
    said = " ".join(text for words in drawn.picture.words for text in words.text)
    assert "numbers to paint drawn: 78 of 156, all in the lists" in said


def test_a_day_without_shots_dots_or_buried_things_is_drawn(inputs):
    none = np.empty(0)
    empty = replace(
        inputs, shots=make_shots([], [], []), used=np.empty(0, bool), cut=none, bands=(),
        contours=Isolines(none, none, none, [0]), not_surveyed=(), utilities=NOTHING,
        dots=places(inputs.corridor, [], none, none, [], []),
        stakes=places(inputs.corridor, [], none, none, [], []),
    )  # fmt: skip
    drawn = drawing(empty)
    assert drawn.picture.marks[0].layer == "legend"
    assert not ezdxf.read(io.StringIO(dxf_bytes(drawn).decode())).audit().errors


def test_the_centreline_is_within_2_mm_of_its_chords():
    """Independent: the middle of every chord against the design's own point at that station."""
    corridor = street()
    station = line_stations(corridor.alignment)
    for offset in (0.0, 6.0, -6.0):
        e, n = on_grid(corridor, station, np.full(len(station), offset))
        between = (station[1:] + station[:-1]) / 2
        true = np.column_stack(on_grid(corridor, between, np.full(len(between), offset)))
        middle = np.column_stack([(e[1:] + e[:-1]) / 2, (n[1:] + n[:-1]) / 2])
        assert np.hypot(*(true - middle).T).max() < 0.002
    assert np.diff(station).max() <= 5.0 + 1e-9
    assert np.isin([0.0, 120.0, 270.0, 330.0, 390.0, 420.0], np.round(station, 6)).all()


@pytest.mark.parametrize(("first", "last", "want"), [
    (0.0, 60.0, [0, 20, 40, 60]), (0.1, 59.9, [20, 40]), (-5.0, 21.0, [0, 20]), (1.0, 2.0, []),
])  # fmt: skip
def test_ticks_are_whole_multiples_inside_the_line(first, last, want):
    assert station_ticks(SimpleNamespace(station=np.array([first, last])), 20.0).tolist() == want


def test_a_line_is_cut_where_the_design_is():
    nan = math.nan
    x = np.array([nan, 1, 2, nan, nan, 5, 6, 7, nan])
    cut = broken_line("edge-break", x, x * 2)
    assert cut.x.tolist() == [1, 2, 5, 6, 7]
    assert cut.start.tolist() == [0, 2, 5]
    assert broken_line("edge-break", x[:1], x[:1]).start.tolist() == [0]


def test_strokes_fill_a_region_and_stay_inside_it():
    """Area = spacing x length of the strokes (Cavalieri), holes left out."""
    region = shapely.Polygon(
        [(0, 0), (20, 0), (20, 9), (9, 14), (0, 9)], [[(4, 3), (4, 6), (9, 6), (9, 3)]]
    )
    far = shapely.affinity.translate(region, 50, 5)
    drawn = strokes([region, far], 0.05, math.pi / 4)
    ends = np.column_stack([drawn.x, drawn.y]).reshape(-1, 2, 2)
    length = np.hypot(*(ends[:, 1] - ends[:, 0]).T).sum()
    np.testing.assert_allclose(length * 0.05, region.area + far.area, rtol=2e-3)
    grown = shapely.union_all([region, far]).buffer(1e-6)
    assert shapely.contains(grown, shapely.linestrings(ends)).all()
    angles = np.arctan2(*(ends[:, 1] - ends[:, 0]).T[::-1])
    np.testing.assert_allclose(np.sin(angles - math.pi / 4), 0, atol=1e-6)
    assert len(strokes([], 0.5, 0.7).x) == 0


def test_strips_follow_the_street_and_each_fits_its_window():
    corridor = street()
    nearby = street_of(corridor)
    found = strips(nearby, 15.0, 140.0, 60.0)
    assert found[0].first == 0.0
    assert found[-1].last == 420.0
    for before, after in itertools.pairwise(found):
        assert before.last == after.first
    for strip in found:
        s = np.linspace(strip.first, strip.last, 50)
        e, n = on_grid(corridor, s, np.zeros(50))
        x, y = e - nearby.origin[0] - strip.x, n - nearby.origin[1] - strip.y
        along = x * math.cos(strip.angle) + y * math.sin(strip.angle)
        up = y * math.cos(strip.angle) - x * math.sin(strip.angle)
        assert np.abs(along).max() <= 70.1
        assert np.abs(up).max() + 15.0 <= 30.1
    # no window could be left out: 420 m of line, 140 m a window
    assert 3 <= len(found) <= 6

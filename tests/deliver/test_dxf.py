"""The DXF writer: what ezdxf's reader and a bare scan of the file's own codes find in it.

The scan follows the format's published rule: lines in pairs, a group code and
its value; codes 10 to 59, 110 to 149, 210 to 239 and 1010 to 1059 are numbers
(DXF reference, group code value types; from memory).
"""

import io
import math
import os
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from ezdxf import bbox
from hypothesis import example, given
from hypothesis import strategies as st

import pipeline
from pipeline.deliver.dxf import dxf_bytes
from pipeline.errors import OutputError
from pipeline.model import (
    LAYERS,
    MOST_BANDS,
    PENS,
    Drawing,
    Fill,
    Lines,
    Marks,
    Page,
    Picture,
    View,
    Words,
    plain_text,
    texts,
)

NUMBERS = (range(10, 60), range(110, 150), range(210, 240), range(1010, 1060))


def pairs(content):
    lines = content.decode("utf-8").split("\n")
    assert lines.pop() == ""
    assert len(lines) % 2 == 0
    return [(int(code), value) for code, value in zip(lines[::2], lines[1::2], strict=True)]


def read(content):
    return ezdxf.read(io.StringIO(content.decode("utf-8")))


def square(x, y, size):
    return np.array([[x, y], [x + size, y], [x + size, y + size], [x, y + size]], float)


def words(layer, *rows, anchor="left"):
    text, x, y, height, angle = zip(*rows, strict=True)
    return Words(layer, texts(text), x, y, height, angle, anchor)


def small(shift=(0.0, 0.0)):
    """One of everything: a band with a hole, lines, marks, texts, a sheet with a turned window."""
    e, n = shift
    octagon = np.array([[math.cos(a), math.sin(a)] for a in np.arange(8) * math.pi / 4])
    return Drawing(
        "small",
        Picture(
            fills=(
                Fill("label-plate", (square(e + 4, n + 4, 1),)),
                Fill("band-cut-2", (octagon * 10 + [e, n], square(e - 2, n - 2, 4)[::-1])),
            ),
            lines=(
                Lines("contour-zero", [e, e + 1, e, e + 3, e + 5], [n, n, n, n + 1, n + 2.00006],
                      [0, 2, 5]),
                Lines("edge-outer", [e, e + 9, e + 9], [n, n, n + 9], [0, 3], closed=True),
                Lines("legend", [e, e + 1], [n, n], [0, 2], pen="hazard-buried"),
            ),
            words=(
                words("text-shot", ("C 12", e + 1, n + 2, 0.9, 0.5), ("F 3", e - 1, n, 0.9, 0)),
                words("text-title", ("CUT AND FILL", e, n - 9, 2.5, 0), anchor="centre"),
            ),
            marks=(
                Marks("mark-shot", "plus", 0.6, [e + 1, e + 2], [n + 1, n + 2], [101.2345, np.nan]),
            ),
        ),
        (
            Page("sheet 1", 420.0, 297.0,
                 Picture(words=(words("text-title", ("SHEET", 20.0, 20.0, 2.5, 0.0)),)),
                 (View(150.0, 150.0, 200.0, 100.0, e + 1, n + 2, -0.4, 500, ("legend",)),)),
        ),
    )  # fmt: skip


def with_text(text):
    return Drawing("text", Picture(words=(words("text-shot", (text, 0.0, 0.0, 1.0, 0.0)),)))


def test_the_audit_finds_nothing_and_the_header_says_metres():
    document = read(dxf_bytes(small((500_000.0, 5_400_000.0))))
    audit = document.audit()
    assert (audit.errors, audit.fixes) == ([], [])
    # 6 is metres, 1 is metric (DXF reference, header variables; from memory)
    assert (document.header["$INSUNITS"], document.header["$MEASUREMENT"]) == (6, 1)
    assert document.dxfversion == "AC1024"


def test_every_entity_reads_back_where_it_was_put():
    shift = (500_000.25, 5_400_000.5)
    space = read(dxf_bytes(small(shift))).modelspace()
    counts = {}
    for entity in space:
        counts[entity.dxftype()] = counts.get(entity.dxftype(), 0) + 1
    assert counts == {
        "HATCH": 1, "SOLID": 1, "LINE": 2, "LWPOLYLINE": 2, "INSERT": 2, "POINT": 1, "TEXT": 3,
    }  # fmt: skip
    point = space.query("POINT").first
    assert tuple(point.dxf.location) == (500_001.25, 5_400_001.5, 101.2345)
    assert [tuple(mark.dxf.insert) for mark in space.query("INSERT")] == [
        (500_001.25, 5_400_001.5, 0.0), (500_002.25, 5_400_002.5, 0.0),
    ]  # fmt: skip
    corners = [tuple(corner)[:2] for corner in space.query("SOLID").first.wcs_vertices()]
    e, n = 500_004.25, 5_400_004.5
    assert corners == [(e, n), (e + 1, n), (e + 1, n + 1), (e, n + 1)]
    open_line, closed_line = space.query("LWPOLYLINE")
    # rounded to 0.1 mm
    assert [tuple(p) for p in open_line.get_points("xy")] == [
        (500_000.25, 5_400_000.5), (500_003.25, 5_400_001.5), (500_005.25, 5_400_002.5001),
    ]  # fmt: skip
    assert (open_line.closed, closed_line.closed) == (False, True)
    text = space.query("TEXT").first
    assert text.dxf.text == "C 12"
    assert tuple(text.dxf.align_point)[:2] == (500_001.25, 5_400_002.5)
    np.testing.assert_allclose(math.radians(text.dxf.rotation), 0.5, atol=1e-6)
    assert {entity.dxf.style for entity in space.query("TEXT")} == {"Standard"}


def test_a_hatch_keeps_its_hole():
    """Area by ezdxf's own reading of the paths, against the octagon and square of geometry."""
    hatch = read(dxf_bytes(small())).modelspace().query("HATCH").first
    rings = [np.array(path.vertices)[:, :2] for path in hatch.paths]
    x, y = zip(*((ring[:, 0], ring[:, 1]) for ring in rings), strict=True)
    areas = [
        abs(np.dot(a, np.roll(b, -1)) - np.dot(b, np.roll(a, -1))) / 2
        for a, b in zip(x, y, strict=True)
    ]
    np.testing.assert_allclose(areas, [200 * math.sqrt(2), 16.0], atol=0.01)
    assert hatch.dxf.solid_fill == 1
    assert [path.path_type_flags & 1 for path in hatch.paths] == [1, 0]


def test_fills_come_first_and_texts_last_in_the_file_and_in_the_alphabet():
    space = read(dxf_bytes(small())).modelspace()
    layers = [entity.dxf.layer for entity in space]
    assert layers == sorted(layers)
    assert list(LAYERS) == sorted(LAYERS)
    kinds = [entity.dxftype() for entity in space]
    assert kinds[0] == "HATCH"
    assert kinds[-3:] == ["TEXT"] * 3
    fills = [name for name in LAYERS if name.startswith(("back", "band"))]
    assert list(LAYERS)[: len(fills)] == fills
    assert all(name.startswith("text-") for name in list(LAYERS)[-14:])


def test_every_layer_is_described_and_looks_as_its_pen_says():
    document = read(dxf_bytes(small()))
    for name, pen in PENS.items():
        layer = document.layers.get(name)
        assert (layer.rgb, layer.dxf.color, layer.dxf.lineweight) == (
            pen.colour, pen.index, pen.width,
        )  # fmt: skip
        assert layer.dxf.linetype == "CONTINUOUS"
    found = pairs(dxf_bytes(small()))
    first, last = found.index((2, "BLOCKS")), found.index((2, "OBJECTS"))
    used = {value for code, value in found[first:last] if code == 8}
    # the lines of symbols lie on layer 0, to look like where the symbol is put
    assert used <= {*LAYERS, "0"}
    assert "legend" in used
    assert all(LAYERS.values())
    assert set(PENS) == set(LAYERS)


def test_only_what_shows_another_layers_look_has_a_colour_of_its_own():
    space = read(dxf_bytes(small())).modelspace()
    own = [entity for entity in space if entity.dxf.color != 256]
    assert [entity.dxf.layer for entity in own] == ["legend"]
    assert own[0].rgb == PENS["hazard-buried"].colour


def test_the_bands_are_the_published_scheme():
    """PuOr of ColorBrewer, eleven classes, as matplotlib carries it; its middle is unfilled."""
    from matplotlib import colormaps

    scheme = np.round(colormaps["PuOr"].resampled(11)(np.arange(11))[:, :3] * 255)
    ours = [PENS[f"band-cut-{k}"].colour for k in range(MOST_BANDS, 0, -1)]
    ours += [(247, 247, 247)]
    ours += [PENS[f"band-fill-{k}"].colour for k in range(1, MOST_BANDS + 1)]
    np.testing.assert_array_equal(ours, scheme)


def test_index_colours_tell_the_bands_apart():
    bands = [name for name in PENS if name.startswith("band-")]
    assert len({PENS[name].index for name in bands}) == len(bands)
    # 7 turns black or white with the background (DXF reference; from memory)
    assert 7 not in {pen.index for pen in PENS.values()}


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 1e300, 1.000001e8, -2e8])
@pytest.mark.parametrize("place", ["fill", "line", "text", "mark", "height", "view"])
def test_a_coordinate_that_is_no_place_is_refused_by_layer(value, place):
    drawing = small()
    picture = drawing.picture
    ring = square(0, 0, 1)
    ring[2, 1] = value
    worse = {
        "fill": replace(picture, fills=(Fill("band-cut-1", (square(0, 0, 1), ring)),)),
        "line": replace(picture, lines=(Lines("contour-cut", [0, value], [0, 0], [0, 2]),)),
        "text": replace(picture, words=(words("text-shot", ("C 1", 0, value, 1, 0)),)),
        "mark": replace(picture, marks=(Marks("mark-shot", "plus", 1, [value], [0], [0]),)),
        "height": replace(picture, words=(words("text-shot", ("C 1", 0, 0, value, 0)),)),
        "view": picture,
    }[place]
    pages = drawing.pages
    if place == "view":
        view = replace(pages[0].views[0], easting=value)
        pages = (replace(pages[0], views=(view,)),)
    with pytest.raises(OutputError, match=r"drawing .*, layer .*: found .* Look among the shots"):
        dxf_bytes(replace(drawing, picture=worse, pages=pages))


def test_a_place_in_a_real_grid_far_out_is_written():
    """Third-zone Gauss-Krueger eastings carry the zone in front and pass 20 million metres."""
    content = dxf_bytes(small((22_600_000.0, 9_900_000.0)))
    place = read(content).modelspace().query("POINT").first.dxf.location
    assert tuple(place)[:2] == (22_600_001.0, 9_900_001.0)


def test_an_unknown_layer_and_a_size_of_zero_are_refused():
    for layer in ("unknown", "", "a\n0\nLINE", "0"):
        lines = (Lines(layer, [0.0, 1.0], [0.0, 0.0], [0, 2]),)
        with pytest.raises(OutputError, match="found layer"):
            dxf_bytes(Drawing("d", Picture(lines=lines)))
    with pytest.raises(OutputError, match="found a height or size of 0"):
        dxf_bytes(Drawing("d", Picture(words=(words("text-shot", ("C", 0, 0, 0, 0)),))))


HOSTILE = (
    "%%c", "%%%%c", "%%d 90", "\n  0\nLINE\n  8\n0", "\r\n0\nSECTION", "{\\H9;big}", "\\U+00D8",
    "\\M+1", "^J", "^ I", "a\x00b", "\x1b[31m", "\u2028 0\u2029", "\x850", "\u202egnp.exe", "Ø12",
    "5 \u2212 3", "\\", "\\P", "{", "%", "%%", "a" * 9000, "\ud800",
)  # fmt: skip


@given(st.text(max_size=30))
@example(" ".join(HOSTILE[:10]))
def test_plain_text_is_printable_ascii_without_codes(text):
    plain = plain_text(text)
    assert all(" " <= letter <= "~" for letter in plain)
    assert not any(code in plain for code in ("%%", "\\", "{", "}", "^"))
    assert len(plain) <= 250
    assert plain_text(plain) == plain


@pytest.mark.parametrize("text", HOSTILE)
def test_a_hostile_text_stays_one_text(text):
    content = dxf_bytes(with_text(f"C {text} 1"))
    clean = pairs(dxf_bytes(with_text("C 1")))
    dirty = pairs(content)
    # not one group more than the same drawing with a tame text, and only that value differs
    assert [code for code, _ in dirty] == [code for code, _ in clean]
    changed = [a for a, b in zip(dirty, clean, strict=True) if a != b]
    assert {code for code, _ in changed} <= {1}
    found = read(content).modelspace().query("TEXT")
    assert len(found) == 1
    assert found.first.plain_text() == found.first.dxf.text == plain_text(f"C {text} 1")


def test_an_ordinary_text_is_not_touched():
    for text in ("C 12", "F 3", "0+120.5", "ON GRADE", "50% 'lip' \"x\" #3 (a/b) @ & ~ 2-5"):
        assert plain_text(text) == text


def test_no_number_of_the_file_is_anything_but_finite():
    for code, value in pairs(dxf_bytes(small((500_000.0, 5_400_000.0)))):
        if any(code in numbers for numbers in NUMBERS):
            assert math.isfinite(float(value))


def test_the_extents_are_those_of_the_drawing():
    """Independent: ezdxf's own bounding box of the fills, lines and points."""
    document = read(dxf_bytes(small((1000.0, 2000.0))))
    flat = [e for e in document.modelspace() if e.dxftype() not in ("TEXT", "INSERT")]
    box = bbox.extents(flat)
    # the text below the octagon, whose place counts and whose letters do not
    assert document.header["$EXTMIN"][:2] == (box.extmin.x, min(box.extmin.y, 2000.0 - 9))
    assert document.header["$EXTMAX"][:2] == (box.extmax.x, box.extmax.y)


def test_a_window_shows_its_place_at_its_scale_and_turn():
    """Independent: ezdxf's matrix from the map to the sheet."""
    sheet = read(dxf_bytes(small((500_000.0, 5_400_000.0)))).layouts.get("sheet 1")
    windows = [v for v in sheet.viewports() if v.dxf.id != 1]
    assert len(windows) == 1
    matrix = windows[0].get_transformation_matrix()
    middle = matrix.transform((500_001.0, 5_400_002.0, 0.0))
    np.testing.assert_allclose(tuple(middle)[:2], (150.0, 150.0), atol=1e-3)
    # 10 m along the turned direction are 20 mm to the right at 1:500
    along = matrix.transform((500_001 + 10 * math.cos(0.4), 5_400_002 + 10 * math.sin(0.4), 0))
    np.testing.assert_allclose(tuple(along)[:2], (170.0, 150.0), atol=1e-3)
    assert windows[0].frozen_layers == ["legend"]
    assert (sheet.dxf.paper_width, sheet.dxf.paper_height) == (420.0, 297.0)
    assert sheet.dxf.plot_configuration_file == ""


def test_an_empty_drawing_is_a_file_too():
    document = read(dxf_bytes(Drawing("empty", Picture())))
    assert len(document.modelspace()) == 0
    assert not document.audit().errors


def test_the_writers_global_switch_is_put_back():
    from ezdxf import options

    for before in (False, True):
        options.write_fixed_meta_data_for_testing = before
        try:
            dxf_bytes(small())
            with pytest.raises(OutputError, match="found layer"):
                dxf_bytes(Drawing("d", Picture(fills=(Fill("x", (square(0, 0, 1),)),))))
            assert options.write_fixed_meta_data_for_testing is before
        finally:
            options.write_fixed_meta_data_for_testing = False


SCRIPT = """
import hashlib, sys
import numpy as np
from pipeline.deliver.dxf import dxf_bytes
from pipeline.model import Drawing, Fill, Lines, Marks, Page, Picture, View, Words, texts
ring = np.array([[0, 0], [9, 0], [9, 9], [4, 12], [0, 9.0]])
picture = Picture(
    (Fill("band-cut-1", (ring,)),), (Lines("contour-cut", ring[:, 0], ring[:, 1], [0, 5]),),
    (Words("text-shot", texts(["C 1"]), [1.0], [2.0], [0.9], [0.1]),),
    (Marks("mark-dot", "circle", 1.0, [1.0], [2.0], [3.0]),),
)
page = Page("sheet 1", 420.0, 297.0, picture, (View(9.0, 9.0, 9.0, 9.0, 1.0, 2.0, 0.1, 500.0),))
print(hashlib.sha256(dxf_bytes(Drawing("d", picture, (page,)))).hexdigest())
"""


def test_bytes_do_not_hang_on_the_process():
    found = set()
    for seed, zone in (("0", "UTC"), ("1", "America/Vancouver"), ("4242", "Asia/Kolkata")):
        run = subprocess.run(
            [sys.executable, "-c", SCRIPT], capture_output=True, text=True, check=True,
            env={**os.environ, "PYTHONHASHSEED": seed, "TZ": zone,
                 "PYTHONPATH": str(Path(pipeline.__file__).parents[1])},
        )  # fmt: skip
        found.add(run.stdout)
        time.sleep(0.01)
    assert len(found) == 1
    assert len(found.pop().strip()) == 64

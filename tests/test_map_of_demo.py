"""The demo's map as a foreman needs it: it opens, it is small, nothing covers a number.

Bars of our own: no text on another, a letter beside every colour, and texts 1.8 to 5 mm high on
paper.
"""

from __future__ import annotations

import io
import re
from collections import Counter
from dataclasses import replace
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import shapely

from pipeline import planning, publish
from pipeline.crew.plan import drawing as plan
from pipeline.deliver.dxf import dxf_bytes
from pipeline.model import LAYERS
from pipeline.run import Stopwatch, run_day
from tests.drawings import text_boxes

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="module")
def day():
    return run_day(ROOT / "fixtures" / "demo", None, Stopwatch())


@pytest.fixture(scope="module")
def inputs(day):
    return planning._inputs(day, publish.plan_words(day), local_shift=False)


@pytest.fixture(scope="module")
def drawn(inputs):
    return plan.drawing(inputs)


@pytest.fixture(scope="module")
def content(drawn):
    return dxf_bytes(drawn)


@pytest.fixture(scope="module")
def document(content):
    return ezdxf.read(io.StringIO(content.decode("utf-8")))


def boxes(picture, leave_out=()):
    return [box for _, _, box in text_boxes(picture, leave_out)]


def overlapping(found):
    """Share of the boxes that overlap another."""
    first, second = shapely.STRtree(found).query(found, predicate="intersects")
    return len(set(first[first != second].tolist())) / len(found)


BLOCK = ("text-title", "text-legend", "text-caution")


@pytest.mark.parametrize("scale", [250, 500, 1000])
def test_labels_of_the_demo_do_not_overlap(inputs, drawn, scale):
    """No text lies on another at 1:250, at that scale and at two others."""
    at_scale = replace(inputs, sheet=replace(inputs.sheet, scale=scale))
    made = drawn if scale == inputs.sheet.scale else plan.drawing(at_scale)
    found = boxes(made.picture, BLOCK)

    assert len(found) > 200
    assert overlapping(found) == 0.0
    heights = np.concatenate([words.height for words in made.picture.words]) * 1000 / scale
    assert heights.min() >= 1.8 - 1e-9
    assert heights.max() <= 5.0 + 1e-9


def test_labels_of_the_sheets_do_not_overlap_and_can_be_read(drawn):
    assert len(drawn.pages) >= 7
    for page in drawn.pages:
        assert overlapping(boxes(page.picture, BLOCK[1:])) == 0.0, page.name
        heights = np.concatenate([words.height for words in page.picture.words])
        assert heights.min() >= 1.8
        assert heights.max() <= 5.0


def test_it_opens_clean_is_small_and_has_only_documented_layers(document, content):
    audit = document.audit()
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    table = set(re.findall(r"^\| `([a-z0-9-]+)` \| [A-Z]", readme, re.MULTILINE))

    assert (audit.errors, audit.fixes) == ([], [])
    assert len(content) < 5_000_000
    used = {entity.dxf.layer for layout in document.layouts for entity in layout}
    assert used <= table
    assert set(LAYERS) == {name for name in table if name in LAYERS}


def test_every_kind_of_thing_is_on_the_map_as_often_as_in_the_lists(document, day):
    """Entities counted against the rows that they stand for."""
    marks = Counter(
        entity.dxf.layer for entity in document.modelspace().query("INSERT")
        if entity.dxf.layer != "legend"
    )  # fmt: skip
    far = int(day.morning.rows("off the job").sum())
    refused = int((~day.morning.used).sum())

    assert marks["mark-shot"] == int(day.morning.used.sum())
    assert marks["mark-shot-refused"] == refused - far
    assert marks["mark-stake"] + marks["key-point"] == len(day.stakes)
    assert marks["hazard-buried"] == len(day.morning.inputs.utilities)


def test_what_was_shot_and_is_on_no_list_is_a_buried_thing_on_the_map(day):
    """The demo without its list: eight lids are left, each where it was shot and as high."""
    morning = replace(day.morning, inputs=replace(day.morning.inputs, utilities=None))
    found = planning._inputs(
        replace(day, morning=morning), publish.plan_words(day), local_shift=False
    ).utilities
    lids = day.morning.shots.take(day.morning.rows("lid"))

    assert len(lids) == 8
    assert found.id.tolist() == lids.id.tolist()
    np.testing.assert_array_equal(found.easting, lids.easting)
    np.testing.assert_array_equal(found.lid, lids.elevation)
    assert np.isnan(found.depth_to_top).all()
    assert set(found.note) == {"not on the list"}


def test_every_class_has_a_letter_besides_its_colour(drawn):
    """In the legend, and on the map on every region that has room for it."""
    picture = drawn.picture
    legend = [fill for fill in picture.fills if fill.layer == "legend"]
    words = [(w.text[k], w.x[k], w.y[k]) for w in picture.words if w.layer == "text-legend"
             for k in range(len(w.text))]  # fmt: skip
    assert len(legend) == 8
    for fill in legend:
        x, y = fill.rings[0].mean(axis=0)
        beside = min((t for t in words if t[1] > x), key=lambda t: np.hypot(t[1] - x, t[2] - y))
        assert beside[0].startswith("C " if "cut" in fill.pen else "F ")
    labels = [shapely.Point(w.x[k], w.y[k]) for w in picture.words for k in range(len(w.text))
              if re.match(r"[CF] \d", w.text[k])]  # fmt: skip
    tree = shapely.STRtree(labels)
    large = [fill for fill in picture.fills if fill.layer.startswith("band-")
             and shapely.Polygon(fill.rings[0], fill.rings[1:]).area > 30.0]  # fmt: skip
    assert len(large) > 5
    for fill in large:
        assert len(tree.query(shapely.Polygon(fill.rings[0], fill.rings[1:]), "intersects"))

"""The triangles of a design against its exact surface, and surfaces that are crossed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipeline.compare import chords, compose
from pipeline.compare.layer_order import order_findings
from pipeline.design import alignment as line
from pipeline.design import profile as heights
from pipeline.design import section, strips
from pipeline.ingest.job.inputs import read_before_shots
from pipeline.model import (
    AlignmentRows,
    BreakRow,
    Corridor,
    ElementRow,
    Layer,
    ProfileRow,
    ProfileRows,
    SectionLayer,
    SectionRow,
    SectionTable,
)
from pipeline.run import build_corridor
from pipeline.settings import DesignRules, LayerRule

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
JOBS = ("demo", "intersection")


@pytest.fixture(scope="module", params=JOBS)
def job(request):
    inputs = read_before_shots(FIXTURES / request.param)
    return inputs.job, build_corridor(inputs)[0]


def laid(job, corridor, layer):
    if corridor.parts:
        return compose.layer_surface(corridor, layer, job.design).surface
    return strips.triangulate(corridor, layer, job.design)


def test_every_layer_stays_within_the_stated_chord(job):
    rules, corridor = job
    for layer in corridor.layers:
        found = chords.largest_difference(corridor, layer, laid(rules, corridor, layer.name))
        assert found.places > 1000
        assert 1e-6 < found.difference <= rules.design.chord_m
        (told,) = chords.findings(layer.name, found, rules.design.chord_m)
        assert told.severity == "note"
        assert f"{1000 * found.difference:.2f} mm at most" in told.text


def test_triangles_that_are_off_are_told_with_their_place(job):
    rules, corridor = job
    layer = corridor.layers[-1]
    surface = laid(rules, corridor, layer.name)
    # the middle of a triangle moves by a third of what its corner does
    corner = int(surface.triangles[len(surface.triangles) // 2, 0])
    z = surface.z.copy()
    z[corner] += 0.050
    found = chords.largest_difference(corridor, layer, replace(surface, z=z))

    assert 0.020 < found.difference <= 0.050
    east, north = surface.x[corner] + surface.origin[0], surface.y[corner] + surface.origin[1]
    assert np.hypot(found.easting - east, found.northing - north) < 6.0
    (told,) = chords.findings(layer.name, found, rules.design.chord_m)
    assert told.severity == "person"


def test_a_twisting_face_is_cut_finely_enough():
    """The demo's curb turns from roll face to straight face over 20 m: one chord there is 17 mm."""
    inputs = read_before_shots(FIXTURES / "demo")
    corridor = build_corridor(inputs)[0]
    for chord in (0.001, 0.002, 0.005):
        surface = strips.triangulate(corridor, "finish", DesignRules(chord_m=chord))
        assert chords.largest_difference(corridor, corridor.layers[0], surface).difference <= chord


def test_a_surface_under_a_lower_one_is_told_by_name_and_place(job):
    rules, corridor = job
    names = [layer.name for layer in corridor.layers]
    pair = [(name, laid(rules, corridor, name)) for name in names[:2]]
    assert order_findings(corridor.alignment, pair) == ()

    lower = pair[1][1]
    z = lower.z.copy()
    z[7] += 1.0
    (told,) = order_findings(corridor.alignment, [pair[0], (names[1], replace(lower, z=z))])
    assert told.text.startswith(f"{names[0]} lies under {names[1]}, which is listed below it")
    assert (
        f"E {lower.x[7] + lower.origin[0]:.3f}, N {lower.y[7] + lower.origin[1]:.3f}" in told.text
    )

    swapped = order_findings(corridor.alignment, pair[::-1])
    assert [one.kind for one in swapped] == ["layers out of order"]


def test_three_layers_of_which_the_outer_two_are_crossed_by_way_of_a_pair_are_told_once(rectangle):
    """Of two that are not neighbours only what no pair between them has told already."""
    alignment, _ = line.build(
        AlignmentRows("x", (ElementRow("line", 10.0, start=(0.0, 0.0)),), 0.0, 0.0)
    )
    height = {"top": 10.0, "middle": 12.0, "low": 9.0, "high": 13.0}
    made = {name: rectangle(9.0, 9.0, (z, 0.0, 0.0)) for name, z in height.items()}

    def told(*names):
        found = order_findings(alignment, [(name, made[name]) for name in names])
        return [one.text.split(",")[0] for one in found]

    assert told("middle", "top", "low") == []
    assert told("top", "middle", "low") == ["top lies under middle"]
    # both neighbours tell it, so the pair of the outer two has nothing new
    assert told("top", "middle", "high") == ["top lies under middle", "middle lies under high"]
    # each neighbour is in order with the next as far as both reach; the outer two are not
    made["beside"] = rectangle(9.0, 9.0, (11.0, 0.0, 0.0), (100.0, 0.0))
    assert told("top", "beside", "high") == ["top lies under high"]


def test_of_a_layer_given_as_triangles_there_is_nothing_to_tell(rectangle):
    level = rectangle(30.0, 8.0, (9.0, 0.0, 0.0))
    alignment, _ = line.build(
        AlignmentRows("x", (ElementRow("line", 30.0, start=(0.0, 0.0)),), 0.0, np.pi / 2)
    )
    profile, _ = heights.build(ProfileRows("x", (ProfileRow(0.0, 10.0), ProfileRow(30.0, 10.0))))
    half = (BreakRow("lip", 4.0, fall=0.02),)
    row = SectionRow("one", 0.0, 30.0, (SectionLayer("finish", half, half),))
    layers = section.layers(SectionTable("s.toml", (row,)), [LayerRule(name="finish")])
    road = Corridor("x", alignment, profile, (*layers, Layer("rock", "rock", surface=level)))

    assert chords.told(road, level, "rock", DesignRules()) == ()
    # a straight street is made of planes: its triangles lie on it
    finish = strips.triangulate(road, "finish", DesignRules())
    (note,) = chords.told(road, finish, "finish", DesignRules())
    assert note.severity == "note"
    assert "by 0.00 mm at most" in note.text
    # triangles where nothing is designed say nothing
    away = rectangle(9.0, 9.0, (9.0, 0.0, 0.0), (500.0, 500.0))
    assert np.isnan(chords.largest_difference(road, road.layers[0], away).difference)
    assert chords.told(road, away, "finish", DesignRules()) == ()

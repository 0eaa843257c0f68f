"""The triangles of a design against its exact surface, and surfaces that are crossed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipeline.compare import chords, compose
from pipeline.compare.layer_order import order_findings
from pipeline.design import strips
from pipeline.ingest.job.inputs import read_before_shots
from pipeline.run import build_corridor
from pipeline.settings import DesignRules

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

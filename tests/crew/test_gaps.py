"""No number is painted where the edge was not shot and the ground is a guess."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.compare.streets import streets_of
from pipeline.crew import dots
from pipeline.crew.edge.line import EdgeLine, edge_lines
from pipeline.crew.gaps import WHY, without_guesses
from pipeline.crew.stretches import Tape
from pipeline.design import corridor as sections
from pipeline.model import NO_LINES, make_shots, texts
from pipeline.settings import Code, Rounding, SurfaceRules, Target
from pipeline.surface import tin

CODES = {"EC": Code(what="edge", break_name="edge of clay", max_step_m=15.0)}
CLAY = "clay subgrade"


def street(corridor, gap):
    """Crown, lip and edge each 10 m and a bank 0.5 m high at 6 m; nothing on the right in `gap`."""
    rows = []
    for s in np.arange(0.0, 100.1, 10.0):
        rows.append((s, 0.0, "CL", 0.0))
        for side in (-1, 1):
            if side > 0 and gap[0] < s < gap[1]:
                continue
            rows += [(s, side * 3.7, "GR", 0.0), (s, side * 4.85, "EC", 0.0)]
            rows.append((s, side * 6.0, "GR", 0.5))
    s, o = (np.array([row[k] for row in rows]) for k in (0, 1))
    level = sections.elevation(corridor, s, np.clip(o, -4.85, 4.85), CLAY)
    z = level + np.array([row[3] for row in rows])
    shots = make_shots(1000.0 + o, 2000.0 + s, z, code=texts([row[2] for row in rows]))
    ground, _ = tin.build(shots, NO_LINES, SurfaceRules(max_edge_m=60.0))
    painted = dots.grade_dots(
        corridor, ground, np.arange(0.0, 100.1, 10.0), Target(layer=CLAY), Rounding()
    )
    painted = replace(painted, street=texts([corridor.name] * len(painted)))
    return painted, ground, edge_lines(corridor, CLAY, shots, CODES)


def withheld(corridor, painted, ground, edges):
    return without_guesses(painted, ground, streets_of(corridor), {corridor.name: edges})


def test_a_guess_across_an_unshot_edge_is_no_number(corridor):
    painted, ground, edges = street(corridor, (30.0, 70.0))
    wrong = (painted.mark != "GRADE") & (painted.kind == "number")
    assert wrong.any()  # the ground is at grade wherever it was shot

    found = withheld(corridor, painted, ground, edges)

    assert not (found.kind == "number").any()
    gone = found.mark == "NOT SHOT"
    assert set(found.station[gone & (painted.kind != "unshot")]) == {40.0, 50.0, 60.0}
    assert (found.offset[gone] > 0).all()
    assert set(found.note[gone & (painted.kind != "unshot")]) == {WHY}
    assert np.isnan(found.ground[gone]).all()
    # the crown was shot all along
    assert (found.mark[found.what == "crown"] == "GRADE").all()


def test_where_the_edge_was_shot_nothing_changes(corridor):
    painted, ground, edges = street(corridor, (0.0, 0.0))
    assert withheld(corridor, painted, ground, edges).mark.tolist() == painted.mark.tolist()


def test_a_job_that_does_not_go_by_edges_keeps_its_numbers(corridor):
    painted, ground, _ = street(corridor, (30.0, 70.0))
    assert withheld(corridor, painted, ground, ()).mark.tolist() == painted.mark.tolist()


def test_a_spot_beside_a_shot_keeps_its_number(corridor):
    painted, ground, _ = street(corridor, (0.0, 0.0))
    # as if the edge had been shot only at the start: spots on the shots are no guess
    ends = np.array([0.0, 10.0])
    edges = (EdgeLine(1, ends, np.zeros(2), Tape(ends, ends)),)
    found = withheld(corridor, painted, ground, edges)
    lips = (found.what == "lip") & (found.offset > 0)
    assert (found.mark[lips] == "GRADE").all()

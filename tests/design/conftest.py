"""The published road and invented corridors that several tests of this room use."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pipeline.design import alignment as line
from pipeline.design import profile as heights
from pipeline.design import section
from pipeline.model import (
    AlignmentRows,
    BreakRow,
    Corridor,
    ElementRow,
    ProfileRow,
    ProfileRows,
    SectionLayer,
    SectionRow,
    SectionTable,
)
from pipeline.settings import LayerRule

# Element coordinates and PVIs of the main road of the InfraModel examples, copied from
# buildingSMART-Finland/InfraModel @ eb2720b8b909, examples/M3_Road/0000_Alignments/M3_RS-CL.tg.xml,
# licence CC-BY-4.0. (northing, easting) as the file has them; declared length of each element.
OPEN_ROAD_ENDS = (
    (6782560.556700, 21530239.683600), (6782630.601476, 21530272.408535),
    (6782731.653013, 21530358.537330), (6782779.752930, 21530429.424883),
    (6782887.701483, 21530544.270455), (6782930.867434, 21530577.638504),
    (6783019.857184, 21530712.262440), (6783045.851082, 21530811.797829),
    (6783052.001766, 21530873.977211), (6783051.899683, 21530875.727670),
    (6783074.384057, 21530963.861926), (6783075.178726, 21530965.135589),
    (6783100.972871, 21531028.704843), (6783105.691415, 21531050.510422),
    (6783102.938610, 21531231.554762), (6783089.305100, 21531286.430300),
)  # fmt: skip
OPEN_ROAD_LENGTHS = (
    77.312302, 134.388671, 85.665904, 158.274699, 54.559381, 164.319682, 102.873594, 62.739784,
    1.753433, 92.411641, 1.501238, 68.943977, 22.310265, 182.647902, 56.543764,
)  # fmt: skip
OPEN_ROAD_ARCS = {
    1: (+1, (6782524.780882, 21530498.907987)), 3: (-1, (6783193.497192, 21530148.683569)),
    5: (+1, (6782777.969580, 21530775.431947)), 7: (+1, (6782852.340998, 21530862.333435)),
    9: (-1, (6783201.645260, 21530884.460502)), 11: (+1, (6782905.497122, 21531071.004155)),
    13: (+1, (6782714.739918, 21531135.109046)),
}  # fmt: skip
OPEN_ROAD_PVIS = (
    (0.0, 16.881249, None, None), (3.780491, 16.933442, None, None),
    (77.651516, 16.564087, 1500.0, 48.653858), (143.344365, 18.366885, -2000.0, 70.618005),
    (288.117726, 17.227053, 3000.0, 68.355931), (474.182208, 20.001900, -1700.0, 59.686736),
    (619.151388, 17.073474, 1700.0, 85.982341), (738.613996, 20.703896, -1700.0, 102.631152),
    (831.656325, 17.912626, 1700.0, 72.296340), (1029.343888, 20.391017, -1700.0, 71.303203),
    (1099.903932, 18.315473, 1700.0, 60.191445), (1263.496534, 19.297028, None, None),
    (1266.246171, 19.377000, None, None),
)  # fmt: skip


@pytest.fixture(scope="session")
def open_road_rows() -> tuple[AlignmentRows, ProfileRows]:
    """The published main road: 8 lines, 7 arcs, 9 circular vertical curves."""
    elements = []
    for i, length in enumerate(OPEN_ROAD_LENGTHS):
        (n0, e0), (n1, e1) = OPEN_ROAD_ENDS[i : i + 2]
        turn, centre = OPEN_ROAD_ARCS.get(i, (0, None))
        elements.append(
            ElementRow(
                "arc" if turn else "line",
                length=length,
                turn=turn,
                start=(e0, n0),
                end=(e1, n1),
                centre=centre and (centre[1], centre[0]),
            )
        )
    points = tuple(
        ProfileRow(
            s, z, radius=math.nan if r is None else r, arc_length=math.nan if arc is None else arc
        )
        for s, z, r, arc in OPEN_ROAD_PVIS
    )
    return (
        AlignmentRows("open road", tuple(elements), 0.0, declared_length=1266.246238),
        ProfileRows("open road", points),
    )


def half_section(*strips):
    """Breaks outward: (name, width, fall in %) or (name, width, None, step in m)."""
    return tuple(
        BreakRow(name, width, step=rest[1])
        if rest[0] is None
        else BreakRow(name, width, fall=rest[0] / 100.0)
        for name, width, *rest in strips
    )


@pytest.fixture(scope="session")
def half():
    return half_section


@pytest.fixture(scope="session")
def make_corridor():
    """A corridor of elements, PVIs and sections; one layer, ``finish``, unless told otherwise."""

    def make(elements, points, sections, names=("finish",), azimuth=0.7):
        alignment, _ = line.build(AlignmentRows("invented", tuple(elements), 0.0, azimuth))
        profile, _ = heights.build(ProfileRows("invented", tuple(points)))
        layers = section.layers(
            SectionTable("sections.toml", tuple(sections)), [LayerRule(name=n) for n in names]
        )
        return Corridor("invented", alignment, profile, layers)

    return make


@pytest.fixture(scope="session")
def make_straight(make_corridor):
    """200 m in a line, 1 % up from 50.000, of one section of the given layers."""

    def make(*layers):
        return make_corridor(
            [ElementRow("line", 200.0, start=(5240.0, 3110.0))],
            [ProfileRow(0.0, 50.0), ProfileRow(200.0, 52.0)],
            [SectionRow("one", 0.0, 200.0, layers)],
            names=tuple(layer.name for layer in layers),
        )

    return make


@pytest.fixture(scope="session")
def street(make_corridor):
    """An invented street: spirals, a tight bend to each side, a taper, a face, an abrupt change."""
    face = half_section(
        ("lip", 3.5, 2.0), ("flowline", 0.3, None, -0.024), ("face", 0.0, None, 0.150),
        ("back", 0.15, None, 0.003),
    )  # fmt: skip
    wide = half_section(
        ("lip", 4.6, 5.0), ("flowline", 0.3, None, -0.024), ("face", 0.0, None, 0.150),
        ("back", 0.15, None, 0.003),
    )  # fmt: skip
    open_edge = half_section(("lip", 4.0, 3.0), ("edge", 1.0, 4.0))
    elements = (
        ElementRow("line", 40.0, start=(5240.0, 3110.0)),
        ElementRow("clothoid", 20.0, np.inf, 20.0, +1),
        ElementRow("arc", 5.0, 20.0, turn=+1),
        ElementRow("clothoid", 25.0, 20.0, 30.0, +1),
        ElementRow("clothoid", 10.0, 30.0, np.inf, +1),
        ElementRow("line", 30.0),
        ElementRow("arc", 16.0, 12.0, turn=-1),
        ElementRow("line", 60.0),
    )
    points = (
        ProfileRow(0.0, 100.0),
        ProfileRow(60.0, 97.0, 20.0, 20.0),
        ProfileRow(115.0, 101.0, 20.0, 30.0),
        ProfileRow(170.0, 99.0, radius=600.0),
        ProfileRow(206.0, 101.0),
    )
    sections = (
        SectionRow("one", 0.0, 60.0, (SectionLayer("finish", face, face),)),
        SectionRow("two", 90.0, 110.0, (SectionLayer("finish", wide, face, crown_offset=0.3),)),
        SectionRow("three", 110.0, 206.0, (SectionLayer("finish", open_edge, face),)),
    )
    return make_corridor(elements, points, sections)

"""Sections along the road: what changes between them, and what is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.design import section
from pipeline.errors import DesignError
from pipeline.model import SectionLayer, SectionRow, SectionTable
from pipeline.settings import LayerRule


def table(*rows):
    return SectionTable("sections.toml", rows)


def finish(*rows, rules=("finish",)):
    return section.layers(table(*rows), [LayerRule(name=name) for name in rules])[0]


def one(name, start, end, right, left=None, **layer):
    left = right if left is None else left
    return SectionRow(name, start, end, (SectionLayer("finish", right, left, **layer),))


@pytest.fixture
def plain(half):
    return half(("lip", 3.5, 2.0), ("flowline", 0.3, None, -0.024), ("back", 0.0, None, 0.15))


def test_breaks_run_from_left_to_right_with_their_offsets_and_rises(plain):
    layer = finish(one("A", 0.0, 100.0, plain, drop=0.1))

    assert layer.breaks == ("back", "flowline", "lip", "crown", "lip", "flowline", "back")
    assert layer.side == (-1, -1, -1, 0, 1, 1, 1)
    # by hand: crown 0.1 below the profile, 2 % over 3.5 m, 24 mm of pan, 150 mm of face
    np.testing.assert_allclose(layer.offset[0], [-3.8, -3.8, -3.5, 0.0, 3.5, 3.8, 3.8])
    np.testing.assert_allclose(
        layer.rise[0], [-0.044, -0.194, -0.17, -0.1, -0.17, -0.194, -0.044], atol=1e-12
    )


def test_a_crown_offset_moves_every_break(plain):
    layer = finish(one("A", 0.0, 100.0, plain, crown_offset=0.4))

    np.testing.assert_allclose(layer.offset[0], [-3.4, -3.4, -3.1, 0.4, 3.9, 4.2, 4.2])


def test_between_two_sections_every_break_moves_linearly(half, plain):
    wide = half(("lip", 4.5, 4.0), ("flowline", 0.3, None, -0.018), ("back", 0.2, None, 0.15))
    layer = finish(one("A", 0.0, 100.0, plain), one("B", 120.0, 200.0, wide))
    span = section.span_of(layer, [50.0, 105.0, 120.0, 200.0])

    lip = layer.breaks.index("lip", 3)
    np.testing.assert_allclose(section.between(layer.offset[:, lip], span), [3.5, 3.75, 4.5, 4.5])
    np.testing.assert_allclose(
        section.between(layer.rise[:, lip], span), [-0.07, -0.0975, -0.18, -0.18], atol=1e-12
    )


def test_where_sections_touch_the_one_ahead_counts_and_breaks_may_differ(half, plain):
    open_edge = half(("lip", 3.5, 2.0), ("edge", 1.0, 4.0))
    layer = finish(one("A", 0.0, 100.0, plain), one("B", 100.0, 200.0, open_edge))

    assert layer.breaks[4:] == ("crown", "lip", "edge", "flowline", "back")
    i, _ = section.span_of(layer, [99.999, 100.0, 200.0])
    assert i.tolist() == [0, 2, 2]
    edge, flow = (section.column_of(layer, name, 1) for name in ("edge", "flowline"))
    assert np.isnan(layer.offset[:2, edge]).all()
    assert np.isnan(layer.offset[2:, flow]).all()
    # filled, a break that is not there stands at its inner neighbour: the shape is the same
    offset, rise = section.filled(layer)
    np.testing.assert_allclose(offset[0, 5:], [3.5, 3.5, 3.8, 3.8])
    np.testing.assert_allclose(offset[2, 5:], [3.5, 4.5, 4.5, 4.5])
    np.testing.assert_allclose(rise[2, 5:], [-0.07, -0.11, -0.11, -0.11])


def test_a_layer_that_a_section_lacks_is_not_designed_there(half, plain):
    gravel = SectionLayer("gravel", half(("edge", 4.0, 3.0)), half(("edge", 4.0, 3.0)), drop=0.1)
    rows = (
        one("A", 0.0, 100.0, plain),
        SectionRow("B", 100.0, 200.0, (*one("", 0, 1, plain).layers, gravel)),
    )
    _, layer = section.layers(table(*rows), [LayerRule(name="finish"), LayerRule(name="gravel")])

    assert np.isnan(layer.offset[:2]).all()
    np.testing.assert_allclose(layer.offset[2], [-4.0, 0.0, 4.0])


def test_layers_come_in_the_order_of_the_job_and_surfaces_are_left_out(plain):
    rows = one("A", 0.0, 100.0, plain)
    rules = [
        LayerRule(name="rock", file="rock.xml"),
        LayerRule(name="finish", title="finished top"),
    ]

    (layer,) = section.layers(table(rows), rules)

    assert (layer.name, layer.title) == ("finish", "finished top")


def test_off_the_layer_the_span_says_so(plain):
    layer = finish(one("A", 10.0, 100.0, plain))

    _, share = section.span_of(layer, [9.999, 10.0 - 5e-7, 55.0, 100.0, 100.001, np.nan])

    assert np.isnan(share).tolist() == [True, False, False, False, True, True]


def test_a_place_within_a_micrometre_of_an_end_is_on_the_end(plain):
    layer = finish(one("A", 10.0, 100.0, plain))

    at = [10.0 - 5e-7, 100.0 + 5e-7, 10.0 - 1.5e-6, 100.0 + 1.5e-6]
    _, share = section.span_of(layer, at)
    np.testing.assert_array_equal(share, [0.0, 1.0, np.nan, np.nan])
    # an abrupt change at the very ends, as an opening makes it
    twice = replace(
        layer, station=np.array([10.0, 10.0, 100.0, 100.0]),
        offset=np.repeat(layer.offset, 2, axis=0), rise=np.repeat(layer.rise, 2, axis=0),
    )  # fmt: skip
    span = section.span_of(twice, [10.0 - 5e-7, 10.0, 55.0, 100.0, 100.0 + 5e-7])
    assert span[0].tolist() == [0, 1, 1, 2, 2]
    np.testing.assert_array_equal(span[1], [0.0, 0.0, 0.5, np.nan, 1.0])


def test_sections_may_be_listed_in_any_order(half, plain):
    """Three sections with a rise of their own each: 2, 3 and 4 % over 3.5 m."""
    rows = [
        one(str(k), 100.0 * k, 100.0 * k + 80.0, half(("lip", 3.5, fall)))
        for k, fall in enumerate((2.0, 3.0, 4.0))
    ]
    for order in (rows, rows[::-1], [rows[1], rows[2], rows[0]]):
        layer = finish(*order)
        assert layer.station.tolist() == [0.0, 80.0, 100.0, 180.0, 200.0, 280.0]
        np.testing.assert_allclose(layer.rise[:, 2], np.repeat([-0.07, -0.105, -0.14], 2))
        np.testing.assert_allclose(layer.offset[:, 2], 3.5)


def test_a_layer_that_two_neighbours_lack_needs_no_transition_between_them(half, plain):
    gravel = SectionLayer("gravel", half(("edge", 4.0, 3.0)), half(("edge", 4.0, 3.0)), drop=0.1)
    rows = (
        one("A", 0.0, 100.0, plain), one("B", 120.0, 200.0, plain),
        SectionRow("C", 200.0, 300.0, (*one("", 0, 1, plain).layers, gravel)),
    )  # fmt: skip
    _, layer = section.layers(table(*rows), [LayerRule(name="finish"), LayerRule(name="gravel")])

    assert np.isnan(layer.offset).all(axis=1).tolist() == [True] * 4 + [False] * 2
    np.testing.assert_allclose(layer.rise[4:], np.tile([-0.22, -0.1, -0.22], (2, 1)))


def test_neighbours_are_told_from_the_crown_out(plain, half):
    layer = finish(one("A", 0.0, 100.0, half(("lip", 3.5, 2.0)), plain))

    assert layer.breaks == ("back", "flowline", "lip", "crown", "lip")
    assert section.pairs_outward(layer) == [(3, 4), (3, 2), (2, 1), (1, 0)]


def test_a_transition_needs_the_same_breaks_on_the_left_too_and_in_the_second(half, plain):
    more = half(("lip", 3.5, 2.0), ("flowline", 0.3, None, -0.024), ("back", 0.0, None, 0.15),
                ("walk", 1.5, 2.0))  # fmt: skip
    with pytest.raises(DesignError, match="only one of them has the break 'walk' on the left"):
        finish(one("A", 0.0, 100.0, plain, plain), one("B", 110.0, 200.0, plain, more))


def test_a_transition_needs_the_same_breaks(half, plain):
    other = half(("lip", 3.5, 2.0), ("edge", 1.0, 4.0))

    with pytest.raises(
        DesignError,
        match=r"layer 'finish' between section 'A' and section 'B': only one of them has the"
        r" break 'flowline' on the right",
    ):
        finish(one("A", 0.0, 100.0, plain), one("B", 110.0, 200.0, other, plain))


def test_a_transition_needs_the_breaks_in_one_order(half):
    first, second = half(("lip", 3.5, 2.0), ("edge", 1.0, 4.0)), half(("edge", 1, 2), ("lip", 1, 2))

    with pytest.raises(DesignError, match="come in another order: lip, edge and edge, lip"):
        finish(one("A", 0.0, 100.0, first), one("B", 110.0, 200.0, second))


def test_touching_sections_need_one_order_too(half):
    first, second = half(("lip", 3.5, 2.0), ("edge", 1.0, 4.0)), half(("edge", 1, 2), ("lip", 1, 2))

    with pytest.raises(
        DesignError, match="section 'B', layer 'finish': the break 'lip' lies farther"
    ):
        finish(one("A", 0.0, 100.0, first), one("B", 100.0, 200.0, second))


@pytest.mark.parametrize(
    ("start", "end", "message"),
    [
        (99.0, 200.0, r"section 'B': it begins at station 0\+099.000, inside section 'A', which"),
        (50.0, 60.0, r"section 'B': it begins at station 0\+050.000, inside section 'A'"),
        (200.0, 200.0, "section 'B': it runs from 0\\+200.000 to 0\\+200.000"),
    ],
)
def test_sections_that_overlap_or_run_nowhere_are_refused(plain, start, end, message):
    with pytest.raises(DesignError, match=message):
        finish(one("A", 0.0, 100.0, plain), one("B", start, end, plain))


def test_a_break_twice_on_one_side_is_refused(half):
    twice = half(("lip", 3.5, 2.0), ("lip", 1.0, 4.0))

    with pytest.raises(DesignError, match="the break 'lip' is there twice on one side"):
        finish(one("A", 0.0, 100.0, twice))


def test_a_layer_in_a_transition_needs_both_sections(half, plain):
    extra = SectionLayer("gravel", plain, plain)
    first = SectionRow("A", 0.0, 100.0, (*one("", 0, 1, plain).layers, extra))

    with pytest.raises(DesignError, match=r"layer 'gravel' between .*only section 'A' has it"):
        finish(first, one("B", 110.0, 200.0, plain), rules=("finish", "gravel"))


def test_a_layer_that_no_section_has_is_refused_with_those_there_are(plain):
    with pytest.raises(
        DesignError, match=r"layer 'clay': no section of 'sections.toml' has it; th"
    ):
        finish(one("A", 0.0, 100.0, plain), rules=("finish", "clay"))


def test_a_misspelt_layer_of_one_section_is_refused(plain):
    odd = SectionRow("B", 100.0, 200.0, (SectionLayer("finsh", plain, plain),))

    with pytest.raises(DesignError, match="layer 'finsh': the job lists no layer of that name"):
        finish(one("A", 0.0, 100.0, plain), odd)

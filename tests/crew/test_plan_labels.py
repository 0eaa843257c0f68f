"""Label boxes and their thinning, against shapely one pair at a time and real letters."""

import itertools

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from pipeline.crew.plan.labels import (
    Labels,
    Style,
    as_words,
    beside,
    chosen,
    join_labels,
    label_boxes,
    mark_boxes,
    one_per_cell,
    text_width,
    thin_labels,
    upright,
)
from pipeline.model import plain_text

STYLE = Style("text-shot", 1.0, 3, 0.5)


def labels_at(places, words, angle=0.0, style=STYLE, sides="rlab"):
    x, y = np.array(places, float).reshape(-1, 2).T
    return beside(x, y, np.full(len(x), angle), words, style, sides)


BOXES = st.lists(
    st.tuples(
        st.floats(0, 30), st.floats(0, 30), st.floats(0.5, 9), st.floats(0.5, 3),
        st.floats(-3.2, 3.2), st.integers(0, 3), st.integers(0, 12),
    ),
    max_size=25,
)  # fmt: skip


@given(BOXES)
def test_kept_boxes_never_touch_and_a_dropped_one_had_to_go(rows):
    """Independent: shapely's intersects for every pair, and the rule read from the other side."""
    corners = [
        shapely.get_coordinates(
            shapely.affinity.rotate(shapely.box(x, y, x + w, y + h), angle, use_radians=True)
        )[:4]
        for x, y, w, h, angle, _, _ in rows
    ]
    boxes = np.array(corners).reshape(-1, 4, 2)
    rank = np.array([row[5] for row in rows], dtype=np.int64)
    group = np.array([row[6] for row in rows], dtype=np.int64)
    kept = thin_labels(boxes, rank, group)
    shapes = [shapely.Polygon(box) for box in boxes]
    for i, j in itertools.combinations(np.flatnonzero(kept).tolist(), 2):
        assert not shapes[i].intersects(shapes[j])
        assert group[i] != group[j]
    for i in np.flatnonzero(~kept).tolist():
        assert any(
            (rank[j], j) < (rank[i], i)
            and (group[j] == group[i] or shapes[j].intersects(shapes[i]))
            for j in np.flatnonzero(kept).tolist()
        )


def test_the_first_rank_wins_whatever_the_order():
    boxes = np.array([[[0, 0], [2, 0], [2, 1], [0, 1]]] * 3, float)
    boxes[2] += 10
    assert thin_labels(boxes, np.array([2, 1, 9])).tolist() == [False, True, True]
    assert thin_labels(boxes, np.array([1, 1, 9])).tolist() == [True, False, True]
    assert thin_labels(boxes[:0], np.empty(0, int)).tolist() == []


def test_no_letter_is_wider_than_its_share_of_the_box():
    """Independent: advances of an outline font that matplotlib carries, in its capital heights."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextPath, text_to_path

    font = FontProperties(family="DejaVu Sans", size=100)
    height = TextPath((0, 0), "H", prop=font).get_extents().height
    letters = [chr(code) for code in range(33, 127) if plain_text(chr(code)) == chr(code)]
    assert len(letters) == 90
    for letter in letters:
        width, _, _ = text_to_path.get_text_width_height_descent(letter, font, ismath=False)
        assert width / height <= text_width(letter) + 1e-9, letter
    # plotter letters step by one height (common practice, no source)
    assert all(text_width(chr(code)) >= 1.0 for code in range(32, 127))


@pytest.mark.parametrize("angle", [0.0, 0.7, np.pi / 2, -1.2])
@pytest.mark.parametrize(("side", "low", "high"), [("r", 0.5, 4.5), ("l", -4.5, -0.5)])
def test_a_box_lies_where_its_text_does(angle, side, low, high):
    """By hand: four letters one unit high, half a unit from the mark, turned about it."""
    labels = labels_at([(10.0, 20.0)], ["C 12"], angle, sides=side)
    cos, sin = np.cos(angle), np.sin(angle)
    want = [
        (10 + along * cos - up * sin, 20 + along * sin + up * cos)
        for along, up in ((low, -0.5), (high, -0.5), (high, 0.5), (low, 0.5))
    ]
    np.testing.assert_allclose(label_boxes(labels)[0], want, atol=1e-12)
    padded = shapely.Polygon(label_boxes(labels, 0.25)[0])
    np.testing.assert_allclose(padded.area, 4.5 * 1.5)


def test_above_and_below_stand_clear_of_the_mark():
    above, below = label_boxes(labels_at([(0.0, 0.0)], ["F 3"], sides="ab"))
    np.testing.assert_allclose([above[:, 1].min(), below[:, 1].max()], [0.5, -0.5])
    np.testing.assert_allclose([above[:, 0].mean(), below[:, 0].mean()], [0, 0], atol=1e-12)


@given(st.floats(-20, 20))
def test_upright_is_the_same_line_and_reads_from_below(angle):
    turned = float(upright(angle))
    assert -np.pi / 2 - 1e-6 <= turned <= np.pi / 2 + 1e-6
    np.testing.assert_allclose(np.sin(turned - angle), 0, atol=1e-9)


def test_a_taken_place_is_left_for_the_next_side():
    wanted = labels_at([(0.0, 0.0)], ["C 12"])
    nothing = np.empty((0, 4, 2))
    blocked = mark_boxes(np.array([3.0]), np.array([0.0]), np.zeros(1), 1.0)
    assert chosen(wanted, nothing, nothing, 0.1).anchor.tolist() == [0]
    assert chosen(wanted, blocked, nothing, 0.1).anchor.tolist() == [2]
    # an ordinary number never covers the mark of a shot either
    assert chosen(wanted, nothing, blocked, 0.1).anchor.tolist() == [2]


def test_only_a_warning_goes_over_the_mark_of_a_shot_and_only_if_it_must():
    everywhere = mark_boxes(np.array([3.0, -3.0]), np.zeros(2), np.zeros(2), 0.8)
    nothing = np.empty((0, 4, 2))
    for rank, count in ((0, 1), (5, 1), (6, 0)):
        style = Style("text-hazard", 1.0, rank, 0.5)
        wanted = labels_at([(0.0, 0.0)], ["VALVE"], style=style, sides="rl")
        assert len(chosen(wanted, nothing, everywhere, 0.1)) == count
        assert len(chosen(wanted, everywhere, nothing, 0.1)) == 0
        free = labels_at([(0.0, 0.0)], ["VALVE"], style=style, sides="rla")
        assert chosen(free, nothing, everywhere, 0.1).y.tolist() == [1.0]


def test_empty_words_make_no_label_and_codes_are_made_plain():
    labels = labels_at([(0, 0), (50, 0)], ["", "%%c{1}"], sides="r")
    assert labels.text.tolist() == ["%c(1)"]
    assert labels.x.tolist() == [50.5]


def test_joined_groups_stay_apart():
    one, two = labels_at([(0, 0)], ["C 1"]), labels_at([(0, 99), (9, 9)], ["C 2", "C 3"])
    joined = join_labels([one, one, two])
    assert len(set(joined.group.tolist())) == 4
    assert isinstance(joined, Labels)
    words = as_words(joined)
    assert {part.anchor for part in words} == {"left", "centre", "right"}
    assert sum(len(part.text) for part in words) == len(joined)


@given(st.lists(st.tuples(st.floats(-50, 50), st.floats(-50, 50), st.integers(0, 5)), max_size=40))
def test_one_place_stays_in_each_cell_and_it_is_the_most_important(rows):
    """Independent: a dict by cell in plain Python."""
    x, y, weight = np.array(rows, float).reshape(-1, 3).T
    best = {}
    for i, (a, b, w) in enumerate(rows):
        cell = (np.floor(a / 7.0), np.floor(b / 7.0))
        if cell not in best or w > rows[best[cell]][2]:
            best[cell] = i
    assert one_per_cell(x, y, 7.0, weight).tolist() == sorted(best.values())

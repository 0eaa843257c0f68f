"""Tables on paper: nothing is lost when a text is wrapped or a table cut into pages."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.crew.card.table import (
    MOST_LINES,
    Heading,
    Laid,
    cut,
    lay_out,
    list_pages,
    note_lines,
    notes,
    table_pt,
    wrap,
)
from pipeline.model.pages import NOTE_PT, PRINT_PT, letters, notes_pt, row_pt

WORDS = st.lists(st.text("abcXYZ019", min_size=1, max_size=30), max_size=30).map(" ".join)


@given(WORDS, st.integers(5, 40))
def test_a_wrapped_text_keeps_every_letter(text, room):
    lines = wrap(text, room)
    assert all(len(line) <= room for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


@given(st.lists(st.tuples(st.text("ab", max_size=8), WORDS), min_size=1, max_size=60),
       st.integers(5, 25))  # fmt: skip
def test_pages_hold_every_row_once_and_none_is_too_long(rows, most):
    laid = lay_out([Heading("a"), Heading("b", wrap=True)], rows)
    pages = cut(laid, 250.0, most)

    assert tuple(row for page in pages for row in page) == laid.rows
    assert all(len(page) <= most for page in pages)
    assert all(table_pt(laid, page) <= 250.0 or len(page) == 1 for page in pages)
    assert sum(column.width_pt for column in laid.columns) <= PRINT_PT + 1e-6


def test_pages_are_of_like_length():
    laid = lay_out([Heading("a")], [(str(k),) for k in range(45)])
    assert [len(page) for page in cut(laid, 1e9, 22)] == [15, 15, 15]
    assert cut(lay_out([Heading("a")], []), 500.0, 20) == []
    # 32 pt of titles and 12 rows of 17.2 pt are 238 of the 250 there are
    assert [len(page) for page in cut(laid, 250.0, 22)] == [12, 12, 12, 9]


def test_a_column_too_many_is_wrapped_and_nothing_is_lost():
    rows = [("x" * 60, "y" * 60, "C 0.235")]
    laid = lay_out([Heading("a"), Heading("EDGE OF CARRIAGEWAY"), Heading("c")], rows)

    assert sum(column.width_pt for column in laid.columns) <= PRINT_PT + 1e-6
    assert ["".join(cell.split()) for cell in laid.rows[0]] == ["x" * 60, "y" * 60, "C0.235"]
    assert laid.rows[0][2] == "C 0.235"
    assert laid.columns[1].title == "EDGE OF\nCARRIAGEWAY"


def test_a_name_without_end_does_not_push_the_numbers_off_the_page():
    laid = lay_out([Heading("a", wrap=True), Heading("b")], [("word " * 900, "C 0.235")])
    lines = laid.rows[0][0].split("\n")
    assert len(lines) == MOST_LINES
    assert lines[-1] == "..."
    assert laid.rows[0][1] == "C 0.235"


def test_columns_that_can_fit_in_no_way_are_a_fault():
    with pytest.raises(ValueError, match="are wider than the page"):
        lay_out([Heading("name of ten ten") for _ in range(20)], [("x" * 9,) * 20])


def test_notes_that_do_not_fit_are_counted():
    texts = [f"note {k}" for k in range(9)]
    assert notes(texts, 9) == tuple(texts)
    assert notes(texts, 4) == ("note 0", "note 1", "note 2", "6 more on the pages behind")
    assert notes(texts, 0) == ()
    assert all(len(line) <= letters(PRINT_PT, NOTE_PT) for line in notes(["long " * 60], 9))


def test_heights_are_those_of_the_type():
    laid = lay_out([Heading("a", size_pt=14.0)], [("one",), ("one\ntwo",)])
    assert row_pt(laid.rows[1], laid.columns) > row_pt(laid.rows[0], laid.columns) >= 17.0
    assert note_lines(NOTE_PT * 1.18 * 3 + 4.0) == 3
    assert note_lines(-10.0) == 0


SENTENCES = st.lists(st.text("abcXYZ019", min_size=1, max_size=9).map(str), max_size=90)


@given(SENTENCES, st.integers(0, 60))
def test_what_has_no_room_under_a_list_goes_on_behind(told, count):
    rows = [(str(k), "C 0.235") for k in range(count)]
    pages = list_pages(("Edge", "BAR"), [Heading("a"), Heading("b")], rows, told, 560.0)

    assert [line for page in pages for line in page.notes] == told
    assert sum(len(page.rows) for page in pages) == count
    for page in pages:
        used = table_pt(Laid(page.columns, ()), page.rows) if page.columns else 0.0
        assert used + notes_pt(page.notes) <= 560.0


def test_a_sentence_longer_than_a_page_is_printed_to_its_end():
    words = [f"w{k}" for k in range(2000)]
    pages = list_pages(("Edge", "BAR"), [Heading("a")], [("1",)], [" ".join(words), "end"], 560.0)

    said = " ".join(line for page in pages for line in page.notes).split()
    assert said == [*words, "end"]
    assert all(notes_pt(page.notes) <= 560.0 for page in pages)

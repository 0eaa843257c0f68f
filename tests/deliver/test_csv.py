"""CSV: quoting against RFC 4180 through Python's own reader, formulas against OWASP's list."""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.deliver.csv import csv_bytes, csv_text
from pipeline.model import Table


def one_column(cells, *, text=True):
    rows = tuple((cell,) for cell in cells)
    return Table("t", ("note",), rows, frozenset({"note"} if text else ()))


def read(text):
    return list(csv.reader(io.StringIO(text, newline="")))


@pytest.mark.parametrize(
    "cell",
    [
        # the starts that OWASP's page "CSV Injection" lists (from memory, not looked up here)
        "=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1",
        # the same behind blanks and quotes, and in full-width form
        "  =1+1", '"=1+1', "'=1+1", '" \'@x', "\u00a0=1", "\u200b=1", "\ufeff=1", "\n=1",
        "＝1+1", "＋1", "－1", "＠x", " ＝1",
    ],
)  # fmt: skip
def test_a_text_cell_that_starts_a_formula_gets_an_apostrophe(cell):
    assert read(csv_text(one_column([cell])))[1][0] == "'" + cell


@pytest.mark.parametrize("cell", ["EC1", "", "1=1", "a-b", "(=1", "12", "°-1", "é", "'", '"'])
def test_a_harmless_text_cell_is_left_alone(cell):
    assert read(csv_text(one_column([cell, "x"])))[1:] == [[cell] if cell else [""], ["x"]]


@pytest.mark.parametrize("cell", ["-0.031", "+1", "0", "-12", "500000.123", ""])
def test_numbers_stay_numbers(cell):
    assert read(csv_text(one_column([cell, "1"], text=False)))[1] == [cell]


@pytest.mark.parametrize("cell", ["-0+005.0x", "=1", "-1e5", "--1", "@1", "-1,5"])
def test_what_is_no_number_is_guarded_in_a_number_column_too(cell):
    assert read(csv_text(one_column([cell], text=False)))[1] == ["'" + cell]


@pytest.mark.parametrize("text", [True, False])
@pytest.mark.parametrize(
    ("cell", "reckoned"), [("-0+005.0", 5.0), ("-1+220.000", 219.0), ("-0+005.0 (2)", None)]
)
def test_a_station_before_zero_is_guarded_in_every_column(cell, reckoned, text):
    """Cells that begin with = + - or @ are reckoned: OWASP, "CSV Injection" (from memory).

    What the sum would be is plain arithmetic: 5 m before zero would stand 5 m after it.
    """
    if reckoned is not None:
        first, second = cell[1:].split("+")
        assert -float(first) + float(second) == reckoned
    assert read(csv_text(one_column([cell, "x"], text=text)))[1] == ["'" + cell]


@pytest.mark.parametrize("text", [True, False])
@pytest.mark.parametrize("cell", ["0+005.0", "1+220.000", "0+005.0 (2)"])
def test_a_station_from_zero_on_is_left_alone(cell, text):
    """It begins with a digit and is no number as it stands: a spreadsheet keeps it as text."""
    assert read(csv_text(one_column([cell, "x"], text=text)))[1] == [cell]


def test_a_header_made_of_a_layers_name_is_guarded():
    assert csv_text(Table("t", ("=a", "b"), ())) == "'=a,b\r\n"


def test_bytes_are_utf8_without_a_mark_and_lines_end_as_rfc_4180_says():
    table = Table("t", ("what", "cut_m"), (("rampe d'accès", "-0.031"),), frozenset({"what"}))
    assert csv_bytes(table) == "what,cut_m\r\nrampe d'accès,-0.031\r\n".encode()


def test_a_short_row_is_a_fault_in_the_code():
    with pytest.raises(ValueError, match="argument 2 is longer"):
        csv_text(Table("t", ("a", "b"), (("1",),)))


@given(st.lists(st.tuples(st.text(), st.text()), min_size=1, max_size=4))
def test_any_text_reads_back_with_its_guard_and_blanks_for_control_characters(rows):
    """Independent reader: Python's csv module; RFC 4180 allows no other control character."""
    table = Table("t", ("a", "b"), tuple(rows), frozenset({"a", "b"}))
    got = read(csv_text(table))[1:]
    want = [
        tuple(
            "".join(" " if (ord(c) < 32 and c not in "\t\r\n") or ord(c) == 127 else c for c in x)
            for x in row
        )
        for row in rows
    ]
    assert [tuple(x.removeprefix("'") for x in row) for row in got] == [
        tuple(x.removeprefix("'") for x in row) for row in want
    ]
    for row in got:
        assert all(x[:1] not in tuple("=+-@\t\r") for x in row)

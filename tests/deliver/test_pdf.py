"""The printed pages, read back by a general PDF library: what stands where, and how large."""

from __future__ import annotations

import importlib.resources
import io

import numpy as np
import pytest
from pypdf import PdfReader
from reportlab.pdfbase import pdfmetrics

from pipeline.deliver import pdf
from pipeline.errors import OutputError
from pipeline.model.pages import (
    ADVANCE,
    CardBook,
    CardPage,
    Column,
    StripLine,
    StripMap,
    StripMark,
    StripPatch,
)

COLUMNS = (
    Column("#", 30.0, align="right"),
    Column("of 2\nlath", 100.0, 14.0, bold=True),
    Column("CL", 90.0, 14.0, bold=True),
    Column("say", 200.0),
)
ROWS = (("1", "0+120.0 L", "C 12", "first line\nsecond line"), ("2", "0+130.0 L", "GRADE", ""))
STRIP = StripMap(
    first=130.0,
    second=110.0,
    reach_m=7.0,
    lines=(
        StripLine("heavy", np.array([110.0, 130.0]), np.array([-5.0, -5.0])),
        StripLine("dotted", np.array([110.0, 120.0, 130.0]), np.array([0.0, np.nan, 0.0])),
    ),
    marks=(
        StripMark("lath", 120.0, -5.0, "1"),
        StripMark("cross", 115.0, 2.0, "WV1"),
        StripMark("box", 115.2, 2.0, "WV2"),
        StripMark("up", 125.0, 0.0, "HP"),
        StripMark("down", 126.0, 0.0),
    ),
    patches=(
        StripPatch("not shot", 112.0, 118.0, 0.0, 5.0),
        StripPatch("missing", 121.0, 123.0, -5.0, -6.0),
    ),
    ticks=((110.0, "0+110.0"), (130.0, "0+130.0")),
)


def book(pages=None, **changes):
    fields = {
        "job": "Invented Lane",
        "head": ("2026-05-14 plane clay revision B package abc123", "control K1 checked"),
        "foot": ("This is an arithmetic check, not a locate.",),
        "pages": pages
        or (
            CardPage("Paint", "GROUND TO CLAY", COLUMNS, ROWS, ("a note",), STRIP),
            CardPage("Buried", "BELOW CLAY", COLUMNS, ROWS),
        ),
    }
    return CardBook(**{**fields, **changes})


def read(made):
    return PdfReader(io.BytesIO(pdf.pdf_bytes(made)))


def spans(page):
    """Every text drawn on a page: (text, size, x, y)."""
    found = []

    def visit(text, _cm, tm, _font, size):
        if text.strip():
            found.append((text.strip(), size * abs(tm[3]), tm[4], tm[5]))

    page.extract_text(visitor_text=visit)
    return found


def test_every_text_can_be_read_back_on_its_page():
    reader = read(book())
    first, second = (page.extract_text() for page in reader.pages)

    for text in ("Paint", "GROUND TO CLAY", "C 12", "0+120.0 L", "first line", "second line",
                 "a note", "WV1", "HP", "0+110.0"):  # fmt: skip
        assert text in first
    assert "a note" not in second
    for n, page in enumerate((first, second), start=1):
        for text in ("package abc123", "revision B", "2026-05-14", "control K1", "not a locate",
                     f"page {n} of 2", "Invented Lane"):  # fmt: skip
            assert text in page


def test_no_letter_is_smaller_than_nine_points_and_numbers_are_fourteen():
    for page in read(book()).pages:
        sizes = {text: size for text, size, _, _ in spans(page)}
        assert min(sizes.values()) >= 9.0
        assert sizes["C 12"] >= 14.0
        assert sizes["0+120.0 L"] >= 14.0
        assert sizes["1"] >= 9.0
        assert sizes["first line"] >= 11.0


def test_the_page_fits_letter_and_a4_with_its_margins():
    # letter 215.9 x 279.4 mm, A4 210 x 297 mm: what both have is 210 x 279.4
    mm = 72.0 / 25.4
    for page in read(book()).pages:
        assert float(page.mediabox.width) == pytest.approx(210.0 * mm, abs=0.01)
        assert float(page.mediabox.height) == pytest.approx(279.4 * mm, abs=0.01)
        for text, size, x, y in spans(page):
            assert x >= 12.0 * mm - 0.1
            assert x + len(text) * ADVANCE * size <= 198.0 * mm + 0.5
            assert 12.0 * mm - 3.0 <= y <= 267.4 * mm


def test_fonts_are_embedded_and_all_letters_are_of_one_width():
    page = read(book()).pages[0]
    for named in page["/Resources"]["/Font"].values():
        font = named.get_object()
        if font["/BaseFont"] == "/Helvetica":  # named by every canvas, drawn by none here
            continue
        assert "/FontFile2" in font["/FontDescriptor"]
        assert "DejaVuSansMono" in font["/BaseFont"]
    for name in (pdf.PLAIN, pdf.BOLD):
        font = pdfmetrics.getFont(name)
        for letter in "0CF17i.":
            assert font.stringWidth(letter, 1.0) == pytest.approx(ADVANCE, abs=5e-4)


def test_the_zero_is_told_from_the_letter_by_a_stroke_inside():
    # an O is two outlines, a ring; a zero with a mark inside has a third
    from fontTools.ttLib import TTFont

    folder = importlib.resources.files("pipeline.deliver") / "fonts"
    for name in ("DejaVuSansMono.ttf", "DejaVuSansMono-Bold.ttf"):
        with importlib.resources.as_file(folder / name) as path, TTFont(path) as font:
            glyphs, names = font["glyf"], font.getBestCmap()
            assert glyphs[names[ord("O")]].numberOfContours == 2
            assert glyphs[names[ord("0")]].numberOfContours == 3
    licence = (folder / "LICENSE_DEJAVU").read_text(encoding="utf-8")
    assert "Bitstream Vera" in licence
    assert "free of charge" in licence


def test_the_same_book_gives_the_same_bytes():
    assert pdf.pdf_bytes(book()) == pdf.pdf_bytes(book())


def test_a_held_book_says_so_on_every_page():
    for page in read(book(held="x")).pages:
        assert "HOLD" in page.extract_text()


def test_letters_that_no_printer_has_are_seen_to_be_missing():
    page = CardPage("Straße Ω\u200b \U0001f6a7", "B", COLUMNS, ROWS)
    text = read(book((page,))).pages[0].extract_text()
    assert "Straße Ω" in text
    assert "\U0001f6a7" not in text
    assert "\u25a1" in text


@pytest.mark.parametrize(
    ("page", "why"),
    [
        (CardPage("p", "b", COLUMNS, ROWS * 40), "pt do not fit into"),
        (CardPage("p", "b", COLUMNS, (("1", "x" * 40, "", ""),)), "is wider than its column"),
        (CardPage("p", "b", (*COLUMNS, *COLUMNS), ((*ROWS[0], *ROWS[0]),)), "columns are wider"),
        (CardPage("p", "b", COLUMNS, ROWS, ("n" * 200,)), "is wider than the page"),
    ],
    ids=["too long", "cell", "columns", "note"],
)
def test_what_does_not_fit_is_refused_and_not_cut_off(page, why):
    with pytest.raises(OutputError, match=why):
        pdf.pdf_bytes(book((page,)))


def test_a_book_without_pages_is_refused():
    with pytest.raises(OutputError, match="no page"):
        pdf.pdf_bytes(CardBook("j", (), (), ()))

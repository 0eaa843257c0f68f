"""The printed pages as a PDF: texts as they are, one embedded font, the same bytes every time.

Nothing is computed here but where ink goes. The font is DejaVu Sans Mono, whose zero is
struck through and whose letters are all of one width; it lies beside this file with its
licence. Everything is black on white, so it prints on any printer and copies well.
"""

from __future__ import annotations

import functools
import io
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.deliver.pdf_figure import draw_figure
from pipeline.deliver.pdf_strip import draw_strip
from pipeline.errors import OutputError
from pipeline.model.pages import (
    FIGURE_PT,
    HEAD_PT,
    HEIGHT_PT,
    LINE,
    MARGIN_PT,
    NOTE_PT,
    PRINT_PT,
    SMALL_PT,
    STRIP_PT,
    TABLE_PT,
    TITLE_PT,
    WIDTH_PT,
    CardBook,
    CardPage,
    Column,
    header_pt,
    letters,
    notes_pt,
    row_pt,
)

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

PLAIN, BOLD = "LathMono", "LathMono-Bold"
_FILES = {PLAIN: "DejaVuSansMono.ttf", BOLD: "DejaVuSansMono-Bold.ttf"}
_CHECK_PT = 50.0 / 25.4 * 72.0
_CHECK = "50 mm or 1.97 in: if not, the print is scaled"
_PAD_PT = 2.0
_ZEBRA = 0.94


def pdf_bytes(book: CardBook) -> bytes:
    """All pages of `book` as the content of a PDF file.

    Parameters
    ----------
    book : CardBook

    Raises
    ------
    OutputError
        There is no page, or one holds more than fits on it or a cell more than its
        column: a number cut off on paper is a wrong number.
    """
    from reportlab import rl_config
    from reportlab.pdfgen.canvas import Canvas

    if not book.pages:
        raise OutputError("crew.pdf", "no page", "give it at least one")
    _register()
    # bytes as they are: the library's way of writing them as letters is slow, and a quarter longer
    rl_config.useA85 = 0
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(WIDTH_PT, HEIGHT_PT), invariant=1, pageCompression=1)
    canvas.setTitle(_plain(book.job))
    canvas.setAuthor("Lath")
    for number, page in enumerate(book.pages, start=1):
        _check(book, page, number)
        _page(canvas, book, page, number)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


@functools.cache
def _register() -> None:
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    folder = Path(__file__).parent / "fonts"
    for name, file in _FILES.items():
        pdfmetrics.registerFont(TTFont(name, str(folder / file)))


@functools.cache
def _drawn() -> frozenset[int]:
    """Code points that the font has a letter for."""
    from reportlab.pdfbase import pdfmetrics

    _register()
    return frozenset(pdfmetrics.getFont(PLAIN).face.charToGlyph)


def _plain(text: str) -> str:
    """The text without control characters; what the font lacks is a visible blank box."""
    kept = _drawn()
    return "".join(c if ord(c) in kept else "\u25a1" for c in text if c.isprintable())


def _check(book: CardBook, page: CardPage, number: int) -> None:
    where = f"crew.pdf page {number} ({page.title})"
    used = (STRIP_PT if page.strip else 0.0) + (FIGURE_PT if page.figure else 0.0)
    used += notes_pt(page.notes)
    if page.columns:
        used += header_pt(page.columns) + sum(row_pt(row, page.columns) for row in page.rows)
    if used > book.body_pt + 1e-6:
        raise OutputError(where, f"{used:.0f} pt do not fit into {book.body_pt:.0f}", "split it")
    for row in page.rows:
        for cell, column in zip(row, page.columns, strict=True):
            for line in cell.split("\n"):
                if len(line) > letters(column.width_pt - 2 * _PAD_PT, column.size_pt):
                    raise OutputError(where, f"{line!r} is wider than its column", "widen it")
    if sum(column.width_pt for column in page.columns) > PRINT_PT + 1e-6:
        raise OutputError(where, "the columns are wider than the page", "narrow them")
    for note in (*page.notes, *book.foot, *book.head):
        size = NOTE_PT if note in page.notes else SMALL_PT
        if len(note) > letters(PRINT_PT, size):
            raise OutputError(where, f"{note!r} is wider than the page", "wrap it")


def _page(canvas: Canvas, book: CardBook, page: CardPage, number: int) -> None:
    y = HEIGHT_PT - MARGIN_PT
    _head(canvas, book, page, y)
    y -= HEAD_PT
    if page.strip is not None:
        draw_strip(canvas, page.strip, (MARGIN_PT, y), PLAIN)
        y -= STRIP_PT
    if page.figure is not None:
        draw_figure(canvas, page.figure, (MARGIN_PT, y), (PLAIN, BOLD))
        y -= FIGURE_PT
    if page.columns:
        y = _table(canvas, page, y)
    y -= 4.0
    canvas.setFont(PLAIN, NOTE_PT)
    for note in page.notes:
        y -= NOTE_PT * LINE
        canvas.drawString(MARGIN_PT, y, _plain(note))
    _foot(canvas, book, number)


def _head(canvas: Canvas, book: CardBook, page: CardPage, top: float) -> None:
    """Job and title, the bar with the plane, the lines that hold on every page."""
    canvas.setFont(BOLD, TITLE_PT)
    room = letters(PRINT_PT, TITLE_PT)
    title = page.title if not book.held else f"HOLD  {page.title}"
    canvas.drawString(MARGIN_PT, top - TITLE_PT, _plain(title))
    left = room - len(title) - 2
    canvas.setFont(PLAIN, SMALL_PT)
    job = _shortened(book.job, int(left * TITLE_PT / SMALL_PT))
    canvas.drawRightString(WIDTH_PT - MARGIN_PT, top - TITLE_PT, _plain(job))
    bar = top - TITLE_PT - 5.0 - 18.0
    canvas.setFillGray(0.0)
    canvas.rect(MARGIN_PT, bar, PRINT_PT, 18.0, stroke=0, fill=1)
    canvas.setFillGray(1.0)
    canvas.setFont(BOLD, TITLE_PT)
    canvas.drawString(MARGIN_PT + 4.0, bar + 5.0, _plain(_shortened(page.bar, room - 1)))
    canvas.setFillGray(0.0)
    canvas.setFont(PLAIN, SMALL_PT)
    y = bar - 2.0
    for line in book.head:
        y -= SMALL_PT * LINE
        canvas.drawString(MARGIN_PT, y, _plain(line))


def _shortened(text: str, room: int) -> str:
    """A title that is too long ends in a mark that says so."""
    if len(text) <= room:
        return text
    return f"{text[: room - 3].rstrip()}..." if room > 3 else ""


def _table(canvas: Canvas, page: CardPage, top: float) -> float:
    left = MARGIN_PT
    y = top - header_pt(page.columns) + 2.0
    x = left
    canvas.setFont(BOLD, TABLE_PT)
    for column in page.columns:
        for k, word in enumerate(reversed(column.title.split("\n"))):
            _cell(canvas, word, column, (x, y + 4.0 + k * TABLE_PT * LINE))
        x += column.width_pt
    width = x - left
    canvas.setLineWidth(1.2)
    canvas.line(left, y, left + width, y)
    for k, row in enumerate(page.rows):
        height = row_pt(row, page.columns)
        if k % 2:
            canvas.setFillGray(_ZEBRA)
            canvas.rect(left, y - height, width, height, stroke=0, fill=1)
            canvas.setFillGray(0.0)
        _row(canvas, page.columns, row, (left, y, height))
        y -= height
        canvas.setLineWidth(0.4)
        canvas.line(left, y, left + width, y)
    return y


def _row(
    canvas: Canvas,
    columns: tuple[Column, ...],
    row: tuple[str, ...],
    at: tuple[float, float, float],
) -> None:
    x, y, height = at
    for cell, column in zip(row, columns, strict=True):
        canvas.setFont(BOLD if column.bold else PLAIN, column.size_pt)
        lines = cell.split("\n")
        step = column.size_pt * LINE
        # the block of lines stands in the middle of its row; a letter's body is 0.73 high
        base = y - 0.5 * (height - (len(lines) - 1) * step) - 0.365 * column.size_pt
        for k, text in enumerate(lines):
            _cell(canvas, text, column, (x, base - k * step))
        x += column.width_pt


def _cell(canvas: Canvas, text: str, column: Column, at: tuple[float, float]) -> None:
    x, y = at
    plain = _plain(text)
    if column.align == "right":
        # the pad of both sides, so that a number keeps clear of words in the next column
        canvas.drawRightString(x + column.width_pt - 3 * _PAD_PT, y, plain)
    elif column.align == "centre":
        canvas.drawCentredString(x + 0.5 * column.width_pt, y, plain)
    else:
        canvas.drawString(x + _PAD_PT, y, plain)


def _foot(canvas: Canvas, book: CardBook, number: int) -> None:
    """Cautions, the length that tells a shrunk print, page n of N."""
    y = MARGIN_PT + book.foot_pt - 4.0
    canvas.setLineWidth(0.8)
    canvas.line(MARGIN_PT, y, MARGIN_PT + PRINT_PT, y)
    canvas.setFont(PLAIN, SMALL_PT)
    for line in book.foot:
        y -= SMALL_PT * LINE
        canvas.drawString(MARGIN_PT, y, _plain(line))
    y = MARGIN_PT
    canvas.setLineWidth(1.2)
    canvas.line(MARGIN_PT, y, MARGIN_PT + _CHECK_PT, y)
    for end in (MARGIN_PT, MARGIN_PT + _CHECK_PT):
        canvas.line(end, y - 3.0, end, y + 3.0)
    canvas.drawString(MARGIN_PT + _CHECK_PT + 6.0, y - 2.0, _CHECK)
    canvas.setFont(BOLD, SMALL_PT)
    words = f"page {number} of {len(book.pages)}"
    canvas.drawRightString(WIDTH_PT - MARGIN_PT, y - 2.0, words)

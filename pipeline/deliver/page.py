"""``day.html``: one file that needs no network, no server and no other file.

The script is plain JavaScript without a library. What a foreman needs of a map
(one street, a tap, two lists) is some hundred lines; a map library would bring
tiles that a street without signal cannot fetch, five times the bytes of all the
day's data, and code that nobody here can vouch for in front of an excavator. The
script reckons station, offset and heights itself from the design's own elements
and the ground's own triangles, by the program's formulas, and is held against
``lath at`` by the tests.

Every text that comes from data passes `text` or `json_text`, and the page's own
content security policy names the hash of its one script and its one style: what
slipped through all the same would not run.
"""

from __future__ import annotations

import base64
import functools
import hashlib
import html
import importlib.resources
import json
import math
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import OutputError
from pipeline.model import Table
from pipeline.model.daypage import Card, DayPage, PageList
from pipeline.units import FOOT_M

SCRIPTS = (
    "numbers.js", "stations.js", "line.js", "ground.js", "design.js", "place.js", "map.js",
    "side.js", "page.js",
)  # fmt: skip
"""Parts of the script in the order in which they are put together."""
_SLOT = re.compile(r"\{\{(\w+)\}\}")
_LINKS = (
    ("plan", "Map"), ("seek", "Find"), ("look", "Look"), ("buried", "Buried"), ("show", "Layers"),
)  # fmt: skip
_HOLD = (
    '<div class="hold"><strong>HOLD</strong> A finding stops the day.'
    " Read it before anyone digs.</div>"
)
_WITHHELD = (
    "<p>The map and the numbers are withheld until a person has settled what stops the day.</p>"
)


def page_bytes(page: DayPage) -> bytes:
    """The whole page as UTF-8.

    Raises
    ------
    OutputError
        A number of the data is infinite.
    """
    style, script = _part("page.css"), script_text()
    data, mapped = page.data, page.data is not None
    work = _WITHHELD if data is None else _filled(_part("work.html"), _work_slots(page))
    slots = {
        "policy": _policy(style, script if mapped else ""),
        "title": text(f"Cut and fill to {page.layer}, {page.job}, {page.day}"),
        "style": style,
        "job": text(page.job),
        "day": text(page.day),
        "layer": text(page.layer),
        "package": text(page.package),
        "hold": _HOLD if page.held else "",
        "work": work,
        "look": _cards(page.look, "Nothing.", mapped=mapped) + _paragraphs([page.look_note]),
        "buried": _cards(page.buried, "None is on record. That is no locate.", mapped=mapped),
        "changes": _changes(page),
        "lists": "\n".join(_list(one, number) for number, one in enumerate(page.lists)),
        "figures": _figures(page),
        "cautions": _paragraphs(page.cautions, "caution"),
        "links": _links(whole=mapped),
        "data": "" if data is None else _data_block(data),
        "script": script if mapped else "",
    }
    return _filled(_part("template.html"), slots).encode("utf-8")


def script_text() -> str:
    """The page's script, all parts in one scope of its own."""
    body = "\n".join(_part(name) for name in SCRIPTS)
    return f'(() => {{\n"use strict";\n{body}}})();\n'


def text(value: str) -> str:
    """`value` as text of the page: no markup, no control characters, no hidden turn of direction.

    Examples
    --------
    >>> text('<img src=x onerror="dig()"> & 1 < 2')
    '&lt;img src=x onerror=&quot;dig()&quot;&gt; &amp; 1 &lt; 2'
    """
    return html.escape(_visible(value), quote=True)


def _visible(value: str) -> str:
    """Characters that show; bidirectional marks (Cf) could make a number read backwards."""
    hidden = {"Cc", "Cf", "Cs"}
    return "".join(" " if unicodedata.category(c) in hidden else c for c in value)


def json_text(value: Any) -> str:
    r"""`value` as JSON that may stand inside a page: no ``<``, ``>``, ``&`` and no U+2028/9.

    Examples
    --------
    >>> json_text({"code": "</script>"})
    '{"code":"\\u003c/script\\u003e"}'
    """
    plain = json.dumps(_plain(value), ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for character in "<>&\u2028\u2029":
        plain = plain.replace(character, f"\\u{ord(character):04x}")
    return plain


def _plain(value: Any) -> Any:
    """Packed arrays, None for NaN, texts that show."""
    if isinstance(value, np.ndarray):
        whole = np.issubdtype(value.dtype, np.integer)
        return packed(value) if whole else [_plain(item) for item in value.ravel().tolist()]
    if isinstance(value, str):
        return _visible(value)
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, float) and math.isinf(value):
        raise OutputError(
            "day.html", f"found {value}, which is no number to show", "look at the findings"
        )
    return None if isinstance(value, float) and math.isnan(value) else value


def packed(values: NDArray[np.integer[Any]]) -> dict[str, Any]:
    """Whole numbers as base64: successive differences, seven bits a byte, lowest first.

    A difference d is written as 2 d, or as -2 d - 1 where it is negative; the
    eighth bit says that more bytes of the number follow. Neighbours in a survey are
    near one another, so most differences take two or three bytes.

    Examples
    --------
    >>> packed(np.array([300, 299]))
    {'count': 2, 'bytes': '2AQB'}
    """
    flat = np.asarray(values, dtype=np.int64).ravel()
    step = np.diff(flat, prepend=np.int64(0))
    rest = ((step << 1) ^ (step >> 63)).view(np.uint64)
    most = max(1, -(-int(rest.max(initial=0)).bit_length() // 7))
    out = np.empty((len(rest), most), dtype=np.uint8)
    used = np.ones(out.shape, dtype=np.bool_)
    for k in range(most):
        used[:, k] = (rest > 0) | (k == 0)
        out[:, k] = rest & np.uint64(127)
        rest >>= np.uint64(7)
        out[:, k] |= np.where(rest > 0, np.uint8(128), np.uint8(0))
    return {"count": len(flat), "bytes": base64.b64encode(out[used].tobytes()).decode("ascii")}


@functools.cache
def _part(name: str) -> str:
    """One of the fixed parts of the page."""
    return (importlib.resources.files("pipeline.deliver") / "page" / name).read_text("utf-8")


def _filled(template: str, slots: Mapping[str, str]) -> str:
    """Every slot filled once; what was filled in is not looked at again."""
    return _SLOT.sub(lambda match: slots[match[1]], template)


def _policy(style: str, script: str) -> str:
    """Nothing from anywhere, but this one style and this one script."""
    styles, scripts = _hash(style), f"'{_hash(script)}'" if script else "'none'"
    return (
        f"default-src 'none'; script-src {scripts}; style-src '{styles}';"
        " base-uri 'none'; form-action 'none'"
    )


def _hash(content: str) -> str:
    digest = hashlib.sha256(content.encode("utf-8")).digest()
    return f"sha256-{base64.b64encode(digest).decode('ascii')}"


def _data_block(data: Mapping[str, Any]) -> str:
    return f'<script id="data" type="application/json">{json_text(data)}</script>'


def _work_slots(page: DayPage) -> dict[str, str]:
    held = '<p class="hold">HOLD: not to dig by</p>' if page.held else ""
    return {
        "layer": text(page.layer),
        "held_here": held,
        "within": text(page.within),
        "drawn": text(page.drawn),
        "unit": text(page.unit),
        "steps": _steps(page.unit),
    }


def _steps(unit: str) -> str:
    """The steps that the arrows can take: values in metres, words in the crew's unit."""
    metres = FOOT_M if unit == "ft" else 1.0
    steps = (1.0, 5.0, 10.0, 25.0) if unit == "ft" else (0.5, 1.0, 5.0, 10.0)
    usual = 5.0 if unit == "ft" else 1.0
    return "".join(
        f'<option value="{step * metres:g}"{" selected" if step == usual else ""}>{step:g}'
        f" {text(unit)}</option>"
        for step in steps
    )


def _links(*, whole: bool) -> str:
    shown = [link for link in _LINKS if whole or link[0] in {"look", "buried"}]
    return "\n".join(f'<a href="#{where}">{text(word)}</a>' for where, word in shown)


def _paragraphs(lines: Iterable[str], kind: str = "") -> str:
    shown = f' class="{kind}"' if kind else ""
    return "\n".join(f"<p{shown}>{text(line)}</p>" for line in lines if line)


def _cards(cards: Sequence[Card], none: str, *, mapped: bool) -> str:
    if not cards:
        return _paragraphs([none])
    items = "\n".join(_card(card, mapped=mapped) for card in cards)
    return f'<ul class="cards">\n{items}\n</ul>'


def _card(card: Card, *, mapped: bool) -> str:
    lines = " ".join(f"<span>{text(line)}</span>" for line in card.lines)
    button = ""
    if mapped and math.isfinite(card.easting) and math.isfinite(card.northing):
        place = f'data-east="{card.easting:.3f}" data-north="{card.northing:.3f}"'
        label = f'aria-label="Show on the map: {text(card.head)}"'
        button = f'<button type="button" {place} {label}>On the map</button>'
        button = f'<div class="buttons">{button}</div>'
    kind = ' class="stop"' if card.urgent else ""
    return f"<li{kind}><strong>{text(card.head)}</strong> {lines}{button}</li>"


def _changes(page: DayPage) -> str:
    if not page.changes and not page.changes_tables:
        return ""
    tables = "\n".join(_table(table) for table in page.changes_tables)
    return (
        '<section aria-labelledby="changes-title">\n'
        '<h2 id="changes-title">Since the days before</h2>\n'
        f"{_paragraphs(page.changes)}\n{tables}\n</section>"
    )


def _list(one: PageList, number: int) -> str:
    tables = "\n".join(_table(table) for table in one.tables)
    return (
        f'<section aria-labelledby="list-{number}">\n'
        f'<h2 id="list-{number}">{text(one.title)}</h2>\n'
        f"{_paragraphs(one.lines)}\n{tables}\n</section>"
    )


def _figures(page: DayPage) -> str:
    names = [f"<dt>{text(name)}</dt>" if name else "" for name, _ in page.figures]
    values = [f"<dd>{text(value)}</dd>" for _, value in page.figures]
    rows = "\n".join(name + value for name, value in zip(names, values, strict=True))
    return f"<dl>\n{rows}\n</dl>\n" + "\n".join(_table(table) for table in page.tables)


def _table(table: Table) -> str:
    """Rows as they are; columns that are not text stand right, digit under digit."""
    kinds = ["" if column in table.text_columns else ' class="figure"' for column in table.columns]
    head = "".join(
        f'<th scope="col"{kind}>{text(column)}</th>'
        for column, kind in zip(table.columns, kinds, strict=True)
    )
    rows = []
    for row in table.rows:
        cells = "".join(
            f"<td{kind}>{text(cell)}</td>" for cell, kind in zip(row[1:], kinds[1:], strict=True)
        )
        rows.append(f'<tr><th scope="row">{text(row[0])}</th>{cells}</tr>')
    body = "\n".join(rows)
    return (
        f'<div class="wide" tabindex="0" role="region" aria-label="{text(table.name)}">'
        f"<table><caption>{text(table.name)}</caption>"
        f"<thead><tr>{head}</tr></thead><tbody>\n{body}\n</tbody></table></div>"
    )

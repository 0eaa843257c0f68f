"""The foreman's page: one file, nothing asked of a network, nothing of the data run as markup."""

from __future__ import annotations

import base64
import hashlib
import html.parser
import json
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.deliver.page import json_text, packed, page_bytes, script_text, text
from pipeline.errors import OutputError
from pipeline.model import Table
from pipeline.model.daypage import Card, DayPage
from tests.packed import unpacked

HOSTILE = '"><img src=x onerror=alert(1)></script><script>alert(2)</script><!--\u2028\u202e&'


def day_page(**changes):
    parts = {
        "job": "invented street", "day": "2026-05-14", "layer": "clay", "package": "0123456789",
        "held": False, "look": (), "look_note": "", "buried": (), "figures": (("Shots", "5 read"),),
        "tables": (), "changes": (), "changes_tables": (), "cautions": ("no locate",),
        "within": "2 cm", "drawn": "", "unit": "m",
        "data": {"target": "clay", "x": np.array([1, 2])},
    }  # fmt: skip
    return DayPage(**{**parts, **changes})


class Reader(html.parser.HTMLParser):
    """Every element with its attributes, and the text of scripts and styles."""

    def __init__(self, page):
        super().__init__()
        self.elements, self.inside, self.texts = [], [], {}
        self.feed(page.decode("utf-8"))

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag in {"script", "style"}:
            self.inside.append((tag, dict(attrs).get("id")))

    def handle_endtag(self, tag):
        if tag in {"script", "style"}:
            self.inside.pop()

    def handle_data(self, data):
        key = self.inside[-1] if self.inside else ("text", None)
        self.texts[key] = self.texts.get(key, "") + data


@given(st.lists(st.integers(-(2**52), 2**52), max_size=40))
def test_packed_numbers_come_back(values):
    assert unpacked(packed(np.array(values, dtype=np.int64))) == values


@given(st.text(), st.text())
def test_no_text_leaves_the_data_block_or_becomes_markup(key, value):
    block = json_text({key: [value]})

    assert not set(block) & set("<>&\u2028\u2029")
    json.loads(block)
    shown = text(value)
    assert not set(shown) & set("<>\"'")
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f\u200e\u200f\u202a-\u202e\u2066-\u2069]", shown)


def test_a_missing_number_is_null_and_an_infinite_one_is_refused():
    assert (
        json_text({"z": float("nan"), "a": np.array([1.5, np.nan])}) == '{"z":null,"a":[1.5,null]}'
    )
    with pytest.raises(OutputError, match="found inf, which is no number to show"):
        json_text([float("inf")])


def test_markup_in_every_text_stays_text():
    """OWASP's cases of element, attribute and script context, by hand; the list is not complete."""
    card = Card(head=HOSTILE, lines=(HOSTILE,), easting=1.0, northing=2.0)
    table = Table(HOSTILE, (HOSTILE, "b"), ((HOSTILE, HOSTILE),))
    texts = dict.fromkeys(
        ("job", "day", "layer", "package", "look_note", "within", "drawn"), HOSTILE
    )
    hostile = Reader(page_bytes(day_page(
        **texts, look=(card,), buried=(card,), figures=((HOSTILE, HOSTILE),), tables=(table,),
        changes=(HOSTILE,), changes_tables=(table,), cautions=(HOSTILE,), data={HOSTILE: HOSTILE},
    )))  # fmt: skip
    tame = Reader(page_bytes(day_page(
        look=(Card(head="a", lines=("a",), easting=1.0, northing=2.0),) , buried=(Card(
            head="a", lines=("a",), easting=1.0, northing=2.0),), look_note="a",
        drawn="a", tables=(Table("a", ("a", "b"), (("a", "a"),)),), changes=("a",),
        changes_tables=(Table("a", ("a", "b"), (("a", "a"),)),), data={"a": "a"},
    )))  # fmt: skip

    assert [tag for tag, _ in hostile.elements] == [tag for tag, _ in tame.elements]
    shape = [sorted(attributes) for _, attributes in hostile.elements]
    assert shape == [sorted(attributes) for _, attributes in tame.elements]


def test_the_policy_lets_only_this_script_and_this_style_run():
    """Content Security Policy Level 3 (W3C): hashes of the exact text between the tags."""
    page = Reader(page_bytes(day_page()))
    (policy,) = (
        a["content"] for _, a in page.elements if a.get("http-equiv") == "Content-Security-Policy"
    )

    assert policy.startswith("default-src 'none';")
    assert "unsafe" not in policy
    for kind in ("script", "style"):
        digest = hashlib.sha256(page.texts[kind, None].encode("utf-8")).digest()
        assert f"{kind}-src 'sha256-{base64.b64encode(digest).decode()}'" in policy
    assert not [a for _, a in page.elements if any(name.startswith("on") for name in a)]
    assert not [a for _, a in page.elements if "style" in a]


def test_the_page_names_no_place_outside_itself():
    content = page_bytes(day_page()).decode("utf-8")
    page = Reader(content.encode("utf-8"))
    for tag, attributes in page.elements:
        assert tag not in {"link", "img", "iframe", "object", "embed", "base", "form"} or (
            tag == "form" and "action" not in attributes
        )
        assert "src" not in attributes
        assert attributes.get("href", "#").startswith("#")
    # the one address is the name of SVG, which is never asked for
    assert set(re.findall(r"https?://[^\"'\s<]+", content)) == {"http://www.w3.org/2000/svg"}
    assert not re.search(r"\b(fetch|XMLHttpRequest|WebSocket|importScripts|sendBeacon)\b", content)
    assert not re.search(r"\b(localStorage|sessionStorage|indexedDB|document\.cookie)\b", content)


def test_the_script_never_makes_markup_of_text():
    script = script_text()

    assert not re.search(
        r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\b|new Function", script
    )
    assert "</script" not in script
    assert "<!--" not in script


def test_a_held_day_says_so_and_a_withheld_one_has_no_number():
    held = page_bytes(day_page(held=True)).decode("utf-8")
    card = Card(head="a", lines=(), easting=1.0, northing=2.0)
    withheld = Reader(page_bytes(day_page(held=True, data=None, look=(card,))))

    assert held.count("HOLD") == 2
    assert "HOLD" in withheld.texts["text", None]
    assert "withheld" in withheld.texts["text", None]
    assert ("script", "data") not in withheld.texts
    assert not [tag for tag, _ in withheld.elements if tag in {"canvas", "button", "input"}]


def test_everything_to_touch_and_to_see_has_a_name():
    """WCAG 2.2, 1.1.1, 2.4.1, 3.1.1 and 4.1.2: by hand what a checker looks for first."""
    content = page_bytes(day_page(look=(Card(head="a", lines=(), easting=1.0, northing=2.0),)))
    page = Reader(content)
    ids = [a["id"] for _, a in page.elements if "id" in a]

    assert len(ids) == len(set(ids))
    for tag, attributes in page.elements:
        if tag in {"canvas", "svg"}:
            assert "aria-label" in attributes or attributes.get("aria-hidden") == "true"
        if tag == "html":
            assert attributes["lang"] == "en"
        for name in ("aria-labelledby", "aria-describedby"):
            assert attributes.get(name, ids[0]) in ids
        if attributes.get("href", "#lists") != "#lists":
            assert attributes["href"][1:] in ids
    (told,) = (a for _, a in page.elements if a.get("id") == "told")
    assert told["aria-live"] == "polite"


def contrast(one, other):
    """WCAG 2.2, relative luminance and contrast ratio."""

    def luminance(colour):
        parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_numbers_stand_out_ten_to_one_and_words_seven_to_one():
    style = Reader(page_bytes(day_page())).texts["style", None]
    for mode in (r":root \{(.*?)\}", r":root\.dark \{(.*?)\}"):
        colours = dict(re.findall(r"--(\w+): (#\w{6})", re.search(mode, style)[1]))
        assert contrast(colours["ink"], colours["paper"]) >= 10
        assert contrast(colours["design"], colours["paper"]) >= 7
        assert contrast(colours["focus"], colours["paper"]) >= 3
    for ground, ink in (("#8b0000", "#ffffff"), ("#fff3b0", "#000000")):
        assert f"background: {ground}; color: {ink}" in style
        assert contrast(ground, ink) >= 10


def test_what_is_touched_is_sized_for_gloves():
    style = Reader(page_bytes(day_page())).texts["style", None]

    assert re.search(
        r"button, input, select, nav a \{[^}]*min-height: 64px; min-width: 64px", style
    )
    assert re.search(r"fieldset label \{[^}]*min-height: 64px", style)
    assert "prefers-reduced-motion" in style
    assert "@media print" in style


def test_the_same_page_has_the_same_bytes():
    assert page_bytes(day_page()) == page_bytes(day_page())

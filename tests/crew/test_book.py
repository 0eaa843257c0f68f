"""The crew's pages and lists of one small street, put together by hand.

Clay lies 60 mm high between 40 and 60 and on grade elsewhere, but 0.25 too high beside 70; the
right edge stands 0.12 in at 30; a valve lies 0.10 under the clay, and of another nobody knows.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.crew import dots, lows, passes
from pipeline.crew.buried import table as buried_table
from pipeline.crew.buried import things as hazards
from pipeline.crew.card.pages import CardWords, book
from pipeline.crew.edge import table as edge_table
from pipeline.crew.edge.bank import backing_bank
from pipeline.crew.edge.line import edge_lines, edge_spots, seen
from pipeline.crew.edge.machine import Objects, machine_path
from pipeline.crew.edge.straight import long_sight, straightness
from pipeline.crew.hubs.cutsheet import cut_sheet
from pipeline.crew.hubs.slope import slope_stakes
from pipeline.crew.hubs.stale import stale_marks
from pipeline.crew.measures import measures
from pipeline.crew.sights import sightline
from pipeline.crew.work import CrewWork
from pipeline.deliver.pdf import pdf_bytes
from pipeline.design import feet as feet_of
from pipeline.ingest.job.job import read_job
from pipeline.model import NO_LINES, Utilities, make_shots, texts
from pipeline.settings import SurfaceRules
from pipeline.settings_crew import SlopeRules
from pipeline.surface import tin

CLAY = "clay subgrade"
JOB = """
name = "Small Street (invented)"
layers = [{ name = "finish" }, { name = "clay subgrade" }]
[target]
layer = "clay subgrade"
[codes.EC]
what = "edge of clay"
line = true
break_name = "edge of clay"
[stakes]
reference = "top back of curb"
[slope]
hinge = "edge of clay"
"""
STATIONS = np.arange(0.0, 100.1, 10.0)


def clay(s, o):
    return 50.0 + 0.02 * s - 0.40 - 0.025 * np.abs(o)


def high(s):
    return np.select([(s > 40.0) & (s < 60.0), np.abs(s - 70.0) < 0.5], [0.06, 0.25], 0.0)


def morning():
    """Shots each half metre on crown, curb and edges, the bank beyond; and the edge's code."""
    s = np.repeat(np.arange(0.0, 100.1, 0.5), 9)
    o = np.tile([-5.6, -5.3, -4.85, -4.0, 0.0, 4.0, 4.85, 5.3, 5.6], 201)
    stands_in = 0.12 * ((np.abs(s - 30.0) < 0.6) & (o == 4.85))
    bank = np.where(np.abs(o) > 5.5, 0.25, 0.0)
    o = o - stands_in
    code = texts(np.where(np.isclose(np.abs(o), 4.85) | (stands_in > 0), "EC", "GR").tolist())
    return make_shots(1000.0 + o, 2000.0 + s, clay(s, o) + high(s) + bank, code=code)


def hubs():
    s = np.concatenate([STATIONS, STATIONS[::-1]])
    o = np.repeat([-5.75, 5.75], len(STATIONS))
    name = texts([f"H{k:02d}" for k in range(len(s))])
    return make_shots(1000.0 + o, 2000.0 + s, 50.0 + 0.02 * s + 0.235, id=name)


@pytest.fixture(scope="module", params=["m", "ft"])
def work(request, corridor, tmp_path_factory):
    folder = tmp_path_factory.mktemp("book")
    unit_words = f'[rounding]\nmarks_unit = "{request.param}"\n'
    (folder / "job.toml").write_text(JOB + unit_words, encoding="utf-8")
    return put_together(corridor, read_job(folder))


def put_together(corridor, job):
    shots, pegs, unit = morning(), hubs(), measures(job.rounding)
    ground, _ = tin.build(shots, NO_LINES, SurfaceRules(max_edge_m=50.0))
    lines = edge_lines(corridor, CLAY, shots, job.codes)
    painted = dots.whole_dots(corridor, ground, job.stakes, job.target, job.rounding)
    feet = feet_of.locate(corridor.alignment, pegs.easting, pegs.northing)
    sheet = cut_sheet(corridor, pegs, feet, job.stakes, job.walk, unit)
    listed = Utilities(
        texts(["V1", "V2"]), texts(["valve", "valve"]), np.array([1001.0, 999.0]),
        np.array([2045.0, 2085.0]), np.array([clay(45.0, 1.0) - 0.10, np.nan]),
        np.array([0.0, np.nan]), texts(["", ""]),
    )  # fmt: skip
    found = hazards.things((corridor, CLAY), ground, (listed, make_shots([], [], [])), job.hazards)
    yesterday = replace(painted, ground=painted.ground + 0.05)
    nothing = Objects(texts([]), np.empty(0), np.empty(0))
    at = shots.easting, shots.northing
    return CrewWork(
        job=job, corridor=corridor, edge_layer=CLAY, dots=painted, sheet=sheet, flags=sheet.flag,
        to_line=passes.hub_to_line(
            corridor, CLAY, (sheet.station, sheet.offset, sheet.behind), job.edge.clearance_m
        ),
        sights=sightline.sights(
            (corridor, CLAY), ground, STATIONS, job.sights, job.rounding.on_grade_m
        ),
        spots=edge_spots((corridor, CLAY), ground, lines, job.edge), seen=seen(lines),
        straight=straightness(corridor, CLAY, lines, job.edge),
        long_sights=tuple(x for edge in lines for x in long_sight(corridor, edge, 0.04)),
        path=machine_path((corridor, CLAY), ground, at, nothing, job.machine),
        bank=backing_bank(corridor, CLAY, ground, job.bank), things=found,
        ties=buried_table.tie_words(found, sheet.hubs, unit),
        turns=lows.turns(corridor, listed, job.stakes.reference, job.hazards),
        passes=passes.by_stretch(painted, job.target.pass_m),
        stale=stale_marks(yesterday, painted, job.target.stale_m)[:3],
        slopes=slope_stakes(corridor, ground, STATIONS, SlopeRules(hinge="edge of clay")),
        beside=found,
    )  # fmt: skip


@pytest.fixture(scope="module")
def pages(work):
    found = book(work, CardWords("2026-05-14", "abc123", "K1 checked", held=False))
    # nothing is wider or taller than its place, or this refuses it
    assert pdf_bytes(found).startswith(b"%PDF")
    return found.pages


def rows_of(pages, title):
    return [row for page in pages if page.title.startswith(title) for row in page.rows]


def test_pages_come_in_the_order_of_the_day(pages):
    firsts = list(dict.fromkeys(page.title.split()[0] for page in pages))
    assert firsts == [
        "Paint", "Hubs", "Buried", "Edge", "Machine", "Backing", "Boning", "Marks",
    ]  # fmt: skip


def test_a_lath_on_grade_is_ticked_and_one_that_is_not_says_how_much(work, pages):
    feet = work.job.rounding.marks_unit == "ft"
    rows = {row[1]: row for row in rows_of(pages, "Paint")}
    assert len(rows) == 2 * len(STATIONS)
    # 60 mm, and 250 mm, which are 0.197 and 0.820 ft by the foot of 0.3048 m
    assert rows["0+050.0 L"][2] == ("C 0.2" if feet else "C 6")
    assert rows["0+070.0 R"][2] == ("C 0.8" if feet else "C 25")
    done = {place for place, row in rows.items() if "\u2611" in row}
    assert {"0+010.0 L", "0+090.0 R"} <= done
    assert not {"0+050.0 L", "0+070.0 R"} & done


def test_a_hub_is_told_to_the_curb_and_the_line_is_painted_in_from_it(work, pages):
    feet = work.job.rounding.marks_unit == "ft"
    # top back of curb: crown less 2 % of 3.70 less 6 % of 0.30 plus 0.150
    to_curb = 0.235 + 0.02 * 3.70 + 0.06 * 0.30 - 0.150
    assert {row[4] for row in rows_of(pages, "Hubs")} == {
        f"C {to_curb / 0.3048:.2f}" if feet else f"C {to_curb:.3f}"
    }
    notes = " ".join(note for page in pages if page.title.startswith("Hubs") for note in page.notes)
    # hubs at 5.75, clay to 4.85, the line 0.30 outside it
    assert f"OFFSET LINE {'2.0 ft' if feet else '0.60 m'} from the hubs in" in notes


def test_the_valve_under_the_rotor_and_the_unknown_one_are_hits(work, pages):
    verdicts = {row[1].split()[0]: row[-1].replace("\n", " ") for row in rows_of(pages, "Buried")}
    assert verdicts["V1"].startswith("HIT")
    assert verdicts["V2"].startswith("UNKNOWN, treat as HIT")
    listed = buried_table.table(work)
    at = {name: k for k, name in enumerate(listed.columns)}
    rows = {row[at["id"]]: row for row in listed.rows}
    assert float(rows["V1"][at["blade_margin_m"]]) == pytest.approx(0.10, abs=1e-3)
    assert float(rows["V1"][at["rotor_margin_m"]]) == pytest.approx(0.10 - 0.33, abs=1e-3)
    assert rows["V2"][at["blade_margin_m"]] == ""
    assert all("not a locate" in row[at["caution"]] for row in listed.rows)


def test_the_edge_list_holds_every_kind_and_the_one_nose(work):
    listed = edge_table.table(work)
    at = {name: k for k, name in enumerate(listed.columns)}
    kinds = {row[at["what"]] for row in listed.rows}
    unit = measures(work.job.rounding)
    straight = {f"straight-edge {unit.stated(chord)}" for chord in (3.0, 10.0)}
    assert kinds >= {"edge", "seen", "machine path", "bank", "in the path: clay"} | straight
    (nose,) = [row for row in listed.rows if row[at["what"]] == "edge"]
    assert (nose[at["verdict"]], nose[at["side"]], nose[at["amount_m"]]) == ("STOP", "R", "0.120")
    assert 29.4 <= float(nose[at["station"]].replace("+", "")) <= 30.6


def test_marks_say_passes_stale_numbers_and_slope_stakes(work, pages):
    said = [(row[0], row[1]) for row in rows_of(pages, "Marks")]
    # 0.25 m are three passes of 0.10
    assert ("PASSES", "0+070.0 L") in said
    assert [what for what, _ in said].count("REWRITE") == 3
    assert any(what == "SLOPE" for what, _ in said)
    assert any("3 passes" in " ".join(row) for row in rows_of(pages, "Marks"))


def test_a_crew_in_feet_reads_no_metric_length_and_one_in_metres_does(work, pages):
    texts_of = [
        text
        for page in pages
        for text in (page.bar, *page.notes, *(column.title for column in page.columns))
    ]
    metric = {"cm", "mm", "m3", "m"} & {word for text in texts_of for word in text.split()}
    assert metric == ({"cm", "mm", "m3", "m"} if work.job.rounding.marks_unit == "m" else set())

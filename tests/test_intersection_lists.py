"""The lists of a morning on the invented intersection: every part of the design is in them.

The ground is one tilted plane and the design is reckoned here from the numbers of
`pipeline.demo.intersection`, circles and straight lines, so every cut has an answer of its own.
"""

from __future__ import annotations

import csv
import io
import math
import re

import numpy as np
import pytest
from pypdf import PdfReader

from pipeline import publish, publish_crew, publish_page
from pipeline.compare import places
from pipeline.compare.streets import streets_of
from pipeline.crew.card import pages as card
from pipeline.crew.hubs.cutsheet import cut_sheet
from pipeline.crew.page import lists as daypage
from pipeline.crew.walk import steps, walking_order
from pipeline.crew.words import paint
from pipeline.demo import intersection as known
from pipeline.run import Stopwatch, run_day

CODES = """
[codes.GR]
what = "ground"

[codes.EC]
what = "edge of clay"
break_name = "edge of clay"

[codes.HUB]
what = "hub"
kind = "hub"

[surface]
max_edge_m = 12.0
"""
NORTH = 2065.0
CURB_M = -0.018 + 0.140 + 0.010
"""From the lip up to the top back of curb."""
HUBS = {
    # id: easting, northing, elevation of the top back of curb beside it, street
    "M20L": (994.0, 2020.0, 50.0 - 0.24 - 0.08 + CURB_M, "Wenlow Street"),
    "M20R": (1006.0, 2020.0, 50.0 - 0.24 - 0.08 + CURB_M, "Wenlow Street"),
    "T30L": (1030.0, NORTH + 6.0, 49.22 - 0.6 - 0.08 + CURB_M, "Tarrow Court"),
    "T30R": (1030.0, NORTH - 6.0, 49.22 - 0.6 - 0.08 + CURB_M, "Tarrow Court"),
    # a quarter circle from the back of the bulb, 13 m from its centre, 11 pi / 2 along the lip
    "BACK": (
        1056.0, NORTH + 13.0,
        49.22 - 0.02 * 42.0 - 0.08 - 0.01 * (0.5 * known.bulb_length() - 11.0 * math.pi / 2.0)
        + CURB_M, "bulb",
    ),
}  # fmt: skip


def plane(east, north):
    """Today's ground: it follows both crowns, 50 mm above the clay there."""
    return 50.0 - 0.335 + 0.05 - 0.012 * (north - 2000.0) - 0.02 * (east - 1000.0)


def clay(east, north):
    """The clay where it is plain: main street, side street beyond its warp, bulb; else NaN."""
    x, y = east - 1000.0, north - 2000.0
    if abs(x) <= 4.96 and not (x > 3.99 and 51.9 < y < 78.1):
        return 50.0 - 0.012 * y - 0.335 - 0.025 * abs(x)
    if 19.0 <= x <= 42.0 and abs(y - 65.0) <= 4.96:
        return 49.22 - 0.02 * x - 0.335 - 0.025 * abs(y - 65.0)
    # outside the bulb's lip, away from the vertical curve at its back
    out = math.hypot(x - 56.0, y - 65.0) - 11.0
    angle = math.atan2(abs(y - 65.0), x - 56.0)
    if -1e-6 <= out <= 0.96 and 11.0 * angle > 2.1 and x >= 50.0:
        run = 0.5 * known.bulb_length() - 11.0 * angle
        lip = 49.22 - 0.02 * 42.0 - 0.08 - 0.01 * run
        return lip - (0.335 - 0.08 + 0.025 * 4.0) - 0.025 * out
    return math.nan


@pytest.fixture(scope="module")
def day(tmp_path_factory):
    """Ground every metre, edges each two; nothing around the north return but far beside it."""
    folder = tmp_path_factory.mktemp("lists") / "job"
    known.lay_down(folder)
    with (folder / "job.toml").open("a", encoding="utf-8") as file:
        file.write(CODES)
    with (folder / "utilities.csv").open("a", encoding="utf-8") as file:
        # lid half a metre under the clay of the side street, on its right side
        file.write(
            f"WV1,valve,{NORTH - 2.0:.3f},1030.000,{clay(1030.0, NORTH - 2.0) - 0.5:.4f},,\n"
        )
    rows = ["point,northing,easting,elevation,code"]
    rows += [f"{k},{n:.4f},{e:.4f},{z:.4f},{code}" for k, (e, n, z, code) in enumerate(_shots())]
    rows += [f"{name},{n},{e},{z + 0.25:.4f},HUB" for name, (e, n, z, _) in HUBS.items()]
    path = folder / "shots" / "2026-05-14" / "morning.csv"
    path.parent.mkdir(parents=True)
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return publish.complete(run_day(folder, None, Stopwatch()))


def _shots():
    """Easting, northing, height and code; the edge of every part but the north return."""
    e, n = (v.ravel() for v in np.meshgrid(np.arange(993.1, 1071.0), np.arange(1999.1, 2132.0)))
    corner = np.hypot(e - 1013.0, n - 2078.0)
    empty = (corner < 12.0) & (e < 1014.0) & (n < 2079.0) & (e > 1003.5) & (n > 2068.5)
    inside = (
        (np.abs(e - 1000.0) < 7) | (np.abs(n - NORTH) < 7) | (np.hypot(e - 1056, n - NORTH) < 14)
    )
    inside |= np.hypot(e - 1013.0, n - 2052.0) < 9.1
    for east, north in zip(e[inside & ~empty], n[inside & ~empty], strict=True):
        yield float(east), float(north), float(plane(east, north)), "GR"
    along = np.arange(0.0, 130.1, 2.0)
    edges = [(995.05, 2000.0 + s) for s in along]
    edges += [(1004.95, 2000.0 + s) for s in along if not 52.0 < s < 78.0]
    edges += [(1013.0 + s, NORTH + k * 4.95) for k in (-1, 1) for s in np.arange(0.0, 29.1, 2.0)]
    turn = np.arange(0.0, math.pi / 2.0 + 0.01, math.pi / 16.0)
    edges += [(1013.0 - 8.05 * math.cos(a), 2052.0 + 8.05 * math.sin(a)) for a in turn]
    edges += [
        (1056.0 + 11.95 * math.cos(a), NORTH + 11.95 * math.sin(a))
        for a in np.arange(-2.1, 2.11, 0.15)
    ]
    for east, north in edges:
        yield east, north, plane(east, north), "EC"


@pytest.fixture(scope="module")
def files(day):
    return publish.package_files(day)


@pytest.fixture(scope="module")
def tables(files):
    return {
        name: list(csv.DictReader(io.StringIO(files[name].decode("utf-8-sig"))))
        for name in files
        if name.endswith(".csv")
    }


def test_every_number_is_that_of_the_design_at_its_place(day):
    """What ``lath at`` says of the same place, and the mathematics of the fixture."""
    spots, corridor, job = day.dots, day.morning.corridor, day.morning.inputs.job
    checked = dict.fromkeys(spots.street, 0)
    for k in range(len(spots)):
        east, north = float(spots.easting[k]), float(spots.northing[k])
        place = places.at_grid(corridor, day.ground, east, north)
        assert spots.design[k, 0] == pytest.approx(place.layers["clay subgrade"], abs=1e-6)
        if spots.kind[k] != "unshot":
            assert spots.mark[k] == paint(place.cut["clay subgrade"], job.rounding)
        answer = clay(east, north)
        if math.isfinite(answer):
            checked[spots.street[k]] += 1
            assert spots.design[k, 0] == pytest.approx(answer, abs=1e-5)
            if spots.kind[k] != "unshot":
                cut = spots.ground[k] - spots.design[k, 0]
                assert cut == pytest.approx(plane(east, north) - answer, abs=1e-3)
    assert checked["Wenlow Street"] > 90
    assert checked["Tarrow Court"] > 15
    assert checked["bulb"] > 30


def test_every_part_is_in_every_list(day, tables):
    names = {street.name for street in streets_of(day.morning.corridor)}
    assert names == {"Wenlow Street", "south return", "north return", "bulb", "Tarrow Court"}
    for table in ("stakes", "dots", "sightlines", "edge"):
        assert {row["street"] for row in tables[f"{table}.csv"]} == names, table
    assert {row["street"] for row in tables["cutsheet.csv"]} == {h[3] for h in HUBS.values()}
    marks = tables["dots.csv"]
    assert sum(row["street"] == "bulb" and row["paint"] != "NOT SHOT" for row in marks) > 40


def test_no_id_and_no_place_is_there_twice(day):
    for points, least in ((day.dots, 0.05), (day.stakes, 0.3)):
        assert len(set(points.id)) == len(points)
        away = np.hypot(
            points.easting[:, None] - points.easting, points.northing[:, None] - points.northing
        )
        np.fill_diagonal(away, np.inf)
        assert away.min() >= least - 1e-9
    assert {"SR-0007.1LIP", "SR-0007.1EOCR", "TC-0030.0EOCL", "B-0020.0TBCL"} <= set(day.dots.id)
    assert {"SR-0007.1R", "SR-1of2-0007.1", "TC-0030.0R", "B-0020.0L"} <= set(day.stakes.id)


def test_returns_are_marked_at_their_quarters_on_circles_of_their_own(day):
    spots = day.dots.take(day.dots.street == "south return")
    angle = np.arctan2(spots.northing - 2052.0, 1013.0 - spots.easting)
    away = np.hypot(spots.northing - 2052.0, spots.easting - 1013.0)
    radius = {"lip": 9.0, "flowline": 8.7, "top of face": 8.65, "top back of curb": 8.5,
              "edge of clay": 8.05}  # fmt: skip
    for k in range(len(spots)):
        assert away[k] == pytest.approx(radius[spots.what[k]], abs=1e-6)
    quarters = {round(float(a) / (math.pi / 8.0), 6) for a in angle}
    assert quarters == {0.0, 1.0, 2.0, 3.0, 4.0}
    # along each circle the heights run straight from one end to the other
    for name in ("lip", "edge of clay"):
        z = spots.design[spots.what == name, 0]
        assert np.diff(z, 2) == pytest.approx(np.zeros(3), abs=1e-9)


def test_in_a_mouth_there_is_no_edge_of_clay(day):
    right = (day.dots.street == "Wenlow Street") & (day.dots.offset > 0)
    mouth = right & (day.dots.station > 52.0) & (day.dots.station < 78.0)
    assert set(day.dots.what[mouth]) == {"lip"}
    # and the side street's own spots begin where the main street's end
    side = day.dots.take(day.dots.street == "Tarrow Court")
    assert (side.easting > 1004.0).all()


def test_the_crown_of_the_bulb_is_marked_beyond_the_sections(day):
    side = day.dots.take((day.dots.street == "Tarrow Court") & (day.dots.station > 42.0))
    assert set(side.what) == {"crown"}
    assert side.design[:, 0] == pytest.approx(49.22 - 0.02 * side.station - 0.335, abs=1e-4)


def test_hubs_are_measured_to_the_curb_of_their_own_part(day, tables):
    for row in tables["cutsheet.csv"]:
        _, _, curb, street = HUBS[row["id"]]
        assert row["street"] == street
        assert row["to_reference"] == "C 0.250"
        assert float(row["reference_elevation_m"]) == pytest.approx(curb, abs=6e-4)
        assert float(row["behind_reference_m"]) == pytest.approx(1.5, abs=1e-3)


def test_the_page_knows_the_design_of_every_part(day):
    """Heights in the page's own triangles, within the 2 mm that chords may leave."""
    inputs = publish_page.page_inputs(day, publish.plan_words(day))
    data = daypage.day_page(inputs).data
    layer = next(one for one in data["layers"] if one["name"] == "clay subgrade")["surface"]
    x, y, z = (np.asarray(layer[name]) * layer["step"] for name in "xyz")
    a, b, c = np.asarray(layer["triangles"]).reshape(-1, 3).T
    for east, north in ((1000.5, 2010.2), (1030.2, 2063.4), (1056.2, 2076.4), (1049.0, 2072.0)):
        p, q = east - data["origin"][0], north - data["origin"][1]
        det = (x[b] - x[a]) * (y[c] - y[a]) - (x[c] - x[a]) * (y[b] - y[a])
        u = ((p - x[a]) * (y[c] - y[a]) - (x[c] - x[a]) * (q - y[a])) / det
        v = ((x[b] - x[a]) * (q - y[a]) - (p - x[a]) * (y[b] - y[a])) / det
        k = int(np.argmax(np.minimum(np.minimum(u, v), 1.0 - u - v)))
        height = z[a[k]] + u[k] * (z[b[k]] - z[a[k]]) + v[k] * (z[c[k]] - z[a[k]])
        place = places.at_grid(day.morning.corridor, None, east, north)
        assert height == pytest.approx(place.layers["clay subgrade"], abs=0.002)


def walks(points):
    names, east, north = points.street, points.easting, points.northing
    order = walking_order(points.station, points.offset, None, (names, east, north))
    return order, names[order], east[order], north[order]


def test_the_walk_of_every_part_is_no_longer_than_the_best_of_a_thousand_tries(day):
    """Up one side and back along the other, part by part."""
    rng = np.random.default_rng(11)
    for points in (day.dots, day.stakes.take(day.stakes.kind == "stake")):
        order, names, east, north = walks(points)
        assert sorted(order.tolist()) == list(range(len(points)))
        for name in dict.fromkeys(names):
            e, n = east[names == name], north[names == name]
            tries = [
                np.nansum(steps(e[mixed], n[mixed]))
                for mixed in (rng.permutation(len(e)) for _ in range(1000))
            ]
            assert np.nansum(steps(e, n)) <= 1.05 * min(tries), name


def test_the_walk_goes_out_round_and_back(day):
    """From the main street round one return, out, around the bulb, and home by the other."""
    _, names, east, north = walks(day.stakes.take(day.stakes.kind == "stake"))
    legs = [names[0]]
    for name in names[1:]:
        if name != legs[-1]:
            legs.append(name)
    assert legs == [
        "Wenlow Street", "south return", "Tarrow Court", "bulb", "Tarrow Court", "north return",
    ]  # fmt: skip
    bulb = np.arctan2(north[names == "bulb"] - NORTH, east[names == "bulb"] - 1056.0)
    assert (np.diff(bulb) > 0).all()  # one way round


def test_nothing_is_painted_across_ground_that_nobody_shot(day):
    spots = day.dots.take(day.dots.street == "north return")
    middle = (spots.station > 3.0) & (spots.station < 11.0)
    assert (spots.mark[middle] == "NOT SHOT").all()
    assert np.isnan(spots.ground[middle]).all()
    south = day.dots.take(day.dots.street == "south return")
    assert (south.kind != "unshot").sum() > 15


def test_a_valve_in_the_side_street_has_the_plane_of_the_side_street(day, tables):
    (row,) = (row for row in tables["buried.csv"] if row["id"] == "WV1")
    assert (row["street"], row["station"], row["side"]) == ("Tarrow Court", "0+030.0", "R")
    assert float(row["offset_m"]) == pytest.approx(2.0, abs=1e-3)
    assert float(row["blade_margin_m"]) == pytest.approx(0.5, abs=1e-3)
    assert row["class"] not in {"UNKNOWN", "HIT"}


def test_the_pages_name_their_street_and_no_lath_on_them_is_without_a_number(files):
    """A list is one for all streets; in the mouth the curb is away, and so are its laths."""
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(files["crew.pdf"])).pages]
    titles = [page.lstrip().split("\n", 1)[0] for page in pages]
    assert [title for title in titles if title.startswith("Paint Wenlow Street 0+000.0")]
    for name in ("Edge", "Machine path", "Backing bank", "Marks"):
        assert 1 <= titles.count(name) <= 2, titles
    bank = "\n".join(page for page, title in zip(pages, titles, strict=True) if "bank" in title)
    assert "south return: R: 13 m" in bank
    laths = 0
    for page in (page for page, title in zip(pages, titles, strict=True) if "Paint" in title):
        table = page.split("marked", 1)[1]
        rows = re.split(r"^\d+\n?\d\+\d{3}\.\d(?: [LR])?$", table, flags=re.MULTILINE)
        laths += len(rows) - 1
        assert all(re.search(r"^([CF] \d+|GRADE|NOT SHOT)$", row, re.MULTILINE) for row in rows[1:])
    assert laths > 50


def test_the_edge_of_the_bulb_and_of_a_return_is_looked_at(tables):
    """Shot on its line, so no nose anywhere; the north return was not shot."""
    rows = tables["edge.csv"]
    seen = {row["street"] for row in rows if row["what"] == "seen"}
    assert seen == {"Wenlow Street", "south return", "bulb", "Tarrow Court"}
    assert not [row for row in rows if row["what"] == "edge"]
    (bulb,) = (row for row in rows if row["what"] == "seen" and row["street"] == "bulb")
    # 4.2 radians of a circle: its line is the lip on R 11, its edge lies 0.95 m outside
    assert float(bulb["length_m"]) == pytest.approx(4.2 * 11.95, abs=0.01)
    for row in rows:
        if row["what"] == "bank" and row["street"] == "Wenlow Street" and row["side"] == "R":
            ends = (
                float(row["station_from"].replace("+", "")),
                float(row["station_to"].replace("+", "")),
            )
            assert ends[1] <= 52.0 or ends[0] >= 77.9


def test_a_hub_belongs_to_one_street_however_they_are_ordered(day):
    """The same hubs in another order give the same rows."""
    sheet = day.sheet
    rows = np.arange(len(sheet.hubs))[::-1]
    feet = day.morning.feet
    hubs = np.flatnonzero(day.morning.rows("hub"))[::-1]
    again = cut_sheet(
        day.morning.corridor, day.morning.shots.take(hubs),
        type(feet)(*(getattr(feet, x)[hubs] for x in ("station", "offset", "feet", "beyond"))),
        day.morning.inputs.job.stakes, day.morning.inputs.job.walk,
    )  # fmt: skip
    assert sorted(zip(again.hubs.id, again.street, strict=True)) == sorted(
        zip(sheet.hubs.id[rows], sheet.street[rows], strict=True)
    )


def test_pages_say_nothing_of_a_side_that_a_return_does_not_have(day):
    """A return has one edge, right or left of its own line; a page of one lath names one place."""
    book = card.book(publish_crew.crew_work(day), card.CardWords("", "", "", held=False))
    notes = [note for page in book.pages for note in page.notes]
    assert not [note for note in notes if note.rstrip().endswith(":") or "no such" in note]
    (bank,) = (page for page in book.pages if page.title == "Backing bank")
    one_sided = [note.split(": ")[1] for note in bank.notes if note.startswith("south return")]
    assert one_sided == ["R"]
    path = next(page for page in book.pages if page.title == "Machine path")
    assert re.search(r"   (1 CONFLICT|([02-9]|\d\d+) CONFLICTS)$", path.bar)
    reaches = [page.title.split(" to ") for page in book.pages if " to 0+" in page.title]
    assert reaches
    assert all(first.split()[-1] != last.split()[0] for first, last in reaches)

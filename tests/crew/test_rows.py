"""Stakes, cut sheet and dots on a street that can be computed by hand."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.crew import dots, fate
from pipeline.crew.hubs import cutsheet, stakes
from pipeline.crew.hubs.references import lath_name, reference_line
from pipeline.design import feet
from pipeline.errors import DesignError
from pipeline.model import Differences, make_shots, texts
from pipeline.settings import Rounding, StakeRules, Target

RULES = StakeRules(interval_m=20.0, hub_behind_m=1.5, reference="top back of curb")
# section by hand: lip -0.074, flowline -0.092, top back of curb +0.058 against the crown
TOP, FLOWLINE, LIP = 0.058, -0.092, -0.074


def test_hubs_stand_behind_the_curb_up_the_left_and_down_the_right(corridor):
    hubs = stakes.points_to_set(corridor, RULES)
    left = hubs.station[:6]

    assert left.tolist() == [0, 20, 40, 60, 80, 100]
    assert hubs.station[6:12].tolist() == [100, 80, 60, 40, 20, 0]
    assert hubs.offset[:6].tolist() == [-5.75] * 6
    assert hubs.easting[:12] == pytest.approx([994.25] * 6 + [1005.75] * 6)
    assert hubs.northing[:6] == pytest.approx(2000 + left)
    assert hubs.design[:6, 0] == pytest.approx(50 + 0.02 * left + TOP)
    assert hubs.design[:6, 1] == pytest.approx(50 + 0.02 * left - 0.40 - 0.025 * 4.25)
    assert set(hubs.mark[:12]) == {"1.50 TBC"}


def test_an_unknown_reference_is_refused_with_those_there_are(corridor):
    with pytest.raises(DesignError, match="no section has a break of that name; there are crown"):
        stakes.points_to_set(corridor, StakeRules(reference="curb"))


def hub(offset, station, height):
    return make_shots([1000.0 + offset], [2000.0 + station], [height], id=texts(["H1"]))


def sheet_of(corridor, shots, reference):
    found = feet.locate(corridor.alignment, shots.easting, shots.northing)
    return cutsheet.cut_sheet(corridor, shots, found, StakeRules(reference=reference))


def test_one_hub_reads_differently_to_every_reference_and_names_it(corridor):
    # by hand: the hub stands 0.235 above the top back of curb, 0.367 above the lip
    shots = hub(5.75, 40.0, 50.8 + TOP + 0.235)
    marks = {
        name: cutsheet.lath_front(sheet_of(corridor, shots, name), 0, Rounding())
        for name in ("top back of curb", "lip", "flowline")
    }

    assert marks["top back of curb"] == "1.50 TBC / C 0.235 TBC"
    assert marks["flowline"] == "1.75 FL / C 0.385 FL"
    assert marks["lip"] == "2.05 LIP / C 0.367 LIP"
    assert round(TOP - LIP, 3) == 0.132


def test_the_cut_sheet_walks_up_the_left_and_down_the_right(corridor):
    shots = make_shots(
        [1005.75, 994.25, 1005.75, 994.25], [2020, 2060, 2060, 2020], [51.0] * 4,
        id=texts(["R20", "L60", "R60", "L20"]),
    )  # fmt: skip
    sheet = sheet_of(corridor, shots, "top back of curb")

    assert sheet.hubs.id.tolist() == ["L20", "L60", "R60", "R20"]
    assert cutsheet.lath_back(sheet, 0) == "0+020.0 L L20"
    # to the clay: 0.40 and 2.5 % of 4.25 below the profile
    assert sheet.layer_cut[0, 1] == pytest.approx(51.0 - (50.4 - 0.40 - 0.10625))


def test_a_hub_beyond_the_design_gets_no_number(corridor):
    row = cutsheet.table(
        sheet_of(corridor, hub(5.75, 130.0, 55.0), "top back of curb"), Rounding()
    ).rows[0]

    assert "outside the design: no mark" in row
    assert not any(cell.startswith(("C ", "F ")) for cell in row)


def test_dots_are_painted_where_the_ground_is_at_grade_and_unshot_says_so(corridor, flat_ground):
    station = np.array([10.0, 40.0, 70.0])
    painted = dots.grade_dots(
        corridor, flat_ground, station, Target(layer="clay subgrade"), Rounding()
    )
    at = {
        (s, name): (mark, kind)
        for s, name, o, mark, kind in zip(
            painted.station, painted.what, painted.offset, painted.mark, painted.kind, strict=True
        )
        if o >= 0
    }
    # ground 51.000; clay at the crown 50.4 + ... : station 40: 50.400, station 70: 51.000
    assert at[10.0, "crown"] == ("NOT SHOT", "unshot")
    assert at[40.0, "crown"] == ("C 60", "number")
    assert at[70.0, "crown"] == ("GRADE", "dot")
    assert at[70.0, "edge of clay"] == ("C 12", "number")  # 2.5 % of 4.85 m is 0.121


def test_two_breaks_at_one_place_get_one_number(corridor):
    station, offset, what = dots.spots(corridor, np.array([50.0]), ["clay subgrade", "finish"])

    assert what.count("crown") == 1
    assert (np.diff(offset) >= 0.05).all()
    assert len(station) == 9  # crown, and four each side: lip, flowline, top, edge of clay


def test_every_break_has_a_name_for_the_lath():
    assert lath_name("top back of curb") == "TBC"
    assert lath_name("ditch bottom") == "DITCH BOTTOM"


def test_a_reference_line_is_missing_beyond_the_section(corridor):
    line = reference_line(corridor, "lip", np.array([50.0, 150.0]), np.array([1, 1]))

    assert line.elevation[0] == pytest.approx(51.0 + LIP)
    assert np.isnan(line.elevation[1])
    assert np.isnan(line.easting[1])


def test_every_shot_has_a_row_with_its_fate():
    shots = make_shots([1.0, 2.0], [1.0, 2.0], [5.0, 6.0], code=texts(["=1+1", "CL"]))
    nothing = np.full(2, np.nan)
    table = fate.table(
        shots, texts(["unknown code", "in the surface"]),
        Differences("clay", shots.easting, shots.northing, nothing, nothing, nothing, nothing,
                    np.array([np.nan, 0.124])),
        Rounding(), np.ones(2, dtype=bool),
    )  # fmt: skip

    assert [row[-4] for row in table.rows] == ["unknown code", "in the surface"]
    assert [row[9] for row in table.rows] == ["", "C 12"]
    assert "code" in table.text_columns  # a formula in a code is made safe by the writer

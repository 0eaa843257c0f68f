"""What a street's design answers from the command line: job folder in, JSON or words out.

Each value is worked out by hand, by the formula written beside it. Jobs and levels are invented.
"""

from __future__ import annotations

import json
import math
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from pipeline.cli import main

FIXTURES = Path(__file__).resolve().parent.parent / "fixtures"
BREAKS = (
    '{ to = "lip", width_m = 4.0, fall_pct = 2.0 },'
    ' { to = "flowline", width_m = 0.3, step_m = -0.018 },'
    ' { to = "top back of curb", width_m = 0.15, step_m = 0.150 }'
)  # fmt: skip
SECTION = f"""
[[section]]
name = "one"
from = 0.0
to = 300.0
[section.layers.finish]
right = [{BREAKS}]
left = "mirror"
[section.layers.clay]
drop_m = 0.4
right = [{{ to = "edge of clay", width_m = 5.0, fall_pct = 2.5 }}]
left = "mirror"
"""
JOB = """
name = "invented"
control = ""
[design]
alignment = "design/alignment.csv"
profile = "design/profile.csv"
sections = "design/sections.toml"
[[layers]]
name = "finish"
[[layers]]
name = "clay"
[stakes]
reference = "top back of curb"
[target]
layer = "clay"
"""
LINE = "kind,easting_m,northing_m,azimuth_deg,station,length_m,radius_m,radius_end_m,turn"
START, END = "start,5000,3000,0,{station},,,,", "line,,,,,{length},,,"
HEIGHTS = "station,elevation_m,curve_in_m,curve_out_m\n"


def lath(*words):
    return CliRunner().invoke(main, [str(word) for word in words], catch_exceptions=False)


def lay(folder, *, changes="", section=SECTION, profile="0,50,,\n300,53,,\n", job="", station=0):
    """A straight street of 300 m to the north, 1 % up from 50, in a job folder."""
    (folder / "design").mkdir(parents=True)
    (folder / "job.toml").write_text(JOB + job, encoding="utf-8")
    write = {
        "alignment.csv": "\n".join((LINE, START.format(station=station), END.format(length=300)))
        + "\n",
        "profile.csv": HEIGHTS + profile,
        "sections.toml": section + changes,
    }
    for name, text in write.items():
        (folder / "design" / name).write_text(text, encoding="utf-8")
    return folder


def heights(folder, station, offset, layer="finish"):
    said = lath("at", folder, "--station", station, "--offset", offset, "--elev", 60, "--json")
    assert said.exit_code == 0, said.output
    return json.loads(said.stdout)["layers"][layer]


def layout(folder):
    said = lath("layout", folder, "--out", folder / "out", "--json")
    assert said.exit_code == 0, said.output
    return json.loads(said.stdout)


def test_row_10_twenty_stations_of_f3_and_the_ambiguous_ones(tmp_path):
    """The display starts at 1+000; 1+240 back is 1+200 ahead."""
    section = SECTION.replace("from = 0.0", "from = 1000.0").replace("to = 300.0", "to = 1300.0")
    levels = "1000,50,,\n1300,53,,\n"
    job = lay(tmp_path / "job", station=1000, section=section, profile=levels)
    path = job / "design" / "alignment.csv"
    rows = path.read_text(encoding="utf-8").splitlines()
    rows = [rows[0] + ",station_back,station_ahead", *(row + ",," for row in rows[1:])]
    rows.append("equation,,,,,,,,,1+240,1+200")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")

    def asked(station):
        return lath("at", job, "--station", station, "--elev", 60, "--json")

    sure = {f"1+{at:03d}": at for at in (0, 40, 99, 150, 199)}
    sure |= {f"1+{at:03d}": at + 40 for at in (241, 250, 259)}
    twice = (201, 210, 220, 230, 239)
    sure |= {f"1+{at} (1)": at for at in twice} | {f"1+{at} (2)": at + 40 for at in twice[:2]}
    for station, chain in sure.items():
        said = json.loads(asked(station).stdout)
        assert said["station"] == pytest.approx(1000 + chain)
        assert said["layers"]["finish"] == pytest.approx(50 + 0.01 * chain, abs=1e-3)
    for at in twice:
        said = asked(f"1+{at}")
        assert said.exit_code == 3
        assert "(1)" in said.output
        assert "(2)" in said.output
    assert len(sure) + len(twice) == 20


def test_row_16_the_ring_of_a_bulb_is_closed_and_says_by_how_much(tmp_path):
    job = tmp_path / "job"
    shutil.copytree(FIXTURES / "intersection", job)
    (told,) = (one for one in layout(job)["findings"] if one["kind"] == "ring closure")
    assert "closes to 0.0 and 0.0 mm in plan" in told["text"]
    profile = job / "design" / "bulb_profile.csv"
    *rest, last = profile.read_text(encoding="utf-8").splitlines()
    cells = last.split(",")
    cells[1] = f"{float(cells[1]) + 0.004:.9f}"
    profile.write_text("\n".join([*rest, ",".join(cells)]) + "\n", encoding="utf-8")
    (told,) = (one for one in layout(job)["findings"] if one["kind"] == "ring closure")
    assert told["severity"] == "person"
    assert "+4.0 mm in height" in told["text"]


TWO_TO_THREE = "".join(
    f'[[section]]\nname = "{fall}"\nfrom = {start}\nto = {end}\n[section.layers.finish]\n'
    f'right = [{{ to = "flowline", width_m = 4.0, fall_pct = {fall} }},'
    ' { to = "top back of curb", width_m = 0.25, step_m = 0.150 }]\nleft = "mirror"\n'
    "[section.layers.clay]\ndrop_m = 0.4\n"
    f'right = [{{ to = "edge", width_m = 5.0, fall_pct = {fall} }}]\n'
    'left = "mirror"\n'
    for fall, start, end in ((2.0, 0.0, 190.0), (3.0, 220.0, 300.0))
)


def test_row_13_the_gutters_low_point_of_f2(tmp_path):
    job = lay(tmp_path / "job", section=TWO_TO_THREE, profile="0,54,,\n200,50,30,30\n300,51.5,,\n")
    low = {one["what"]: one for one in layout(job)["points"] if one["kind"] == "point"}

    # the line: chain 204.286, z 50.2571; the gutter: chain 206.571, z 50.1566, 2.29 m past it
    assert low["LP crown"]["station"] == pytest.approx(204.286, abs=1e-3)
    assert low["LP flowline"]["station"] == pytest.approx(206.571, abs=1e-3)
    assert heights(job, 204.286, 0) == pytest.approx(50.2571, abs=6e-4)
    assert heights(job, 206.571, 4.0) == pytest.approx(50.1566, abs=6e-4)


@pytest.mark.parametrize("station", [85.0, 100.0, 110.0, 119.0])
@pytest.mark.parametrize("offset", [-4.0, -2.0, 1.5, 4.0])
def test_row_14_crown_shift_widening_and_crossfall(tmp_path, station, offset):
    shift = '[[crown_shift]]\nkeep = "crossfall"\nat = [{ station = 80, offset_m = 0 }, { station = 120, offset_m = 1 }]\n'  # noqa: E501
    wider = '[[widening]]\nside = "right"\ninside = "lip"\nkeep = "crossfall"\nat = [{ station = 80, width_m = 0 }, { station = 120, width_m = 1 }]\n'  # noqa: E501
    turned = '[[crossfall]]\nto = "lip"\nat = [{ station = 80, left_pct = 2, right_pct = 2 }, { station = 120, left_pct = -2, right_pct = 2 }]\n'  # noqa: E501
    u, crown = (station - 80.0) / 40.0, 50.0 + 0.01 * station

    away = abs(offset - u)
    moved = heights(lay(tmp_path / "shift", changes=shift), station, offset)
    assert moved == pytest.approx(crown - 0.02 * away, abs=1e-3)
    widened = lay(tmp_path / "wider", changes=wider)
    assert heights(widened, station, 4.0 + u) == pytest.approx(crown - 0.02 * (4.0 + u), abs=1e-3)
    left = lay(tmp_path / "turned", changes=turned)
    fall = 0.02 - 0.04 * u if offset < 0 else 0.02
    assert heights(left, station, offset) == pytest.approx(crown - fall * abs(offset), abs=1e-3)


def test_row_18_a_driveway_drop_has_its_tapers_and_the_flowline_stays(tmp_path):
    drop = '[[curb_drop]]\nside = "left"\nfrom = 100\nto = 106\ntaper_m = 1\nheight_m = 0.025\ntop = "top back of curb"\nfoot = "flowline"\n'  # noqa: E501
    job = lay(tmp_path / "job", changes=drop)
    for station, down in ((98.9, 0.0), (99.5, 0.0625), (100.0, 0.125), (106.0, 0.125), (107.1, 0)):
        own = 50.0 + 0.01 * station - 0.08 - 0.018
        assert heights(job, station, -4.3) == pytest.approx(own, abs=1e-3)
        assert heights(job, station, -4.45) == pytest.approx(own + 0.150 - down, abs=1.1e-3)
    stations = {one["station"] for one in layout(job)["points"] if one["offset"] < -5.0}
    assert {99.0, 100.0, 106.0, 107.0} <= {round(at, 2) for at in stations}


def test_a_lowered_gutter_is_told_at_its_place_and_on_its_hub(tmp_path):
    """d = 0.05 over 1.2 m, tapers of 2 m, out at 0.6 m; the formula of design-files.md."""
    basin = '[[basin]]\nside = "right"\nat = "0+090"\nfoot = "flowline"\ndepth_m = 0.05\nlength_m = 1.2\ntaper_m = 2.0\nwidth_m = 0.6\nbelow = "follow"\n'  # noqa: E501
    job = lay(tmp_path / "job", changes=basin)
    for station, offset, own, down in (
        (90.0, 4.3, 0.098, 0.050), (88.4, 4.3, 0.098, 0.025), (90.0, 4.0, 0.080, 0.025),
        (90.0, 3.85, 0.077, 0.0125), (90.0, -4.3, 0.098, 0.0), (90.0, 4.45, -0.052, 0.0),
    ):  # fmt: skip
        expected = 50.0 + 0.01 * station - own - down
        assert heights(job, station, offset) == pytest.approx(expected, abs=1.1e-3)
    assert heights(job, 90.0, 4.6, "clay") == pytest.approx(50.9 - 0.4 - 0.115 - 0.05, abs=1e-3)
    (hub,) = (one for one in layout(job)["points"] if "basin" in one["what"])
    assert "basin: flowline 50.752, 0.200 below top back of curb" in hub["what"]


SIDE = """
[[design.streets]]
name = "side"
alignment = "design/side.csv"
profile = "design/side_profile.csv"
sections = "design/sections.toml"
[[design.returns]]
name = "corner"
from_side = "right"
to_street = "side"
to_side = "right"
radius_m = 9.0
grade = "{grade}"
"""


def corner(folder, grade, ends, slopes):
    """A return of 9 m at right angles whose lip has these heights and slopes at its ends."""
    # the return begins 13 m before the side street's line
    first, last = (ends[0] + 0.08 + slopes[0] * (at - 87.0) for at in (0.0, 300.0))
    ends_at = f"0,{first:.9f},,\n300,{last:.9f},,\n"
    job = lay(folder, job=SIDE.format(grade=grade), profile=ends_at)
    side = (LINE, "start,5000,3100,90,0,,,,", END.format(length=300))
    (job / "design" / "side.csv").write_text("\n".join(side) + "\n", encoding="utf-8")
    start, end = (ends[1] + 0.08 + slopes[1] * (at - 13.0) for at in (0.0, 300.0))
    (job / "design" / "side_profile.csv").write_text(
        HEIGHTS + f"0,{start:.9f},,\n300,{end:.9f},,\n", encoding="utf-8"
    )
    return job


def on_arc(job, share):
    """The lip of the return: from (5004, 3087) about (5013, 3087) to (5013, 3096)."""
    angle = 0.5 * math.pi * share
    east, north = 5013.0 - 9.0 * math.cos(angle), 3087.0 + 9.0 * math.sin(angle)
    said = lath("at", job, "--east", east, "--north", north, "--elev", 60, "--json")
    assert said.exit_code == 0, said.output
    return json.loads(said.stdout)["layers"]["finish"]


def test_row_15_a_straight_return_has_the_heights_of_f4(tmp_path):
    job = corner(tmp_path / "job", "straight", (101.250, 101.090), (-0.010, -0.010))
    # L 14.137, grade -1.132 %, 101.210, 101.170, 101.130
    for share, z in ((0.25, 101.210), (0.5, 101.170), (0.75, 101.130)):
        assert on_arc(job, share) == pytest.approx(z, abs=1e-3)
    at = [one["station"] for one in layout(job)["points"] if one["street"] == "corner"]
    assert {3.534, 7.069, 10.603} <= {round(station, 3) for station in at}


def test_row_15_a_low_point_inside_a_fitted_return_is_told_as_in_f4b(tmp_path):
    job = corner(tmp_path / "job", "fitted", (101.250, 101.200), (-0.010, 0.006))
    # internal low point at arc 10.416, z 101.1892
    assert on_arc(job, 10.416 / 14.137) == pytest.approx(101.1892, abs=1e-3)
    told = [one["text"] for one in layout(job)["findings"]]
    assert any("lowest at 10.41" in text and "101.1892" in text for text in told), told


def test_row_19_a_blend_is_as_long_as_its_step_over_the_rate(tmp_path):
    tie = '[[design.ties]]\nend = "start"\nfile = "design/edge.csv"\n'
    job = lay(tmp_path / "job", job=tie)
    edge = [f"{o + 9},3000,{5000 + o},{50.05 - 0.02 * abs(o):.3f},EP" for o in (-4, 0, 4)]
    (job / "design" / "edge.csv").write_text(
        "id,northing,easting,elevation,code\n" + "\n".join(edge) + "\n", encoding="utf-8"
    )
    # 50 mm at 0.5 % is 10 m: all of it at the joint, half at 5 m, none from 10 m on
    for station, over in ((0.0, 0.05), (5.0, 0.025), (10.0, 0.0), (20.0, 0.0)):
        assert heights(job, station, 0) == pytest.approx(50 + 0.01 * station + over, abs=1e-3)
    assert any("blended over 10.0 m at 0.5 %" in one["text"] for one in layout(job)["findings"])

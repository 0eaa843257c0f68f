"""Points as text: every layout gives the same points, every other row is listed by its line."""

from __future__ import annotations

import csv as plain_csv
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import InputError, JobError
from pipeline.ingest.csv.read import read_csv
from pipeline.ingest.csv.rows import Rows
from pipeline.model import SHOT_COLUMNS
from pipeline.settings import FileFormat

OPEN = Path(__file__).resolve().parent.parent / "data" / "points"

# four invented points: id, northing, easting, elevation, code
POINTS = [
    ("101", 5210.1234, 8120.9876, 102.345, "EC1"),
    ("0102", 5211.5, 8121.25, 102.4, "GR"),
    ("MH-3", 5212.75, 8122.125, -0.5, "MH"),
    ("104", 5213.0, 8123.0, 101.0, "EC1"),
]
ORDER = ["id", "northing", "easting", "elevation", "code"]
HEADER = "Point,Northing,Easting,Elevation,Code\n"


def read(tmp_path, content, name="shots.csv", **fmt):
    path = tmp_path / name
    data = content if isinstance(content, bytes) else content.encode()
    path.write_bytes(data)
    return read_csv(path, FileFormat(**fmt))


def said(reading, kind):
    return [finding for finding in reading.findings if finding.kind == kind]


def rows(mark, *, decimal=".", extra=(), before=(), end="\n"):
    lines = []
    for name, n, e, z, code in POINTS:
        numbers = [f"{value:.4f}".replace(".", decimal) for value in (n, e, z)]
        lines.append(mark.join([*before, name, *numbers, code, *extra]))
    return end.join(lines) + end


COMMA = rows(",")
LAYOUTS = {
    "comma, header": (HEADER + COMMA, {}, "comma"),
    "comma, no header": (COMMA, {"columns": ORDER}, "comma"),
    "semicolon, decimal comma, byte order mark": (
        "\ufeffPunkt-Nr.;Hochwert;Rechtswert;Höhe;Code\r\n" + rows(";", decimal=",", end="\r\n"),
        {"decimal": ","},
        "semicolon",
    ),
    "tab": ("id\tN\tE\tZ\tcode\n" + rows("\t"), {}, "tab"),
    "pipe": ("No|North|East|RL|Feature\n" + rows("|"), {}, "pipe"),
    "blanks": ("# point north east elev code\n\n" + rows("   "), {}, "blanks"),
    "UTF-16": ((HEADER + COMMA).encode("utf-16"), {}, "comma"),
    "line ends of one CR": ((HEADER + COMMA).replace("\n", "\r"), {}, "comma"),
    "12 columns, quoted header": (
        '"Name","N (m)","E (m)","Z (m)","Code","HRMS","VRMS","PDOP","sats","Setup","Rod","Date"\n'
        + rows(",", extra=("0.008", "0.012", "1.9", "14", "S1", "1.800", "2026-05-14")),
        {},
        "comma",
    ),
    "a title above, units below the words": (
        "street survey, week 20\n" + HEADER + ",(m),(m),(m),\n" + COMMA,
        {},
        "comma",
    ),
    "the delimiter in the first line": ("sep=;\nid;N;E;Z;code\n" + rows(";"), {}, "semicolon"),
    "comments, blank lines, trailing delimiters, header again": (
        "// by hand\n"
        + HEADER
        + COMMA.replace("\n", ",,\n\n").replace("GR", '"GR"')
        + "* end\n"
        + HEADER
        + "\x1a",
        {},
        "comma",
    ),
    "a column before the id, header by the job file": (
        "k,a,b,c,d,e\n" + rows(",", before=("7",)),
        {"columns": dict(zip(ORDER, "abcde", strict=True))},
        "comma",
    ),
}


@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_layout_gives_the_same_points_and_says_what_it_found(tmp_path, layout):
    content, fmt, delimiter = LAYOUTS[layout]

    reading = read(tmp_path, content, **fmt)

    shots = reading.shots
    assert shots.id.tolist() == [point[0] for point in POINTS]
    assert shots.code.tolist() == [point[4] for point in POINTS]
    got = np.stack([shots.northing, shots.easting, shots.elevation], axis=1)
    np.testing.assert_allclose(got, [point[1:4] for point in POINTS], rtol=0, atol=1e-4)
    assert reading.refused == 0
    assert f'delimiter "{delimiter}"' in said(reading, "columns")[0].text


def test_the_order_found_is_told_word_by_word(tmp_path):
    reading = read(tmp_path, "E;N;Höhe;Nr;PDOP\n1;2;3;4;5\n")

    assert 'id = "Nr", northing = "N", easting = "E", elevation = "Höhe"' in (
        said(reading, "columns")[0].text
    )
    assert said(reading, "column not read")[0].text.endswith("columns not read: PDOP")


def test_a_header_that_the_job_file_makes_needless_is_shown(tmp_path):
    reading = read(tmp_path, "1,2,3,4\n5,6,7,8\n", columns=ORDER[:4], header=True)

    assert reading.shots.id.tolist() == ["5"]
    assert "header on line 1 (1 | 2 | 3 | 4); columns as the job file states" in (
        said(reading, "columns")[0].text
    )


def test_ten_bad_rows_of_a_thousand_are_listed_by_line_and_the_rest_is_read(tmp_path):
    lines = [f"{k},{5000 + k}.5,{8000 + k}.25,{100 + k % 7}.125,GR" for k in range(1000)]
    slips = {
        3: ("3,5003.5x,8003.25,100.125,GR", '"Northing": found "5003.5x", expected a number'),
        17: ("17,,8003.25,100.125,GR", '"Northing": found ""'),
        99: ("99,5099.5,8099,25,100.125,GR", None),  # one comma too many moves the columns
        250: ("250,1_000,8250.25,100.125,GR", 'found "1_000"'),
        251: ("251,nan,8250.25,100.125,GR", 'found "nan"'),
        252: ("252,٥٢٥٢,8250.25,100.125,GR", "expected a number"),
        400: ("400,5400.5", '"Easting": found ""'),
        401: ("401,5401.5,1e99,100.125,GR", "digits are lost"),
        700: ("700,5700.5,8700.25,1.234E+02x,GR", '"Elevation"'),
        998: ("998,5998.5,1234567890.5,100.1,GR", "lie on no grid"),
    }
    for k, (slip, _) in slips.items():
        lines[k] = slip

    reading = read(tmp_path, HEADER + "\n".join(lines))

    assert len(reading.shots) == 990
    assert reading.refused == 10
    listed = said(reading, "bad row")
    assert [finding.line for finding in listed] == [k + 2 for k in sorted(slips)]
    assert [finding.points for finding in listed] == [(str(k),) for k in sorted(slips)]
    assert all(finding.severity == "person" for finding in listed)
    for finding, k in zip(listed, sorted(slips), strict=True):
        assert (slips[k][1] or "") in finding.text
    # what is left stands on its own line still
    assert reading.shots.line[reading.shots.id == "999"].tolist() == [1001]


@pytest.mark.parametrize("missing", ["", "-9999", "99999", "-32768", "1e38"])
def test_a_height_that_stands_for_none_is_listed_and_the_point_is_not_used(tmp_path, missing):
    reading = read(tmp_path, HEADER + COMMA + f"9,5214,8124,{missing},GR\n")

    assert len(reading.shots) == 4
    (finding,) = [f for f in reading.findings if f.severity == "person"]
    assert finding.line == 6
    assert finding.points == ("9",)


def test_a_height_of_zero_is_none_only_where_all_others_are_far_from_it(tmp_path):
    high = "".join(f"{k},{5000 + k},{8000 + k},{100 + k},GR\n" for k in range(5))
    low = high.replace(",10", ",")

    far = read(tmp_path, HEADER + high + "Z,5100,8100,0,GR\n")
    near = read(tmp_path, HEADER + low + "Z,5100,8100,0,GR\n")

    assert len(far.shots) == 5
    assert said(far, "no height")[0].points == ("Z",)
    assert len(near.shots) == 6
    assert near.refused == 0


def test_many_rows_without_a_height_are_one_finding_that_names_them_all(tmp_path):
    blank = "".join(f"b{k},{5000 + k},{8000 + k},,GR\n" for k in range(30))

    reading = read(tmp_path, HEADER + COMMA + blank)

    (finding,) = said(reading, "no height")
    assert finding.points == tuple(f"b{k}" for k in range(30))
    assert reading.refused == 30


def test_feet_of_either_kind_are_metres_to_the_last_bit_or_two(tmp_path, published):
    content = HEADER + "1,2000000,1000000.1234,805.5709,BM\n"

    international = read(tmp_path, content, unit="ft").shots
    survey = read(tmp_path, content, unit="ftUS").shots

    # both feet are exact by definition: 0.3048 m and 1200/3937 m
    for shots, foot in ((international, Fraction(3048, 10000)), (survey, Fraction(1200, 3937))):
        for got, feet in ((shots.easting, "1000000.1234"), (shots.elevation, "805.5709")):
            exact = Fraction(feet) * foot
            assert abs(Fraction(float(got[0])) - exact) <= exact * Fraction(1, 2**51)
    reference = published("REF-CO-9")
    reference.check("ratio", survey.northing[0] / international.northing[0])


REFUSED = {
    "no header": (COMMA, {}, r"line 1: no header.*which is north cannot be told from numbers"),
    "X and Y": ("Nr,X,Y,Z\n1,2,3,4\n", {}, r"line 1: X and Y do not say which is north"),
    "degrees": (
        "Name,Lat,Lon,Height\na,47.1,8.2,400\n",
        {},
        r"latitude, longitude or height above",
    ),
    "height above the ellipsoid": (
        "Name,N,E,Ellipsoid height\na,1,2,400\n",
        {},
        r"height above the ellipsoid is not the job grid",
    ),
    "two heights": ("N,E,Z,Elev\n1,2,3,4\n", {}, r'"Z" and "Elev" both say elevation'),
    "no height": ("N,E,Code\n1,2,3\n", {}, r"no column for elevation \(header: N, E, Code\)"),
    "decimal comma that is not stated": (
        "N;E;Z\n1,5;2,5;3,5\n",
        {},
        r'numbers such as 1,5 2,5 3,5.*State decimal = ","',
    ),
    "decimal points where commas are stated": (
        "N;E;Z\n1.5;2.5;3.5\n",
        {"decimal": ","},
        r'State decimal = "\."',
    ),
    "comma for both": ("N,E,Z\n1,5,2,5,3,5\n", {"decimal": ","}, "both delimiter and decimal mark"),
    "feet in the header, metres in the job file": (
        "N (ft),E (ft),Z (ft)\n1,2,3\n",
        {},
        r'column "N \(ft\)" says feet, the format says unit = "m"',
    ),
    "fewer words than columns": (
        "N,E,Z,code\n" + COMMA,
        {},
        r"most rows have 5 cells under 4 columns",
    ),
    "words between blanks": (
        "Point Name  North East RL\n1 2 3 4\n",
        {},
        r'"Point Name" between blanks may be one column or two',
    ),
    "no numbers": ("a,b\nc,d\n", {}, r"no row holds three numbers"),
    "only comments": ("# a\n# b\n", {}, r"no row in it"),
    "only a header": (HEADER, {}, r"no row holds three numbers"),
    "no usable row": (HEADER + "1,5000,8000,-9999,GR\n", {}, r"no row can be used.*line 2"),
    "a zero byte": (b"1,2,3\n4,5,\x006\n", {"columns": ORDER[1:4]}, r"byte 10: a zero byte"),
    "no text": (b"\xff\xd8\x81\x8d" * 50, {}, r"not text in utf-8 or cp1252"),
    "an encoding nobody knows": (COMMA, {"encoding": "klingon"}, r"unknown encoding 'klingon'"),
    "not in the encoding stated": (b"\xe4,1,2,3\n", {"encoding": "utf-8"}, r"not text in utf-8"),
    "a line without end": ("1,2,3," + "x" * 2_000_000, {}, r"a line of 2,000,006 characters"),
    "columns without end": ("1," * 3000, {}, r"line 1: 3001 columns"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_a_file_that_cannot_be_used_is_refused_in_one_sentence_that_names_it(tmp_path, case):
    content, fmt, message = REFUSED[case]

    with pytest.raises(InputError, match=message) as refusal:
        read(tmp_path, content, **fmt)

    assert refusal.value.which.startswith("shots.csv")


SETTINGS = {
    "a name that is not ours": ({"columns": ["id", "y", "easting"]}, r"no column is called 'y'"),
    "a coordinate left out": ({"columns": ["id", "northing", "easting"]}, r"no elevation"),
    "too few names": ({"columns": ORDER[1:4]}, r"3 names, but most rows have 5 cells"),
    "a name twice": ({"columns": ["easting", *ORDER[1:]]}, r"easting twice"),
    "a word that is not there": (
        {"header": True, "columns": {"northing": "Nord"}},
        r"northing = 'Nord' is not in the header",
    ),
    "a delimiter of two": ({"columns": ORDER, "delimiter": ";;"}, r"delimiter: found ';;'"),
}


@pytest.mark.parametrize("case", SETTINGS)
def test_a_setting_that_does_not_fit_is_refused_by_its_name(tmp_path, case):
    fmt, message = SETTINGS[case]

    with pytest.raises(JobError, match=message):
        read(tmp_path, COMMA, **fmt)


@pytest.mark.parametrize(
    ("path", "message"),
    [("none.csv", "no such file"), (".", "not an ordinary file"), ("a\0b", "a b: no such file")],
)
def test_what_is_no_file_is_refused(tmp_path, path, message):
    with pytest.raises(InputError, match=message):
        read_csv(tmp_path / path, FileFormat())


def test_x_and_y_are_read_either_way_once_the_job_file_says_which(tmp_path):
    content = "Nr,X,Y,Z\n1,2,3,4\n"

    x_north = read(tmp_path, content, columns={"northing": "X", "easting": "Y"}).shots
    x_east = read(tmp_path, content, columns={"northing": "Y", "easting": "X"}).shots

    assert (x_north.northing[0], x_north.easting[0]) == (2.0, 3.0)
    assert (x_east.northing[0], x_east.easting[0]) == (3.0, 2.0)


@pytest.mark.parametrize(
    ("cell", "text"),
    [
        ("lid, 0.6 m", "lid, 0.6 m"),  # not quoted
        ('"0.6 m, lid"', "0.6 m, lid"),
        ("EC1,", "EC1"),
        ('"lid, 0.6 m"', "lid, 0.6 m"),
        ('"24"" pipe"', '24" pipe'),
        ('24" pipe', '24" pipe'),
        ('"24 pipe', '"24 pipe'),  # a quote that nobody closed takes no row with it
        ("=1+1", "=1+1"),
    ],
)
def test_a_description_keeps_its_commas_and_inch_marks(tmp_path, cell, text):
    reading = read(tmp_path, f"N,E,Z,Note\n1.5,2,3,{cell}\n4,5,6,next\n")

    assert reading.shots.note.tolist() == [text, "next"]


def test_accuracies_rod_and_time_are_read_and_a_cell_that_is_no_number_is_told(tmp_path):
    reading = read(
        tmp_path,
        "id,N,E,Z,HRMS (mm),VRMS (mm),Rod height,Date,Time\n"
        "1,1,2,3,8,12,1.800,2026-05-14,07:30\n"
        "2,1,2,3,fixed,,1.8,2026-05-14,\n",
    )

    shots = reading.shots
    np.testing.assert_allclose(shots.sigma_h, [0.008, np.nan], rtol=1e-15)
    np.testing.assert_allclose(shots.sigma_v, [0.012, np.nan], rtol=1e-15)
    assert shots.rod.tolist() == [1.8, 1.8]
    assert shots.time.tolist() == ["2026-05-14 07:30", "2026-05-14"]
    assert said(reading, "cell not read")[0].line == 3


def test_a_deviation_below_zero_is_taken_as_not_given(tmp_path):
    # common practice, no source: -1 is written where none is known
    reading = read(tmp_path, "id,N,E,Z,HRMS,VRMS\n1,1,2,3,-1,0\n2,1,2,3,0.008,-0.012\n")

    assert np.isnan(reading.shots.sigma_h).tolist() == [True, False]
    np.testing.assert_array_equal(reading.shots.sigma_v, [0.0, np.nan])
    assert [(f.line, f.text.partition(": ")[2]) for f in said(reading, "cell not read")] == [
        (2, "sigma_h is negative (line 2)"),
        (3, "sigma_v is negative (line 3)"),
    ]


def test_digits_that_a_spreadsheet_took_are_missed(tmp_path):
    # the decimals of 6782560.55 are gone; all digits with an exponent are as good as without
    reading = read(tmp_path, "N,E,Z\n6.78256E+06,500.25,10\n6.78256055000E+06,500.25,10\n")

    assert said(reading, "bad row")[0].line == 2
    assert reading.shots.northing.tolist() == [6782560.55]


def test_a_table_written_with_seventeen_digits_reads_back_bit_for_bit(tmp_path):
    values = np.random.default_rng(4).uniform(1e5, 7e6, (50, 3)) % [1e7, 1e7, 500.0]
    path = tmp_path / "full.txt"
    np.savetxt(path, values, header="north east elev")  # 18 decimals and an exponent each

    shots = read_csv(path, FileFormat()).shots

    # numpy's own reader is the independent answer
    expected = np.loadtxt(path)
    assert np.array_equal(np.stack([shots.northing, shots.easting, shots.elevation], 1), expected)


def test_comments_are_counted_and_a_point_behind_a_comment_mark_is_told(tmp_path):
    reading = read(tmp_path, "# base S1\n" + HEADER + COMMA + "#105,5214,8124,101,GR\n")

    told = [finding.text for finding in said(reading, "comment")]
    assert told == [
        "shots.csv: 1 comment line (line 7)",
        "shots.csv: 1 point is commented out and not read (line 7)",
    ]


def test_what_is_not_utf_8_is_read_as_windows_1252_and_that_is_told(tmp_path):
    reading = read(tmp_path, "Höhe,N,E,Bemerkung\n1,2,3,Straße\n".encode("cp1252"))

    assert reading.shots.note.tolist() == ["Straße"]
    assert said(reading, "encoding")[0].text == "shots.csv: read as cp1252, as it is not UTF-8"


def test_marks_that_nobody_sees_are_taken_out_of_codes_and_that_is_told(tmp_path):
    reading = read(tmp_path, "id,N,E,Z,Code\n1,1,2,3,E\u200bC\x1b1\n")

    assert reading.shots.code.tolist() == ["EC1"]
    assert said(reading, "invisible")[0].severity == "note"


def test_a_point_without_an_id_is_called_by_file_and_line(tmp_path):
    reading = read(tmp_path, "N,E,Z\n1,2,3\n\n4,5,6\n", name="scan.csv")

    assert reading.shots.id.tolist() == ["scan:2", "scan:4"]


# common practice, no source: words that head such columns
@pytest.mark.parametrize(
    "header",
    [
        "Punktnr;Rechtswert;Hochwert;Höhe",
        "Numéro;Est;Nord;Altitude",
        "Punto;Este;Norte;Cota",
        "Piste;Itä;Pohjoinen;Korkeus",
        "Point No.;E [m];N [m];R.L.",
        "点名;东坐标;北坐标;高程",
        "Name;Easting_m;Northing_m;Elev_m",
    ],
)
def test_headers_are_understood_in_several_languages(tmp_path, header):
    words = header.replace("R.L.", "RL")

    shots = read(tmp_path, f"{words}\nA7;8000.5;5000.25;99\n").shots

    assert (shots.id[0], shots.easting[0], shots.northing[0]) == ("A7", 8000.5, 5000.25)
    assert shots.elevation[0] == 99.0


# ---- the same numbers, however they are read


cell = st.decimals(-9999, 9_999_999, places=4, allow_nan=False).map(str)
height = st.decimals(-499, 8999, places=3, allow_nan=False).filter(abs).map(str)
word = st.text("AB 1", max_size=4)


@settings(max_examples=40, deadline=None)
@given(
    table=st.lists(st.tuples(word, cell, cell, height, word), min_size=1, max_size=12),
    mark=st.sampled_from([",", ";", "\t"]),
    slips=st.lists(st.sampled_from(["", "#", "x;y,z", "1,2", HEADER.strip()]), max_size=2),
)
def test_the_quick_way_and_the_careful_way_give_the_same(tmp_path_factory, table, mark, slips):
    path = tmp_path_factory.getbasetemp() / "shots.csv"
    header = HEADER.strip().replace(",", mark)
    lines = [mark.join(row) for row in table] * 3
    path.write_text("\n".join([header, *lines, *slips]), encoding="utf-8")

    quick = read_csv(path, FileFormat(delimiter=mark))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Rows, "take_plain", lambda *_: False)
        careful = read_csv(path, FileFormat(delimiter=mark))

    for name in SHOT_COLUMNS:
        np.testing.assert_array_equal(getattr(quick.shots, name), getattr(careful.shots, name))
    assert quick.findings == careful.findings
    # the standard library's reader is the independent answer for the numbers
    with path.open(encoding="utf-8", newline="") as stream:
        read_again = list(plain_csv.reader(stream, delimiter=mark))[1 : len(lines) + 1]
    assert quick.shots.northing[: len(lines)].tolist() == [
        float(row[1]) + 0.0 for row in read_again
    ]


good = "7,5000.5,8000.5,100.5,GR"
anything = st.text(st.characters(codec="utf-8", exclude_characters="\0\r\n\x1a"), max_size=25)


def is_a_row(line):
    """By the rule: not blank, not delimiters only, not a comment, not the header again."""
    comment = line.lstrip().startswith(("#", "//", "*", ";"))
    return bool(line.strip(" \t,")) and not comment and line != HEADER.strip()


@settings(max_examples=80, deadline=None)
@given(lines=st.lists(st.one_of(st.just(good), anything), max_size=25))
def test_points_in_are_points_used_and_rows_listed(tmp_path_factory, lines):
    path = tmp_path_factory.getbasetemp() / "shots.csv"
    path.write_text("\n".join([HEADER.strip(), good, *lines]), encoding="utf-8", newline="")

    reading = read_csv(path, FileFormat(delimiter=","))

    assert len(reading.shots) + reading.refused == 1 + sum(map(is_a_row, lines))
    assert len(reading.shots) >= 1 + lines.count(good)
    listed = said(reading, "bad row") + said(reading, "no height")
    # many rows without a height are one finding; else each row has its own
    if not any("rows without" in finding.text for finding in listed):
        assert len(listed) == reading.refused


# ---- open files, read by another reader too


@pytest.mark.parametrize(
    ("name", "mark"),
    [
        ("pdal_utm17_1.txt", ","),
        ("pdal_utm17_2.txt", None),
        ("pdal_quoted.txt", ","),
        ("pdal_crlf_test.txt", ","),
    ],
)
def test_open_point_files_hold_what_numpy_reads_in_them(name, mark):
    shots = read_csv(OPEN / name, FileFormat(columns={"easting": "X", "northing": "Y"})).shots

    expected = np.loadtxt(OPEN / name, delimiter=mark, skiprows=1)[:, :3]
    assert np.array_equal(np.stack([shots.easting, shots.northing, shots.elevation], 1), expected)


def test_the_open_survey_says_its_own_heights_in_metres():
    fmt = FileFormat(unit="ft", columns=ORDER)

    shots = read_csv(OPEN / "survey_no_header_ft_excerpt.csv", fmt).shots

    # the descriptions of its control repeat the height in metres: BAR[245.538]
    stated = [float(code[4:-1]) for code in shots.code[:12]]
    np.testing.assert_allclose(shots.elevation[:12], stated, rtol=0, atol=0.0006)
    assert shots.code[12] == "CRCR E,W PARTRIDGE"

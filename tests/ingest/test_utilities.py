"""The list of buried things: a row that cannot be read refuses the file, it is never skipped."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.errors import InputError
from pipeline.ingest.job.utilities import read_utilities

HEADER = "id,kind,northing_m,easting_m,lid_elevation_m,depth_to_top_m,note\n"


def written(tmp_path, text):
    path = tmp_path / "utilities.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_blank_height_is_unknown_not_zero(tmp_path):
    listed = read_utilities(
        written(tmp_path, "# records\n" + HEADER + 'V1,valve,10.0,20.0,,,"box, lowered"\n')
    )

    assert np.isnan(listed.lid[0])
    assert np.isnan(listed.depth_to_top[0])
    assert listed.note[0] == "box, lowered"
    assert (listed.northing[0], listed.easting[0]) == (10.0, 20.0)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "empty"),
        ("id,kind\nV1,valve\n", "line 1: no column northing_m, easting_m"),
        (
            HEADER + "V1,valve,10.0,x,,,\n",
            "line 2, column 'easting_m': found 'x', expected a number",
        ),
        (HEADER + "V1,valve,10.0,20.0,?,,\n", "or leave it blank if unknown"),
        (HEADER + "V1,valve,10.0\n", "line 2: 3 cells under 7 columns"),
    ],
)
def test_a_slip_is_refused_by_line_and_column(tmp_path, text, message):
    with pytest.raises(InputError, match=message):
        read_utilities(written(tmp_path, text))


def test_a_missing_list_is_refused(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_utilities(tmp_path / "utilities.csv")

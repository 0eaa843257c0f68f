"""The heights of a test strip: read whole or refused."""

import numpy as np
import pytest

from pipeline.errors import InputError
from pipeline.ingest.job.strips import read_strip

HEADER = "id,northing_m,easting_m,before_m,after_m\n"


def written(tmp_path, text):
    path = tmp_path / "strip.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_heights_before_and_after_and_blanks(tmp_path):
    text = "# painted points\n" + HEADER + "P1,10.0,20.0,100.100,100.118\nP2,11.0,20.0,100.1,\n"
    got = read_strip(written(tmp_path, text))

    assert list(got.id) == ["P1", "P2"]
    assert (got.northing[0], got.easting[0]) == (10.0, 20.0)
    assert got.after[0] - got.before[0] == pytest.approx(0.018)
    assert np.isnan(got.after[1])


def test_other_columns_may_be_there_in_any_order(tmp_path):
    text = "note,after_m,before_m,easting_m,northing_m,id\nx,2,1,20,10,P1\n"
    got = read_strip(written(tmp_path, text))

    assert (got.before[0], got.after[0], got.file) == (1.0, 2.0, "strip.csv")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "strip.csv: empty"),
        ("id,before_m,after_m\nP1,1,2\n", "no column northing_m, easting_m"),
        (HEADER + "P1,10,20,100.1,1OO.2\n", "line 2, column 'after_m': found '1OO.2'"),
        (HEADER + "P1,10,,100.1,100.2\n", "line 2, column 'easting_m': found ''"),
        (HEADER + "P1,10,20,1,2\nP1,11,20,1,2\n", "line 3: id 'P1' stands on line 2 too"),
        (HEADER + "P1,10,20,1\n", "4 cells under 5 columns"),
    ],
)
def test_a_slip_is_refused_by_line_and_column(tmp_path, text, message):
    with pytest.raises(InputError, match=message):
        read_strip(written(tmp_path, text))


def test_a_missing_file_is_refused(tmp_path):
    with pytest.raises(InputError, match="Name the heights of the strip in the job file"):
        read_strip(tmp_path / "strip.csv")

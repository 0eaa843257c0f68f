"""Codes and ids: unknown ones are named with the nearest known one, none is dropped."""

from __future__ import annotations

from pipeline.checks.names import base_codes, ground_rows, kind_rows, repeated_ids, unknown_codes
from pipeline.model import make_shots, texts
from pipeline.settings import Code

CODES = {
    "CL": Code(what="centreline", line=True),
    "EC": Code(what="edge of clay", line=True),
    "GR": Code(what="ground"),
    "HUB": Code(what="hub", kind="hub", ground=False),
}


def coded(*codes, ids=None, x=None):
    n = len(codes)
    return make_shots(
        x or range(n), range(n), [0.0] * n, code=texts(codes),
        id=texts(ids or [str(k) for k in range(n)]), files=("a.csv",),
    )  # fmt: skip


def test_a_line_number_or_a_remark_does_not_hide_the_code():
    shots = coded("EC1", "EC 12", "CL", "EC2 soft", "XY", "")

    assert base_codes(shots, CODES).tolist() == ["EC", "EC", "CL", "EC", "", ""]


def test_an_unknown_code_is_named_once_with_all_its_points_and_the_nearest_code():
    shots = coded("GX", "GR", "GX")
    (finding,) = unknown_codes(shots, base_codes(shots, CODES), CODES)

    assert finding.points == ("0", "2")
    assert "'GX' is not in the job's list (did you mean GR?); 2 shots" in finding.text


def test_the_same_id_on_two_places_is_named_and_both_are_kept():
    shots = coded("GR", "GR", "GR", ids=["7", "7", "8"], x=[0.0, 3.0, 0.0])
    (finding,) = repeated_ids(shots, 0.05)

    assert finding.points == ("7",)
    assert "3.162 m apart" in finding.text  # sqrt(3^2 + 1^2)


def test_hubs_are_no_ground():
    base = base_codes(coded("GR", "HUB", "ZZ"), CODES)

    assert ground_rows(base, CODES).tolist() == [True, False, False]
    assert kind_rows(base, CODES, "hub").tolist() == [False, True, False]

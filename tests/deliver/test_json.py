"""JSON: read back with Python's own parser, in its strict form."""

import dataclasses
import json
from pathlib import PurePosixPath

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.deliver.json import json_bytes
from pipeline.errors import OutputError
from pipeline.model import Finding


def read(value):
    def refuse(word):
        raise AssertionError(f"{word} is not JSON (RFC 8259, section 6)")

    return json.loads(json_bytes(value).decode("utf-8"), parse_constant=refuse)


def test_nothing_surveyed_is_null_at_every_depth():
    value = {"a": [1.5, float("nan")], "b": np.array([[np.nan, 2.0]]), "c": np.float32("nan")}
    assert read(value) == {"a": [1.5, None], "b": [[None, 2.0]], "c": None}


def test_numpy_values_sets_paths_and_dataclasses_have_a_form():
    found = Finding("stop", "control", "moved 12 mm", "set up again", ("CP1",))
    value = {
        "n": np.int64(3), "yes": np.bool_(True), "set": frozenset({"b", "a"}),
        "path": PurePosixPath("shots/a.csv"), "finding": found, "text": np.str_("é"),
    }  # fmt: skip
    got = read(value)
    want = {
        **dataclasses.asdict(found), "points": ["CP1"], "station": None, "offset": None,
    }  # fmt: skip
    assert got == {
        "n": 3, "yes": True, "set": ["a", "b"], "path": "shots/a.csv", "finding": want, "text": "é",
    }  # fmt: skip


def test_keys_keep_their_order_and_the_file_ends_with_a_line():
    assert json_bytes({"b": 1, "a": 2}) == b'{\n  "b": 1,\n  "a": 2\n}\n'


def test_an_infinite_number_is_refused_where_it_stands():
    with pytest.raises(OutputError, match=r"layers\[1\]\.cut: found inf"):
        json_bytes({"layers": [{}, {"cut": np.inf}]})


def test_a_value_without_a_form_is_a_fault_in_the_code():
    with pytest.raises(TypeError, match=r"a\.b: a object has no JSON form"):
        json_bytes({"a": {"b": object()}})


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats(allow_infinity=False) | st.text(),
        lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
        max_leaves=12,
    )
)
def test_everything_else_reads_back_as_it_was(value):
    def nulls(x):
        if isinstance(x, float) and np.isnan(x):
            return None
        if isinstance(x, list):
            return [nulls(y) for y in x]
        return {k: nulls(y) for k, y in x.items()} if isinstance(x, dict) else x

    assert read(value) == nulls(value)

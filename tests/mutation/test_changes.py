"""The mutator itself: what it changes, and that a change reaches the running function."""

from __future__ import annotations

import importlib.util

import pytest

from tests.mutation.changes import changes
from tests.mutation.trial import put

SOURCE = '''
LIMIT_M = 0.5


def over(values, limit: float = 3.0):
    """Not a word of this is changed."""
    found = []
    for value in values:
        if value < limit and value > -limit:
            continue
        found.append(abs(value) - LIMIT_M)
    return found


class Box:
    def size(self):
        return [k for k in range(3) if k != 1]
'''


@pytest.fixture
def module(tmp_path):
    path = tmp_path / "made.py"
    path.write_text(SOURCE, encoding="utf-8")
    spec = importlib.util.spec_from_file_location("pipeline.made_for_mutation", path)
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    return made


def test_every_kind_of_change_is_listed_once_with_its_place():
    keys = [one.key for one in changes(SOURCE)]

    assert len(set(keys)) == len(keys)
    for text in (
        "module: LIMIT_M = 0.5 => LIMIT_M = 1.5",
        "over: value < limit and value > -limit => value < limit or value > -limit",
        "over: value < limit and value > -limit => value <= limit and value > -limit",
        "over: value < limit and value > -limit => value >= limit and value > -limit",
        "over: value > -limit => value > limit",
        "=> found.append(abs(value) + LIMIT_M)",
        "over: abs(value) - LIMIT_M => value - LIMIT_M",
        "over: continue => pass",
        "over: continue => break",
        "over: found.append(abs(value) - LIMIT_M) => pass",
        "Box.size: k != 1 => k == 1",
        "Box.size: range(3) => range(4)",
    ):
        assert any(text in key for key in keys), text
    # neither words, nor annotations, nor defaults
    assert not any("Not a word" in key or "float" in key or "3.0" in key for key in keys)


@pytest.mark.parametrize(
    ("words", "over", "size"),
    [
        ("=> value < limit or value > -limit", [], [0, 2]),
        ("over: continue => break", [], [0, 2]),
        ("over: continue => pass", [0.5, 2.5, 3.5], [0, 2]),
        ("Box.size: range(3) => range(4)", [2.5, 3.5], [0, 2, 3]),
        ("module:", [1.5, 2.5], [0, 2]),
    ],
)
def test_a_change_is_put_into_the_running_program(module, words, over, size):
    assert (module.over([1.0, 3.0, 4.0]), module.Box().size()) == ([2.5, 3.5], [0, 2])

    put(module, next(one for one in changes(SOURCE) if words in one.key))
    assert (module.over([1.0, 3.0, 4.0]), module.Box().size()) == (over, size)

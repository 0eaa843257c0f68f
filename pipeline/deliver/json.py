"""Results as JSON: the same bytes every time, and null where nothing was surveyed."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Mapping, Sequence, Set
from pathlib import PurePath
from typing import Any

import numpy as np

from pipeline.errors import OutputError


def json_bytes(value: Any) -> bytes:
    r"""`value` as UTF-8 JSON, keys in the order given, a line feed at the end.

    Dataclasses become objects and arrays become lists. NaN means "not surveyed"
    or "not designed" and becomes ``null``: JSON has no other word for it (RFC
    8259, section 6). Sets are sorted, so the bytes do not hang on a hash seed.

    Raises
    ------
    OutputError
        An infinite number: no result of a survey is infinite.
    TypeError
        A kind of value that has no JSON form; a fault in the calling code.

    Examples
    --------
    >>> json_bytes({"cut": float("nan"), "side": "L"})
    b'{\n  "cut": null,\n  "side": "L"\n}\n'
    """
    text = json.dumps(_plain(value, ""), indent=2, ensure_ascii=False, allow_nan=False)
    return (text + "\n").encode("utf-8")


def _plain(value: Any, where: str) -> Any:  # noqa: PLR0911 - one return a kind of value
    if value is None or isinstance(value, (str, bool, int)):
        return str(value) if isinstance(value, np.str_) else value
    if isinstance(value, np.ndarray):
        return _plain(value.tolist(), where)
    if isinstance(value, np.generic):
        return _plain(value.item(), where)
    if isinstance(value, float):
        return _number(value, where)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        fields = {field.name: getattr(value, field.name) for field in dataclasses.fields(value)}
        return _plain(fields, where)
    if isinstance(value, Mapping):
        return {str(key): _plain(item, f"{where}.{key}") for key, item in value.items()}
    if isinstance(value, Set):
        return [_plain(item, where) for item in sorted(value)]
    if isinstance(value, Sequence) and not isinstance(value, (bytes, bytearray)):
        return [_plain(item, f"{where}[{i}]") for i, item in enumerate(value)]
    if isinstance(value, PurePath):
        return value.as_posix()
    raise TypeError(f"{where.lstrip('.')}: a {type(value).__name__} has no JSON form")


def _number(value: float, where: str) -> float | None:
    if math.isinf(value):
        raise OutputError(
            where.lstrip(".") or "the result",
            f"found {value}, which is not a number that can be written",
            "look at the findings for the input that led there",
        )
    return None if math.isnan(value) else value

"""How a finding names many things."""

from __future__ import annotations

from collections.abc import Sequence

_SHOWN = 10  # more than that nobody reads; all of them are in the finding's points


def listed(names: Sequence[str]) -> str:
    """The names with commas between, ten at most.

    Examples
    --------
    >>> listed(["12", "13"]), listed([str(k) for k in range(12)])
    ('12, 13', '0, 1, 2, 3, 4, 5, 6, 7, 8, 9 and 2 more')
    """
    shown = ", ".join(names[:_SHOWN])
    return f"{shown} and {len(names) - _SHOWN} more" if len(names) > _SHOWN else shown


def counted(count: int, one: str, many: str) -> str:
    """``1 shot has`` or ``3 shots have``.

    Examples
    --------
    >>> counted(1, "shot has", "shots have"), counted(0, "shot has", "shots have")
    ('1 shot has', '0 shots have')
    """
    return f"{count} {one if count == 1 else many}"

"""How many, and which: what every room says alike."""

from __future__ import annotations

from collections.abc import Sequence


def counted(number: int, one: str, many: str = "") -> str:
    """A number with its noun, or with more words that follow it; `many` is `one` with an s.

    Examples
    --------
    >>> counted(1, "shot"), counted(0, "shot"), counted(3, "shot has", "shots have")
    ('1 shot', '0 shots', '3 shots have')
    """
    return f"{number} {one if number == 1 else many or f'{one}s'}"


def listed(words: Sequence[str], most: int = 6, between: str = ", ") -> str:
    """The first few of the words, and how many more there are.

    Examples
    --------
    >>> listed(["12", "13"]), listed([str(k) for k in range(12)], 3)
    ('12, 13', '0, 1, 2 and 9 more')
    """
    shown = between.join(words[:most])
    return f"{shown} and {len(words) - most} more" if len(words) > most else shown

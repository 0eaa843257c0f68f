"""What a slip is: how it is planted, and what has to come of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from tests.slips.street import Street

NO = "not catchable"


@dataclass(frozen=True)
class Slip:
    """One slip: how it is planted, what comes of it, and what says so.

    ``comes_to`` is ``refused`` (nothing is written; ``says`` is a piece of the message),
    ``held`` (``says`` is the kind of a finding that stops the day), ``told`` (a finding for a
    person, first on every list), or ``not catchable``: then ``says`` is why, and ``caution``
    what covers it. ``kind`` is the fixture that it is planted in.
    """

    name: str
    comes_to: str
    says: str
    plant: Callable[[Street], object] = lambda street: None
    caution: str = ""
    kind: str = "demo"

    @property
    def in_the_demo(self) -> bool:
        """True where the demo has this slip already."""
        return "in the demo itself" in self.name

"""The text of a design file, and the tables of a TOML one, taken key by key."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from pipeline.errors import DesignError
from pipeline.ingest.source import shown
from pipeline.units import parse_station


def design_text(path: Path) -> str:
    """The UTF-8 text of a design file.

    Raises
    ------
    DesignError
        It cannot be read, or is not UTF-8.
    """
    try:
        return path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise DesignError(
            str(path), f"it cannot be read: {error.strerror}", "put the file there or name another"
        ) from None
    except UnicodeDecodeError as error:
        raise DesignError(
            path.name, f"byte {error.start} is not UTF-8", "save the file as UTF-8"
        ) from None


@dataclass(frozen=True, slots=True)
class Keys:
    """One table of a TOML file: its place, and its keys, taken one by one.

    Every method refuses, as a `DesignError` with place and key, what does not belong there.
    """

    where: str
    values: dict[str, Any]

    def only(self, *known: str) -> None:
        """Refuse keys that mean nothing here."""
        for key in sorted(self.values.keys() - set(known)):
            do = f"use only {', '.join(known)}"
            raise DesignError(f"{self.where}, key {shown(key)!r}", "it is not known here", do)

    def refuse(self, key: str, expected: str) -> NoReturn:
        """Refuse what stands under a key, and say what belongs there."""
        found = f"found {shown(repr(self.values[key]))}" if key in self.values else "it is missing"
        raise DesignError(f"{self.where}, key {key!r}", found, f"write {expected}")

    def text(self, key: str) -> str:
        """A name, blanks around it taken off."""
        value = self.values.get(key)
        if not isinstance(value, str) or not value.strip():
            self.refuse(key, "a name in quotes")
        return value.strip()

    def number(self, key: str, default: float | None = None) -> float:
        """A finite number; `default` where the key is not there."""
        if key not in self.values and default is not None:
            return default
        value = self.values.get(key)
        # a whole number may be longer than any float
        if isinstance(value, bool) or not isinstance(value, int | float) or abs(value) > 1e12:
            self.refuse(key, "a number")
        if not math.isfinite(value):
            self.refuse(key, "a finite number")
        return float(value)

    def station(self, key: str) -> float:
        """A station in metres, written as text or as a number."""
        if not isinstance(self.values.get(key), str):
            return self.number(key)
        try:
            return parse_station(self.values[key])
        except ValueError:
            self.refuse(key, 'a station such as "0+120" or a number')

    def tables(self, key: str) -> list[Keys]:
        """The tables of a list, each with its place."""
        value = self.values.get(key)
        if not isinstance(value, list) or not all(isinstance(one, dict) for one in value):
            self.refuse(key, "a list of tables")
        places = (f"{self.where}, {key} entry {i + 1}" for i in range(len(value)))
        return [Keys(place, one) for place, one in zip(places, value, strict=True)]

"""An invented street as files that a slip is planted in."""

from __future__ import annotations

import csv
import io
import math
import re
import shutil
from collections.abc import Callable
from pathlib import Path

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
DAY = "2026-05-14"
MORNING, HUBS = f"shots/{DAY}/morning.csv", f"shots/{DAY}/hubs.csv"
Row = dict[str, str]


class Street:
    """A copy of an invented job; each method changes its files as a crew's slip would."""

    def __init__(self, folder: Path, kind: str = "demo") -> None:
        shutil.copytree(FIXTURES / kind, folder)
        self.folder = folder

    def text(self, name: str) -> str:
        return (self.folder / name).read_bytes().decode("utf-8-sig")

    def write(self, name: str, text: str) -> None:
        (self.folder / name).parent.mkdir(parents=True, exist_ok=True)
        (self.folder / name).write_bytes(text.encode("utf-8"))

    def edit(self, name: str, *changes: tuple[str, str]) -> None:
        text = self.text(name)
        for old, new in changes:
            assert old in text, (name, old)
            text = text.replace(old, new)
        self.write(name, text)

    def sub(self, name: str, pattern: str, by: str | Callable[[re.Match[str]], str]) -> None:
        text, count = re.subn(pattern, by, self.text(name), flags=re.MULTILINE)
        assert count, (name, pattern)
        self.write(name, text)

    def table(self, name: str) -> tuple[list[str], list[Row]]:
        """Comments, header and rows; numbers of the hubs with a point."""
        mark = ";" if name == HUBS else ","
        lines = self.text(name).splitlines()
        said = [line for line in lines if line.startswith("#")]
        rows = list(csv.DictReader([x for x in lines if not x.startswith("#")], delimiter=mark))
        if name == HUBS:
            rows = [{k: v.replace(",", ".") for k, v in row.items()} for row in rows]
        return said, rows

    def put(self, name: str, said: list[str], rows: list[Row], like: str = "") -> None:
        hubs = (like or name) == HUBS
        out = io.StringIO(newline="")
        writer = csv.DictWriter(
            out, list(rows[0]), delimiter=";" if hubs else ",", lineterminator="\n"
        )
        writer.writeheader()
        for row in rows:
            number = ("north", "east", "height")
            writer.writerow(
                {k: v.replace(".", ",") if hubs and k in number else v for k, v in row.items()}
            )
        self.write(name, "".join(f"{line}\n" for line in said) + out.getvalue())

    def change(self, name: str, by: Callable[[Row], None]) -> None:
        """Every row of a table through `by`, which changes it."""
        said, rows = self.table(name)
        for row in rows:
            by(row)
        self.put(name, said, rows)

    def shots(self, by: Callable[[float, float, float, Row], tuple[float, float, float]]) -> None:
        """Every shot that reads as numbers moved: (easting, northing, elevation, row) -> new."""

        def moved(row: Row) -> None:
            try:
                e, n, z = (float(row[k]) for k in ("easting", "northing", "elevation"))
            except ValueError:
                return
            for key, value in zip(
                ("easting", "northing", "elevation"), by(e, n, z, row), strict=True
            ):
                row[key] = f"{value:.3f}"

        self.change(MORNING, moved)

    def hubs(self, by: Callable[[float, float, float, Row], tuple[float, float, float]]) -> None:
        """The same for the hubs."""

        def moved(row: Row) -> None:
            e, n, z = (float(row[k]) for k in ("east", "north", "height"))
            for key, value in zip(("east", "north", "height"), by(e, n, z, row), strict=True):
                row[key] = f"{value:.3f}"

        self.change(HUBS, moved)


STAND = {"S1": (5255.0, 3112.0), "S2": (5355.0, 3170.0), "S3": (5520.0, 3120.0)}
"""Where the instrument may have stood: invented, near the middle of each set-up's shots."""


def turned(setup: str, degrees: float) -> Callable[..., tuple[float, float, float]]:
    """Shots of a set-up turned about its instrument: a backsight read to the wrong mark."""
    e0, n0 = STAND[setup]
    angle = math.radians(degrees)
    c, s = math.cos(angle), math.sin(angle)

    def by(e: float, n: float, z: float, row: Row) -> tuple[float, float, float]:
        if row["setup"] != setup:
            return e, n, z
        return e0 + c * (e - e0) + s * (n - n0), n0 - s * (e - e0) + c * (n - n0), z

    return by


def longer(setup: str, metres: float) -> Callable[..., tuple[float, float, float]]:
    """Shots of a set-up farther from its instrument by one amount: a prism constant."""
    e0, n0 = STAND[setup]

    def by(e: float, n: float, z: float, row: Row) -> tuple[float, float, float]:
        if row["setup"] != setup:
            return e, n, z
        far = math.hypot(e - e0, n - n0)
        return e + metres * (e - e0) / far, n + metres * (n - n0) / far, z

    return by


def higher(setup: str, metres: float) -> Callable[..., tuple[float, float, float]]:
    """Shots of a set-up higher by one amount: a rod or an instrument height."""
    return lambda e, n, z, row: (e, n, z + metres * (row["setup"] == setup))

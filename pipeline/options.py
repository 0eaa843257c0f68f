"""What several commands take: strict numbers, stations, folders, and options that they share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click


class Finite(click.ParamType[float]):
    """A finite number, or a station; click's own float takes ``nan`` and ``1_000``."""

    def __init__(self, name: str, parse: Callable[[str], float]) -> None:
        self.name = name
        self.parse = parse

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """The number, or click's own refusal."""
        try:
            return self.parse(str(value))
        except ValueError as error:
            self.fail(str(error), param, ctx)


def _number(text: str) -> float:
    from pipeline.units import parse_number

    return parse_number(text)


class StationName(click.ParamType[str]):
    """A station, with its region behind it where the alignment's equations need one."""

    name = "station"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """The text as typed, or click's own refusal; which place it means the design decides."""
        from pipeline.units import parse_station

        text = str(value)
        try:
            parse_station(text.partition("(")[0])
        except ValueError:
            self.fail(f"{text!r} is no station such as 123.4 or 0+123.4", param, ctx)
        return text


class Place(click.Path):
    """A file or a folder whose name this system's locale can say."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The path, or click's own refusal."""
        try:
            return super().convert(value, param, ctx)
        except (UnicodeError, ValueError):
            self.fail("its name cannot be read in this locale: set LC_ALL=C.UTF-8", param, ctx)


NUMBER = Finite("number", _number)
STATION = StationName()
FOLDER = Place(path_type=Path)


def _keeping(ctx: click.Context, _: click.Parameter, fresh: bool) -> None:
    from pipeline.kept.calls import keeping

    ctx.with_resource(keeping(fresh=fresh))


fresh = click.option(
    "--fresh", is_flag=True, expose_value=False, callback=_keeping,
    help="Work everything out anew; believe no kept result.",
)  # fmt: skip
"""Keeps results for the command that it stands on."""
as_json = click.option("--json", "json_wanted", is_flag=True, help="Print one JSON object.")
of_day = click.option("--day", help="Folder of the day's shots; the latest if not given.")

"""``lath.1``, the manual page, from click's own description of the commands."""

from __future__ import annotations

import click

from docs.generate.commands import commands, options, told
from pipeline import __version__
from pipeline.cli import main


def page() -> str:
    """The manual page in the language of ``man``."""
    lines = [
        f'.TH LATH 1 "" "lath {__version__}" "User commands"',
        ".SH NAME",
        r"lath \- from the morning's shots to the numbers on the lath",
        ".SH SYNOPSIS",
        ".B lath",
        r"\fICOMMAND\fR [\fIARGUMENTS\fR] [\fIOPTIONS\fR]",
        ".SH COMMANDS",
    ]
    for name, command in commands(main, "lath"):
        lines += _command(name, command)
    return "\n".join([*lines, *_CODES]) + "\n"


def _command(name: str, command: click.Command) -> list[str]:
    words, example = told(command)
    context = click.Context(command, info_name=name)
    usage = " ".join(command.collect_usage_pieces(context))
    lines = [".SS", rf"\fB{name}\fR {_plain(usage)}", _plain(words)]
    for option in options(command):
        lines += [".TP", rf"\fB{_plain(', '.join(option.opts))}\fR", _plain(option.help or "")]
    for line in example:
        lines += [".PP", ".RS", _plain(line), ".RE"]
    return lines


def _plain(text: str) -> str:
    """Text that begins no request and holds no escape."""
    escaped = text.replace("\\", r"\e").replace("-", r"\-").replace("`", "")
    return "\n".join(
        rf"\&{line}" if line.startswith((".", "'")) else line
        for line in escaped.replace("\n\n", "\n.PP\n").splitlines()
    ).replace("\\&.PP", ".PP")


_CODES = [
    ".SH EXIT STATUS",
    ".TP",
    "0",
    "Done.",
    ".TP",
    "2",
    "The command is mistyped.",
    ".TP",
    "3",
    "An input or the design cannot be used; nothing is written.",
    ".TP",
    "4",
    "A finding stops the day until a person has settled it.",
]

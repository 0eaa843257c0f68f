"""The reference of the commands, from click's own description of them."""

from __future__ import annotations

import click

from docs.generate.markdown import MADE, prose, table
from pipeline.cli import main

INTRODUCTION = """\
# Commands

Every command has `--help`, and `-h` for short. `lath --version` says which version runs.

| exit code | what it means |
| --- | --- |
| 0 | Done. |
| 1 | Ended by Ctrl-C, or its words could not be printed, as on a full disk. With a traceback: \
a bug of Lath, please tell. |
| 2 | The command is mistyped. |
| 3 | An input or the design cannot be used. Nothing is written; one message says which thing, \
what was found and what to do. |
| 4 | A finding stops the day until a person has settled it. The findings are written; the lists \
are withheld, or marked HOLD where the job says so. |

"""


def page() -> str:
    """``reference/commands.md``."""
    parts = [_section(name, command) for name, command in commands(main, "lath")]
    return MADE + INTRODUCTION + "\n".join(parts)


def commands(group: click.Group, prefix: str) -> list[tuple[str, click.Command]]:
    """Every command with its full name, those of groups after their group."""
    found: list[tuple[str, click.Command]] = []
    for name, command in group.commands.items():
        full = f"{prefix} {name}"
        found.append((full, command))
        if isinstance(command, click.Group):
            found += commands(command, full)
    return found


def options(command: click.Command) -> list[click.Option]:
    """The options of a command that help shows."""
    return [one for one in command.params if isinstance(one, click.Option) and not one.hidden]


def _section(name: str, command: click.Command) -> str:
    words, example = told(command)
    context = click.Context(command, info_name=name)
    lines = [f"## {name}", "", words, "", "```text", command.get_usage(context), "```", ""]
    arguments = [
        (f"`{one.make_metavar(context)}`", _argument_words(one))
        for one in command.params
        if isinstance(one, click.Argument)
    ]
    if arguments:
        lines += [table(("argument", "what it is"), arguments)]
    rows = [(f"`{_spelling(one, context)}`", prose(one.help or "")) for one in options(command)]
    if rows:
        lines += [table(("option", "what it does"), rows)]
    if example:
        lines += ["Example:", "", "```text", *example, "```", ""]
    return "\n".join(lines)


def told(command: click.Command) -> tuple[str, list[str]]:
    r"""The words of a command's help, and the lines of its example, kept apart by click's \b."""
    words, _, rest = (command.help or "").partition("\b")
    example = [line.strip() for line in rest.splitlines()[1:] if line.strip()]
    paragraphs = [prose(part) for part in words.split("\n\n") if part.strip()]
    return "\n\n".join(paragraphs), [line for line in example if line.startswith("lath ")]


def _argument_words(argument: click.Argument) -> str:
    known = {
        "job": "The job folder.",
        "folder": "The folder to lay the job down in; `lath-demo` if not given.",
        "files": "Files to look into.",
        "before": "The earlier day.",
        "after": "The later day.",
    }
    many = " Several may be given." if argument.nargs == -1 else ""
    return known.get(argument.name or "", "") + many


def _spelling(option: click.Option, context: click.Context) -> str:
    names = ", ".join(option.opts)
    return names if option.is_flag else f"{names} {option.make_metavar(context)}"

"""The fenced blocks of a page, run in a folder of their own.

``sh`` is run line by line, lines that begin with ``lath`` in this process. ``python`` is
run, one namespace a page. ``text`` after either is what it printed, whole lines; ``...``
stands for lines that are not shown. A block with a ``title`` is a file and is written;
``title="add to F"`` is put at the end of F. ``toml`` without a title is a piece of a job
file. ``<!-- start: fixtures/demo as street -->`` lays a folder of the checkout there first.
"""

from __future__ import annotations

import contextlib
import io
import re
import shlex
import shutil
import subprocess
import sys
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from click.testing import CliRunner
from pydantic import TypeAdapter, ValidationError

from pipeline.cli import main
from pipeline.settings import Job

ROOT = Path(__file__).resolve().parent.parent
BLOCK = re.compile(r"^```(\w+)([^\n]*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
START = re.compile(r"<!-- start: (\S+) as (\S+) -->")
ELSEWHERE = re.compile(r"pip install|-m venv|-m build")
"""Commands that set up a machine; .ci/run runs them."""


@dataclass
class Page:
    """A page of the docs while its blocks are run in `folder`."""

    text: str
    folder: Path
    printed: str = ""
    names: dict[str, Any] = field(default_factory=lambda: {"__name__": "__main__"})

    def run(self) -> int:
        """Run every block; how many were run."""
        for source, target in START.findall(self.text):
            shutil.copytree(ROOT / source, self.folder / target)
        blocks = BLOCK.findall(self.text)
        for kind, more, body in blocks:
            title = re.search(r'title="([^"]+)"', more)
            if title:
                self._write(title.group(1), body)
            else:
                getattr(self, f"_run_{kind}", lambda _: None)(body)
        return len(blocks)

    def _write(self, title: str, body: str) -> None:
        path = self.folder / title.removeprefix("add to ")
        path.parent.mkdir(parents=True, exist_ok=True)
        before = path.read_text(encoding="utf-8") + "\n" if title.startswith("add to ") else ""
        path.write_text(before + body, encoding="utf-8")

    def _run_sh(self, body: str) -> None:
        if ELSEWHERE.search(body):
            return
        self.printed = ""
        for line in body.replace("\\\n", " ").splitlines():
            if line.strip() and not line.startswith("#"):
                self.printed += self._line(line)

    def _line(self, line: str) -> str:
        command, _, comment = line.partition("  # exit code ")
        words = shlex.split(command)
        if words[0] != "lath" or re.search(r"[|>&$;*]", command):
            return _shell(command, self.folder)
        result = CliRunner().invoke(main, words[1:], prog_name="lath")
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        assert result.exit_code == int(comment or 0), f"{line}\n{result.output}"
        return result.output

    def _run_python(self, body: str) -> None:
        said = io.StringIO()
        with contextlib.redirect_stdout(said):
            exec(compile(body, "block of a page", "exec"), self.names)
        self.printed = said.getvalue()

    def _run_text(self, body: str) -> None:
        there = {plain(line) for line in self.printed.splitlines()}
        missing = [line for line in body.splitlines() if plain(line) not in there | {"...", ""}]
        assert not missing, f"not printed: {missing}\n{self.printed}"

    def _run_toml(self, body: str) -> None:
        mistakes(body)


def plain(line: str) -> str:
    """A line without the blanks that line columns up."""
    return " ".join(line.split())


def mistakes(body: str) -> None:
    """Hold a piece of a job file against the settings; what it leaves out is no mistake."""
    stated = {"name": "a street", "layers": [{"name": "clay"}], **tomllib.loads(body)}
    try:
        TypeAdapter(Job).validate_python(stated, strict=False)
    except ValidationError as error:
        wrong = [one for one in error.errors() if not one["type"].startswith("missing")]
        assert not wrong, wrong


def _shell(command: str, folder: Path) -> str:
    """A line for the shell, with this checkout's command in front of the path."""
    shim = folder / ".bin"
    if not shim.exists():
        shim.mkdir()
        script = shim / "lath"
        script.write_text(
            f"#!{sys.executable}\nimport sys\nsys.path.insert(0, {str(ROOT)!r})\n"
            "from pipeline.cli import main\nmain(prog_name='lath')\n"
        )
        script.chmod(0o755)
    done = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", f'PATH="{shim}:$PATH"; {command}'],
        cwd=folder, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, f"{command}\n{done.stderr}"
    return done.stdout

"""Laying the demo job down on the disk."""

from __future__ import annotations

from pathlib import Path

from pipeline.demo import intersection, texts
from pipeline.errors import OutputError

KINDS = {"street": texts.files, "intersection": intersection.files}
"""The invented jobs by name: one street, or two with returns and a bulb."""


def lay_down(folder: Path, kind: str = "street") -> None:
    """Write the invented job into `folder`: control, design, utilities, a morning's shots.

    Parameters
    ----------
    folder : Path
        Made if it is not there. May be empty, or hold this demo already: files
        of the demo that are missing are written, others (``out/``) are left alone.
    kind : str
        Which of `KINDS`.

    Raises
    ------
    OutputError
        The folder holds something else, or a file of the demo that somebody has
        changed; nothing is written then. Or the disk refuses.

    Notes
    -----
    Each file is written beside its place and moved there, ``job.toml`` last, so
    a folder with a job file is a whole job.
    """
    contents = {name: text.encode("utf-8") for name, text in KINDS[kind]().items()}
    try:
        _refuse_other(folder, contents)
        for name, data in contents.items():
            _put(folder / name, data)
    except OSError as error:
        raise OutputError(
            str(folder), f"cannot be written ({error.strerror})", "choose another folder"
        ) from error


def _refuse_other(folder: Path, contents: dict[str, bytes]) -> None:
    if not folder.exists():
        return
    if not folder.is_dir():
        raise OutputError(str(folder), "is a file", "name a folder")
    present = {name for name in contents if (folder / name).exists()}
    for name in sorted(present):
        if not (folder / name).is_file() or (folder / name).read_bytes() != contents[name]:
            raise OutputError(
                str(folder / name),
                "stands there and is not the demo's own",
                "choose another folder; your files are not overwritten",
            )
    others = [path for path in folder.iterdir() if path.name not in _tops(contents)]
    if others and "job.toml" not in present:
        raise OutputError(
            str(folder),
            f"holds {min(path.name for path in others)!r} and no demo job",
            "choose an empty folder",
        )


def _tops(contents: dict[str, bytes]) -> set[str]:
    """First part of every path of the demo, and what an interrupted writing leaves beside it."""
    tops = {name.split("/")[0] for name in contents}
    return tops | {_part(name) for name in tops}


def _part(name: str) -> str:
    return f".{name}.part"


def _put(path: Path, data: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(_part(path.name))
    beside.write_bytes(data)
    beside.replace(path)

"""The bytes of an input file, its text, and how a piece of it is shown to a person."""

from __future__ import annotations

import codecs
import re
from pathlib import Path
from typing import BinaryIO

from pipeline.errors import InputError

MAX_BYTES = 4 << 30
"""A larger file is refused before it is read."""

_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)

INVISIBLE = re.compile(
    "[\x00-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2066-\u2069\ufeff\ud800-\udfff]"
)
"""C0 and C1 controls, direction marks, line separators: never echoed as they are."""


def shown(text: str, limit: int = 40) -> str:
    r"""Text of a file as it may stand in a message: short, on one line, no control characters.

    Examples
    --------
    >>> shown("12x\n"), shown("a" * 50, limit=5)
    ('12x ', 'aaaaa...')
    """
    cut = INVISIBLE.sub(" ", text[: limit + 1])
    return cut if len(text) <= limit else f"{cut[:limit]}..."


def open_source(path: Path) -> BinaryIO:
    """The file, open for reading, after making sure that it is one.

    Raises
    ------
    InputError
        Missing, a folder, a pipe or device, not readable, or larger than `MAX_BYTES`.
    """
    name = shown(path.name, 80)
    try:
        if not path.exists():
            raise InputError(name, "no such file", "check the name and the folder")
        if not path.is_file():
            raise InputError(name, "not an ordinary file", "name a file of points or lines")
        if path.stat().st_size > MAX_BYTES:
            raise InputError(
                name, f"larger than {MAX_BYTES >> 30} GiB", "split it or thin it before reading"
            )
        return path.open("rb")
    except (OSError, ValueError) as error:  # ValueError: a NUL in the path
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(name, f"cannot be opened ({reason})", "check the file") from None


def read_text(path: Path, encoding: str | None) -> tuple[str, str]:
    """Text of the file and the encoding it was read in.

    A byte order mark decides; else `encoding` if it is stated; else UTF-8, and
    Windows-1252 for a file that is not UTF-8.

    Raises
    ------
    InputError
        Not text in that encoding, an unknown encoding, or a zero byte in it.
    """
    with open_source(path) as stream:
        data = stream.read()  # all of it: a count would be set aside as memory beforehand
    return decode(data, shown(path.name, 80), encoding)


def decode(data: bytes, name: str, encoding: str | None) -> tuple[str, str]:
    """`read_text` for bytes in hand; `name` is the file as messages call it.

    Raises
    ------
    InputError
        As `read_text`.
    """
    marked = next((codec for mark, codec in _MARKS if data.startswith(mark)), None)
    if marked is None and encoding is None and b"\0" in data:
        raise InputError(
            f"{name} byte {data.index(0)}",
            "a zero byte, so this is not plain text",
            "export it as text in UTF-8, or state its encoding in the job file",
        )
    candidates = [marked or encoding] if marked or encoding else ["utf-8", "cp1252"]
    for codec in candidates:
        try:
            text = data.decode(codec or "utf-8")
        except UnicodeError:
            continue
        except (LookupError, ValueError):  # ValueError: a NUL in the name of the encoding
            raise InputError(
                name, f"unknown encoding {codec!r}", "state one such as utf-8 or cp1252"
            ) from None
        if "\0" in text:
            line = text.count("\n", 0, text.index("\0")) + 1
            raise InputError(f"{name} line {line}", "a zero byte", "export it as plain text")
        return text, str(codec)
    tried = " or ".join(str(codec) for codec in candidates)
    raise InputError(
        name, f"not text in {tried}", "export it as text in UTF-8, or state its encoding"
    )

"""A disk that is full, failing or read-only: by calls that fail, and a real small disk."""

from __future__ import annotations

import ctypes
import errno
import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

from tests.faults.bench import DAY, Bench, Ended, Fault, calls_of, lay

SAID = {
    errno.ENOSPC: ("No space left on device", "Make room on the disk"),
    errno.EROFS: ("Read-only file system", "--out"),
    errno.EIO: ("Input/output error", "--out"),
    errno.EACCES: ("Permission denied", "--out"),
}
"""What the message has to hold: what was found and what to do."""
NO_MOUNT = "this user may not mount a disk here"
LINUX_CAPABILITY_VERSION_3 = 0x20080522
"""Of `linux/capability.h`, as capset(2) tells."""


def calls_that_fail(bench: Bench, code: int, *, every: int) -> Iterator[Fault]:
    """Every call that needs room fails once; the run is refused and yesterday's stands."""
    needs = [
        (k + 1, name)
        for k, name in enumerate(calls_of(bench))
        if name in {"mkdir", "create", "write", "fsync", "ftruncate"}
    ]
    for number, name in needs[::every]:

        def fail(_name: str, at: int, _given: tuple, number: int = number) -> None:
            # a full disk stays full
            if at == number or (at > number and _name in {"write", "mkdir"}):
                raise OSError(code, os.strerror(code))

        out = bench.out()
        ended = bench.run(out, lambda fail=fail: lay(fail))
        where = f"call {number}, {name}"
        wrong = refused(bench, out, ended, SAID[code]) or bench.next_run_is_clean(out)
        yield Fault(f"{os.strerror(code).lower()}, injected", where, wrong)


def refused(bench: Bench, out: Path, ended: Ended, words: tuple[str, ...]) -> str:
    """What is not as documented in a refusal: code 3, one message, the old package."""
    if ended.code != 3:
        return f"exit code {ended.code}, not 3: {ended.said[-300:]}"
    if "Traceback" in ended.said:
        return "a traceback"
    message = [line for line in ended.said.splitlines() if line.startswith("lath: ")]
    if len(message) != 1:
        return f"{len(message)} messages: {ended.said[-300:]}"
    if missing := [word for word in words if word not in message[0]]:
        return f"the message does not say {missing[0]!r}: {message[0]}"
    return bench.wrong_with(out, must_be_old=True)


def small_disk(bench: Bench) -> Iterator[Fault]:
    """A real small disk (tmpfs), filled so that less than the new package finds room."""
    place = bench.folder / "disk"
    place.mkdir()
    new = sum(map(len, bench.new.values()))
    size = new + sum(map(len, bench.old.values())) + (1 << 20)
    if not _mount(place, f"size={size}"):
        yield Fault("a full disk", "tmpfs", untried=NO_MOUNT)
        return
    try:
        for part in range(1, 10):
            out = bench.out(place)
            ballast = place / "ballast"
            with ballast.open("wb") as stream:
                left = (
                    shutil.disk_usage(place).free - sum(map(len, bench.new.values())) * part // 10
                )
                stream.write(bytes(max(left, 0)))
            ended = bench.run(out)
            wrong = refused(bench, out, ended, SAID[errno.ENOSPC])
            ballast.unlink()
            wrong = wrong or bench.next_run_is_clean(out)
            yield Fault("a full disk", f"room for {part} tenths of the package", wrong)
            shutil.rmtree(out)
    finally:
        _unmount(place)


def read_only_disk(bench: Bench) -> Iterator[Fault]:
    """A real read-only disk, and a folder in which the user may not write."""
    place = bench.folder / "locked-disk"
    place.mkdir()
    if _mount(place, "size=16m"):
        out = bench.out(place)
        subprocess.run(["mount", "-o", "remount,ro", str(place)], check=True)
        try:
            ended = bench.run(out)
            yield Fault("a read-only disk", DAY, refused(bench, out, ended, SAID[errno.EROFS]))
        finally:
            _unmount(place)
    else:
        yield Fault("a read-only disk", "tmpfs", untried=NO_MOUNT)
    out = bench.out()
    (out / DAY).chmod(0o555)
    out.chmod(0o555)
    ended = bench.run(out, _without_privilege)
    (out / DAY).chmod(0o755)
    out.chmod(0o755)
    yield Fault("a read-only folder", "out", refused(bench, out, ended, SAID[errno.EACCES]))


def _without_privilege() -> None:
    """Root may write everywhere; the child gives that up, but stays who owns the checkout.

    The checkout may stand in a folder that only its owner may enter, and the command imports
    as it goes: as another user it would fail on that, not on the folder of the packages.
    """
    if os.geteuid() == 0:
        nothing = (ctypes.c_uint32 * 6)()
        header = (ctypes.c_uint32 * 2)(LINUX_CAPABILITY_VERSION_3, 0)
        if ctypes.CDLL(None, use_errno=True).capset(header, nothing):
            raise OSError(ctypes.get_errno(), "capset")


def _mount(place: Path, options: str) -> bool:
    if os.geteuid() != 0:
        return False
    command = ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(place)]
    return subprocess.run(command, capture_output=True).returncode == 0


def _unmount(place: Path) -> None:
    subprocess.run(["umount", "-l", str(place)], check=True)

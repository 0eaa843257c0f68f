"""The package: the old one or the new one, whatever happens, checked with sha256 from hashlib."""

import errno
import hashlib
import json
import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from pipeline.deliver import lock, package
from pipeline.deliver.package import safe_name, settle, verify, write_package
from pipeline.errors import OutputError

OLD = {"stakes.csv": b"old stakes\r\n", "cutfill.dxf": b"old drawing" * 3000}
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(Path(package.__file__).parents[2])}
NEW = {"stakes.csv": b"new stakes\r\n", "cutfill.dxf": b"new drawing" * 3000, "day.html": b"<p>"}

# Forks a writer a step; a signal stops it right after its n-th call that changes the disk.
EVERY_STEP = """
import os, signal, sys
from pathlib import Path
from pipeline.deliver import package

base, swap = Path(sys.argv[1]), sys.argv[2]
OLD, NEW = {old!r}, {new!r}

def counted(function):
    def call(*args, **kwargs):
        global calls
        result = function(*args, **kwargs)
        calls += 1
        if calls == step:
            os.kill(os.getpid(), signal.SIGKILL)
        return result
    return call

def write(folder):
    for name in ("mkdir", "write", "fsync", "rename", "unlink", "rmdir"):
        setattr(os, name, counted(getattr(os, name)))
    if swap == "two renames":
        package._exchange = lambda a, b: False
    else:
        package._exchange = counted(package._exchange)
    package.write_package(folder, NEW, {{}})

step, calls = 0, 0
while True:
    step += 1
    folder = base / str(step) / "2026-05-14"
    package.write_package(folder, OLD, {{}})
    if not (child := os.fork()):
        write(folder)
        os._exit(0)
    status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    if status != -signal.SIGKILL:
        sys.exit(status)
"""

# Forks a writer again and again and kills it at a moment of the clock.
ANY_MOMENT = """
import os, signal, sys, time
from pathlib import Path
from pipeline.deliver import package

folder, turns = Path(sys.argv[1]), int(sys.argv[2])
for turn in range(turns):
    if not (child := os.fork()):
        n = 0
        while True:
            n += 1
            content = b"%d-%d " % (turn, n) * 3000
            package.write_package(folder, {f"{k}.csv": content for k in range(4)}, {})
    time.sleep(0.004 + 0.0011 * turn)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    package.settle(folder)
    if problems := package.verify(folder):
        sys.exit(f"turn {turn}: {problems}")
    if len({p.read_bytes() for p in folder.iterdir() if p.suffix == ".csv"}) != 1:
        sys.exit(f"turn {turn}: files of two runs")
"""


def python(code, *arguments):
    return subprocess.run(
        [sys.executable, "-c", code, *map(str, arguments)], capture_output=True, text=True,
        check=False, env=ENVIRONMENT,
    )  # fmt: skip


def contents(folder):
    return {p.name: p.read_bytes() for p in folder.iterdir() if p.name != "manifest.json"}


@pytest.fixture
def day(tmp_path):
    return tmp_path / "out" / "2026-05-14"


@pytest.fixture
def written(day):
    write_package(day, OLD, {"day": "2026-05-14"})
    return day


def test_the_manifest_holds_size_and_hash_of_every_output(day):
    write_package(day, NEW, {"day": "2026-05-14", "version": "1"})
    text = (day / "manifest.json").read_text(encoding="utf-8")
    manifest = json.loads(text)
    seal = manifest.pop("seal")
    assert seal == hashlib.sha256(text.replace(f',\n  "seal": "{seal}"', "").encode()).hexdigest()
    assert manifest == {
        "day": "2026-05-14",
        "version": "1",
        "outputs": {
            name: {"bytes": len(content), "sha256": hashlib.sha256(content).hexdigest()}
            for name, content in NEW.items()
        },
    }
    assert contents(day) == NEW
    assert verify(day) == ()


def test_a_new_package_replaces_all_of_the_old_and_leaves_nothing_beside_it(written):
    write_package(written, {"only.csv": b"1"}, {})
    assert contents(written) == {"only.csv": b"1"}
    assert [p.name for p in written.parent.iterdir()] == ["2026-05-14"]


def test_linux_swaps_in_one_step_and_others_say_that_they_cannot(written):
    other = written.parent / "other"
    other.mkdir()
    swapped = package._exchange(other, written)
    assert swapped == sys.platform.startswith("linux")
    assert contents(other if swapped else written) == OLD
    assert list((written if swapped else other).iterdir()) == []


def test_without_that_step_two_renames_do_it(written, monkeypatch):
    monkeypatch.setattr(package, "_exchange", lambda a, b: False)
    write_package(written, NEW, {})
    assert contents(written) == NEW
    assert [p.name for p in written.parent.iterdir()] == ["2026-05-14"]


@pytest.mark.parametrize("swap", ["exchange", "two renames"])
def test_a_kill_at_every_step_leaves_the_old_package_or_the_new(tmp_path, swap):
    """kill -9 after each call that changes the disk, then what a reader finds."""
    done = python(EVERY_STEP.format(old=OLD, new=NEW), tmp_path, swap)
    assert (done.returncode, done.stderr) == (0, "")
    days = [base / "2026-05-14" for base in tmp_path.iterdir()]
    assert len(days) > 15
    seen = {}
    for day in days:
        step = int(day.parent.name)
        if swap == "exchange" and sys.platform.startswith("linux"):
            # one step: not for a moment is there no package
            assert day.is_dir()
        settle(day)
        assert contents(day) in (OLD, NEW), f"step {step}"
        assert verify(day) == (), f"step {step}"
        seen[step] = contents(day) == NEW
        # the next run finds its way, and sweeps what was left
        write_package(day, {"next.csv": b"1"}, {})
        assert [p.name for p in day.parent.iterdir()] == ["2026-05-14"], f"step {step}"
        assert contents(day) == {"next.csv": b"1"}
    # old for a while, then new for good
    order = [seen[step] for step in sorted(seen)]
    assert order == sorted(order)
    assert set(order) == {False, True}


def test_a_kill_at_any_moment_leaves_a_package(day):
    """kill -9 by the clock while a writer runs again and again: thirty times."""
    write_package(day, {f"{k}.csv": b"first" for k in range(4)}, {})
    done = python(ANY_MOMENT, day, 30)
    assert (done.returncode, done.stderr) == (0, "")
    assert len(contents(day)) == 4


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EROFS, errno.EACCES, errno.EIO])
@pytest.mark.parametrize("call", ["write", "fsync", "close"])
def test_a_full_or_failing_disk_is_refused_and_the_old_package_stands(
    written, monkeypatch, code, call
):
    real, state = getattr(os, call), {"calls": 0}

    def failing(*args):
        state["calls"] += 1
        # the second of its kind: one file is already there
        if state["calls"] >= 2:
            if call == "close":
                real(*args)
            if state["calls"] == 2:
                raise OSError(code, os.strerror(code))
            if call == "close":
                return None
        return real(*args)

    with monkeypatch.context() as patched:
        patched.setattr(os, call, failing)
        with pytest.raises(OutputError, match=f"{os.strerror(code)}.*an earlier package is unch"):
            write_package(written, NEW, {})
    assert contents(written) == OLD
    assert verify(written) == ()
    write_package(written, NEW, {})
    assert contents(written) == NEW


def test_a_real_full_disk_names_the_file(written, monkeypatch):
    """/dev/full answers every write with ENOSPC (Linux manual, full(4))."""
    if not Path("/dev/full").exists():
        pytest.fail("this test needs /dev/full")
    real = os.open

    def opened(path, flags, *rest):
        if Path(path).name == "stakes.csv" and flags & os.O_CREAT:
            return real("/dev/full", os.O_WRONLY)
        return real(path, flags, *rest)

    monkeypatch.setattr(os, "open", opened)
    with pytest.raises(OutputError, match=r"No space left on device at stakes\.csv.*Make room"):
        write_package(written, NEW, {})
    monkeypatch.undo()
    assert contents(written) == OLD


@pytest.mark.parametrize("swap", [True, False])
def test_a_fault_after_the_swap_takes_the_new_package_back(written, monkeypatch, swap):
    real = package._sync_folder

    def failing(folder):
        if folder == written.parent:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        real(folder)

    with monkeypatch.context() as patched:
        patched.setattr(package, "_sync_folder", failing)
        if not swap:
            patched.setattr(package, "_exchange", lambda a, b: False)
        with pytest.raises(OutputError, match="an earlier package is unchanged"):
            write_package(written, NEW, {})
    assert contents(written) == OLD
    assert [p.name for p in written.parent.iterdir()] == ["2026-05-14"]


def test_a_file_where_the_folder_should_be_is_refused(day):
    day.parent.mkdir()
    day.write_text("a note")
    with pytest.raises(OutputError, match=r"a file is in its place\. Move it away"):
        write_package(day, NEW, {})
    assert day.read_text() == "a note"


def test_a_file_where_a_folder_above_should_be_is_refused(tmp_path):
    (tmp_path / "out").write_text("x")
    with pytest.raises(OutputError, match=r"it is not a folder\. Choose another"):
        write_package(tmp_path / "out" / "day", NEW, {})
    with pytest.raises(OutputError, match="Not a directory"):
        write_package(tmp_path / "out" / "deeper" / "day", NEW, {})


@pytest.mark.parametrize("what", ["day", "out", "lock", "new"])
def test_a_symbolic_link_is_never_followed(tmp_path, day, what):
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "precious.txt").write_text("keep")
    if what == "out":
        day.parent.symlink_to(elsewhere)
    else:
        day.parent.mkdir()
        name = {"day": "2026-05-14", "lock": ".2026-05-14.lock", "new": ".2026-05-14.new"}[what]
        target = elsewhere / "precious.txt" if what == "lock" else elsewhere
        (day.parent / name).symlink_to(target)
    if what == "new":
        # a leftover of ours is never a link, so the link goes and what it points to stays
        write_package(day, NEW, {})
        assert contents(day) == NEW
    else:
        with pytest.raises(OutputError, match="symbolic link"):
            write_package(day, NEW, {})
    assert [p.name for p in elsewhere.iterdir()] == ["precious.txt"]
    assert (elsewhere / "precious.txt").read_text() == "keep"


def test_a_link_planted_in_the_new_folder_is_not_followed(written, tmp_path, monkeypatch):
    precious = tmp_path / "precious.txt"
    precious.write_text("keep")
    real = os.mkdir

    def mkdir(path, *rest):
        real(path, *rest)
        (Path(path) / "stakes.csv").symlink_to(precious)

    monkeypatch.setattr(os, "mkdir", mkdir)
    with pytest.raises(OutputError, match=r"File exists at stakes\.csv"):
        write_package(written, NEW, {})
    assert precious.read_text() == "keep"
    assert contents(written) == OLD


def test_somebody_elses_files_are_never_replaced(written):
    (written / "notes.txt").write_text("lath 12 was hit")
    with pytest.raises(OutputError, match=r"'notes\.txt' is no part of an earlier package\. Move"):
        write_package(written, NEW, {})
    assert contents(written) == {**OLD, "notes.txt": b"lath 12 was hit"}


def test_a_folder_that_is_no_package_is_never_replaced(day):
    day.mkdir(parents=True)
    for name in ("a", "b", "c"):
        (day / name).mkdir()
    with pytest.raises(OutputError, match="'a' is no part of an earlier package, nor are 2 more"):
        write_package(day, NEW, {})
    (day / "manifest.json").write_text('{"name": "some other program"}')
    with pytest.raises(OutputError, match="not the manifest of a package"):
        write_package(day, NEW, {})
    assert len(list(day.iterdir())) == 4


def test_a_file_put_there_while_the_package_is_written_is_not_lost(written, monkeypatch):
    real = package._fill

    def fill(*args):
        real(*args)
        (written / "notes.txt").write_text("just now")

    monkeypatch.setattr(package, "_fill", fill)
    with pytest.raises(OutputError, match=r"notes\.txt"):
        write_package(written, NEW, {})
    assert (written / "notes.txt").read_text() == "just now"
    assert [p.name for p in written.parent.iterdir()] == ["2026-05-14"]


def test_an_empty_folder_may_be_filled(day):
    day.mkdir(parents=True)
    write_package(day, NEW, {})
    assert contents(day) == NEW


def test_two_runs_at_once_and_the_second_is_told_of_the_first(written):
    code = (
        "import sys; from pathlib import Path; from pipeline.deliver.lock import locked\n"
        "folder = Path(sys.argv[1])\n"
        "with locked(folder.parent / f'.{folder.name}.lock', folder):\n"
        "    print('held', flush=True); sys.stdin.readline()\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code, str(written)], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        env=ENVIRONMENT,
    ) as first:  # fmt: skip
        first.stdout.readline()
        with pytest.raises(OutputError, match=f"another run is writing it .process {first.pid} on"):
            write_package(written, NEW, {})
        # a reader is not disturbed by a writer
        assert verify(written) == ()
        assert contents(written) == OLD
        first.kill()
        first.wait()
        # killed with the lock in its hand: the file lies there, and stops nobody
        assert (written.parent / ".2026-05-14.lock").exists()
        write_package(written, NEW, {})
    assert contents(written) == NEW
    assert not (written.parent / ".2026-05-14.lock").exists()


def test_a_lock_file_taken_away_between_opening_and_locking_is_made_again(written, monkeypatch):
    """Else two runs could each hold a lock, one of them on a file that is no longer there."""
    path = written.parent / ".2026-05-14.lock"
    real, calls = lock._try_lock, []

    def try_lock(handle):
        if not calls:
            path.unlink()
        calls.append(handle)
        return real(handle)

    monkeypatch.setattr(lock, "_try_lock", try_lock)
    with lock.locked(path, written):
        assert path.read_text().startswith(f"process {os.getpid()} on ")
        with (
            pytest.raises(OutputError, match=f"process {os.getpid()} on"),
            lock.locked(path, written),
        ):
            pass
    assert not path.exists()


def test_many_threads_of_writers_never_mix(written):
    told = []

    def write(k):
        try:
            write_package(written, {f"{i}.csv": b"%d" % k * 100 for i in range(3)}, {})
        except OutputError as refusal:
            told.append(str(refusal))

    threads = [threading.Thread(target=write, args=(k,)) for k in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert all("another run is writing it" in text for text in told)
    assert len(told) < 8
    assert len(set(contents(written).values())) == 1
    assert verify(written) == ()


def test_a_package_moved_aside_by_a_killed_run_comes_back_to_a_reader(written):
    written.rename(written.parent / ".2026-05-14.old")
    assert verify(written) == ()
    assert contents(written) == OLD


@pytest.mark.parametrize("change", ["edit", "same size", "delete", "add", "link", "folder"])
def test_verify_names_what_changed(written, tmp_path, change):
    path = written / "stakes.csv"
    if change == "edit":
        path.write_bytes(b"C 0.12")
    elif change == "same size":
        path.write_bytes(b"0ld stakes\r\n")
    elif change == "add":
        (written / "x.txt").write_text("")
    else:
        content = path.read_bytes()
        path.unlink()
        if change == "link":
            (tmp_path / "same").write_bytes(content)
            path.symlink_to(tmp_path / "same")
        elif change == "folder":
            path.mkdir()
    want = {
        "edit": "stakes.csv: changed since it was written",
        "same size": "stakes.csv: changed since it was written",
        "delete": "stakes.csv: missing",
        "add": "x.txt: not part of the package",
        "link": "stakes.csv: not a plain file any more",
        "folder": "stakes.csv: not a plain file any more",
    }
    assert verify(written) == (want[change],)


def test_verify_refuses_what_is_no_package(tmp_path):
    with pytest.raises(OutputError, match=r"there is none, or it has lost its manifest\.json"):
        verify(tmp_path)
    (tmp_path / "manifest.json").write_text("[")
    with pytest.raises(OutputError, match="not the manifest of a package"):
        verify(tmp_path)


@pytest.mark.parametrize(
    "name",
    [
        "", ".", "..", "../x", "a/b", "a\\b", "/etc", "C:", "a:b", "~", "-rf", ".hidden", "a ",
        "day.", "a\0b", "a\nb", "x" * 81, "é", "CON", "con", "nul.txt", "AUX.csv", "com1", "LPT9.a",
        "Prn", "<a>", "a|b", "a?b", "a*b", 'a"b', "$x",
    ],
)  # fmt: skip
def test_a_name_that_some_system_cannot_bear_is_refused(name, tmp_path):
    """Reserved names: Microsoft's page "Naming Files, Paths, and Namespaces" (from memory)."""
    with pytest.raises(OutputError, match="found"):
        safe_name(name)
    with pytest.raises(OutputError, match="Use letters, digits"):
        write_package(tmp_path / "day", {name: b""}, {})
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["2026-05-14", "a", "console", "com10", "x" * 80, "day_2.b"])
def test_a_plain_name_is_taken_as_it_is(name):
    assert safe_name(name) == name


def test_two_names_that_one_disk_holds_for_the_same_are_refused(day):
    with pytest.raises(OutputError, match=r"A\.csv has the same name"):
        write_package(day, {"A.csv": b"", "a.csv": b""}, {})
    with pytest.raises(OutputError, match=r"manifest\.json has the same name"):
        write_package(day, {"Manifest.json": b""}, {})
    with pytest.raises(OutputError, match='found "seal"'):
        write_package(day, {}, {"seal": ""})
    with pytest.raises(OutputError, match='found "outputs"'):
        write_package(day, {}, {"outputs": {}})
    assert not day.parent.exists()

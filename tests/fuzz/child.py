"""One reader under atheris: `python -m tests.fuzz.child READER SCRATCH [libFuzzer options]`.

A crash does not end the process: its input is kept once per kind of crash and
the mutation goes on.
"""

from __future__ import annotations

import hashlib
import sys
import traceback
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["pipeline"], enable_loader_override=False):
    # those that readers import inside functions, while imports are watched
    from pipeline.ingest.describe import dxf, field, landxml, las, text  # noqa: F401
    from tests.fuzz.readers import READERS, Bench, seeds


def main() -> None:
    """Mutate until libFuzzer's own limits end it."""
    reader, scratch, *options = sys.argv[1:]
    if reader not in READERS:
        sys.exit(f"no reader {reader!r}; there are {', '.join(READERS)}")
    corpus, crashes = Path(scratch) / "corpus" / reader, Path(scratch) / "crashes"
    for folder in (corpus, crashes):
        folder.mkdir(parents=True, exist_ok=True)
    for seed in seeds(reader):
        data = seed.read_bytes()
        (corpus / hashlib.sha1(data).hexdigest()).write_bytes(data)
    bench = Bench(reader)

    def one(data: bytes) -> None:
        try:
            bench.try_bytes(data)
        except (Exception, RecursionError, MemoryError) as fault:  # noqa: BLE001
            frames = traceback.extract_tb(fault.__traceback__)
            place = next((f for f in reversed(frames) if "/pipeline/" in f.filename), frames[-1])
            kind = f"{type(fault).__name__}-{Path(place.filename).stem}-{place.lineno}"
            kept = crashes / f"{reader}-{kind}"
            if not kept.exists():
                kept.write_bytes(data)
                kept.with_suffix(".txt").write_text(traceback.format_exc(), encoding="utf-8")

    atheris.Setup([sys.argv[0], *options, str(corpus)], one)
    atheris.Fuzz()


if __name__ == "__main__":
    main()

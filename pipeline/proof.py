"""`lath verify`: a package held against its own manifest, and against the job it was made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline import __version__, objects, publish, publish_days, setting_out
from pipeline.deliver.history import HISTORY_FILE
from pipeline.deliver.json import json_bytes
from pipeline.deliver.package import described, read_manifest, verify
from pipeline.errors import InputError
from pipeline.run import Day, Stopwatch, run_day

PRINTED = {
    "crew.pdf": "at the head of every page of crew.pdf",
    "cutfill.dxf": "in the title block of cutfill.dxf and its sheets",
    "day.html": "on day.html",
}
"""Where the id of a package stands on what people print or look at."""
ONE_LINE = ("written", "outputs", "seal", "made_with")
"""Keys of a manifest that may differ between two runs of the same morning."""


@dataclass(frozen=True, slots=True)
class Proof:
    """What was found out about one package.

    ``altered`` says what is not as it was written. ``other_inputs`` and ``not_again``
    are None where no job was given to compare with, or where it could not be made again:
    then ``why_not`` says why.
    """

    folder: Path
    manifest: Mapping[str, Any]
    altered: tuple[str, ...]
    other_inputs: tuple[str, ...] | None = None
    not_again: tuple[str, ...] | None = None
    why_not: str = ""

    @property
    def good(self) -> bool:
        """True where nothing speaks against the package."""
        return not (self.altered or self.other_inputs or self.not_again or self.why_not)


def prove(folder: Path, job: Path | None, watch: Stopwatch) -> Proof:
    """Whether the package is whole and unaltered and, where a job is given, made from it.

    The second is proven by making it again: every file to the byte, and the manifest but
    for the time it was written and the versions of libraries.

    Raises
    ------
    LathError
        There is no package, or the job cannot be read.
    """
    altered = verify(folder)
    manifest = read_manifest(folder)
    if job is None:
        return Proof(folder, manifest, altered)
    try:
        made, parts = _again(manifest, (folder, job), watch)
    except InputError as error:
        # the job stands there without the files that this day was made from
        return Proof(folder, manifest, altered, (str(error),), None, "the day cannot be read")
    other = _other_inputs(manifest, made)
    if manifest.get("lath") != __version__:
        why = f"made by lath {manifest.get('lath')}, this is lath {__version__}"
        return Proof(folder, manifest, altered, other, None, why)
    if other:
        return Proof(folder, manifest, altered, other, None, "the inputs are others")
    files = _files(parts, manifest)
    return Proof(folder, manifest, altered, other, _differing(manifest, made, files))


def _again(
    manifest: Mapping[str, Any], places: tuple[Path, Path], watch: Stopwatch
) -> tuple[dict[str, Any], Day | setting_out.SettingOut]:
    """The manifest of the same package made now, and what its files are made of."""
    folder, job = places
    if "day" not in manifest:
        layout = setting_out.set_out(job)
        return setting_out.manifest_object(layout.inputs), layout
    day = publish.complete(run_day(job, str(manifest["day"]), watch))
    # what of the work was done on earlier days stands in the history beside the packages
    day = publish_days.with_trend(day, folder.parent / HISTORY_FILE, str(manifest.get("package")))
    command = manifest.get("command", {})
    return objects.manifest_object(day, "", command), day


def _files(made: Day | setting_out.SettingOut, manifest: Mapping[str, Any]) -> dict[str, bytes]:
    if isinstance(made, setting_out.SettingOut):
        return setting_out.layout_files(made)
    pictures = manifest.get("command", {}).get("pictures", {}).get("value") is True
    return publish.day_files(made, publish.Command(pictures=pictures))


def _other_inputs(manifest: Mapping[str, Any], made: Mapping[str, Any]) -> tuple[str, ...]:
    then = {item["file"]: item["sha256"] for item in manifest.get("inputs", ())}
    now = {item["file"]: item["sha256"] for item in made["inputs"]}
    told = []
    for name in sorted(then.keys() | now.keys()):
        if name not in now:
            told.append(f"{name}: the package was made with it, the job does not read it now")
        elif name not in then:
            told.append(f"{name}: the job reads it now, the package was made without it")
        elif then[name] != now[name]:
            told.append(f"{name}: another content than when the package was made")
    return tuple(told)


def _differing(
    manifest: Mapping[str, Any], made: Mapping[str, Any], files: Mapping[str, bytes]
) -> tuple[str, ...]:
    """What comes out otherwise when it is made again."""
    outputs = manifest["outputs"]
    told = [
        f"{name}: made again it is another file"
        for name in sorted(outputs.keys() | files.keys())
        if name not in files or outputs.get(name) != described(files[name])
    ]
    told += [
        f"manifest.json: made again {key!r} is another"
        for key in sorted((manifest.keys() | made.keys()) - set(ONE_LINE))
        # as they look once written
        if json_bytes(manifest.get(key)) != json_bytes(made.get(key))
    ]
    then, now = manifest.get("made_with", {}), made["made_with"]
    if told and then != now:
        names = sorted(name for name in then.keys() | now.keys() if then.get(name) != now.get(name))
        words = ", ".join(f"{name} {then.get(name)} then, {now.get(name)} now" for name in names)
        told.append(f"other versions of libraries: {words}")
    return tuple(told)


def packages_in(folder: Path) -> tuple[Path, ...]:
    """The package that `folder` is, or every one in it."""
    if (folder / "manifest.json").is_file() or not folder.is_dir():
        return (folder,)
    inside = sorted(
        one for one in folder.iterdir() if not one.name.startswith(".") and one.is_dir()
    )
    return tuple(one for one in inside if (one / "manifest.json").is_file()) or (folder,)


def proof_object(proof: Proof) -> dict[str, Any]:
    """What ``lath verify --json`` prints of one package."""
    return {
        "folder": proof.folder.as_posix(),
        "package": proof.manifest.get("package"),
        "job": proof.manifest.get("job"),
        "day": proof.manifest.get("day"),
        "written": proof.manifest.get("written"),
        "lath": proof.manifest.get("lath"),
        "held": proof.manifest.get("held", False),
        "good": proof.good,
        "altered": list(proof.altered),
        "other_inputs": None if proof.other_inputs is None else list(proof.other_inputs),
        "made_again": None if proof.not_again is None else not proof.not_again,
        "differs": list(proof.not_again or ()),
        "why_not": proof.why_not or None,
        "printed": [where for name, where in PRINTED.items() if name in proof.manifest["outputs"]],
    }


def proof_words(proof: Proof) -> list[str]:
    """The same for a person."""
    manifest = proof.manifest
    outputs = manifest["outputs"]
    told = [str(manifest.get(key)) for key in ("package", "job", "day") if manifest.get(key)]
    lines = [f"Package    {', '.join(told)}"]
    if manifest.get("held"):
        lines.append("HOLD       a finding stopped this day; see its findings.json")
    size = sum(int(entry.get("bytes", 0)) for entry in outputs.values())
    whole = f"{len(outputs)} files, {size / 1e6:.1f} MB, each as it was written"
    lines += _lines("Whole", whole, "NOT WHOLE", proof.altered)
    if proof.other_inputs is not None:
        same = f"{len(manifest.get('inputs', ()))} files of the job, each as it was then"
        lines += _lines("Inputs", same, "OTHER", proof.other_inputs)
    if proof.not_again is not None:
        lines += _lines("Again", "made again, the same to the byte", "DIFFERS", proof.not_again)
    if proof.why_not:
        lines.append(f"NOT PROVEN {proof.why_not}: it was not made again")
    printed = [where for name, where in PRINTED.items() if name in outputs]
    if printed:
        lines.append(f"Paper      {manifest.get('package')} stands {', '.join(printed)};")
        lines.append("           paper with another id belongs to another package")
    if not proof.good:
        lines.append(
            "Do not mark by it: run the day again, and keep this folder until it is clear."
        )
    return lines


def _lines(head: str, fine: str, bad: str, faults: tuple[str, ...]) -> list[str]:
    if not faults:
        return [f"{head:11s}{fine}"]
    return [f"{bad:11s}{text}" for text in faults]

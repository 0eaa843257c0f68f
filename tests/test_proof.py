"""`lath verify`: what was altered, what was made of other inputs, what can be made again."""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path

import ezdxf
import pypdf
import pytest
from click.testing import CliRunner

from pipeline.cli import main
from pipeline.ingest.job.morning import fingerprint, see

FIXTURES = Path(__file__).resolve().parent.parent / "fixtures"
DAY = "2026-05-14"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    street = tmp_path_factory.mktemp("proof") / "street"
    shutil.copytree(FIXTURES / "demo", street)
    result = CliRunner().invoke(main, ["run", str(street), "--day", DAY])
    assert result.exit_code == 0, result.output
    return street


@pytest.fixture
def street(made, tmp_path):
    folder = tmp_path / "street"
    shutil.copytree(made, folder)
    return folder


def verify(*words):
    result = CliRunner().invoke(main, ["verify", *map(str, words)])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def test_a_package_is_whole_and_made_again_to_the_byte(street):
    result = verify(street / "out", "--job", street)
    words = result.stdout

    assert result.exit_code == 0, words
    assert "each as it was written" in words
    assert "8 files of the job, each as it was then" in words
    assert "made again, the same to the byte" in words


def test_a_hash_that_another_program_computes_is_the_one_in_the_manifest(street):
    manifest = json.loads((street / "out" / DAY / "manifest.json").read_text(encoding="utf-8"))
    for item in manifest["inputs"]:
        data = (street / item["file"]).read_bytes()
        assert item["sha256"] == hashlib.sha256(data).hexdigest()
        assert item["bytes"] == len(data)


def test_one_altered_byte_of_any_file_is_named(street):
    folder = street / "out" / DAY
    for path in sorted(folder.iterdir()):
        data = path.read_bytes()
        place = data.rfind(b"1")
        path.write_bytes(data[:place] + b"2" + data[place + 1 :])
        result = verify(folder)
        path.write_bytes(data)
        assert result.exit_code == 4, path.name
        assert f"{path.name}: changed since it was written" in result.stdout
        assert "Do not mark by it" in result.stdout


def test_a_manifest_that_was_put_right_by_hand_is_found_by_making_it_again(street):
    folder = street / "out" / DAY
    changed = (folder / "dots.csv").read_bytes().replace(b",C 3,", b",C 8,", 1)
    assert changed != (folder / "dots.csv").read_bytes()
    (folder / "dots.csv").write_bytes(changed)
    manifest = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    data = (folder / "dots.csv").read_bytes()
    manifest["outputs"]["dots.csv"] = {
        "bytes": len(data), "sha256": hashlib.sha256(data).hexdigest(),
    }  # fmt: skip
    del manifest["seal"]
    text = json.dumps(manifest, indent=2, ensure_ascii=False) + "\n"
    manifest["seal"] = hashlib.sha256(text.encode()).hexdigest()
    text = json.dumps(manifest, indent=2, ensure_ascii=False) + "\n"
    (folder / "manifest.json").write_text(text, encoding="utf-8", newline="")
    result = verify(folder)
    again = verify(folder, "--job", street)

    assert result.exit_code == 0  # nothing in the folder itself speaks against it
    assert again.exit_code == 4
    assert "dots.csv: made again it is another file" in again.stdout


@pytest.mark.parametrize(
    ("name", "word"),
    [("shots/2026-05-14/morning.csv", "another content"), ("design/profile.csv", "another content"),
     ("shots/2026-05-14/hubs2.csv", "made without it"),
     ("shots/2026-05-14/hubs.csv", "does not read it now")],
)  # fmt: skip
def test_other_inputs_are_named(street, name, word):
    path = street / name
    if "hubs2" in name:
        shutil.copy(path.with_name("hubs.csv"), path)
    elif "hubs" in name:
        path.unlink()
    else:
        path.write_bytes(path.read_bytes() + b"\n")
    result = verify(street / "out" / DAY, "--job", street, "--json")
    (told,) = json.loads(result.stdout)

    assert result.exit_code == 4
    assert told["altered"] == []
    assert [text for text in told["other_inputs"] if name in text and word in text]
    assert told["made_again"] is None
    assert told["good"] is False


def test_the_package_of_a_layout_is_proven_too(street):
    assert CliRunner().invoke(main, ["layout", str(street)]).exit_code == 0
    result = verify(street / "out", "--job", street, "--json")

    assert result.exit_code == 0
    assert [one["made_again"] for one in json.loads(result.stdout)] == [True, True]


def test_no_package_is_a_refusal(street, tmp_path):
    result = verify(tmp_path / "nothing")

    assert result.exit_code == 3
    assert "there is none" in result.stderr
    assert "Name a folder with a manifest.json" in result.stderr


def test_the_id_on_paper_is_the_id_of_the_package(street):
    folder = street / "out" / DAY
    manifest = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    name = manifest["package"]
    drawing = ezdxf.readfile(folder / "cutfill.dxf")
    told = [one.dxf.text for one in drawing.modelspace().query("TEXT")]
    told += [one.dxf.text for sheet in drawing.layouts for one in sheet.query("TEXT")]

    assert any(name in text for text in told)
    pages = pypdf.PdfReader(folder / "crew.pdf").pages
    assert len(pages) > 5
    assert all(name in page.extract_text() for page in pages)
    assert name in (folder / "day.html").read_text(encoding="utf-8")
    assert name in verify(folder).stdout


def test_parameters_and_where_they_come_from_are_in_the_manifest(street):
    manifest = json.loads((street / "out" / DAY / "manifest.json").read_text(encoding="utf-8"))
    settings, command = manifest["settings"], manifest["command"]

    assert settings["stakes.interval_m"] == {"value": 10.0, "origin": "job"}
    assert settings["target.pass_m"] == {"value": 0.1, "origin": "assumed"}
    assert settings["codes.CL.max_step_m"] == {"value": 15.0, "origin": "job"}
    assert settings["codes.LIP.max_step_m"] == {"value": 30.0, "origin": "assumed"}
    assert settings["shots.formats.2.decimal"] == {"value": ",", "origin": "job"}
    assert settings["shots.formats.2.kind"] == {"value": "points", "origin": "assumed"}
    assert settings["layers.4.name"] == {"value": "clay subgrade", "origin": "job"}
    assert command["day"] == {"value": DAY, "origin": "command line"}
    assert command["pictures"] == {"value": False, "origin": "default"}
    assert {"python", "numpy", "ezdxf"} <= manifest["made_with"].keys()


def test_a_day_before_that_was_run_for_comparing_is_among_the_inputs(tmp_path):
    street = tmp_path / "street"
    shutil.copytree(FIXTURES / "demo", street)
    before = street / "shots" / "2026-05-13"
    before.mkdir()
    shutil.copy(street / "shots" / DAY / "hubs.csv", before)
    result = CliRunner().invoke(main, ["run", str(street)])
    assert result.exit_code in (0, 4), result.output
    manifest = json.loads((street / "out" / DAY / "manifest.json").read_text(encoding="utf-8"))

    assert "shots/2026-05-13/hubs.csv" in {item["file"] for item in manifest["inputs"]}
    assert verify(street / "out" / DAY, "--job", street).exit_code == 0


def test_a_file_that_changes_while_it_is_read_is_refused(tmp_path):
    path = tmp_path / "shots.csv"
    path.write_bytes(b"1,2,3\n")
    seen = see(path)
    assert fingerprint(seen, tmp_path).sha256 == hashlib.sha256(b"1,2,3\n").hexdigest()
    path.write_bytes(b"1,2,4\n1,2,5\n")
    with pytest.raises(Exception, match="changed while it was read"):
        fingerprint(seen, tmp_path)

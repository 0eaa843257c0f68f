"""Volumes, pre-grade and haul of the demo from the command line."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from pipeline.cli import main

FIXTURES = Path(__file__).resolve().parent.parent / "fixtures"
DAY = "2026-05-14"


@pytest.fixture(scope="module")
def street(tmp_path_factory):
    folder = tmp_path_factory.mktemp("earth") / "street"
    shutil.copytree(FIXTURES / "demo", folder)
    assert CliRunner().invoke(main, ["run", str(folder)]).exit_code == 0
    return folder


def said(*words):
    result = CliRunner().invoke(main, [str(word) for word in words])
    assert result.exit_code == 0, result.output
    return result.stdout


def test_stretches_add_up_to_the_whole_and_carry_their_error(street):
    kept = json.loads((street / "out" / DAY / "quantities.json").read_text(encoding="utf-8"))
    whole, detail = kept["layers"]["clay subgrade"], kept["target_in_detail"]

    for name in ("cut_m3", "fill_m3"):
        total = sum(row[name] for row in detail["stretches"])
        # each stretch is rounded to a litre
        assert total == pytest.approx(whole[name], abs=0.0005 * len(detail["stretches"]) + 1e-4)
    assert 0 < detail["standard_error_m3"]["net"] < 50
    with (street / "out" / DAY / "volumes_clay_subgrade.csv").open(newline="") as stream:
        assert len(list(csv.DictReader(stream))) == len(detail["stretches"])


def test_pregrade_recommends_with_a_range_and_says_what_it_assumed(street):
    words = said("pregrade", street, "--equal-costs")

    assert words.startswith("LEAVE CLAY ")
    assert "range " in words
    assert "assumed" in words
    assert "proves nothing" in words  # the rule of thumb was used to tune it, and it says so


def test_without_costs_no_price_is_made_up(street):
    words = said("pregrade", street)

    assert "costs not stated" in words


def test_another_spread_says_what_changes(street):
    before = json.loads(said("pregrade", street, "--equal-costs", "--json"))
    after = json.loads(said("pregrade", street, "--equal-costs", "--spread", "22", "--json"))

    # 9.5 kg/m2 more at 1.25 mm per kg/m2 (field number of the model at these inputs): 12 mm
    assert any("11.9 mm" in line for line in after["words"])
    assert before["words"][0] != after["words"][0]
    (spread,) = (
        row
        for table in after["tables"].values()
        for row in table
        if row.get("input") == "cement spread"
    )
    assert spread["value"] == "22"


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("[sheet]", "[stabilising]\nmix_depth_m = 1.5\n\n[sheet]", "mix_depth_m = 1.5"),
        ("[sheet]", "[stabilising]\nspread_kg_m2 = -3\n\n[sheet]", "spread_kg_m2 = -3"),
        ("[sheet]", '[stabilising]\nlayer = "asphalt"\n\n[sheet]', "none of the layers"),
    ],
)
def test_nonsense_is_refused_by_name(tmp_path, old, new, message):
    folder = tmp_path / "street"
    shutil.copytree(FIXTURES / "demo", folder)
    job = folder / "job.toml"
    job.write_text(job.read_text(encoding="utf-8").replace(old, new, 1), encoding="utf-8")
    result = CliRunner().invoke(main, ["pregrade", str(folder)])

    assert result.exit_code == 3
    assert message in result.stderr


def test_two_mornings_are_compared_and_a_common_shift_is_no_earthwork(tmp_path):
    folder = tmp_path / "street"
    shutil.copytree(FIXTURES / "demo", folder)
    later = folder / "shots" / "2026-05-15"
    shutil.copytree(folder / "shots" / DAY, later)
    rows = (later / "morning.csv").read_text(encoding="utf-8").splitlines()
    lifted = [rows[0]]
    for line in rows[1:]:
        cells = line.split(",")
        cells[3] = f"{float(cells[3]) + 0.030:.3f}"
        lifted.append(",".join(cells))
    (later / "morning.csv").write_text("\n".join(lifted) + "\n", encoding="utf-8")
    hubs = (later / "hubs.csv").read_bytes().decode("utf-8-sig").splitlines()
    up = [hubs[0]]
    for line in hubs[1:]:
        cells = line.split(";")
        cells[3] = f"{float(cells[3].replace(',', '.')) + 0.030:.3f}".replace(".", ",")
        up.append(";".join(cells))
    (later / "hubs.csv").write_text("\n".join(up) + "\n", encoding="utf-8")
    words = said("compare-days", folder, DAY, "2026-05-15")

    # everything stands 30 mm higher: a shift of the datum, no dirt moved
    assert "30 mm" in words

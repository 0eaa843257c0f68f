"""A made-up street in labelled pieces, and its breaks as checks are given them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from pipeline.checks.runs import Profiled
from pipeline.model import BreakLine, Feet, texts

LENGTH = 300.0


@dataclass(frozen=True)
class LabelledStreet:
    """Shots with the truth of what each is: clay, curb, bank, windrow, land or lid."""

    profiled: Profiled
    truth: np.ndarray
    planted: np.ndarray
    line: np.ndarray
    usable: np.ndarray


def _rough(rng, station, offset):
    """A random field of 12 waves, 24 to 64 m long and 9 to 24 m wide, 18 mm of sd in all."""
    along, across = 2 * np.pi / rng.uniform(24, 64, 12), 2 * np.pi / rng.uniform(9, 24, 12)
    phase = rng.uniform(0, 2 * np.pi, 12)
    waves = np.cos(np.outer(station, along) + np.outer(offset, across) + phase)
    return 0.018 * np.sqrt(2 / 12) * waves.sum(axis=1)


def _row(station):
    """One row: two planes of clay, curb faces 3 cm thick, a coded and an uncoded bank, land."""
    clay = [(o, -0.025 * abs(o), code, "clay") for o, code in (
        (-4.6, "EC1"), (-3.7, "LIP"), (-2.0, "GR"), (0.0, "CL"), (2.0, "GR"), (3.7, "LIP"),
        (4.6, "EC2"),
    )]  # fmt: skip
    curb = [
        (s * o, h, f"{code}{1 if s < 0 else 2}", "curb")
        for s in (-1, 1)
        for o, h, code in ((4.90, -0.12, "FL"), (4.93, 0.03, "TC"))
    ]
    bank = [(5.6, -0.12, "BB2", "bank"), (6.0, 0.20, "TB2", "bank"), (-6.0, 0.20, "GR", "bank")]
    land = [(9.0, 0.1, "GR", "land"), (-9.0, 0.1, "GR", "land")]
    return [(station, *shot) for shot in (*clay, *curb, *bank, *land)]


def _things():
    """Two drives with a dropped curb, a windrow along the clay, three lids."""
    drives = [
        (start + ds, -4.93, 0.03 - drop, "TC1", "curb")
        for start in (63.0, 187.0)
        for ds, drop in ((0, 0.0), (1, 0.1), (4, 0.1), (5, 0.0))
    ]
    windrow = [(s, 2.6, 0.235, "GR", "windrow") for s in np.arange(102.0, 163.0, 5.0)]
    lids = [(s, -1.9, -0.3, "MH", "lid") for s in (44.0, 151.0, 222.0)]
    return drives + windrow + lids


@pytest.fixture(scope="session")
def labelled_street():
    """A function: seed, number and sizes of the spikes -> `LabelledStreet`."""

    def make(seed, spikes=20, least=0.15, most=0.80):
        rng = np.random.default_rng(seed)
        shots = [shot for s in np.arange(0.0, LENGTH + 1, 10.0) for shot in _row(s)] + _things()
        station, offset, height = (np.array([shot[k] for shot in shots]) for k in range(3))
        code = texts(shot[3] for shot in shots)
        truth = np.array([shot[4] for shot in shots])
        n = len(shots)
        station = station + rng.uniform(-0.15, 0.15, n)
        offset = offset + np.where(truth == "curb", 0.005, 0.05) * rng.uniform(-1, 1, n)
        soft = np.isin(truth, ["clay", "windrow", "land"])
        height = height + soft * _rough(rng, station, offset) + rng.normal(0, 0.010, n)
        planted = np.zeros(n, dtype=bool)
        planted[rng.choice(np.flatnonzero(truth == "clay"), spikes, replace=False)] = True
        height[planted] += rng.choice([-1, 1], spikes) * rng.uniform(least, most, spikes)
        line = np.array([c[:2] in ("CL", "EC", "FL", "TC", "BB", "TB") for c in code])
        profiled = Profiled(height, station, offset, code)
        return LabelledStreet(profiled, truth, planted, line, truth != "lid")

    return make


@pytest.fixture(scope="session")
def break_line():
    """A function: name, layer, side, offset, height -> a break that is straight and level."""

    def make(name, layer, side, offset, height, ends=(0.0, 100.0)):
        return BreakLine(name, layer, side, ends, np.full(2, offset), np.full(2, height))

    return make


@pytest.fixture(scope="session")
def feet_at():
    """A function: station, offset -> `Feet` on the line."""

    def make(station, offset):
        n = len(station)
        return Feet(station, offset, np.ones(n), np.zeros(n))

    return make

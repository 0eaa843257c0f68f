"""Every reader of a foreign file, as a function of bytes that may only refuse by name.

Used three ways: `python -m tests.fuzz` mutates (coverage-guided), `test_corpus.py`
replays the corpus in every test run, and a crash that was found is added to the
corpus so that it stays found.
"""

from __future__ import annotations

import os
import shutil
import tempfile
import warnings
from collections.abc import Callable
from pathlib import Path

from pipeline.errors import LathError
from pipeline.ingest.csv.read import read_csv
from pipeline.ingest.describe.description import Asked
from pipeline.ingest.describe.files import describe
from pipeline.ingest.dxf.read import read_dxf
from pipeline.ingest.field.gnss import GnssRules, read_gnss
from pipeline.ingest.field.observations import read_level_book, read_observations
from pipeline.ingest.job.control import read_control
from pipeline.ingest.job.design import read_alignment, read_profile
from pipeline.ingest.job.job import read_job
from pipeline.ingest.job.sections import read_sections
from pipeline.ingest.job.utilities import read_utilities
from pipeline.ingest.landxml.observations import read_landxml_observations
from pipeline.ingest.landxml.read import read_landxml
from pipeline.ingest.landxml.survey import read_survey
from pipeline.ingest.las.read import read_las
from pipeline.settings import FileFormat
from pipeline.units import parse_number, parse_station
from tests.fuzz import decoding

ROOT = Path(__file__).resolve().parents[2]
CORPUS = Path(__file__).resolve().parent / "corpus"
DEMO, DATA = ROOT / "fixtures" / "demo", ROOT / "tests" / "data"
FORMATS = (
    FileFormat(),
    FileFormat(decimal=","),
    FileFormat(delimiter=";", header=True),
    FileFormat(header=False, columns=["id", "northing", "easting", "elevation", "code"]),
    FileFormat(unit="ft"),
    FileFormat(unit="ftUS", delimiter="\t"),
    FileFormat(encoding="utf-16"),
    FileFormat(columns={"easting": "x", "northing": "y", "elevation": "z"}),
)
POSITIONS = (
    GnssRules(source_crs="EPSG:4258", local_origin_deg=(60.0, 24.0), separation_m=18.0),
    GnssRules(
        source_crs="EPSG:4258", grid_crs="EPSG:3067", tie_to_control=True, antenna_height_m=2.0
    ),
    GnssRules(),
)


def _table(path: Path) -> None:
    # the size decides how the job says that the file is written: a mutation tries them all
    read_csv(path, FORMATS[path.stat().st_size % len(FORMATS)])


def _positions(path: Path) -> None:
    read_gnss(path, POSITIONS[path.stat().st_size % len(POSITIONS)])


def _job(path: Path) -> None:
    read_job(path)


def _describe(path: Path) -> None:
    describe(path, Asked(), lambda _: None)


def _words(path: Path) -> None:
    text = path.read_bytes().decode("utf-8", "replace")
    for parse in (parse_number, parse_station, lambda one: parse_number(one, decimal=",")):
        try:
            parse(text)
        except ValueError:
            continue


READERS: dict[str, tuple[str, Callable[[Path], object]]] = {
    "table": ("shots.csv", _table),
    "sightings": ("sightings.csv", read_observations),
    "levels": ("levels.csv", read_level_book),
    "positions": ("positions.csv", _positions),
    "landxml": ("terrain.xml", lambda path: read_landxml(path, FileFormat())),
    "landxml-survey": ("survey.xml", read_survey),
    "landxml-sightings": ("sightings.xml", read_landxml_observations),
    "las": ("scan.las", lambda path: read_las(path, FileFormat())),
    "laz": ("scan.laz", decoding.scan),
    "laz-chunk": ("scan.laz", decoding.chunk),
    "dxf": ("map.dxf", lambda path: read_dxf(path, FileFormat())),
    "job": ("job.toml", _job),
    "alignment": ("alignment.csv", read_alignment),
    "profile": ("profile.csv", read_profile),
    "sections": ("sections.toml", read_sections),
    "control": ("control.csv", read_control),
    "utilities": ("utilities.csv", read_utilities),
    "any-file": ("any.dat", _describe),
    "numbers": ("words.txt", _words),
}
"""Reader -> the name that its file bears, and the call."""

SEEDS: dict[str, tuple[Path, ...]] = {
    "landxml": tuple(sorted((DATA / "landxml").glob("*.xml"))),
    "landxml-survey": (CORPUS / "landxml-sightings" / "two_setups_cut.xml",),
    "las": (DATA / "las" / "feet_in_geotiff_keys.las",),
    "dxf": (DATA / "dxf" / "shots_points_lines_r12.dxf", DATA / "dxf" / "broken_r12.dxf"),
    "job": (DEMO / "job.toml", ROOT / "fixtures" / "intersection" / "job.toml"),
    "table": tuple(sorted((DATA / "points").glob("*.[ct][sx][vt]"))),
    "alignment": (DEMO / "design" / "alignment.csv",),
    "profile": (DEMO / "design" / "profile.csv",),
    "sections": (DEMO / "design" / "sections.toml",),
    "control": (DEMO / "control.csv",),
    "utilities": (DEMO / "utilities.csv",),
    "any-file": (DATA / "landxml" / "every_element.xml", DATA / "points" / "pdal_utm17_1.txt"),
}
"""Files that tests and fixtures hold already; the corpus adds what no other test has."""


def seeds(reader: str) -> tuple[Path, ...]:
    """Files that the mutation of a reader starts from."""
    return (*SEEDS.get(reader, ()), *sorted((CORPUS / reader).glob("*")))


class Bench:
    """One reader on one file of its own that is written anew for each try."""

    def __init__(self, reader: str) -> None:
        name, self.call = READERS[reader]
        shm = Path("/dev/shm")
        self.folder = Path(tempfile.mkdtemp(dir=shm if shm.is_dir() else None, prefix="fuzz-"))
        self.path = self.folder / name

    def try_bytes(self, data: bytes) -> str:
        """``read`` or ``refused``; whatever else is raised comes out, and is a crash."""
        with os.fdopen(os.open(self.path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), "wb") as stream:
            stream.write(data)
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            warnings.filterwarnings("default", category=DeprecationWarning)
            try:
                self.call(self.path)
            except LathError as refusal:
                # a message that cannot be printed would be a traceback one step later
                str(refusal).encode("utf-8")
                return "refused"
        return "read"

    def close(self) -> None:
        """Take the file away."""
        shutil.rmtree(self.folder, ignore_errors=True)

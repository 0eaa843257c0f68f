"""Cross-sections of LandXML: ground and design, elevations or heights above the profile."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.errors import InputError
from pipeline.ingest.landxml.read import read_landxml
from pipeline.settings import FileFormat

HEAD = """<?xml version="1.0"?>
<LandXML xmlns="http://www.landxml.org/schema/LandXML-1.2" version="1.2" date="2026-05-14">
<Units><Metric linearUnit="{unit}" areaUnit="squareMeter" volumeUnit="cubicMeter"
 temperatureUnit="celsius" pressureUnit="HPA"/></Units>
<Alignments><Alignment name="A" length="100" staStart="0"><CoordGeom>
<Line><Start>0 0</Start><End>100 0</End></Line></CoordGeom>
<Profile><ProfAlign name="P"><PVI>0 50</PVI><PVI>100 52</PVI></ProfAlign></Profile>
<CrossSects><CrossSect sta="{sta}">{surface}</CrossSect></CrossSects>
</Alignment></Alignments></LandXML>"""
GROUND = '<CrossSectSurf name="EG"><PntList2D>-5 51.2 0 51.0 5 51.3</PntList2D></CrossSectSurf>'
DESIGN = """<DesignCrossSectSurf name="Top" side="both">
<CrossSectPnt code="EP">-4 {left}</CrossSectPnt><CrossSectPnt code="CL">0 {middle}</CrossSectPnt>
<CrossSectPnt>4 {left}</CrossSectPnt></DesignCrossSectSurf>"""


def read(tmp_path, surface, unit="meter", sta="50"):
    path = tmp_path / "sections.xml"
    path.write_text(HEAD.format(unit=unit, sta=sta, surface=surface), encoding="utf-8")
    return read_landxml(path, FileFormat())


def test_a_ground_section_keeps_its_order_and_its_sides(tmp_path):
    reading = read(tmp_path, GROUND)
    (section,) = reading.cross_sections

    assert (section.alignment, section.station, section.name) == ("A", 50.0, "EG")
    assert section.kind == "ground"
    assert section.offset.tolist() == [-5.0, 0.0, 5.0]
    assert section.height.tolist() == [51.2, 51.0, 51.3]
    assert not section.relative
    assert not [finding for finding in reading.findings if "not read" in finding.text]


@pytest.mark.parametrize(
    ("left", "middle", "relative"), [(50.88, 51.0, False), (-0.12, 0.0, True), (-0.8, -0.7, True)]
)
def test_heights_above_the_profile_are_told_from_elevations(tmp_path, left, middle, relative):
    # both are met in real files (a measured fact of the shared notes); the profile is at 51
    (section,) = read(tmp_path, DESIGN.format(left=left, middle=middle)).cross_sections

    assert section.relative is relative
    assert section.code.tolist() == ["EP", "CL", ""]


def test_feet_become_metres(tmp_path):
    surface = '<CrossSectSurf name="EG"><PntList2D>-10 100 10 200</PntList2D></CrossSectSurf>'
    path = tmp_path / "feet.xml"
    text = HEAD.format(unit="foot", sta="100", surface=surface)
    path.write_text(text.replace("Metric", "Imperial"), encoding="utf-8")
    (section,) = read_landxml(path, FileFormat()).cross_sections

    assert section.station == pytest.approx(30.48)
    np.testing.assert_allclose(section.offset, [-3.048, 3.048])
    np.testing.assert_allclose(section.height, [30.48, 60.96])


@pytest.mark.parametrize(
    ("surface", "message"),
    [
        ('<CrossSectSurf name="E"><PntList2D>-5 51 0</PntList2D></CrossSectSurf>', "groups of 2"),
        ('<CrossSectSurf name="E"><PntList2D>-5 x</PntList2D></CrossSectSurf>', "not a number"),
    ],
)
def test_a_broken_list_is_refused_with_its_line(tmp_path, surface, message):
    with pytest.raises(InputError, match=message):
        read(tmp_path, surface)


def test_a_station_that_is_no_number_is_refused(tmp_path):
    with pytest.raises(InputError, match="not a number"):
        read(tmp_path, GROUND, sta="fifty")

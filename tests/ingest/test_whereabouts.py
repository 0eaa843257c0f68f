"""Where a file lies by its label, and the way to WGS 84.

Independent answers: published projections (REF-CO-1, 2, 4), and the arc of the meridian by
numerical quadrature of the ellipse.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from pyproj import CRS
from scipy.integrate import quad

from pipeline.errors import InputError
from pipeline.ingest.wgs84 import to_wgs84
from pipeline.ingest.whereabouts import known_crs, whereabouts


def box(east, north, half=5.0):
    return east - half, north - half, east + half, north + half


@pytest.mark.parametrize("name", ["REF-CO-1", "REF-CO-2", "REF-CO-4"])
def test_published_places_are_where_they_are(published, name):
    ref = published(name)
    grid = CRS.from_user_input(ref.inputs["crs"].split(" to ")[1])
    place = whereabouts(grid, box(ref.expected["E"], ref.expected["N"]), None)

    # 1e-6 degrees are about 0.1 m; the published grid values are rounded to a centimetre
    assert place.longitude == pytest.approx(ref.inputs["lon"], abs=1e-6)
    assert place.latitude == pytest.approx(ref.inputs["lat"], abs=1e-6)
    assert place.oddity == ""


def test_a_place_in_metres_on_a_grid_in_feet(published):
    ref = published("REF-CO-2")  # US survey feet
    metres = 1200.0 / 3937.0  # definition; see REF-CO-9
    east, north = ref.expected["E"] * metres, ref.expected["N"] * metres
    place = whereabouts(CRS.from_epsg(32040), box(east, north), 1.0)

    assert place.longitude == pytest.approx(ref.inputs["lon"], abs=1e-6)
    assert place.latitude == pytest.approx(ref.inputs["lat"], abs=1e-6)


def test_swapped_axes_are_told_by_where_they_lead():
    # a road of the open road's grid with its axes exchanged: pyproj says 80.5 W, 2.6 S, no error
    place = whereabouts(CRS.from_epsg(3875), box(6782560.0, 21530239.0), 1.0)

    assert "outside the area" in place.oddity
    assert "with easting and northing exchanged they would lie inside" in place.oddity


def test_nothing_is_said_of_a_system_that_is_no_grid():
    assert whereabouts(CRS.from_epsg(4326), box(20.0, 60.0, 1.0), None) is None
    assert known_crs("a grid of our own") is None
    assert known_crs("") is None


def meridian(latitude):
    """Arc of the WGS 84 meridian from the equator [m], by quadrature."""
    a, f = 6378137.0, 1 / 298.257223563  # defining constants of WGS 84
    e2 = f * (2 - f)
    return quad(lambda p: a * (1 - e2) / (1 - e2 * math.sin(p) ** 2) ** 1.5, 0, latitude)[0]


def test_the_middle_of_a_zone_on_wgs84_is_the_meridian_arc():
    # UTM: scale 0.9996 and E 500 000 on the central meridian, zone 17 at 81 W
    north = 0.9996 * meridian(math.radians(39.0))
    onto = to_wgs84("EPSG:32617", box(500000.0, north), "a.csv")
    longitude, latitude = onto.degrees(np.array([500000.0]), np.array([north]))

    assert longitude[0] == pytest.approx(-81.0, abs=1e-10)
    assert latitude[0] == pytest.approx(39.0, abs=1e-9)
    assert "without a datum shift" in onto.words


def test_a_datum_shift_is_named_with_its_accuracy():
    onto = to_wgs84("EPSG:3875", box(21530239.0, 6782560.0), "a.xml")

    assert "ETRS89 to WGS 84" in onto.words
    assert "good to 1 m" in onto.words


@pytest.mark.parametrize(
    ("crs", "at", "message"),
    [
        ("", (0.0, 0.0), "a.csv: does not say its coordinate system"),
        ("our grid", (0.0, 0.0), '"our grid" is not known here'),
        ("EPSG:4326", (0.0, 0.0), '"EPSG:4326" is no plane grid'),
        ("EPSG:26910", (494000.0, 4877430.0), r"needs us_noaa_WO\.tif .*not installed here"),
        ("EPSG:27700", (530000.0, 180000.0), r"needs uk_os_OSTN15_NTv2_OSGBtoETRS\.tif"),
        ("EPSG:3875", (0.0, 0.0), "outside the area that this is made for"),
    ],
)
def test_what_cannot_get_to_wgs84_is_refused_by_name(crs, at, message):
    with pytest.raises(InputError, match=message):
        to_wgs84(crs, box(*at), "a.csv")


def test_a_point_beyond_the_projection_is_refused():
    onto = to_wgs84("EPSG:32617", box(500000.0, 4300000.0), "a.csv")

    with pytest.raises(InputError, match="a point lies where this system has no place"):
        onto.degrees(np.array([500000.0, 9e8]), np.array([4300000.0, 9e8]))

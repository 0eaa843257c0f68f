"""GeoJSON against the rules of RFC 7946, read back by the standard library and shapely."""

from __future__ import annotations

import json

import numpy as np
import pytest
import shapely

from pipeline.deliver.geojson import Places, Way, geojson_pieces
from pipeline.model import texts


def collection(places=(), ways=(), **about):
    def refuse(name):
        raise ValueError(name)

    text = b"".join(geojson_pieces(places, ways, about)).decode("utf-8")
    return json.loads(text, parse_constant=refuse)


def places(*rows):
    lon, lat, up = np.array([row[:3] for row in rows], dtype=float).reshape(-1, 3).T
    words = [texts(row[k] for row in rows) for k in (3, 4, 5)]
    return Places(lon, lat, up, *words)


def test_points_are_longitude_first_in_degrees_without_a_third_coordinate():
    read = collection([places((21.5616, 61.152, 17.1787, "1", "EC", 'Köhler\'s "gate"'))])
    (feature,) = read["features"]

    assert read["type"] == "FeatureCollection"
    assert feature == {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [21.5616, 61.152]},
        "properties": {
            "id": "1",
            "elevation_m": 17.1787,
            "code": "EC",
            "note": 'Köhler\'s "gate"',
        },
    }
    assert "ellipsoid" in read["about"]["heights"]
    # RFC 7946, section 4: no "crs" member any more
    assert "crs" not in read


def test_a_height_that_nobody_measured_is_not_there():
    read = collection([places((1.0, 2.0, np.nan, "1", "", ""))])

    assert read["features"][0]["properties"] == {"id": "1"}


def test_lines_are_lines_to_shapely():
    way = Way("curb", "break", [1.0, 1.5, 2.0], [50.0, 50.5, 50.0], [3.0, np.nan, 4.0])
    short = Way("dot", "break", [1.0], [50.0])
    read = collection([], [way, short], operation="none")
    (feature,) = read["features"]

    line = shapely.from_geojson(json.dumps(feature["geometry"]))
    assert line.equals(shapely.LineString([(1, 50), (1.5, 50.5), (2, 50)]))
    assert feature["properties"] == {
        "name": "curb",
        "kind": "break",
        "elevations_m": [3.0, None, 4.0],
    }
    assert read["about"]["operation"] == "none"


def test_nothing_is_an_empty_collection():
    assert collection()["features"] == []


@pytest.mark.parametrize("count", [1, 9_999, 10_000, 25_001])
def test_pieces_join_at_any_length(count):
    rows = np.arange(count)
    blank = texts([""] * count)
    one = Places(rows / 1e5, rows / 1e6, rows * 1.0, texts(map(str, rows)), blank, blank)
    read = collection([one])

    assert [feature["properties"]["id"] for feature in read["features"]] == [str(k) for k in rows]

// The design at one place, every layer, with the ground and the cut or fill.

/** The street of the page's data, ready to be asked. */
function makeStreet(data) {
  return {
    line: makeLine(data.line),
    profile: makeProfile(data.profile),
    layers: data.layers.map((layer) => makeLayer(layer, data.origin)),
    ground: makeTin(data.ground, data.origin),
    target: data.target,
  };
}

/** The place at an easting and a northing: the nearest foot of the perpendicular. */
function placeOnGrid(street, easting, northing) {
  const [foot, ...others] = feetOf(street.line, easting, northing);
  const place = { station: foot.station, offset: foot.offset, easting, northing };
  return withHeights(street, place, others);
}

/** The place at a station and an offset. */
function placeOnLine(street, station, offset) {
  const { easting, northing } = pointAt(street.line, station, offset);
  const place = { station, offset, easting, northing };
  return withHeights(street, place, feetOf(street.line, easting, northing));
}

function withHeights(street, place, feet) {
  const ground = heightOn(street.ground, place.easting, place.northing);
  const layers = street.layers.map((layer) => {
    const elevation = layerAt(street, layer, place);
    return { name: layer.name, title: layer.title, elevation, cut: ground - elevation };
  });
  const others = feet.filter((foot) => Math.abs(foot.station - place.station) > 1e-3);
  return { ...place, ground, layers, others };
}

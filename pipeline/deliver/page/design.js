// The design: profile and cross-sections, evaluated at any station and offset.

const DESIGN_SLACK_M = 1e-6;

function makeProfile(data) {
  return {
    station: floats(data.station),
    elevation: floats(data.elevation),
    gradeStart: floats(data.grade_start),
    gradeEnd: floats(data.grade_end),
    radius: Float64Array.from(data.radius, (value) => (value === null ? Infinity : value)),
  };
}

/** Elevation of the profile; NaN off its ends and where it is contradicted. */
function profileAt(profile, station) {
  const ends = profile.station;
  const count = profile.elevation.length;
  if (!(station >= ends[0] - DESIGN_SLACK_M && station <= ends[count] + DESIGN_SLACK_M)) return NaN;
  const k = clamp(countUpTo(ends, station) - 1, 0, count - 1);
  const x = station - ends[k];
  const [g0, g1, radius] = [profile.gradeStart[k], profile.gradeEnd[k], profile.radius[k]];
  if (!Number.isFinite(radius)) {
    const grade = g0 + (g1 - g0) * (x / (ends[k + 1] - ends[k]));
    return profile.elevation[k] + 0.5 * x * (g0 + grade);
  }
  const u0 = g0 / Math.sqrt(1 + g0 * g0);
  const u = clamp(u0 + x / radius, -1, 1);
  return profile.elevation[k] + (x * (u + u0)) / (Math.sqrt(1 - u0 * u0) + Math.sqrt(1 - u * u));
}

/** Layers from the top down: sections, or a surface of its own. */
function makeLayer(data, origin) {
  const layer = { name: data.name, title: data.title };
  if (data.surface) return { ...layer, surface: makeTin(data.surface, origin) };
  const breaks = data.breaks.length;
  const crown = data.side.indexOf(0);
  const pairs = [];
  for (let j = crown; j < breaks - 1; j += 1) pairs.push([j, j + 1]);
  for (let j = crown; j > 0; j -= 1) pairs.push([j, j - 1]);
  return {
    ...layer,
    breaks: data.breaks,
    side: data.side,
    station: floats(data.station),
    offset: floats(data.offset),
    rise: floats(data.rise),
    pairs,
  };
}

/** The two sections around a station and the share of the way between them; null off them. */
function spanOf(layer, station) {
  const { station: rows } = layer;
  const last = rows.length - 1;
  if (!(station >= rows[0] - DESIGN_SLACK_M && station <= rows[last] + DESIGN_SLACK_M)) return null;
  const row = clamp(countUpTo(rows, station) - 1, 0, last - 1);
  return { row, share: clamp((station - rows[row]) / (rows[row + 1] - rows[row]), 0, 1) };
}

function betweenSections(layer, values, column, span) {
  const at = span.row * layer.breaks.length + column;
  return values[at] + span.share * (values[at + layer.breaks.length] - values[at]);
}

/** Height of a section layer above the profile, from the crown outward; NaN off the section. */
function riseAt(layer, station, offset) {
  const span = spanOf(layer, station);
  if (!span) return NaN;
  for (const [inner, outer] of layer.pairs) {
    const near = betweenSections(layer, layer.offset, inner, span);
    const far = betweenSections(layer, layer.offset, outer, span);
    const width = Math.abs(far - near);
    const out = (offset - near) * Math.sign(outer - inner);
    if (width > DESIGN_SLACK_M && out >= -DESIGN_SLACK_M && out <= width + DESIGN_SLACK_M) {
      const low = betweenSections(layer, layer.rise, inner, span);
      const high = betweenSections(layer, layer.rise, outer, span);
      return low + ((high - low) / (far - near)) * (offset - near);
    }
  }
  return NaN;
}

/** Elevation of the profile, NaN also off the alignment. */
function onLine(street, station) {
  const { line, profile } = street;
  const on = station >= line.first - DESIGN_SLACK_M && station <= line.last + DESIGN_SLACK_M;
  return on ? profileAt(profile, station) : NaN;
}

/** Elevation of one layer at a place known both ways; NaN where it is not designed. */
function layerAt(street, layer, place) {
  if (layer.surface) return heightOn(layer.surface, place.easting, place.northing);
  return onLine(street, place.station) + riseAt(layer, place.station, place.offset);
}

/** Offsets and elevations of a layer's breaks at a station, left to right. */
function sectionAt(street, layer, station) {
  const span = spanOf(layer, station);
  const height = onLine(street, station);
  if (!span || Number.isNaN(height)) return [];
  return layer.breaks
    .map((name, column) => ({
      name,
      offset: betweenSections(layer, layer.offset, column, span),
      elevation: height + betweenSections(layer, layer.rise, column, span),
    }))
    .filter((point) => !Number.isNaN(point.elevation));
}

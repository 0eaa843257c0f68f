// The alignment: from easting and northing to station and offset, and back. It comes in
// pieces that turn one way and at most a quarter circle, as the program itself cuts it.

const LINE_SLACK_M = 1e-6;
const SAME_FOOT_M = 1e-4;

/** Nodes and weights of the 32-point Gauss-Legendre rule on [-1, 1], by Newton's method. */
const GAUSS = (() => {
  const n = 32;
  const rule = [];
  for (let i = 0; i < n; i += 1) {
    let x = Math.cos((Math.PI * (i + 0.75)) / (n + 0.5));
    let slope = 1;
    for (let step = 0; step < 20; step += 1) {
      let [p, before] = [1, 0];
      for (let k = 1; k <= n; k += 1) [p, before] = [((2 * k - 1) * x * p - (k - 1) * before) / k, p];
      slope = (n * (before - x * p)) / (1 - x * x);
      x -= p / slope;
    }
    rule.push([x, 2 / ((1 - x * x) * slope * slope)]);
  }
  return rule;
})();

/** Ahead, right and turned after s metres with this curvature and change of curvature. */
function inFrame(s, curvature, rate) {
  const turned = s * (curvature + 0.5 * rate * s);
  if (rate === 0) {
    const half = 0.5 * curvature * s;
    const chord = half === 0 ? s : (s * Math.sin(half)) / half;
    return [chord * Math.cos(half), chord * Math.sin(half), turned];
  }
  let x = 0;
  let y = 0;
  for (const [node, weight] of GAUSS) {
    const t = 0.5 * (1 + node) * s;
    const theta = t * (curvature + 0.5 * rate * t);
    x += 0.5 * weight * Math.cos(theta);
    y += 0.5 * weight * Math.sin(theta);
  }
  return [s * x, s * y, turned];
}

/** The alignment of the page's data: `origin` is where its local coordinates begin. */
function makeLine(data) {
  const pieces = data.pieces.map((row) => ({
    station: row[0],
    length: row[1],
    start: { x: row[2], y: row[3], sin: row[4], cos: row[5] },
    end: { x: row[6], y: row[7], sin: row[8], cos: row[9] },
    curvature: row[10],
    rate: row[11],
    smooth: row[12] === 1,
  }));
  const last = pieces[pieces.length - 1];
  return {
    origin: data.origin,
    regions: makeRegions(data.regions),
    pieces,
    stations: pieces.map((piece) => piece.station),
    first: pieces[0].station,
    last: last.station + last.length,
  };
}

function ahead(ray, x, y) {
  return x * ray.sin + (y * ray.cos - (ray.x * ray.sin + ray.y * ray.cos));
}

function right(ray, x, y) {
  return x * ray.cos - (y * ray.sin + (ray.x * ray.cos - ray.y * ray.sin));
}

/** Easting, northing and direction (sine, cosine of the azimuth) at a station and offset. */
function pointAt(line, station, offset) {
  const number = clamp(countUpTo(line.stations, station) - 1, 0, line.pieces.length - 1);
  const piece = line.pieces[number];
  const along = clamp(station - piece.station, 0, piece.length);
  const past = station - piece.station - along;
  const [x, y, turned] = inFrame(along, piece.curvature, piece.rate);
  const { sin, cos } = piece.start;
  const sinHere = sin * Math.cos(turned) + cos * Math.sin(turned);
  const cosHere = cos * Math.cos(turned) - sin * Math.sin(turned);
  return {
    easting: line.origin[0] + (piece.start.x + x * sin + y * cos + past * sinHere + offset * cosHere),
    northing: line.origin[1] + (piece.start.y + x * cos - y * sin + past * cosHere - offset * sinHere),
    sin: sinHere,
    cos: cosHere,
  };
}

/** How far a point (u ahead, v right of a piece's start) lies ahead of the normal at s. */
function lagAt(piece, u, v, s) {
  const [x, y, turned] = inFrame(s, piece.curvature, piece.rate);
  const cos = Math.cos(turned);
  const sin = Math.sin(turned);
  return [(u - x) * cos + (v - y) * sin, (v - y) * cos - (u - x) * sin];
}

/** The one foot between two bounds; `falling`: the lag falls from the lower to the upper. */
function squareTo(piece, u, v, bounds, falling) {
  let [low, high] = bounds;
  let s = 0.5 * (low + high);
  let offset = 0;
  for (let step = 0; step < 80; step += 1) {
    const [lag, here] = lagAt(piece, u, v, s);
    offset = here;
    if (lag > 0 === falling) low = s;
    else high = s;
    const slope = (piece.curvature + piece.rate * s) * offset - 1;
    let next = s - lag / (slope === 0 ? 1e-300 : slope);
    if (!(next >= low && next <= high)) next = 0.5 * (low + high);
    const moved = Math.abs(next - s);
    s = next;
    if (moved < 1e-7) break;
  }
  return [s, offset];
}

/** Where the lag stops growing or falling between two bounds, by halving. */
function turningBack(piece, u, v, bounds) {
  let [low, high] = bounds;
  const grows = (s) => (piece.curvature + piece.rate * s) * lagAt(piece, u, v, s)[1] > 1;
  const atLow = grows(low);
  for (let step = 0; step < 50; step += 1) {
    const middle = 0.5 * (low + high);
    if (grows(middle) === atLow) low = middle;
    else high = middle;
  }
  return 0.5 * (low + high);
}

/** Any feet on a clothoid: step by step, and where the lag turns back. */
function feetOnClothoid(piece, x, y) {
  const u = ahead(piece.start, x, y);
  const v = right(piece.start, x, y);
  const steps = 8;
  const found = [];
  const reach = piece.length + 2 * LINE_SLACK_M;
  const nodes = Array.from({ length: steps + 1 }, (_, k) => (k * reach) / steps - LINE_SLACK_M);
  const lags = nodes.map((node) => lagAt(piece, u, v, node));
  const grows = nodes.map((node, k) => (piece.curvature + piece.rate * node) * lags[k][1] > 1);
  for (let k = 0; k < steps; k += 1) {
    const [low, high] = [nodes[k], nodes[k + 1]];
    const [isAhead, willBe] = [lags[k][0] > 0, lags[k + 1][0] > 0];
    if (isAhead !== willBe) {
      found.push(squareTo(piece, u, v, [low, high], isAhead));
    } else if (grows[k] !== grows[k + 1]) {
      const turn = turningBack(piece, u, v, [low, high]);
      if (lagAt(piece, u, v, turn)[0] > 0 !== isAhead) {
        found.push(squareTo(piece, u, v, [low, turn], isAhead));
        found.push(squareTo(piece, u, v, [turn, high], !isAhead));
      }
    }
  }
  return found;
}

/** Feet of a point on one piece, as [along, offset]. */
function feetOn(piece, x, y, before, past) {
  let found = [];
  if (piece.rate !== 0) {
    found = feetOnClothoid(piece, x, y);
  } else if (piece.curvature === 0) {
    if (before >= -LINE_SLACK_M && past <= LINE_SLACK_M) found = [[before, right(piece.start, x, y)]];
  } else {
    const k = piece.curvature;
    const u = ahead(piece.start, x, y);
    const v = right(piece.start, x, y);
    const [cos, sin] = [1 - k * v, k * u];
    const out = Math.sqrt(cos * cos + sin * sin);
    if (before >= -LINE_SLACK_M && past <= LINE_SLACK_M) {
      found.push([Math.atan2(sin, cos) / k, (2 * v - k * (u * u + v * v)) / (1 + out)]);
    }
    if (before <= LINE_SLACK_M && past >= -LINE_SLACK_M) {
      found.push([Math.atan2(-sin, -cos) / k, (1 + out) / k]);
    }
  }
  return found.filter(([along]) => along >= -LINE_SLACK_M && along <= piece.length + LINE_SLACK_M);
}

/** Outside a kink no perpendicular exists: the corner itself, and the distance to it. */
function cornerFoot(end, piece, x, y) {
  const { start } = piece;
  const squared = Math.min(
    (x - end.x) ** 2 + (y - end.y) ** 2,
    (x - start.x) ** 2 + (y - start.y) ** 2,
  );
  const side = Math.sign(right(end, x, y) + right(start, x, y)) || 1;
  return { station: piece.station, offset: side * Math.sqrt(squared), squared };
}

/** Every station and offset of a place, the nearest first, then the others by length. */
function feetOf(line, easting, northing) {
  const x = easting - line.origin[0];
  const y = northing - line.origin[1];
  const all = [];
  let best = { squared: Infinity };
  const keep = (foot) => {
    if (foot.squared < best.squared) best = foot;
  };
  let pastBefore = NaN;
  line.pieces.forEach((piece, number) => {
    const before = piece.smooth ? pastBefore : ahead(piece.start, x, y);
    const past = ahead(piece.end, x, y);
    for (const [along, offset] of feetOn(piece, x, y, before, past)) {
      const foot = { station: piece.station + along, offset, squared: offset * offset };
      all.push(foot);
      keep(foot);
    }
    if (number === 0) keep(beyondEnd(piece.start, piece.station, x, y, before < -LINE_SLACK_M));
    else if (!piece.smooth && pastBefore > 0 && before < 0) {
      keep(cornerFoot(line.pieces[number - 1].end, piece, x, y));
    }
    pastBefore = past;
  });
  const last = line.pieces[line.pieces.length - 1];
  keep(beyondEnd(last.end, line.last, x, y, pastBefore > LINE_SLACK_M));
  all.sort((a, b) => a.squared - b.squared || a.station - b.station);
  const kept = [best];
  for (const foot of all) {
    const apart = (other) => Math.hypot(foot.station - other.station, foot.offset - other.offset);
    if (kept.every((other) => apart(other) > 2 * SAME_FOOT_M)) kept.push(foot);
  }
  return kept;
}

/** On along the tangent, off an end of the alignment. */
function beyondEnd(end, station, x, y, off) {
  if (!off) return { squared: Infinity };
  const along = ahead(end, x, y);
  const offset = right(end, x, y);
  return { station: station + along, offset, squared: along * along + offset * offset };
}

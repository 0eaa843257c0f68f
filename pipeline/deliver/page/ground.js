// Triangulated surfaces: which triangle a place lies in, and the height there.

const ON_EDGE_M = 1e-9;

/** A surface of the page's data; coordinates are near `origin`. */
function makeTin(data, origin) {
  const scaled = (packed) => unpack(packed).map((value) => value * data.step);
  return {
    origin,
    x: scaled(data.x),
    y: scaled(data.y),
    z: scaled(data.z),
    triangles: Int32Array.from(unpack(data.triangles)),
    cells: null,
  };
}

/** West, south, east and north of all triangles. */
function reachOfTin({ x, y, triangles }) {
  let [west, south, east, north] = [Infinity, Infinity, -Infinity, -Infinity];
  for (let k = 0; k < triangles.length; k += 1) {
    const v = triangles[k];
    if (x[v] < west) west = x[v];
    if (x[v] > east) east = x[v];
    if (y[v] < south) south = y[v];
    if (y[v] > north) north = y[v];
  }
  return { west, south, east, north };
}

/** The cells that each triangle's box reaches: first and last column, first and last row. */
function spansOf({ x, y, triangles }, grid) {
  const spans = new Int32Array((triangles.length / 3) * 4);
  const column = (value) => clamp(Math.floor((value - grid.west) / grid.side), 0, grid.columns - 1);
  const row = (value) => clamp(Math.floor((value - grid.south) / grid.side), 0, grid.rows - 1);
  for (let k = 0, at = 0; k < triangles.length; k += 3, at += 4) {
    const [a, b, c] = [triangles[k], triangles[k + 1], triangles[k + 2]];
    spans[at] = column(Math.min(x[a], x[b], x[c]) - ON_EDGE_M);
    spans[at + 1] = column(Math.max(x[a], x[b], x[c]) + ON_EDGE_M);
    spans[at + 2] = row(Math.min(y[a], y[b], y[c]) - ON_EDGE_M);
    spans[at + 3] = row(Math.max(y[a], y[b], y[c]) + ON_EDGE_M);
  }
  return spans;
}

/** Triangles by square cell, made when the first place is asked for. */
function cellsOf(tin) {
  if (tin.cells) return tin.cells;
  const count = tin.triangles.length / 3;
  const reach = reachOfTin(tin);
  const [width, height] = [reach.east - reach.west, reach.north - reach.south];
  const side = Math.max(Math.sqrt((Math.max(width, 1e-3) * Math.max(height, 1e-3)) / count), 1e-3);
  const columns = Math.floor(width / side) + 1;
  const grid = { ...reach, side, columns, rows: Math.floor(height / side) + 1 };
  const spans = spansOf(tin, grid);
  const start = new Int32Array(columns * grid.rows + 1);
  let listed = null;
  // once to count and once to list
  for (const listing of [false, true]) {
    for (let t = 0, at = 0; t < count; t += 1, at += 4) {
      for (let row = spans[at + 2]; row <= spans[at + 3]; row += 1) {
        const first = row * columns;
        for (let cell = first + spans[at]; cell <= first + spans[at + 1]; cell += 1) {
          if (listing) listed[start[cell]] = t;
          start[cell + (listing ? 0 : 1)] += 1;
        }
      }
    }
    if (!listing) {
      for (let cell = 0; cell < columns * grid.rows; cell += 1) start[cell + 1] += start[cell];
      listed = new Int32Array(start[columns * grid.rows]);
    }
  }
  // the listing moved every start to the next one's place
  start.copyWithin(1, 0);
  start[0] = 0;
  tin.cells = { ...grid, start, listed };
  return tin.cells;
}

/** Whether a place lies in a triangle, or within a nanometre of its edges. */
function insideTriangle(tin, t, px, py) {
  const { x, y, triangles } = tin;
  for (let k = 0; k < 3; k += 1) {
    const u = triangles[3 * t + k];
    const v = triangles[3 * t + ((k + 1) % 3)];
    const [ux, uy, vx, vy] = [x[u] - px, y[u] - py, x[v] - px, y[v] - py];
    if (!(ux * vy - uy * vx >= -ON_EDGE_M * (Math.abs(vx - ux) + Math.abs(vy - uy)))) return false;
  }
  return true;
}

/** The lowest-numbered triangle at a place, -1 for none. */
function triangleAt(tin, px, py) {
  const cells = cellsOf(tin);
  const column = Math.floor((px - cells.west) / cells.side);
  const row = Math.floor((py - cells.south) / cells.side);
  if (!(column >= -1 && column <= cells.columns && row >= -1 && row <= cells.rows)) return -1;
  const cell =
    clamp(row, 0, cells.rows - 1) * cells.columns + clamp(column, 0, cells.columns - 1);
  for (let k = cells.start[cell]; k < cells.start[cell + 1]; k += 1) {
    if (insideTriangle(tin, cells.listed[k], px, py)) return cells.listed[k];
  }
  return -1;
}

/** Elevation of a surface at a place on the job grid; NaN where there is none. */
function heightOn(tin, easting, northing) {
  const px = easting - tin.origin[0];
  const py = northing - tin.origin[1];
  if (!tin.triangles.length) return NaN;
  const t = triangleAt(tin, px, py);
  if (t < 0) return NaN;
  const corner = [0, 1, 2].map((k) => tin.triangles[3 * t + k]);
  const x = corner.map((v) => tin.x[v] - px);
  const y = corner.map((v) => tin.y[v] - py);
  const z = corner.map((v) => tin.z[v]);
  // weight of a corner: the area between the place and the edge opposite
  const weight = [0, 1, 2].map((k) => x[(k + 1) % 3] * y[(k + 2) % 3] - y[(k + 1) % 3] * x[(k + 2) % 3]);
  const total = weight[0] + weight[1] + weight[2];
  const base = z[weight.indexOf(Math.max(...weight))];
  if (!(total > 0)) return base;
  return base + weight.reduce((sum, w, k) => sum + (w / total) * (z[k] - base), 0);
}

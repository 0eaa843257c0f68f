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

/** Triangles by square cell, made when the first place is asked for. */
function cellsOf(tin) {
  if (tin.cells) return tin.cells;
  const { x, y, triangles } = tin;
  const count = triangles.length / 3;
  const reach = { west: Infinity, south: Infinity, east: -Infinity, north: -Infinity };
  for (let k = 0; k < triangles.length; k += 1) {
    const v = triangles[k];
    reach.west = Math.min(reach.west, x[v]);
    reach.east = Math.max(reach.east, x[v]);
    reach.south = Math.min(reach.south, y[v]);
    reach.north = Math.max(reach.north, y[v]);
  }
  const area = Math.max(reach.east - reach.west, 1e-3) * Math.max(reach.north - reach.south, 1e-3);
  const side = Math.max(Math.sqrt(area / Math.max(count, 1)), 1e-3);
  const columns = Math.floor((reach.east - reach.west) / side) + 1;
  const rows = Math.floor((reach.north - reach.south) / side) + 1;
  const span = (t) => {
    const [a, b, c] = [triangles[3 * t], triangles[3 * t + 1], triangles[3 * t + 2]];
    const at = (value, low, most) => clamp(Math.floor((value - low) / side), 0, most - 1);
    return [
      at(Math.min(x[a], x[b], x[c]) - ON_EDGE_M, reach.west, columns),
      at(Math.max(x[a], x[b], x[c]) + ON_EDGE_M, reach.west, columns),
      at(Math.min(y[a], y[b], y[c]) - ON_EDGE_M, reach.south, rows),
      at(Math.max(y[a], y[b], y[c]) + ON_EDGE_M, reach.south, rows),
    ];
  };
  const start = new Int32Array(columns * rows + 1);
  const each = (visit) => {
    for (let t = 0; t < count; t += 1) {
      const [left, most, bottom, top] = span(t);
      for (let row = bottom; row <= top; row += 1) {
        for (let column = left; column <= most; column += 1) visit(row * columns + column, t);
      }
    }
  };
  each((cell) => {
    start[cell + 1] += 1;
  });
  for (let cell = 0; cell < columns * rows; cell += 1) start[cell + 1] += start[cell];
  const next = start.slice();
  const listed = new Int32Array(start[columns * rows]);
  each((cell, t) => {
    listed[next[cell]] = t;
    next[cell] += 1;
  });
  tin.cells = { ...reach, side, columns, rows, start, listed };
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

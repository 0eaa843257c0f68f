// The plan on a canvas: drawn anew at every move, in metres near the data's origin.

const FONT = "bold 16px system-ui, sans-serif";
const DOT_SCALE = 5;
const SHOT_SCALE = 10;
const NAME_SCALE = 16;

const INKS = {
  bright: { paper: "#ffffff", ink: "#000000", halo: "#ffffff", design: "#004d40", shot: "#333333" },
  dark: { paper: "#101010", ink: "#ffffff", halo: "#101010", design: "#7fe0c8", shot: "#cccccc" },
};

/** Lines of the page's data: x, y and where each line starts. */
function makeLines(data) {
  const scaled = (packed) => unpack(packed).map((value) => value * data.step);
  return { x: scaled(data.x), y: scaled(data.y), start: unpack(data.start) };
}

function pathOf(lines, closed) {
  const path = new Path2D();
  for (let k = 0; k + 1 < lines.start.length; k += 1) {
    for (let i = lines.start[k]; i < lines.start[k + 1]; i += 1) {
      if (i === lines.start[k]) path.moveTo(lines.x[i], lines.y[i]);
      else path.lineTo(lines.x[i], lines.y[i]);
    }
    if (closed) path.closePath();
  }
  return path;
}

/** A tile of strokes: cut leans to the right, fill to the left, closer where there is more. */
function strokeTile(side, number, colour) {
  const size = [28, 20, 14, 10, 8][number - 1];
  const tile = document.createElement("canvas");
  tile.width = size;
  tile.height = size;
  const pen = tile.getContext("2d");
  pen.strokeStyle = colour;
  pen.lineWidth = 1.3;
  pen.beginPath();
  for (const shift of [-size, 0, size]) {
    // twice over the corners, so that neighbouring tiles join
    if (side === "fill") {
      pen.moveTo(shift, 0);
      pen.lineTo(shift + size, size);
    } else {
      pen.moveTo(shift + size, 0);
      pen.lineTo(shift, size);
    }
  }
  pen.stroke();
  return tile;
}

/** The pen for the strokes over a band: dark on a light colour, light on a dark one. */
function strokeColour(colour) {
  const [r, g, b] = [1, 3, 5].map((k) => parseInt(colour.slice(k, k + 2), 16));
  return 0.3 * r + 0.6 * g + 0.1 * b > 120 ? "#00000088" : "#ffffffaa";
}

/** The breaks of a layer as lines, sampled so that a bend looks like one. */
function breakLines(street, layer) {
  if (layer.surface) return outlineOf(layer.surface);
  const lines = { x: [], y: [], start: [0] };
  const rows = [...layer.station].flatMap((station) => [station - 1e-4, station + 1e-4]);
  const [first, last] = [layer.station[0], layer.station[layer.station.length - 1]];
  const stations = [...rows, first, last];
  for (let s = Math.ceil(first); s < last; s += 2) stations.push(s);
  const inside = stations.filter((s) => s >= first && s <= last).sort((a, b) => a - b);
  layer.breaks.forEach((_, column) => {
    for (const station of inside) {
      const span = spanOf(layer, station);
      const offset = span ? betweenSections(layer, layer.offset, column, span) : NaN;
      if (Number.isNaN(offset) || Number.isNaN(onLine(street, station))) continue;
      const { easting, northing } = pointAt(street.line, station, offset);
      lines.x.push(easting - street.ground.origin[0]);
      lines.y.push(northing - street.ground.origin[1]);
    }
    lines.start.push(lines.x.length);
  });
  return lines;
}

/** Edges of a surface that only one triangle has. */
function outlineOf(tin) {
  const seen = new Map();
  for (let k = 0; k < tin.triangles.length; k += 1) {
    const [a, b] = [tin.triangles[k], tin.triangles[k % 3 === 2 ? k - 2 : k + 1]];
    const key = `${Math.min(a, b)} ${Math.max(a, b)}`;
    if (seen.has(key)) seen.delete(key);
    else seen.set(key, [a, b]);
  }
  const lines = { x: [], y: [], start: [0] };
  for (const ends of seen.values()) {
    for (const v of ends) {
      lines.x.push(tin.x[v]);
      lines.y.push(tin.y[v]);
    }
    lines.start.push(lines.x.length);
  }
  return lines;
}

function trianglePath(tin) {
  const path = new Path2D();
  for (let k = 0; k < tin.triangles.length; k += 3) {
    const [a, b, c] = [tin.triangles[k], tin.triangles[k + 1], tin.triangles[k + 2]];
    path.moveTo(tin.x[a], tin.y[a]);
    path.lineTo(tin.x[b], tin.y[b]);
    path.lineTo(tin.x[c], tin.y[c]);
    path.closePath();
  }
  return path;
}

/** Marks of the page's data: where they are, with their texts. */
function makeMarks(data) {
  const scaled = (packed) => unpack(packed).map((value) => value * data.step);
  return { ...data, x: scaled(data.x), y: scaled(data.y) };
}

/** The centreline with a tick every 10 m. */
function centreLine(street) {
  const line = { x: [], y: [], start: [0] };
  const ticks = { x: [], y: [], start: [0] };
  const stations = [];
  const { first, last } = street.line;
  const [e0, n0] = street.ground.origin;
  const put = (lines, station, offset) => {
    const { easting, northing } = pointAt(street.line, station, offset);
    lines.x.push(easting - e0);
    lines.y.push(northing - n0);
  };
  for (let s = first; s < last; s += 1) put(line, s, 0);
  put(line, last, 0);
  line.start.push(line.x.length);
  for (let s = Math.ceil(first / 10) * 10; s <= last; s += 10) {
    const reach = s % 50 === 0 ? 1.5 : 0.8;
    put(ticks, s, -reach);
    put(ticks, s, reach);
    ticks.start.push(ticks.x.length);
    stations.push(s);
  }
  return { line, ticks, stations };
}

/** Places already written on, by cell, so that no two texts overlap. */
function makeRoom() {
  const cells = new Map();
  const cell = 64;
  return (left, top, width, height) => {
    const found = [];
    for (let i = Math.floor(left / cell); i <= Math.floor((left + width) / cell); i += 1) {
      for (let j = Math.floor(top / cell); j <= Math.floor((top + height) / cell); j += 1) {
        const key = `${i} ${j}`;
        const boxes = cells.get(key) || [];
        const meets = ([l, t, w, h]) =>
          l < left + width && left < l + w && t < top + height && top < t + h;
        if (boxes.some(meets)) return false;
        found.push([key, boxes]);
      }
    }
    for (const [key, boxes] of found) cells.set(key, [...boxes, [left, top, width, height]]);
    return true;
  };
}

/** The plan: everything that is drawn, and the window through which it is seen. */
function makeMap(canvas, street, data) {
  const pen = canvas.getContext("2d", { alpha: false });
  const centre = centreLine(street);
  const target = street.layers.find((layer) => layer.name === street.target);
  const marks = Object.fromEntries(
    ["shots", "dots", "stakes", "hazards"].map((name) => [name, makeMarks(data[name])]),
  );
  const gaps = makeLines(data.gaps);
  const bands = data.bands.map((band) => makeLines(band.rings));
  const map = {
    canvas,
    pen,
    street,
    data,
    marks,
    stations: centre.stations,
    paths: {
      centre: pathOf(centre.line, false),
      ticks: pathOf(centre.ticks, false),
      breaks: pathOf(breakLines(street, target), false),
      gaps: pathOf(gaps, true),
      zero: pathOf(makeLines(data.zero), false),
      bands: bands.map((rings) => pathOf(rings, true)),
      triangles: null,
    },
    tiles: data.bands.map((band) => strokeTile(band.side, band.number, strokeColour(band.colour))),
    gapTile: strokeTile("cut", 4, "#5a5a5a"),
    shown: { shading: true, numbers: true, breaks: true, stakes: true },
    outlines: [centre.line, gaps, ...bands],
    view: { x: 0, y: 0, scale: 1, turn: 0 },
    picked: null,
    me: null,
    dark: false,
    waiting: false,
  };
  return map;
}

/** What some lines reach, across and up, when the map is turned. */
function reachOf(lines, turn) {
  const [sin, cos] = [Math.sin(turn), Math.cos(turn)];
  const box = { left: Infinity, right: -Infinity, foot: Infinity, head: -Infinity };
  for (const { x, y } of lines) {
    for (let k = 0; k < x.length; k += 1) {
      const across = x[k] * cos - y[k] * sin;
      const up = x[k] * sin + y[k] * cos;
      box.left = Math.min(box.left, across);
      box.right = Math.max(box.right, across);
      box.foot = Math.min(box.foot, up);
      box.head = Math.max(box.head, up);
    }
  }
  return box;
}

/** The whole street in the window: north up, or end up where that shows it much larger. */
function showAll(map) {
  const { canvas, outlines, street } = map;
  const [width, height] = [canvas.clientWidth || 360, canvas.clientHeight || 360];
  const [from, to] = [pointAt(street.line, street.line.first, 0), pointAt(street.line, street.line.last, 0)];
  const ahead = Math.atan2(to.easting - from.easting, to.northing - from.northing);
  const views = [0, ahead].map((turn) => {
    const box = reachOf(outlines, turn);
    const [across, up] = [(box.left + box.right) / 2, (box.foot + box.head) / 2];
    const scale = Math.min(
      width / (1.12 * Math.max(box.right - box.left, 1)),
      height / (1.12 * Math.max(box.head - box.foot, 1)),
    );
    const [sin, cos] = [Math.sin(turn), Math.cos(turn)];
    return { x: across * cos + up * sin, y: up * cos - across * sin, scale, turn };
  });
  map.view = views[1].scale > 1.15 * views[0].scale ? views[1] : views[0];
}

/** From the map to the window, CSS pixels. */
function toWindow(map, x, y) {
  const { view, canvas } = map;
  const [east, north] = [x - view.x, y - view.y];
  const [sin, cos] = [Math.sin(view.turn), Math.cos(view.turn)];
  return [
    canvas.clientWidth / 2 + view.scale * (east * cos - north * sin),
    canvas.clientHeight / 2 - view.scale * (east * sin + north * cos),
  ];
}

/** From the window to the map. */
function toMap(map, left, top) {
  const { view, canvas } = map;
  const across = (left - canvas.clientWidth / 2) / view.scale;
  const up = (canvas.clientHeight / 2 - top) / view.scale;
  const [sin, cos] = [Math.sin(view.turn), Math.cos(view.turn)];
  return [view.x + across * cos + up * sin, view.y - across * sin + up * cos];
}

/** Larger or smaller about a place of the window, which stays where it is. */
function zoomAbout(map, left, top, factor) {
  const before = toMap(map, left, top);
  map.view.scale = clamp(map.view.scale * factor, 0.05, 400);
  const after = toMap(map, left, top);
  map.view.x += before[0] - after[0];
  map.view.y += before[1] - after[1];
  redraw(map);
}

function panBy(map, across, down) {
  const [x, y] = toMap(map, map.canvas.clientWidth / 2 - across, map.canvas.clientHeight / 2 - down);
  Object.assign(map.view, { x, y });
  redraw(map);
}

/** Drawn once before the next picture of the screen, however often it is asked for. */
function redraw(map) {
  if (map.waiting) return;
  map.waiting = true;
  requestAnimationFrame(() => {
    map.waiting = false;
    drawMap(map);
  });
}

function drawMap(map) {
  const { canvas, pen, view } = map;
  const ratio = Math.min(window.devicePixelRatio || 1, 3);
  const [width, height] = [canvas.clientWidth, canvas.clientHeight];
  if (!width || !height) return;
  if (canvas.width !== Math.round(width * ratio) || canvas.height !== Math.round(height * ratio)) {
    canvas.width = Math.round(width * ratio);
    canvas.height = Math.round(height * ratio);
  }
  const ink = map.dark ? INKS.dark : INKS.bright;
  pen.setTransform(1, 0, 0, 1, 0, 0);
  pen.fillStyle = ink.paper;
  pen.fillRect(0, 0, canvas.width, canvas.height);
  drawGround(map, ratio, ink);
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  drawMarks(map, ink);
  drawNorth(map, ink);
  drawScale(map, ink);
  // what a test needs to know where it taps
  canvas.dataset.view = [view.x, view.y, view.scale, view.turn].join(" ");
}

/** The part of the picture that is in metres: fills and lines. */
function drawGround(map, ratio, ink) {
  const { pen, view, paths, shown } = map;
  const k = view.scale * ratio;
  const [sin, cos] = [k * Math.sin(view.turn), k * Math.cos(view.turn)];
  const window0 = toWindow(map, 0, 0);
  pen.setTransform(cos, -sin, -sin, -cos, window0[0] * ratio, window0[1] * ratio);
  // strokes keep their size on the screen and their place on the map
  const upright = new DOMMatrix([cos, -sin, -sin, -cos, 0, 0]).inverse().scale(ratio);
  const hatched = (path, tile) => {
    const pattern = pen.createPattern(tile, "repeat");
    pattern.setTransform(upright);
    pen.fillStyle = pattern;
    pen.fill(path, "evenodd");
  };
  if (shown.shading) {
    map.data.bands.forEach((band, n) => {
      pen.fillStyle = band.colour;
      pen.fill(paths.bands[n], "evenodd");
      hatched(paths.bands[n], map.tiles[n]);
    });
  }
  if (map.dark) {
    pen.fillStyle = "#d0d0d0";
    pen.fill(paths.gaps, "evenodd");
  }
  hatched(paths.gaps, map.gapTile);
  const stroke = (path, colour, width) => {
    pen.strokeStyle = colour;
    pen.lineWidth = (width * ratio) / k;
    pen.stroke(path);
  };
  if (shown.triangles) {
    paths.triangles = paths.triangles || trianglePath(map.street.ground);
    stroke(paths.triangles, map.dark ? "#777777" : "#888888", 0.7);
  }
  stroke(paths.gaps, "#5a5a5a", 2);
  if (shown.shading) stroke(paths.zero, ink.ink, 2.5);
  if (shown.breaks) stroke(paths.breaks, ink.design, 2);
  stroke(paths.centre, ink.ink, 1.5);
  if (view.scale > 1.5) stroke(paths.ticks, ink.ink, 1.5);
}

/** One text with a halo, if there is room for it; `must`: whatever is there. */
function label(map, room, text, left, top, style = {}) {
  const { pen } = map;
  const width = pen.measureText(text).width;
  const at = style.middle ? left - width / 2 : left;
  const free = room(at - 2, top - 10, width + 4, 20);
  if (!free && !style.must) return false;
  pen.lineWidth = 4;
  pen.lineJoin = "round";
  pen.strokeStyle = style.halo;
  pen.strokeText(text, at, top);
  pen.fillStyle = style.colour;
  pen.fillText(text, at, top);
  return true;
}

/** One text at the first of some places beside a mark where there is room for it within the window;
 * `must`: where there is none, at the first that the window holds. */
function labelBeside(map, room, text, places, style) {
  const width = map.pen.measureText(text).width;
  const whole = map.canvas.clientWidth;
  const lefts = { start: 0, middle: width / 2, end: width };
  const held = places
    .map(([left, top, side]) => [left - lefts[side], top])
    .filter(([left]) => left >= 2 && left + width <= whole - 2);
  for (const [left, top] of held) {
    if (label(map, room, text, left, top, { ...style, must: false })) return;
  }
  if (!style.must) return;
  const [left, top] = held[0] || [places[0][0] - lefts[places[0][2]], places[0][1]];
  label(map, room, text, left, top, style);
}

/** To the right of a mark of some size, to its left, above and under it, and at its corners. */
function beside(left, top, size) {
  return [
    [left + size + 4, top, "start"],
    [left - size - 4, top, "end"],
    [left, top - size - 11, "middle"],
    [left, top + size + 11, "middle"],
    [left - size, top - size - 11, "end"],
    [left + size, top + size + 11, "start"],
    [left - size, top + size + 11, "end"],
    [left + size, top - size - 11, "start"],
  ];
}

/** Whether a place is in the window or hardly outside. */
function isInside(map, left, top) {
  const [width, height] = [map.canvas.clientWidth, map.canvas.clientHeight];
  return left > -40 && left < width + 40 && top > -20 && top < height + 20;
}

/** Rows of some marks that are in the window, with their places in it. */
function inWindow(map, marks) {
  const found = [];
  for (let row = 0; row < marks.x.length; row += 1) {
    const [left, top] = toWindow(map, marks.x[row], marks.y[row]);
    if (isInside(map, left, top)) found.push([row, left, top]);
  }
  return found;
}

function drawMarks(map, ink) {
  const { pen, marks, shown, view } = map;
  const room = makeRoom();
  const plain = { colour: ink.ink, halo: ink.halo };
  pen.font = FONT;
  pen.textBaseline = "middle";
  // the arrow, the bar and the place that was asked for stay free of texts
  room(0, 0, 64, 76);
  room(0, map.canvas.clientHeight - 44, 150, 44);
  if (map.picked) {
    const [left, top] = toWindow(map, map.picked.x, map.picked.y);
    room(left - 24, top - 24, 48, 48);
  }
  // marks first, then words over them: at a mouth they stand close
  drawFindings(map, ink);
  const stakes = shown.stakes && view.scale > 2 ? inWindow(map, marks.stakes) : [];
  const size = view.scale > 6 ? 7 : 4;
  for (const [, left, top] of stakes) drawStake(pen, left, top, plain, size);
  drawHazards(map, room);
  for (const [text, x, y] of view.scale > 2 ? map.data.gaps.labels : []) {
    const [left, top] = toWindow(map, x, y);
    if (!isInside(map, left, top)) continue;
    const places = [0, 22, -22, 44, -44].map((down) => [left, top + down, "middle"]);
    labelBeside(map, room, text, places, { ...plain, must: true });
  }
  nameFindings(map, room, ink);
  if (view.scale > 0.5) {
    for (const station of map.stations) {
      if (view.scale < 3 && station % 50 !== 0) continue;
      const { easting, northing } = pointAt(map.street.line, station, 0);
      const [e0, n0] = map.street.ground.origin;
      const [left, top] = toWindow(map, easting - e0, northing - n0);
      label(map, room, stationText(map.street.line, station, 1), left + 4, top - 12, plain);
    }
  }
  for (const [, left, top] of stakes) room(left - size, top - size - 1, 2 * size, 2 * size - 1);
  if (shown.numbers && view.scale > DOT_SCALE) drawDots(map, room, plain);
  for (const [row, left, top] of view.scale > 6 ? stakes : []) {
    label(map, room, marks.stakes.name[row], left + 10, top, plain);
  }
  if (view.scale > 2) drawShots(map, room, ink);
  if (map.me) drawMe(map);
  if (map.picked) drawPicked(map, ink);
}

function drawHazards(map, room) {
  const { pen, marks } = map;
  const size = map.view.scale > 2 ? 11 : 7;
  const seen = inWindow(map, marks.hazards);
  for (const [, left, top] of seen) {
    room(left - size, top - size, 2 * size, 2 * size);
    pen.beginPath();
    pen.moveTo(left, top - size);
    pen.lineTo(left + size, top);
    pen.lineTo(left, top + size);
    pen.lineTo(left - size, top);
    pen.closePath();
    pen.fillStyle = "#c00000";
    pen.fill();
    pen.lineWidth = 3;
    pen.strokeStyle = "#ffffff";
    pen.stroke();
  }
  const style = { colour: "#8b0000", halo: "#ffffff", must: map.view.scale > 2 };
  for (const [row, left, top] of map.view.scale > 1.5 ? seen : []) {
    labelBeside(map, room, marks.hazards.id[row], beside(left, top, size), style);
  }
}

/** A ring around what a person has to look at. */
function drawFindings(map, ink) {
  const { pen, data } = map;
  data.look.forEach(({ x, y }) => {
    const [left, top] = toWindow(map, x, y);
    pen.beginPath();
    pen.arc(left, top, map.view.scale > 2 ? 15 : 9, 0, 2 * Math.PI);
    pen.lineWidth = 6;
    pen.strokeStyle = ink.halo;
    pen.stroke();
    pen.lineWidth = 3;
    pen.strokeStyle = map.dark ? "#ff9fd0" : "#8a0050";
    pen.stroke();
  });
}

/** What it is that a person has to look at, where there is room for it. */
function nameFindings(map, room, ink) {
  if (map.view.scale <= 2) return;
  const style = { colour: map.dark ? "#ff9fd0" : "#8a0050", halo: ink.halo };
  map.data.look.forEach(({ x, y, word }) => {
    const [left, top] = toWindow(map, x, y);
    if (isInside(map, left, top)) labelBeside(map, room, word, beside(left, top, 15), style);
  });
}

function drawDots(map, room, plain) {
  const { pen, marks } = map;
  for (const [row, left, top] of inWindow(map, marks.dots)) {
    // a dot without its number says nothing; nearer in there is room for it
    if (!label(map, room, marks.dots.mark[row], left + 7, top, plain)) continue;
    pen.beginPath();
    pen.arc(left, top, 3.5, 0, 2 * Math.PI);
    pen.fillStyle = plain.colour;
    pen.fill();
  }
}

/** A small triangle where the whole street is seen: on a return they stand close. */
function drawStake(pen, left, top, plain, size) {
  pen.beginPath();
  pen.moveTo(left, top - size - 1);
  pen.lineTo(left + size, top + size - 2);
  pen.lineTo(left - size, top + size - 2);
  pen.closePath();
  pen.lineWidth = 2;
  pen.fillStyle = plain.halo;
  pen.fill();
  pen.strokeStyle = plain.colour;
  pen.stroke();
}

function drawShots(map, room, ink) {
  const { pen, marks, shown } = map;
  const { shots } = marks;
  for (const [row, left, top] of inWindow(map, shots)) {
    const used = shots.used[row] === 1;
    if (!(used ? shown.shots : shown.refused)) continue;
    const colour = used ? ink.shot : map.dark ? "#ff9fd0" : "#8a0050";
    pen.lineWidth = used ? 1.5 : 3;
    pen.strokeStyle = colour;
    pen.beginPath();
    if (used) {
      pen.moveTo(left - 5, top);
      pen.lineTo(left + 5, top);
      pen.moveTo(left, top - 5);
      pen.lineTo(left, top + 5);
    } else {
      pen.moveTo(left - 6, top - 6);
      pen.lineTo(left + 6, top + 6);
      pen.moveTo(left - 6, top + 6);
      pen.lineTo(left + 6, top - 6);
    }
    pen.stroke();
    if (map.view.scale > (used ? NAME_SCALE : SHOT_SCALE)) {
      label(map, room, `${shots.id[row]} ${shots.code[row]}`, left + 8, top, { colour, halo: ink.halo });
    }
  }
}

/** The place that was asked for: a cross that leaves its middle free. */
function drawPicked(map, ink) {
  const { pen } = map;
  const [left, top] = toWindow(map, map.picked.x, map.picked.y);
  for (const [width, colour] of [[7, ink.halo], [3.5, ink.ink]]) {
    pen.lineWidth = width;
    pen.strokeStyle = colour;
    pen.beginPath();
    pen.arc(left, top, 14, 0, 2 * Math.PI);
    for (const [across, down] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
      pen.moveTo(left + 6 * across, top + 6 * down);
      pen.lineTo(left + 24 * across, top + 24 * down);
    }
    pen.stroke();
  }
}

/** Where the phone says it is, as large as it may be wrong. */
function drawMe(map) {
  const { pen, me, view } = map;
  const [left, top] = toWindow(map, me.x, me.y);
  pen.beginPath();
  pen.arc(left, top, Math.max(me.accuracy * view.scale, 10), 0, 2 * Math.PI);
  pen.fillStyle = "#0050c833";
  pen.fill();
  pen.lineWidth = 3;
  pen.strokeStyle = map.dark ? "#9fc6ff" : "#003c96";
  pen.stroke();
}

function drawNorth(map, ink) {
  const { pen, view } = map;
  pen.save();
  pen.translate(34, 40);
  pen.rotate(-view.turn);
  pen.beginPath();
  pen.moveTo(0, -26);
  pen.lineTo(10, 12);
  pen.lineTo(0, 5);
  pen.lineTo(-10, 12);
  pen.closePath();
  pen.lineWidth = 3;
  pen.strokeStyle = ink.halo;
  pen.stroke();
  pen.fillStyle = ink.ink;
  pen.fill();
  pen.restore();
  pen.textAlign = "center";
  const style = { colour: ink.ink, halo: ink.halo, must: true, middle: false };
  label(map, () => true, "N", 34, 64, style);
  pen.textAlign = "left";
}

/** A bar of a round length at the foot of the map. */
function drawScale(map, ink) {
  const { pen, view, canvas } = map;
  const feet = map.data.rounding.unit === "ft";
  const per = feet ? FOOT : 1;
  const wanted = 110 / view.scale / per;
  const power = 10 ** Math.floor(Math.log10(wanted));
  const length = [5, 2, 1].map((n) => n * power).find((n) => n <= wanted) || power;
  const [left, top] = [16, canvas.clientHeight - 16];
  for (const [width, colour] of [[7, ink.halo], [3.5, ink.ink]]) {
    pen.lineWidth = width;
    pen.strokeStyle = colour;
    pen.beginPath();
    pen.moveTo(left, top - 8);
    pen.lineTo(left, top);
    pen.lineTo(left + length * per * view.scale, top);
    pen.lineTo(left + length * per * view.scale, top - 8);
    pen.stroke();
  }
  const metric = length >= 1 ? `${length} m` : `${Math.round(length * 100)} cm`;
  const text = feet ? `${Number(length.toPrecision(2))} ft` : metric;
  label(map, () => true, text, left + 6, top - 14, { colour: ink.ink, halo: ink.halo });
}

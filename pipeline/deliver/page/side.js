// Cross-section and profile at the place that was asked for, as SVG with a spoken summary.

const SVG = "http://www.w3.org/2000/svg";
const SIDE_HEIGHT = 300;
const MARGIN = { left: 62, right: 14, top: 26, bottom: 40 };

function svgNode(name, attributes, text) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (text !== undefined) node.textContent = text;
  return node;
}

/** Ground and every layer across the street at one station. */
function crossSection(street, station) {
  let reach = 0;
  const lines = street.layers.map((layer) => {
    if (layer.surface) return { layer, points: [] };
    const points = sectionAt(street, layer, station).map((p) => [p.offset, p.elevation]);
    for (const [offset] of points) reach = Math.max(reach, Math.abs(offset));
    return { layer, points };
  });
  reach = (reach || 6) + 2;
  const across = (height) => {
    const points = [];
    for (let offset = -reach; offset <= reach + 1e-9; offset += 0.1) {
      const at = pointAt(street.line, station, offset);
      points.push([offset, height(at.easting, at.northing)]);
    }
    return points;
  };
  for (const line of lines) {
    if (line.layer.surface) line.points = across((e, n) => heightOn(line.layer.surface, e, n));
  }
  const ground = across((e, n) => heightOn(street.ground, e, n));
  return { low: -reach, high: reach, ground, lines };
}

/** Ground and every layer along the street at one offset, some way back and ahead. */
function lengthSection(street, station, offset, reach = 40) {
  const low = Math.max(street.line.first, station - reach);
  const high = Math.min(street.line.last, station + reach);
  const stations = [];
  for (let s = Math.ceil(low * 2) / 2; s <= high; s += 0.5) stations.push(s);
  const places = stations.map((s) => ({ station: s, offset, ...pointAt(street.line, s, offset) }));
  const lines = street.layers.map((layer) => ({
    layer,
    points: places.map((place) => [place.station, layerAt(street, layer, place)]),
  }));
  const ground = places.map((place) => [
    place.station,
    heightOn(street.ground, place.easting, place.northing),
  ]);
  return { low: Math.min(low, station), high: Math.max(high, station), ground, lines };
}

/** A path that breaks off where there is no height. */
function pathText(points, across, up) {
  let open = false;
  let text = "";
  for (const [x, z] of points) {
    if (Number.isNaN(z)) {
      open = false;
    } else {
      text += `${open ? "L" : "M"}${across(x).toFixed(1)} ${up(z).toFixed(1)}`;
      open = true;
    }
  }
  return text;
}

/** The largest round exaggeration with which the heights still fit. */
function exaggerationOf(width, height, span, heights) {
  const most = height / ((width / span) * Math.max(heights, 1e-6));
  return [50, 20, 10, 5, 2, 1].find((times) => times <= most) || most;
}

/** Draw one of the two into `svg`; `at` is where the place lies, `words` describe the axis. */
function drawSide(svg, street, section, at, words) {
  const width = svg.clientWidth || 360;
  const inner = width - MARGIN.left - MARGIN.right;
  const tall = SIDE_HEIGHT - MARGIN.top - MARGIN.bottom;
  const heights = [section.ground, ...section.lines.map((line) => line.points)]
    .flat()
    .map(([, z]) => z)
    .filter((z) => !Number.isNaN(z));
  svg.replaceChildren();
  svg.setAttribute("viewBox", `0 0 ${width} ${SIDE_HEIGHT}`);
  if (!heights.length) {
    svg.append(svgNode("text", { x: 10, y: 40, class: "axis" }, "NOTHING SURVEYED OR DESIGNED HERE"));
    return;
  }
  const [least, most] = [Math.min(...heights), Math.max(...heights)];
  const span = Math.max(section.high - section.low, 1);
  const times = exaggerationOf(inner, tall, span, Math.max(most - least, 0.2));
  const middle = (least + most) / 2;
  const across = (x) => MARGIN.left + ((x - section.low) / span) * inner;
  const up = (z) => MARGIN.top + tall / 2 - ((z - middle) * times * inner) / span;
  drawAxes(svg, { across, up, section, width, middle, half: (tall / 2 / (times * inner)) * span, words });
  svg.append(svgNode("line", {
    x1: across(at), x2: across(at), y1: MARGIN.top, y2: SIDE_HEIGHT - MARGIN.bottom, class: "here",
  }));
  section.lines.forEach((line, number) => {
    const name = line.layer.name === street.target ? "layer today" : `layer other${number % 3}`;
    svg.append(svgNode("path", { d: pathText(line.points, across, up), class: name }));
  });
  svg.append(svgNode("path", { d: pathText(section.ground, across, up), class: "ground" }));
  const note = `heights drawn ${times >= 1 ? Math.round(times) : times.toFixed(1)} times`;
  svg.append(svgNode("text", { x: width - MARGIN.right, y: 16, class: "axis end" }, note));
}

function drawAxes(svg, frame) {
  const { across, up, section, width, middle, half, words } = frame;
  const bottom = SIDE_HEIGHT - MARGIN.bottom;
  const step = roundStep((2 * half) / 4);
  for (let z = Math.ceil((middle - half) / step) * step; z <= middle + half; z += step) {
    const level = up(z);
    svg.append(svgNode("line", { x1: MARGIN.left, x2: width - MARGIN.right, y1: level, y2: level, class: "grid" }));
    svg.append(svgNode("text", { x: MARGIN.left - 6, y: level + 5, class: "axis end" }, formatLength(z, step < 0.1 ? 0.01 : 0.1)));
  }
  const stride = roundStep((section.high - section.low) / Math.max(2, Math.floor(width / 90)));
  for (let x = Math.ceil(section.low / stride) * stride; x <= section.high + 1e-9; x += stride) {
    svg.append(svgNode("line", { x1: across(x), x2: across(x), y1: bottom, y2: bottom + 6, class: "tick" }));
    svg.append(svgNode("text", { x: across(x), y: bottom + 24, class: "axis middle" }, words(x)));
  }
}

function roundStep(wanted) {
  const power = 10 ** Math.floor(Math.log10(wanted));
  return [1, 2, 5, 10].map((n) => n * power).find((n) => n >= wanted - 1e-12);
}

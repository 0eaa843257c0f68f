// The page: what a finger, a key or the phone's own position asks, answered in words.

function element(id) {
  return document.getElementById(id);
}

/** The words of an answer: the large mark, what it means, and where it is. */
function answerOf(place, data, line) {
  const target = place.layers.find((layer) => layer.name === data.target);
  const side = formatSide(place.offset);
  const { unit } = data.rounding;
  const across = side === "CL" ? "on the line" : `${crewLength(Math.abs(place.offset), 0.001, unit)} ${unit} ${side}`;
  const where = `Station ${stationText(line, place.station, 0.001)}, offset ${across}`;
  if (Number.isNaN(place.ground)) {
    return { mark: "NOT SURVEYED", kind: "none", means: "Nobody shot the ground here: no number.", where };
  }
  if (Number.isNaN(target.elevation)) {
    const means = `${target.title} is not designed here: no number.`;
    return { mark: "NOT DESIGNED", kind: "none", means, where };
  }
  const mark = crewMark(target.cut, unit);
  const painted = paintMark(target.cut, data.rounding);
  const to = `to ${target.title}`;
  const verb = { C: "Take off", F: "Put on" }[mark[0]];
  const means = mark === "ON GRADE" ? `On grade ${to}.` : `${verb} ${mark.slice(2)} ${unit} ${to}.`;
  return {
    mark,
    kind: mark === "ON GRADE" ? "none" : mark[0] === "C" ? "cut" : "fill",
    means: `${means} Painted on the dirt: ${painted}.`,
    where,
  };
}

/** Rows of the table: ground, then every layer with its elevation and mark. */
function layerRows(place, data) {
  const rows = [["ground", formatLength(place.ground) || "NOT SURVEYED", ""]];
  for (const layer of place.layers) {
    const height = formatLength(layer.elevation) || "not designed here";
    const name = layer.name === data.target ? `${layer.name} (today)` : layer.name;
    rows.push([name, height, crewMark(layer.cut, data.rounding.unit)]);
  }
  return rows;
}

function fillRows(body, rows) {
  body.replaceChildren(
    ...rows.map(([name, ...cells]) => {
      const row = document.createElement("tr");
      const head = document.createElement("th");
      head.scope = "row";
      head.textContent = name;
      row.append(head);
      for (const text of cells) {
        const cell = document.createElement("td");
        cell.textContent = text;
        row.append(cell);
      }
      return row;
    }),
  );
}

/** Buried things within 5 m of a place, in words, the nearest first. */
function buriedNear(map, place) {
  const [x, y] = [place.easting - map.data.origin[0], place.northing - map.data.origin[1]];
  const said = [];
  const { hazards } = map.marks;
  const { unit } = map.data.rounding;
  hazards.id.forEach((id, row) => {
    const apart = Math.hypot(hazards.x[row] - x, hazards.y[row] - y);
    if (apart < 5) said.push([apart, `BURIED: ${id}, ${crewLength(apart, 0.1, unit)} ${unit} away. ${hazards.words[row]}`]);
  });
  return said.sort((a, b) => a[0] - b[0]).map(([, text]) => text);
}

/** The nearest used shot, in words. */
function shotNear(map, place) {
  const [x, y] = [place.easting - map.data.origin[0], place.northing - map.data.origin[1]];
  const { shots } = map.marks;
  let best = -1;
  let least = 10;
  for (let row = 0; row < shots.x.length; row += 1) {
    const apart = Math.hypot(shots.x[row] - x, shots.y[row] - y);
    if (apart < least && shots.used[row] === 1) [best, least] = [row, apart];
  }
  const { unit } = map.data.rounding;
  if (best < 0) return `No shot within ${crewLength(10, 1, unit)} ${unit}.`;
  return `Nearest shot: ${shots.id[best]} ${shots.code[best]}, ${crewLength(least, 0.01, unit)} ${unit} away`;
}

/** Show one place everywhere: words, table, section, profile and map. */
function tell(app, place) {
  const { data, map, street } = app;
  app.place = place;
  map.picked = { x: place.easting - data.origin[0], y: place.northing - data.origin[1] };
  const answer = answerOf(place, data, street.line);
  const mark = element("mark");
  mark.textContent = answer.mark;
  mark.className = answer.kind;
  element("means").textContent = answer.means;
  element("where").textContent = answer.where;
  element("grid").textContent = `E ${formatLength(place.easting)}, N ${formatLength(place.northing)}`;
  element("others").replaceChildren(
    ...place.others.map((foot) => {
      const said = document.createElement("p");
      said.textContent = `Also ${stationText(street.line, foot.station)} ${sided(foot.offset, 0.001, data.rounding.unit)}: inside a tight curve the place lies square to more than one station.`;
      return said;
    }),
  );
  fillRows(element("layers"), layerRows(place, data));
  const danger = element("danger");
  danger.textContent = buriedNear(map, place).join(" ");
  danger.hidden = danger.textContent === "";
  element("near").textContent = shotNear(map, place);
  element("station").value = stationText(street.line, place.station, 0.01);
  element("offset").value = sided(place.offset, 0.01, data.rounding.unit);
  element("asked").hidden = false;
  element("steps").hidden = false;
  drawSides(app);
  redraw(map);
}

/** An offset as people write it, in the crew's unit: L 3.50, R 3.50, 0.00 on the line. */
function sided(offset, step, unit) {
  const side = formatSide(offset);
  return `${side === "CL" ? "" : `${side} `}${crewLength(Math.abs(offset), step, unit)}`;
}

function drawSides(app) {
  const { place, street } = app;
  const { unit } = app.data.rounding;
  if (!place || element("asked").hidden) return;
  const offsetWord = (x) => (Math.abs(x) < 1e-9 ? "CL" : `${x < 0 ? "L" : "R"} ${unit === "ft" ? crewLength(Math.abs(x), 0.1, unit) : Math.abs(Number(x.toFixed(3)))}`);
  const cross = element("section");
  drawSide(cross, street, crossSection(street, place.station), place.offset, offsetWord);
  const target = place.layers.find((layer) => layer.name === street.target);
  const summary = `${crewMark(target.cut, unit) || "no number"} to ${target.title} at offset ${sided(place.offset, 0.01, unit)} ${unit}`;
  const called = stationText(street.line, place.station);
  cross.setAttribute("aria-label", `Cross-section at ${called}: ${summary}`);
  element("section-title").textContent = `Across the street at ${called}`;
  const profile = element("profile");
  drawSide(profile, street, lengthSection(street, place.station, place.offset), place.station, (s) => stationText(street.line, s, 1));
  profile.setAttribute("aria-label", `Profile at offset ${sided(place.offset, 0.01, unit)} ${unit}: ${summary}`);
  const side = formatSide(place.offset);
  element("profile-title").textContent =
    side === "CL" ? "Along the line" : `Along the street, ${crewLength(Math.abs(place.offset), 0.01, unit)} ${unit} ${side}`;
}

/** A place on the map, taken to the whole millimetre so that it can be asked for again. */
function askGrid(app, easting, northing) {
  tell(app, placeOnGrid(app.street, roundHalfAway(easting, 0.001), roundHalfAway(northing, 0.001)));
}

function askWindow(app, left, top) {
  const [x, y] = toMap(app.map, left, top);
  askGrid(app, x + app.data.origin[0], y + app.data.origin[1]);
}

/** A station and offset, with the map moved there. */
function askStation(app, station, offset) {
  const place = placeOnLine(app.street, station, offset);
  tell(app, place);
  lookAt(app, place.easting, place.northing, 14);
}

function lookAt(app, easting, northing, scale) {
  const { view } = app.map;
  view.x = easting - app.data.origin[0];
  view.y = northing - app.data.origin[1];
  view.scale = Math.max(view.scale, scale);
  if (app.streetUp) turnWithStreet(app);
  redraw(app.map);
}

/** Up-station to the top of the screen, at the station in the middle of the map. */
function turnWithStreet(app) {
  const { map, street, data } = app;
  const [e, n] = [map.view.x + data.origin[0], map.view.y + data.origin[1]];
  const [foot] = feetOf(street.line, e, n);
  const at = pointAt(street.line, clamp(foot.station, street.line.first, street.line.last), 0);
  map.view.turn = Math.atan2(at.sin, at.cos);
}

/** One finger moves the map, two make it larger, a tap asks. */
function listenToFingers(app) {
  const { map } = app;
  const { canvas } = map;
  const down = new Map();
  let moved = 0;
  const spot = (event) => {
    const box = canvas.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  };
  canvas.addEventListener("pointerdown", (event) => {
    // a pointer that is already gone cannot be held
    if (event.isTrusted) canvas.setPointerCapture(event.pointerId);
    if (!down.size) moved = 0;
    down.set(event.pointerId, spot(event));
    if (down.size > 1) moved = Infinity;
  });
  canvas.addEventListener("pointermove", (event) => {
    const before = down.get(event.pointerId);
    if (!before) return;
    const now = spot(event);
    const step = [now[0] - before[0], now[1] - before[1]];
    moved += Math.hypot(...step);
    const other = [...down.entries()].find(([id]) => id !== event.pointerId);
    down.set(event.pointerId, now);
    if (other) {
      const apart = ([x, y]) => Math.max(Math.hypot(x - other[1][0], y - other[1][1]), 10);
      panBy(map, step[0] / 2, step[1] / 2);
      zoomAbout(map, (now[0] + other[1][0]) / 2, (now[1] + other[1][1]) / 2, apart(now) / apart(before));
    } else if (moved > 12) {
      panBy(map, ...step);
    }
  });
  canvas.addEventListener("pointerup", (event) => {
    if (down.delete(event.pointerId) && moved <= 12) askWindow(app, ...spot(event));
  });
  canvas.addEventListener("pointercancel", (event) => down.delete(event.pointerId));
  canvas.addEventListener(
    "wheel",
    (event) => {
      event.preventDefault();
      zoomAbout(map, ...spot(event), event.deltaY < 0 ? 1.25 : 0.8);
    },
    { passive: false },
  );
}

/** The same by keys: arrows move, plus and minus zoom, Enter asks at the middle of the map. */
function listenToKeys(app) {
  const { map } = app;
  const { canvas } = map;
  const middle = () => [canvas.clientWidth / 2, canvas.clientHeight / 2];
  const keys = {
    ArrowLeft: () => panBy(map, 60, 0),
    ArrowRight: () => panBy(map, -60, 0),
    ArrowUp: () => panBy(map, 0, 60),
    ArrowDown: () => panBy(map, 0, -60),
    "+": () => zoomAbout(map, ...middle(), 1.5),
    "=": () => zoomAbout(map, ...middle(), 1.5),
    "-": () => zoomAbout(map, ...middle(), 1 / 1.5),
    Enter: () => askWindow(app, ...middle()),
    " ": () => askWindow(app, ...middle()),
  };
  canvas.addEventListener("keydown", (event) => {
    const act = keys[event.key];
    if (!act || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    act();
  });
}

/** Buttons of the map and of the answer. */
function listenToButtons(app) {
  const { map } = app;
  const middle = () => [map.canvas.clientWidth / 2, map.canvas.clientHeight / 2];
  const on = (id, act) => element(id).addEventListener("click", act);
  on("nearer", () => zoomAbout(map, ...middle(), 1.8));
  on("farther", () => zoomAbout(map, ...middle(), 1 / 1.8));
  on("whole", () => {
    app.streetUp = false;
    element("turn").setAttribute("aria-pressed", "false");
    showAll(map);
    redraw(map);
  });
  on("turn", () => {
    app.streetUp = !app.streetUp;
    element("turn").setAttribute("aria-pressed", String(app.streetUp));
    if (app.streetUp) turnWithStreet(app);
    else map.view.turn = 0;
    redraw(map);
  });
  const step = (along, across) => () => {
    const { place } = app;
    if (!place) return;
    const { first, last } = app.street.line;
    const size = Number(element("step").value);
    const station = clamp(place.station + along * size, first, last);
    askStation(app, roundHalfAway(station, 0.001), roundHalfAway(place.offset + across * size, 0.001));
  };
  on("back", step(-1, 0));
  on("on", step(1, 0));
  on("leftward", step(0, -1));
  on("rightward", step(0, 1));
  on("light", () => {
    map.dark = document.documentElement.classList.toggle("dark");
    element("light").setAttribute("aria-pressed", String(map.dark));
    redraw(map);
  });
  for (const box of document.querySelectorAll("input[data-layer]")) {
    map.shown[box.dataset.layer] = box.checked;
    box.addEventListener("change", () => {
      map.shown[box.dataset.layer] = box.checked;
      redraw(map);
    });
  }
  for (const button of document.querySelectorAll("button[data-east]")) {
    button.addEventListener("click", () => {
      askGrid(app, Number(button.dataset.east), Number(button.dataset.north));
      lookAt(app, Number(button.dataset.east), Number(button.dataset.north), 14);
      map.canvas.scrollIntoView();
      map.canvas.focus({ preventScroll: true });
    });
  }
}

/** The form that finds a station. */
function listenToForm(app) {
  const said = element("find-said");
  element("find").addEventListener("submit", (event) => {
    event.preventDefault();
    const meant = stationMeant(app.street.line, element("station").value);
    const typed = element("offset").value.trim();
    const offset = (typed === "" ? 0 : parseOffset(typed)) * (app.data.rounding.unit === "ft" ? FOOT : 1);
    if (meant.said) {
      said.textContent = meant.said;
    } else if (Number.isNaN(offset)) {
      said.textContent = "Write an offset such as -3.5 or L 3.5.";
    } else {
      said.textContent = "";
      askStation(app, meant.counted, offset);
      app.map.canvas.scrollIntoView({ block: "nearest" });
    }
  });
}

/** Right of the line, in the crew's unit, from -3.5, L 3.5 or 3.5 L; NaN for anything else. */
function parseOffset(text) {
  const sided = /^([LRlr])\s*([\d.,]+)$|^([\d.,]+)\s*([LRlr])$/.exec(text);
  if (!sided) return parseNumber(text);
  const side = (sided[1] || sided[4]).toUpperCase();
  return (side === "L" ? -1 : 1) * parseNumber(sided[2] || sided[3]);
}

/** Easting and northing of the phone, by the fitted polynomial of the data. */
function gridOf(fit, longitude, latitude) {
  const u = (longitude - fit.longitude) / fit.reach_longitude;
  const v = (latitude - fit.latitude) / fit.reach_latitude;
  let easting = fit.easting;
  let northing = fit.northing;
  fit.powers.forEach(([i, j], k) => {
    const term = u ** i * v ** j;
    easting += fit.east[k] * term;
    northing += fit.north[k] * term;
  });
  return { easting, northing, inside: Math.abs(u) <= 1 && Math.abs(v) <= 1 };
}

/** The phone's own position, where the browser offers it and the grid is known. */
function listenToPosition(app) {
  const fit = app.data.position;
  if (!fit || !("geolocation" in navigator)) return;
  const [button, said] = [element("me"), element("me-said")];
  button.hidden = false;
  button.addEventListener("click", () => {
    said.textContent = "Asking the phone where it is.";
    navigator.geolocation.getCurrentPosition(
      ({ coords }) => {
        const { easting, northing, inside } = gridOf(fit, coords.longitude, coords.latitude);
        if (!inside) {
          said.textContent = "The phone is far from this street.";
          return;
        }
        const [x, y] = [easting - app.data.origin[0], northing - app.data.origin[1]];
        const { unit } = app.data.rounding;
        const per = unit === "ft" ? FOOT : 1;
        app.map.me = { x, y, accuracy: coords.accuracy };
        askGrid(app, easting, northing);
        lookAt(app, easting, northing, 5);
        said.textContent = `The phone says it is good to ${Math.ceil(coords.accuracy / per)} ${unit}, and the datum to ${crewLength(fit.accuracy_m, 0.1, unit)} ${unit} more. Find your way by it; never stake by it.`;
      },
      () => {
        said.textContent = "The phone does not say where it is. Find the station on a lath instead.";
      },
      { enableHighAccuracy: true, timeout: 20000, maximumAge: 5000 },
    );
  });
}

/** Samples of the shading, drawn as the map draws them. */
function drawLegend(app) {
  const list = element("bands");
  app.data.bands.forEach((band, number) => {
    const item = document.createElement("li");
    const sample = document.createElement("canvas");
    sample.width = 88;
    sample.height = 56;
    const pen = sample.getContext("2d");
    pen.fillStyle = band.colour;
    pen.fillRect(0, 0, 88, 56);
    pen.fillStyle = pen.createPattern(app.map.tiles[number], "repeat");
    pen.fillRect(0, 0, 88, 56);
    sample.setAttribute("aria-hidden", "true");
    const words = document.createElement("span");
    words.textContent = band.words;
    item.append(sample, words);
    list.append(item);
  });
}

/** How old the shots are, by the phone's calendar. */
function sayAge(data) {
  const day = /^(\d{4})-(\d{2})-(\d{2})$/.exec(data.day);
  if (!day) return;
  const shot = Date.UTC(Number(day[1]), Number(day[2]) - 1, Number(day[3]));
  const now = new Date();
  const today = Date.UTC(now.getFullYear(), now.getMonth(), now.getDate());
  const days = Math.round((today - shot) / 86400000);
  const age = element("age");
  if (days > 0) {
    age.textContent = `THESE SHOTS ARE ${days} ${days === 1 ? "DAY" : "DAYS"} OLD. After a blade has passed, the ground is not what was shot.`;
    age.hidden = false;
  }
}

function start() {
  const source = element("data");
  if (!source) return;
  const data = JSON.parse(source.textContent);
  const street = makeStreet(data);
  const map = makeMap(element("map"), street, data);
  const app = { data, street, map, place: null, streetUp: false };
  listenToFingers(app);
  listenToKeys(app);
  listenToButtons(app);
  listenToForm(app);
  listenToPosition(app);
  drawLegend(app);
  sayAge(data);
  element("working").hidden = false;
  // only now has the map a size
  showAll(map);
  drawMap(map);
  new ResizeObserver(() => {
    redraw(map);
    drawSides(app);
  }).observe(map.canvas);
  window.addEventListener("beforeprint", () => {
    map.dark = false;
    document.documentElement.classList.remove("dark");
    element("light").setAttribute("aria-pressed", "false");
    drawMap(map);
  });
  document.documentElement.dataset.ready = "yes";
}

start();

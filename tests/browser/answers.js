// The page's own reckoning without a browser: node answers.js PAGE < places, one JSON a line.
// A place is [easting, northing], or {"station": s, "offset": o}; {"line": data} sets a line whose
// stations {"counted": s, "step": step} and {"meant": text} then ask for. Used by check_page.py.

const fs = require("fs");
const path = require("path");
const vm = require("vm");

const parts = ["numbers", "stations", "line", "ground", "design", "place"];
const folder = path.join(__dirname, "..", "..", "pipeline", "deliver", "page");
const source = parts.map((name) => fs.readFileSync(path.join(folder, `${name}.js`), "utf8"));
vm.runInThisContext(`${source.join("\n")}\nvar asked = { makeStreet, makeLine, placeOnGrid, placeOnLine, stationText, stationMeant };`);

const page = fs.readFileSync(process.argv[2], "utf8");
const data = JSON.parse(/<script id="data" type="application\/json">(.*?)<\/script>/s.exec(page)[1]);
const street = asked.makeStreet(data);
const orNull = (value) => (Number.isNaN(value) ? null : value);
let named = street.line;
for (const line of fs.readFileSync(0, "utf8").trim().split("\n")) {
  const place = JSON.parse(line);
  if (place.line) {
    named = asked.makeLine(place.line);
    continue;
  }
  if ("counted" in place || "meant" in place) {
    const told = "counted" in place
      ? asked.stationText(named, place.counted, place.step)
      : asked.stationMeant(named, place.meant).counted ?? null;
    console.log(JSON.stringify(told));
    continue;
  }
  const found = Array.isArray(place)
    ? asked.placeOnGrid(street, place[0], place[1])
    : asked.placeOnLine(street, place.station, place.offset);
  console.log(JSON.stringify({
    station: found.station,
    offset: found.offset,
    easting: found.easting,
    northing: found.northing,
    ground: orNull(found.ground),
    layers: Object.fromEntries(found.layers.map((layer) => [layer.name, orNull(layer.elevation)])),
    others: found.others.map((foot) => [foot.station, foot.offset]),
  }));
}

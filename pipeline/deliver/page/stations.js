// What a station is called. Inside, stations run on from the start; after an equation
// those that people read jump. A region is a stretch between two equations.

const STATION_SLACK_M = 1e-6;
const SAME_STATION_M = 0.001;

/** Regions of the page's data: their number, where they run, what their start is called. */
function makeRegions(rows) {
  return rows.map(([start, end, shown], k) => ({ number: k + 1, start, end, shown }));
}

/** Every place that has a station: its region, and the station as it is counted. */
function placesCalled(line, station, slack) {
  const found = [];
  for (const region of line.regions) {
    const counted = region.start + (station - region.shown);
    if (region.start - slack <= counted && counted <= region.end + slack) {
      found.push({ region, counted: clamp(counted, region.start, region.end) });
    }
  }
  return found;
}

/** A counted station as people read it: 1+220.0 (2) where another region has that one too. */
function stationText(line, counted, step = 0.1) {
  if (line.regions.length < 2 || Number.isNaN(counted)) return formatStation(counted, step);
  let region = line.regions[0];
  for (const one of line.regions.slice(1)) {
    if (counted >= one.start - STATION_SLACK_M) region = one;
  }
  const text = formatStation(region.shown + (counted - region.start), step);
  const slack = Math.max(0.5 * step, SAME_STATION_M);
  const doubtful = placesCalled(line, parseStation(text), slack).length > 1;
  return doubtful ? `${text} (${region.number})` : text;
}

/** What a typed station means: { counted }, or { said } where it means no one place. */
function stationMeant(line, text) {
  const typed = /^([^()]+?)\s*(?:\((\d{1,3})\))?$/.exec(text.trim());
  const station = typed ? parseStation(typed[1]) : NaN;
  if (Number.isNaN(station)) return { said: "Write a station such as 0+120 or 120." };
  const near = placesCalled(line, station, STATION_SLACK_M);
  let places = near.length ? near : placesCalled(line, station, SAME_STATION_M);
  if (typed[2]) {
    places = placesCalled(line, station, SAME_STATION_M).filter(
      (one) => one.region.number === Number(typed[2]),
    );
  }
  if (!places.length) return { said: `The street's stations are ${stretchesOf(line)}.` };
  const counted = places.map((one) => one.counted);
  if (Math.max(...counted) - Math.min(...counted) > SAME_STATION_M) {
    const names = places.map((one) => `${formatStation(station)} (${one.region.number})`);
    return { said: `That station is there ${places.length} times: write ${names.join(" or ")}.` };
  }
  return { counted: counted[0] };
}

function stretchesOf(line) {
  const several = line.regions.length > 1;
  const words = line.regions.map((region) => {
    const end = region.shown + (region.end - region.start);
    const number = several ? ` (${region.number})` : "";
    return `${formatStation(region.shown)} to ${formatStation(end)}${number}`;
  });
  return words.join(", ");
}

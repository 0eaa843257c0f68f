// Numbers as people read them: the rules of the program's units, once more, so that
// the page and the lists print the same text.

/** Nearest multiple of step, halves away from zero; a millionth of a step counts as the half. */
function roundHalfAway(value, step) {
  const whole = Math.floor(Math.abs(value) / step + 0.5 + 1e-6);
  const digits = step < 1 ? Math.max(0, Math.round(-Math.log10(step)) + 2) : 2;
  const power = 10 ** digits;
  return (Math.sign(value) * Math.round(whole * step * power)) / power + 0;
}

/** Decimals that show every multiple of step: 0.005 -> 3, 0.01 -> 2, 1 -> 0. */
function decimals(step) {
  for (let digits = 0; digits < 10; digits += 1) {
    const scaled = step * 10 ** digits;
    if (Math.abs(scaled - Math.round(scaled)) < 1e-9) return digits;
  }
  return 10;
}

/** Metres as text, rounded once; empty where there is no value. */
function formatLength(value, step = 0.001) {
  if (Number.isNaN(value)) return "";
  return (roundHalfAway(value, step) + 0).toFixed(decimals(step));
}

/** Station as 0+123.4; empty where there is none. */
function formatStation(station, step = 0.1) {
  if (Number.isNaN(station)) return "";
  const rounded = roundHalfAway(Math.abs(station), step);
  const kilo = Math.floor(rounded / 1000);
  const digits = decimals(step);
  const rest = (rounded - 1000 * kilo).toFixed(digits).padStart(digits ? 4 + digits : 3, "0");
  return `${station < 0 && rounded > 0 ? "-" : ""}${kilo}+${rest}`;
}

/** L, R or CL from a signed offset, right +; on the line within 0.5 mm. */
function formatSide(offset) {
  if (Number.isNaN(offset)) return "";
  if (Math.abs(offset) < 0.0005) return "CL";
  return offset > 0 ? "R" : "L";
}

/** Cut or fill as written on a lath: C 0.124, F 0.031, ON GRADE; empty where there is none. */
function lathMark(cut, step = 0.001, onGrade = 0) {
  if (Number.isNaN(cut)) return "";
  const rounded = roundHalfAway(cut, step);
  if (rounded === 0 || Math.abs(cut) <= onGrade + 1e-6 * step) return "ON GRADE";
  return `${rounded > 0 ? "C" : "F"} ${Math.abs(rounded).toFixed(decimals(step))}`;
}

/** Cut or fill as painted on dirt, in centimetres: C 12, F 3, GRADE. */
function groundMark(cut, step, onGrade) {
  if (Number.isNaN(cut)) return "";
  const rounded = roundHalfAway(cut, step);
  if (rounded === 0 || Math.abs(cut) <= onGrade + 1e-6 * step) return "GRADE";
  return `${rounded > 0 ? "C" : "F"} ${formatLength(Math.abs(rounded) * 100, step * 100)}`;
}

const FOOT = 0.3048;

/** The same in the crew's unit: metres to the millimetre, or feet to the hundredth. */
function crewMark(cut, unit) {
  return unit === "ft" ? lathMark(cut / FOOT, 0.01) : lathMark(cut);
}

/** What is painted on the dirt in the crew's unit: whole centimetres, or feet and tenths, hundredths below half a tenth. */
function paintMark(cut, rounding) {
  if (rounding.unit !== "ft") return groundMark(cut, rounding.dirt, rounding.on_grade);
  const [feet, within] = [cut / FOOT, rounding.on_grade / FOOT];
  const mark = lathMark(feet, 0.1, within);
  // less than half a tenth is not yet within the tolerance
  return (mark === "ON GRADE" ? lathMark(feet, 0.01, within) : mark).replace("ON GRADE", "GRADE");
}

/** A length in the crew's unit without its name; feet are never finer than a hundredth. */
function crewLength(metres, step, unit) {
  return unit === "ft" ? formatLength(metres / FOOT, step > 0.01 ? 0.1 : 0.01) : formatLength(metres, step);
}

/** Metres from 0+123.4 or 123.4, also with a decimal comma; NaN for anything else. */
function parseStation(text) {
  const cell = text.trim().replace(",", ".");
  const parts = /^([+-]?)(\d{1,6})\+(\d{1,3}(?:\.\d{1,6})?)$/.exec(cell);
  if (!parts) return parseNumber(cell);
  const value = 1000 * Number(parts[2]) + Number(parts[3]);
  return parts[1] === "-" ? -value : value;
}

/** A plain number, also with a decimal comma; NaN for anything else. */
function parseNumber(text) {
  const cell = text.trim().replace(",", ".");
  return /^[+-]?(\d{1,12}(\.\d{0,12})?|\.\d{1,12})$/.test(cell) ? Number(cell) : NaN;
}

/** Whole numbers from base64: successive differences, seven bits a byte, lowest first. */
function unpack(packed) {
  const text = atob(packed.bytes);
  const values = new Float64Array(packed.count);
  let at = 0;
  let last = 0;
  for (let k = 0; k < packed.count; k += 1) {
    let coded = 0;
    let weight = 1;
    let byte = 128;
    while (byte > 127) {
      byte = text.charCodeAt(at);
      at += 1;
      coded += (byte & 127) * weight;
      weight *= 128;
    }
    // even: forward by half of it; odd: back
    last += coded % 2 ? -(coded + 1) / 2 : coded / 2;
    values[k] = last;
  }
  return values;
}

/** A list of numbers in which null stands for "none". */
function floats(list) {
  return Float64Array.from(list, (value) => (value === null ? NaN : value));
}

/** The number of entries of a rising list that are not above value. */
function countUpTo(rising, value) {
  let low = 0;
  let high = rising.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (rising[middle] <= value) low = middle + 1;
    else high = middle;
  }
  return low;
}

function clamp(value, low, high) {
  return Math.min(Math.max(value, low), high);
}

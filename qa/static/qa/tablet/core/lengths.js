// Typed lengths to whole nanometers and back, by the rules of the server (qa/numeric/lengths.py; tests/qa/vectors/lengths.json holds both to them).
// No floats on the way: digits are counted and padded, so 0.1 is 100,000 nm and nothing else.

export const UNITS = {
  mm: { places: 6, scale: 1, shown: 2, step: "0.05" },
  in: { places: 5, scale: 254, shown: 4, step: "0.002" },
};

const SHAPE = /^([+-]?)(\d*)(?:[.,](\d*))?$/;
const LONGEST_NM = 100e9;

export function parseLength(typed, unit) {
  const rule = UNITS[unit];
  const text = typed.trim();
  const plain = text.replace("\u2212", "-");
  if (plain === "") return { problem: "Nothing typed." };
  if (plain.split(/[.,]/).length > 2) return { problem: "Two decimal signs." };
  const parts = SHAPE.exec(plain);
  if (!parts) return { problem: "Not a number." };
  const [, sign, whole, part = ""] = parts;
  if (whole === "" && part === "") return { problem: "No digit." };
  if (part.length > rule.places) return { problem: `At most ${rule.places} decimals of ${unit}.` };
  const nm = Number(whole + part.padEnd(rule.places, "0")) * rule.scale;
  if (nm > LONGEST_NM) return { problem: "More than 100 m." };
  return { nm: sign === "-" && nm !== 0 ? -nm : nm, text };
}

// With places that many decimals, halves to even; without, the shortest text that reads back the same.
export function formatLength(nm, unit, places = null) {
  const rule = UNITS[unit];
  const decimals = places ?? rule.places;
  const step = rule.scale * 10 ** (rule.places - decimals);
  let units = Math.floor(Math.abs(nm) / step);
  const rest = Math.abs(nm) - units * step;
  if (2 * rest > step || (2 * rest === step && units % 2)) units += 1;
  const digits = String(units).padStart(decimals + 1, "0");
  let text = decimals ? `${digits.slice(0, -decimals)}.${digits.slice(-decimals)}` : digits;
  if (places === null) text = text.replace(/\.?0+$/, "");
  return nm < 0 && units > 0 ? `-${text}` : text;
}

// The finest decimals a reading has.
const FINEST = { mm: 3, in: 4 };

function between(low, high, unit) {
  if (low && high) return `${low} to ${high} ${unit}`;
  return low ? `at least ${low} ${unit}` : `at most ${high} ${unit}`;
}

// Rounded inward, as qa/wording/lengths.py does: what lies inside of what is told is accepted.
function inward(nm, unit, up) {
  const { places, scale, shown } = UNITS[unit];
  const step = scale * 10 ** (places - FINEST[unit]);
  const rounded = (up ? Math.ceil(nm / step) : Math.floor(nm / step)) * step;
  const coarse = rounded % (scale * 10 ** (places - shown)) === 0;
  return formatLength(rounded, unit, coarse ? shown : FINEST[unit]).replace("-", "\u2212");
}

// The limits that govern; where a guard draws them in, with those that are required.
export function tellLimits(limits, unit) {
  const { low_nm, high_nm, accept_low_nm = low_nm, accept_high_nm = high_nm } = limits;
  const [low, high] = [low_nm, high_nm].map((nm) => (nm === null ? "" : tellLength(nm, unit)));
  const required = between(low, high, unit);
  if (accept_low_nm === low_nm && accept_high_nm === high_nm) return required;
  const [from, to] = [
    accept_low_nm === null ? "" : inward(accept_low_nm, unit, true),
    accept_high_nm === null ? "" : inward(accept_high_nm, unit, false),
  ];
  return `accepted ${between(from, to, unit)}, required ${required}`;
}

// A limit or a deviation as people say it: two places of mm, four of inch; more of mm only when they are there.
export function tellLength(nm, unit) {
  const { shown } = UNITS[unit];
  const full = formatLength(nm, unit);
  const part = full.split(".")[1] ?? "";
  const text = unit === "mm" && part.length > shown ? full : formatLength(nm, unit, shown);
  return text.replace("-", "\u2212");
}

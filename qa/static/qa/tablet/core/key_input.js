// Keys: of our number pad as a pure reducer, (state, key) -> state; of a keyboard; and of a gauge that types like one.
// The page draws what comes out and sends what OK leaves.
import { UNITS, formatLength, parseLength } from "./lengths.js";

// marked: an old value stands in the pad, and the next key replaces it.
export const emptyPad = (unit = "mm") => ({ text: "", marked: false, unit, past: [] });

const LONGEST = 12;

const typed = (pad, text) => (text === pad.text && !pad.marked ? pad : { ...pad, text, marked: false, past: [...pad.past.slice(-49), { text: pad.text, marked: pad.marked }] });

// An old value comes back to be looked at: OK keeps it, a key replaces it, never adds to it.
export const recalled = (pad, text) => ({ ...typed(pad, text), marked: text !== "" });

// What somebody put into the field without our keys: it stands instead of an old value, not behind it.
export function typedInto(old, text) {
  if (text.startsWith(old)) return text.slice(old.length);
  return old.startsWith(text) ? "" : text;
}

function stepped(pad, direction, last) {
  const rule = UNITS[pad.unit];
  const from = parseLength(pad.text || last || "0", pad.unit);
  if (from.problem) return pad;
  const nm = from.nm + direction * parseLength(rule.step, pad.unit).nm;
  const places = Math.max(rule.step.length - 2, (/[.,](\d*)$/.exec(pad.text || last || "")?.[1] ?? "").length);
  return typed(pad, formatLength(nm, pad.unit, places).replace("\u2212", "-"));
}

// key: "0".."9", ".", "sign", "back", "clear", "undo", "more", "less", {unit} or {text}; last: the value a step starts from when nothing is typed.
export function press(pad, key, last = "") {
  if (key.unit) return key.unit === pad.unit ? pad : emptyPad(key.unit);
  if (key.text !== undefined) return typed(pad, key.text);
  const before = pad.marked ? "" : pad.text;
  if (/^\d$/.test(key)) {
    const text = before.replace(/^(-?)0$/, "$1") + key;
    const decimals = /\.(\d*)$/.exec(text);
    return text.length > LONGEST || decimals?.[1].length > UNITS[pad.unit].places ? pad : typed(pad, text);
  }
  switch (key) {
    case ".":
      return before.includes(".") ? pad : typed(pad, `${before}${/\d$/.test(before) ? "" : "0"}.`);
    case "sign":
      return typed(pad, before.startsWith("-") ? before.slice(1) : `-${before}`);
    case "back":
      return typed(pad, before.slice(0, -1));
    case "clear":
      return typed(pad, "");
    case "undo":
      return pad.past.length ? { ...pad, ...pad.past.at(-1), past: pad.past.slice(0, -1) } : pad;
    case "more":
      return stepped(pad, 1, last);
    case "less":
      return stepped(pad, -1, last);
    default:
      return pad;
  }
}

// What a hardware key means on the pad; null when it is not ours.
export function keyOf(name) {
  if (/^\d$/.test(name)) return name;
  return { ".": ".", ",": ".", "-": "sign", Backspace: "back", Delete: "clear", Enter: "ok" }[name] ?? null;
}

// A gauge that types: digits and Enter (or Tab) in a burst no hand can reach. The page feeds it every keydown with its time.
// Digits also go to the pad as they come, so a slow gauge or a quick hand loses nothing.
export const quiet = () => ({ text: "", at: -Infinity, fast: true });

const GAP_MS = 35;
const STALE_MS = 400;
const SHORTEST = 3;

// Returns {burst, value, held}: value when a burst ended, else null; held when this Enter or Tab must not reach what has the focus.
export function hear(burst, key, at) {
  const since = at - burst.at;
  const fast = since <= GAP_MS && burst.fast;
  if (key === "Enter" || key === "Tab") {
    const whole = fast && burst.text.length >= SHORTEST;
    const held = whole || (key === "Enter" && burst.text !== "" && since <= STALE_MS);
    return { burst: quiet(), value: whole ? burst.text : null, held };
  }
  if (!/^[\d.,+\u2212-]$/.test(key)) return { burst: quiet(), value: null, held: false };
  const next = since > STALE_MS ? { text: key, at, fast: true } : { text: burst.text + key, at, fast };
  return { burst: next, value: null, held: false };
}

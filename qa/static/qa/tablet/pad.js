// The number pad as a pure reducer: (state, key) -> state. The page draws what comes out and sends what OK leaves.
import { UNITS, formatLength, parseLength } from "./parse.js";

export const emptyPad = (unit = "mm") => ({ text: "", unit, past: [] });

const LONGEST = 12;

const typed = (pad, text) => (text === pad.text ? pad : { ...pad, text, past: [...pad.past.slice(-49), pad.text] });

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
  if (/^\d$/.test(key)) {
    const text = pad.text.replace(/^(-?)0$/, "$1") + key;
    const decimals = /\.(\d*)$/.exec(text);
    return text.length > LONGEST || decimals?.[1].length > UNITS[pad.unit].places ? pad : typed(pad, text);
  }
  switch (key) {
    case ".":
      return pad.text.includes(".") ? pad : typed(pad, `${pad.text}${/\d$/.test(pad.text) ? "" : "0"}.`);
    case "sign":
      return typed(pad, pad.text.startsWith("-") ? pad.text.slice(1) : `-${pad.text}`);
    case "back":
      return typed(pad, pad.text.slice(0, -1));
    case "clear":
      return typed(pad, "");
    case "undo":
      return pad.past.length ? { ...pad, text: pad.past.at(-1), past: pad.past.slice(0, -1) } : pad;
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

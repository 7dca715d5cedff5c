// A gauge that types: digits and Enter (or Tab) in a burst no hand can reach. Pure; the page feeds it every keydown with its time.
// Digits also go to the pad as they come, so a slow gauge or a quick hand loses nothing.

export const quiet = () => ({ text: "", at: -Infinity, fast: true });

const GAP_MS = 35;
const STALE_MS = 400;
const SHORTEST = 3;

// Returns {wedge, value, held}: value when a burst ended, else null; held when this Enter or Tab must not reach what has the focus.
export function hear(wedge, key, at) {
  const since = at - wedge.at;
  const fast = since <= GAP_MS && wedge.fast;
  if (key === "Enter" || key === "Tab") {
    const whole = fast && wedge.text.length >= SHORTEST;
    const held = whole || (key === "Enter" && wedge.text !== "" && since <= STALE_MS);
    return { wedge: quiet(), value: whole ? wedge.text : null, held };
  }
  if (!/^[\d.,+\u2212-]$/.test(key)) return { wedge: quiet(), value: null, held: false };
  const next = since > STALE_MS ? { text: key, at, fast: true } : { text: wedge.text + key, at, fast };
  return { wedge: next, value: null, held: false };
}

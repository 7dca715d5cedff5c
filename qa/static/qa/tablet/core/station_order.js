// The order in which a check is walked. A slot is one reading to take: {station, kind}.

export const KINDS = ["gap", "flush"];
export const slotKey = (station, kind) => `${station}|${kind}`;

// order: "station" (gap and flush at each station) or "kind" (once round for gap, once for flush).
// first: labels of stations that are measured before the others, in this order.
export function slotsOf(stations, order = "station", first = []) {
  const rank = ({ label }) => (first.includes(label) ? first.indexOf(label) : first.length);
  const sorted = [...stations].sort((a, b) => rank(a) - rank(b) || a.order - b.order);
  const slotOf = (station, kind) => station[kind] && { station: station.label, kind, key: slotKey(station.label, kind) };
  const all = order === "kind" ? KINDS.flatMap((kind) => sorted.map((station) => slotOf(station, kind))) : sorted.flatMap((station) => KINDS.map((kind) => slotOf(station, kind)));
  return all.filter(Boolean);
}

// The next slot that is not done, going on from `from` and round again; null when all are done.
export function nextOpen(slots, done, from = null) {
  const start = slots.findIndex((slot) => slot.key === from) + 1;
  for (let i = 0; i < slots.length; i += 1) {
    const slot = slots[(start + i) % slots.length];
    if (!done.has(slot.key)) return slot;
  }
  return null;
}

export function neighbor(slots, from, by) {
  const at = slots.findIndex((slot) => slot.key === from);
  return slots[(at + by + slots.length) % slots.length] ?? null;
}

export const progress = (slots, done) => ({ done: slots.filter((slot) => done.has(slot.key)).length, of: slots.length });

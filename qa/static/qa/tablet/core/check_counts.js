// What a check came to, counted as the summary tells it.

export function counts(view, slots) {
  const counted = {};
  const column = { above: "does_not_conform", below: "does_not_conform", saved: "waiting" };
  for (const { station, kind } of slots) {
    const { state } = view.slot(station, kind);
    const name = column[state] ?? state;
    counted[name] = (counted[name] ?? 0) + 1;
  }
  return counted;
}

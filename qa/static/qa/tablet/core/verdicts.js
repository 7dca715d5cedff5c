// What a reading, a place or a station can be: its word, its shape on the map, its sign beside words, and how bad it is. Data only.
// The worse of gap and flushness stands for a station; what is `bad` is told aloud and never left out of the map.
export const VERDICTS = {
  conforms: { word: "conforms", shape: "disc", sign: "tick", severity: 0 },
  skipped: { word: "skipped", shape: "struck", severity: 1 },
  saved: { word: "saved", shape: "disc", severity: 2 },
  not_measured: { word: "not measured", shape: "disc", severity: 3 },
  not_proven: { word: "not proven", shape: "diamond", severity: 4, bad: true },
  below: { word: "below", shape: "flipped", severity: 5, bad: true },
  above: { word: "above", shape: "triangle", severity: 6, bad: true },
  clash: { word: "two values", shape: "discs", severity: 7, bad: true },
};

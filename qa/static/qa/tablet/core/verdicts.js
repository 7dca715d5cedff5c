// What a reading, a place or a station can be: its word, its shape on the map, its sign beside words, and how bad it is. Data only.
// The worse of gap and flushness stands for a station; what is `bad` is told aloud and never left out of the map; `lift`: how far down its number stands.
export const VERDICTS = {
  conforms: { word: "conforms", shape: "disc", sign: "tick", severity: 0 },
  skipped: { word: "skipped", shape: "struck", severity: 1 },
  saved: { word: "saved", shape: "disc", severity: 2 },
  not_measured: { word: "not measured", shape: "disc", severity: 3 },
  not_proven: { word: "not proven", shape: "diamond", severity: 4, bad: true },
  below: { word: "below", shape: "triangle_down", severity: 5, bad: true, lift: -0.28 },
  above: { word: "above", shape: "triangle_up", severity: 6, bad: true, lift: 0.28 },
  clash: { word: "two values", shape: "discs", severity: 7, bad: true },
};

// Paths about 0, 0 in units of the radius, with a class of their own where they are not the state's; a disc is told by its middle.
export const SHAPES = {
  disc: [[0]],
  discs: [[-0.4], [0.4]],
  struck: [[0], ["M-1.3 0L-.8 0M.8 0L1.3 0", "edge"]],
  tick: [["M-.9 0L-.3 .8L1 -.9", "tick"]],
  triangle_up: [["M0 -1.4L1.35 .9L-1.35 .9Z"]],
  triangle_down: [["M0 1.4L1.35 -.9L-1.35 -.9Z"]],
  diamond: [["M0 -1.38L1.38 0L0 1.38L-1.38 0Z"], ["M1.38 0L0 1.38L-1.38 0Z", "half"], ["M0 -1.38L1.38 0L0 1.38L-1.38 0Z", "edge"]],
};

// Made from shop/wording by `manage.py tablet_verdicts`: what a reading, a place
// or a station can be. Data only: word, shape on the map, sign beside words, how
// bad it is (the worse of gap and flushness stands for a station), whether it is
// told aloud and never left out of the map, how far down its number stands.
export const VERDICTS = {
  "": { word: "no limits", shape: "disc", severity: 0 },
  conforms: { word: "conforms", shape: "disc_tick", sign: "tick", severity: 1 },
  skipped: { word: "skipped", shape: "struck_disc", severity: 2 },
  saved: { word: "saved", shape: "disc", severity: 2 },
  not_measured: { word: "not measured", shape: "disc", severity: 3 },
  not_proven: { word: "not proven", shape: "diamond", severity: 5, bad: true },
  below: { word: "below", shape: "triangle_down", severity: 6, bad: true, lift: -0.3 },
  above: { word: "above", shape: "triangle_up", severity: 6, bad: true, lift: 0.3 },
  does_not_conform: { word: "does not conform", shape: "octagon", severity: 6, bad: true },
  clash: { word: "two values", shape: "two_discs", severity: 7, bad: true },
};
// Paths about 0, 0 in units of the radius, with a class where it is not the
// state's own; a disc is told by its middle.
export const SHAPES = {
  disc: [[0]],
  disc_tick: [[0]],
  tick: [["M-0.7 0L-0.2 0.6L0.8 -0.7", "tick"]],
  triangle_up: [["M0 -1.36L-1.28 0.9L1.28 0.9Z"]],
  triangle_down: [["M0 1.36L-1.28 -0.9L1.28 -0.9Z"]],
  octagon: [["M1.201 0.497L0.497 1.201L-0.497 1.201L-1.201 0.497L-1.201 -0.497L-0.497 -1.201L0.497 -1.201L1.201 -0.497Z"]],
  diamond: [["M0 -1.38L1.38 0L0 1.38L-1.38 0Z"], ["M1.38 0L0 1.38L-1.38 0Z", "half"], ["M0 -1.38L1.38 0L0 1.38L-1.38 0Z", "edge"]],
  struck_disc: [[0], ["M-1.2 0L-0.8 0", "edge"], ["M0.8 0L1.2 0", "edge"]],
  two_discs: [[-0.4], [0.4]],
};

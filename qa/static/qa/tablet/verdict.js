// A reading against the integer acceptance limits that the server worked out; nothing is computed here but comparisons.
// LIM: low_nm high_nm (limits, null when absent), accept_* (conforms inside, inclusive), reject_* (does not conform strictly outside).

const beyond = (nm, low, high) => {
  if (high !== null && nm > high) return nm - high;
  if (low !== null && nm < low) return nm - low;
  return 0;
};

export function judge(nm, limits) {
  const deviation_nm = beyond(nm, limits.low_nm, limits.high_nm);
  const rejected = beyond(nm, limits.reject_low_nm, limits.reject_high_nm);
  const unaccepted = beyond(nm, limits.accept_low_nm, limits.accept_high_nm);
  return { verdict: rejected ? "does_not_conform" : unaccepted ? "not_proven" : "conforms", deviation_nm };
}

// The state that map, list and pad draw: conforms, above, below, not_proven; from the server's record when there is one.
export function stateOf(verdict, deviation_nm) {
  if (verdict === "does_not_conform") return deviation_nm < 0 ? "below" : "above";
  return verdict || "saved";
}

// A slip of the finger (235 for 2.35) lies more than five tolerance widths outside. With one limit only there is no width: 25 mm does.
export function looksLikeASlip(nm, limits) {
  const both = limits.low_nm !== null && limits.high_nm !== null;
  const width = both ? limits.high_nm - limits.low_nm : 5e6;
  return Math.abs(beyond(nm, limits.low_nm, limits.high_nm)) > 5 * width;
}

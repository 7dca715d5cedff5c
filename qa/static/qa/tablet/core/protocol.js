// What an answer about an act means.

export const LEASE_MS = 10000;
const PARKING = new Set([400, 403, 404, 409, 413, 422]);

// "done" only for a receipt with our id and our database's id: a portal page, a sign-in page or another server is never a success.
export function classify(status, answer, id, database) {
  if (status === 200 || status === 201) {
    if (answer?.act !== id || !answer.database || !answer.entry) return { what: "retry" };
    return answer.database === database ? { what: "done" } : { what: "other_database" };
  }
  const problem = answer?.error;
  if (status === 413) return { what: "park", problem: problem ?? { code: "too_large", message: "Too large for the server." } };
  // An error page without our own error shape comes from something in between, not from the shop's server.
  if (!problem?.code) return { what: "retry" };
  if (status === 401) return { what: problem.code === "revoked" ? "revoked" : "sign_in", problem };
  if (problem.code === "csrf") return { what: "csrf" };
  if (problem.code === "other_database") return { what: "other_database" };
  // "fault": the server made a mistake over this act; sent again it would make it again.
  if (PARKING.has(status) || problem.code === "fault") return { what: "park", problem: { ...problem, status } };
  return { what: "retry" };
}

// A refusal of many acts together says nothing about each of them, unless it is about who or where they come from.
export function forAll({ status, json }) {
  const aboutSender = status === 401 || ["csrf", "other_database"].includes(json?.error?.code);
  return aboutSender ? { status, json } : { status: 0 };
}

// 0.5 s doubling to 30 s, each between half and whole so that many tablets do not knock together.
export const backoff = (fails, random) => Math.min(30000, 500 * 2 ** Math.min(fails - 1, 6)) * (0.5 + random / 2);

// A person's act parked for want of that person goes again when the person is there.
export const freedBy = (item, username) => item.state === "parked" && item.problem?.code === "other_person" && item.body.by === username;

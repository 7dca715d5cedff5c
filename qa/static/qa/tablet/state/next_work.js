// What comes after a finished check: what the server worked out last is kept here; what was done by it; and the check after it.
import { afterIt } from "../core/walk.js";
import { fetchCheck } from "./check_session.js";

// Acts about a check that stand: kept for a week, or still to be sent.
const actsOf = async ({ store, outbox }, check) => [...(await store.sentOf(check)), ...outbox.queue.items.values()].filter(({ body, receipt }) => body.said.check === check && !receipt?.aside);

// {json, etag, done, problem}: what was worked out, the act that says what was done, why there is nothing newer.
// What was gone by stays as it was then. ask: the server is asked for something newer.
export async function workOf(tablet, check, ask) {
  const { store, connection, tell } = tablet;
  const key = `next ${check}`;
  const done = (await actsOf(tablet, check)).find(({ body }) => body.said.items);
  const kept = await store.get("settings", key);
  if (done || !ask) return { ...kept, done };
  const { status, json, etag } = await connection.ask("GET", `/api/checks/${check}/next?unit=${tablet.settings.unit}`, { known: kept?.etag, timeout_ms: 30000 });
  const problem = null;
  if (status === 304) return { ...kept, problem };
  if (json?.check !== check) return { ...kept, problem: json?.error ?? { message: "No contact." } };
  await store.put("settings", { json, etag }, key).catch((error) => tell({ type: "trouble", error }));
  for (const again of json.again) await fetchCheck(tablet, again.check);
  return { json, etag, problem };
}

// The act; null where nobody says who did it.
export async function record(tablet, form, said) {
  const by = await tablet.person();
  return by && tablet.outbox.add(form, by, said);
}

// Resolves to the check after it, begun once; null where nobody says who is measuring. again: one of the joints of what was worked out.
export async function beginAfter(tablet, done, again, temperature) {
  const { check } = again;
  const begun = (await actsOf(tablet, check)).find(({ body }) => body.said.after === done.id);
  const act = begun ?? (await record(tablet, "check/3", { check, after: done.id, temperature, note: "" }));
  if (begun || !act) return act;
  const { json } = await tablet.store.get("checks", check);
  const copy = { check: act.id, json: { ...json, ...again.copy, check: act.id, ...afterIt(again, done.body.said) } };
  await tablet.store.writeMakingRoom(["checks"], (rows) => rows.put(copy));
  return act;
}

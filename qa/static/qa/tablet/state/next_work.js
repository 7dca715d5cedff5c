// What comes after a finished check: what the server worked out last is kept here; what was done by it; and the check after it.
import { afterIt } from "../core/steps.js";
import { fetchCheck } from "./check_session.js";

// Acts about a check that stand: kept for a week, or still to be sent.
const actsOf = async ({ store, outbox }, check) => [...(await store.sentOf(check)), ...outbox.queue.items.values()].filter(({ body, receipt }) => body.said.check === check && !receipt?.aside);

const keep = ({ connection }, { json, etag }) => connection.remember(`next ${json.check}`, { json, etag });

// {json, etag, done, taken, problem}: what was worked out, the act that says what was done, whether a way was taken that this does not know of yet, why there is nothing newer.
// What was gone by stays as it was then. ask: the server is asked for something newer.
export async function workOf(tablet, check, ask) {
  const workNow = async (fresh) => {
    const acts = await actsOf(tablet, check);
    const done = acts.find(({ body }) => body.said.items);
    const copy = (!done && fresh) || (await tablet.store.get("settings", `next ${check}`));
    return { ...copy, done, taken: acts.some(({ body, receipt, problem }) => body.said.way && !problem && !(receipt?.entry <= copy?.json.read_to)) };
  };
  const kept = await workNow();
  if (kept.done || !ask) return kept;
  const { status, json, etag } = await tablet.connection.ask("GET", `/api/checks/${check}/next?unit=${tablet.settings.unit}`, { known: kept.etag, timeout_ms: 30000 });
  // Recorded while that was on its way: what it was gone by stays.
  const now = { ...(await workNow()), problem: null };
  if (now.done || status === 304) return now;
  if (json?.check !== check) return { ...now, problem: json?.error ?? { message: "No contact." } };
  await keep(tablet, { json, etag });
  for (const again of json.again) await fetchCheck(tablet, again.check);
  return { ...(await workNow({ json, etag })), problem: null };
}

// The act; null where nobody says who did it.
export async function add(tablet, form, content) {
  const by = await tablet.person();
  return by && tablet.outbox.add(form, by, content);
}

// work: what it was gone by, kept with it whatever came since.
export async function record(tablet, work, content) {
  const act = await add(tablet, work.json.form, { plan: work.json.plan, ...content });
  if (act) await keep(tablet, work);
  return act;
}

// Resolves to the check after it, begun once; null where nobody says who is measuring. again: one of the joints of what was worked out.
export async function beginAfter(tablet, done, again, temperature) {
  const { check } = again;
  const begun = (await actsOf(tablet, check)).find(({ body }) => body.said.after === done.id);
  const act = begun ?? (await add(tablet, "check/3", { check, after: done.id, temperature, note: "" }));
  if (begun || !act) return act;
  const { json } = await tablet.store.get("checks", check);
  const copy = { check: act.id, json: { ...json, ...again.copy, check: act.id, ...afterIt(again, done.body.said) } };
  await tablet.store.writeMakingRoom(["checks"], (rows) => rows.put(copy));
  return act;
}

// The state layer put together as the page does, on a database in memory and a network that the test answers for.
import { after } from "node:test";
import { Connection } from "../../../qa/static/qa/tablet/state/connection.js";
import { openStore } from "../../../qa/static/qa/tablet/state/local_store.js";
import { Outbox } from "../../../qa/static/qa/tablet/state/outbox.js";
import { PhotoOutbox } from "../../../qa/static/qa/tablet/state/photo_outbox.js";
import { memoryDatabase } from "./memory_database.js";

export const DATABASE = "d-1";
export const FULL = new DOMException("the disk is full", "UnknownError");
export const session = { csrf: "t", user: { username: "ann" }, database: DATABASE, people: [{ username: "ann", name: "Ann" }], proven: [] };
export const receipt = (act, more = {}) => ({ act, database: DATABASE, entry: 1, ...more });

const CHECK = {
  ...{ check: "c", label: "FC-1", state: "open", units: "mm", joint: { label: "J-1" }, airframe: { label: "AF-1" }, part: { serial: "S-1" } },
  stations: ["1", "2", "3"].map((label, order) => ({ label, order, flush: null, gap: { low_nm: 1.5e6, high_nm: 3e6, accept_low_nm: 1.5e6, accept_high_nm: 3e6, reject_low_nm: 1.5e6, reject_high_nm: 3e6 } })),
  readings: [],
};
export const aCheck = (more = {}) => ({ ...structuredClone(CHECK), ...more });

const load = (name) => import(`../../../qa/static/qa/tablet/state/${name}.js`);
const opened = [];
// Nothing is tried again when the tests are over.
after(() => {
  for (const { outbox } of opened) {
    clearTimeout(outbox.sender?.timer);
    outbox.sender?.stop("over");
  }
});

// answer(method, path, body): {status, json}, or null where the network is gone. Each is numbered, as the product's are, but for a portal's.
export async function aTablet(answer = () => null) {
  const memory = memoryDatabase();
  const events = [];
  const asked = [];
  const tell = (event) => events.push(event);
  const tablet = { memory, events, asked, tell, answer, settings: {}, person: async () => "ann", keep: async (changes) => Object.assign(tablet.settings, changes) };
  const fetch = async (path, { method, body }) => {
    const sent = typeof body === "string" ? JSON.parse(body) : body;
    asked.push({ method, path, body: sent });
    const given = await tablet.answer(method, path, sent);
    if (!given) throw TypeError("no network");
    return { status: given.status, ok: given.status < 300, headers: new Headers(given.portal ? {} : { "X-Request": "1", ...given.headers }), json: async () => structuredClone(given.json) };
  };
  const store = (tablet.store = await openStore(memory.indexedDB));
  const connection = (tablet.connection = new Connection(store, fetch, tell));
  const outbox = (tablet.outbox = new Outbox({ store, connection, channel: null, tab: "tab", tell, load }));
  tablet.photos = new PhotoOutbox({ store, connection, outbox, tell, load });
  opened.push(tablet);
  await connection.open();
  await outbox.open();
  return tablet;
}

// What was told, as often as it was told.
export const told = ({ events }, type) => events.filter((event) => event.type === type);

// Resolves when it is so; the runner ends a test that waits for ever.
export async function until(isSo) {
  while (!(await isSo())) await new Promise((resolve) => setImmediate(resolve));
}

// The server as it should be: signed in, and every act is taken. sent: acts by id.
export function aServer({ sent = new Map(), act = (id) => ({ status: 201, json: receipt(id) }) } = {}) {
  const answer = (method, path, body) => {
    if (path === "/api/session") return { status: 200, json: session };
    if (path === "/api/have") return { status: 200, json: { database: DATABASE, missing: body.ids.filter((id) => !sent.has(id)) } };
    if (method === "POST" && path === "/api/acts") return { status: 200, json: { answers: body.acts.map(({ id, body: one }) => act(id, one)) } };
    if (path.startsWith("/api/acts/")) return act(path.split("/").at(-1), body);
    return { status: 404, json: { error: { code: "not_found", message: "There is no such check." } } };
  };
  return answer;
}

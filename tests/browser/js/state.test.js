import assert from "node:assert/strict";
import { test } from "node:test";
import { CheckSession } from "../../../qa/static/qa/tablet/state/check_session.js";
import { beginCheck, carry } from "../../../qa/static/qa/tablet/state/carried_data.js";
import { DATABASE, FULL, aCheck, aServer, aTablet, receipt, told, until } from "./a_tablet.js";

const said = (station, more = {}) => ({ check: "c", station, kind: "gap", outcome: "value", value: "2.3", unit: "mm", goes: "", does_not_go: "", supersedes: null, reason: "", ...more });
const rows = ({ memory }, name) => memory.rows(name);
const error = { code: "refused", message: "The check is finished." };

test("an act leaves the outbox for a receipt and is then in the kept week", async () => {
  const tablet = await aTablet();
  await tablet.outbox.add("reading/1", "ann", said("1"));
  assert.equal(rows(tablet, "outbox").length, 1);
  tablet.answer = aServer();
  tablet.outbox.kick();
  await until(() => told(tablet, "receipt").length);
  assert.deepEqual([rows(tablet, "outbox").length, rows(tablet, "sent").length], [0, 1]);
  assert.equal(tablet.outbox.queue.items.size, 0);
});

test("a receipt that cannot be stored is told, and the act is sent again as the same one", async () => {
  const tablet = await aTablet(aServer());
  let full = true;
  tablet.memory.database.refuse = ({ table, method }) => (full && table === "sent" && method === "put" ? FULL : null);
  const item = await tablet.outbox.add("reading/1", "ann", said("1"));
  await until(() => told(tablet, "trouble").length);
  assert.equal(told(tablet, "trouble")[0].error, FULL);
  assert.equal(rows(tablet, "outbox").length, 1);
  full = false;
  tablet.outbox.kick();
  await until(() => told(tablet, "receipt").length);
  const puts = tablet.asked.filter(({ method }) => method === "PUT").map(({ path }) => path);
  assert.ok(puts.length >= 2 && puts.every((path) => path.endsWith(item.id)));
});

test("a server that answers and cannot save is not taken for one that is not there", async () => {
  const server = aServer();
  const full = (method, ...more) => (method === "PUT" ? { status: 507, json: { error: { code: "no_room", message: "The disk is full.", short: "disk full" } } } : server(method, ...more));
  const tablet = await aTablet(full);
  await tablet.outbox.add("reading/1", "ann", said("1"));
  await until(() => tablet.connection.fault === "disk full");
  tablet.answer = () => null;
  tablet.outbox.kick();
  await until(() => tablet.outbox.fails && !tablet.connection.fault);
  tablet.answer = full;
  tablet.outbox.kick();
  await until(() => tablet.connection.fault);
  tablet.answer = server;
  tablet.outbox.kick();
  await until(() => told(tablet, "receipt").length);
  assert.deepEqual([tablet.outbox.fails, tablet.connection.fault], [0, undefined]);
});

test("an act that the disk does not let go is told and waits", async () => {
  const tablet = await aTablet(aServer());
  tablet.memory.database.refuse = ({ table, method, row }) => (table === "outbox" && method === "put" && row.claim ? FULL : null);
  await tablet.outbox.add("reading/1", "ann", said("1"));
  await until(() => told(tablet, "trouble").length);
  assert.equal(rows(tablet, "outbox").length, 1);
  tablet.memory.database.refuse = () => null;
  await until(() => told(tablet, "receipt").length);
});

test("a refusal is told with its reason, also where it cannot be stored", async () => {
  for (const full of [false, true]) {
    const tablet = await aTablet(aServer({ act: () => ({ status: 409, json: { error } }) }));
    tablet.memory.database.refuse = ({ table, row }) => (full && table === "outbox" && row?.state === "parked" ? FULL : null);
    await tablet.outbox.add("reading/1", "ann", said("1"));
    await until(() => told(tablet, "parked").length);
    const [event] = told(tablet, "parked");
    assert.equal(event.item.problem.message, error.message);
    assert.equal(event.error, full ? FULL : null);
  }
});

test("what a person sets aside is told to be there still where the disk refuses", async () => {
  const tablet = await aTablet(aServer({ act: () => ({ status: 409, json: { error } }) }));
  const { id } = await tablet.outbox.add("reading/1", "ann", said("1"));
  await until(() => told(tablet, "parked").length);
  tablet.memory.database.refuse = ({ table, method }) => (table === "sent" && method === "put" ? FULL : null);
  await (await tablet.outbox.start()).setAside(id, "Was wrong");
  assert.equal(told(tablet, "trouble")[0].error, FULL);
  assert.equal(rows(tablet, "outbox").length, 1);
});

test("who was met holds, and what of it cannot be kept through a reload is told", async () => {
  const tablet = await aTablet(aServer());
  tablet.memory.database.refuse = ({ table, method, row }) => (table === "settings" && method === "put" && Array.isArray(row) ? FULL : null);
  await tablet.outbox.greet();
  assert.ok(tablet.connection.ready);
  assert.equal(tablet.connection.people[0].name, "Ann");
  assert.deepEqual(told(tablet, "trouble").map((event) => event.error), [FULL, FULL]);
  await tablet.outbox.add("reading/1", "ann", said("1"));
  await until(() => told(tablet, "receipt").length);
});

test("a server that is back is met by itself, also with nothing to send or only what needs a person", async () => {
  for (const parked of [false, true]) {
    const tablet = await aTablet(aServer({ act: () => ({ status: 409, json: { error } }) }));
    if (parked) {
      await tablet.outbox.add("reading/1", "ann", said("1"));
      await until(() => told(tablet, "parked").length);
    }
    tablet.answer = () => null;
    await tablet.outbox.greet();
    assert.ok(tablet.outbox.fails);
    tablet.answer = aServer();
    await until(() => !tablet.outbox.fails);
    assert.equal(tablet.outbox.queue.items.size, parked ? 1 : 0);
  }
});

test("what cannot be kept after a greeting is told once, and no lost contact", async () => {
  const tablet = await aTablet(aServer());
  tablet.memory.database.refuse = ({ table, row }) => (table === "settings" && row > Date.now() - 6e4 ? FULL : null);
  await tablet.outbox.greet();
  await new Promise((resolve) => setTimeout(resolve, 700)); // longer than the shortest wait for a server that is away
  const greetings = tablet.asked.filter(({ path }) => path === "/api/session").length;
  assert.deepEqual([greetings, tablet.outbox.fails], [1, 0]);
  assert.ok(told(tablet, "trouble").every((event) => event.error === FULL));
});

test("what lies in between and finds it too large is told as such", async () => {
  const tablet = await aTablet(aServer({ act: () => ({ status: 413, json: null, portal: true }) }));
  await tablet.outbox.add("reading/1", "ann", said("1"));
  await until(() => told(tablet, "parked").length);
  assert.equal(told(tablet, "parked")[0].item.problem.code, "too_large");
});

test("no network is no trouble: it is counted and tried again", async () => {
  const tablet = await aTablet();
  await tablet.outbox.greet();
  assert.deepEqual([told(tablet, "trouble").length, tablet.outbox.fails], [0, 1]);
});

test("after a restore what the server lacks goes again, acts and photos, and what is older than a week is forgotten", async () => {
  const tablet = await aTablet();
  const week = 8 * 24 * 36e5;
  const kept = (id, sent_at) => ({ id, seq: 1, body: { form: "reading/1", by: "ann", said: said("1") }, receipt: receipt(id), sent_at });
  await tablet.store.put("sent", kept("old", Date.now() - week));
  await tablet.store.put("sent", kept("lost", Date.now()));
  const photo = { id: "p", about: { check: "c" }, words: "", by: "ann", made_at: "2026-01-01T00:00:00Z", name: "", blob: new Blob(["x"]) };
  await tablet.store.put("sent", { id: "p", photo, receipt: { entry: "p" }, sent_at: Date.now() });
  const sent = new Map([["old", {}]]);
  tablet.answer = aServer({ sent });
  await tablet.outbox.greet();
  await until(() => told(tablet, "receipt").length);
  assert.deepEqual(rows(tablet, "sent").map(({ id }) => id), ["lost"]);
  assert.deepEqual(rows(tablet, "photos").map(({ id }) => id), ["p"]);
});

const picture = (more = {}) => ({ id: "p", about: { check: "c", station: "1" }, words: "station 1 gap", by: "ann", made_at: "2026-01-01T00:00:00Z", name: "", blob: new Blob(["x"]), ...more });

async function withPhoto(answer) {
  const tablet = await aTablet(aServer());
  await tablet.outbox.greet();
  await tablet.store.put("photos", picture());
  await tablet.photos.all();
  tablet.answer = (method, path, body) => (path.startsWith("/api/photos/") ? answer : aServer()(method, path, body));
  return tablet;
}

test("a refused photo is told and waits with the reason", async () => {
  const tablet = await withPhoto({ status: 422, json: { error } });
  await tablet.photos.send();
  assert.equal(told(tablet, "photo_refused")[0].problem.message, error.message);
  assert.equal(rows(tablet, "photos")[0].problem.message, error.message);
  assert.equal(tablet.photos.refused, 1);
});

test("a refusal of a photo that cannot be stored is told twice: as refused, and as not kept", async () => {
  const tablet = await withPhoto({ status: 422, json: { error } });
  tablet.memory.database.refuse = ({ table, method }) => (table === "photos" && method === "put" ? FULL : null);
  await tablet.photos.send();
  assert.deepEqual([told(tablet, "photo_refused").length, told(tablet, "trouble")[0].error], [1, FULL]);
});

test("a disk that cannot be read while photos wait is told; a network that is gone is not", async () => {
  const tablet = await withPhoto(null);
  await tablet.photos.send();
  assert.deepEqual([told(tablet, "trouble").length, tablet.photos.kept], [0, 1]);
  tablet.photos.notBefore = 0;
  tablet.memory.database.refuse = ({ table }) => (table === "photos" ? FULL : null);
  await tablet.photos.send();
  assert.equal(told(tablet, "trouble")[0].error, FULL);
});

test("a photo that the server has leaves the tablet in the same step in which it joins the kept week", async () => {
  const tablet = await withPhoto({ status: 201, json: { photo: "p", database: DATABASE } });
  await tablet.photos.send();
  assert.deepEqual([rows(tablet, "photos").length, rows(tablet, "sent")[0].photo.id, tablet.photos.kept], [0, "p", 0]);
});

const open = (tablet, changed = () => {}) => new CheckSession(tablet, "c", changed).open();

test("a check that is neither here nor given says why, in the words of the server", async () => {
  await assert.rejects(open(await aTablet(aServer())), { message: "There is no such check." });
  await assert.rejects(open(await aTablet()), { message: /the server cannot be reached/ });
});

test("a check that the server gives is shown also where it cannot be kept, and that is told", async () => {
  const tablet = await aTablet((_method, path) => (path === "/api/checks/c" ? { status: 200, json: aCheck() } : null));
  tablet.memory.database.refuse = ({ table, method }) => (table === "checks" && method === "put" ? FULL : null);
  const check = await open(tablet);
  assert.equal(check.slots.length, 3);
  assert.equal(told(tablet, "trouble")[0].error, FULL);
});

test("one session shows what the server has, what was done here, and what another tablet did since", async () => {
  const tablet = await aTablet();
  await tablet.store.put("checks", { check: "c", json: aCheck() });
  let changes = 0;
  const check = await open(tablet, () => (changes += 1));
  await check.record("reading/1", said("1"));
  check.heard(told(tablet, "added").at(-1));
  assert.equal(check.view().slot("1", "gap").state, "conforms");
  assert.equal(changes, 1);
  const other = { act: "x", by: "bob", station: "2", kind: "gap", outcome: "value", value: "4", unit: "mm", verdict: "does_not_conform", deviation_nm: 1e6, current: true, made_at: "2026-01-01T00:00:00Z" };
  tablet.answer = () => ({ status: 200, json: aCheck({ readings: [other], photos: ["2"] }) });
  assert.equal(await check.look(), null);
  assert.deepEqual([check.view().slot("2", "gap").state, check.view().done.size, check.photos.has("2"), changes], ["above", 2, true, 2]);
  tablet.answer = () => ({ status: 403, json: { error: { code: "forbidden", message: "Not yours." } } });
  assert.equal((await check.look()).message, "Not yours.");
});

test("what is carried is of use where it cannot be kept; a refusal is passed on; a page of a guest network changes nothing", async () => {
  const here = { checks: [], joints: [] };
  const tablet = await aTablet(() => ({ status: 200, json: here }));
  tablet.memory.database.refuse = ({ table, method }) => (table === "settings" && method === "put" ? FULL : null);
  assert.deepEqual(await carry(tablet), { here, fresh: true });
  assert.equal(told(tablet, "trouble")[0].error, FULL);
  tablet.memory.database.refuse = () => null;
  await carry(tablet);
  tablet.answer = () => ({ status: 200, json: null });
  assert.deepEqual((await carry(tablet)).here, here);
  tablet.answer = () => ({ status: 401, json: { error: { code: "sign_in", message: "Sign in." } } });
  assert.equal((await carry(tablet)).problem.message, "Sign in.");
});

test("a check begun without a network is two acts and a copy to work on", async () => {
  const tablet = await aTablet();
  const limits = { stations: aCheck().stations.map(({ gap, flush }) => ({ gap, flush })) };
  const joint = { id: 1, uuid: "j", label: "J-1", revision: 2, units: "mm", map: {}, stations: aCheck().stations.map(({ label, order }) => ({ label, order })) };
  const choice = { joint, airframe: { id: 1, uuid: "a", label: "AF-1" }, part: { id: 1, uuid: "p", label: "S-1" }, instrument: null, judged: limits, finish: "bare", held: [], reason: "first", why: "", temperature: "", accepted: false, note: "" };
  const id = await beginCheck(tablet, { database: DATABASE }, choice);
  const acts = rows(tablet, "outbox").map(({ body }) => [body.form, body.database]);
  assert.deepEqual(acts, [["fitup/2", DATABASE], ["check/2", DATABASE]]);
  const check = await new CheckSession(tablet, id, () => {}).open();
  assert.deepEqual(check.slots.map(({ key }) => key), ["1|gap", "2|gap", "3|gap"]);
});


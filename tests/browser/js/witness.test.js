import assert from "node:assert/strict";
import { test } from "node:test";
import { DATABASE, aServer, aTablet, receipt, session, told, until } from "./a_tablet.js";

const said = { check: "c", station: "1", kind: "gap", outcome: "value", value: "2.3", unit: "mm", goes: "", does_not_go: "", supersedes: null, reason: "" };

// A server with a chain of seals, that says of each answer what the product's says. chain: digests by position from 1.
function aLedger(tablet, chain, more = {}) {
  const plain = aServer();
  tablet.chain = chain;
  return (method, path, body) => {
    const { head } = tablet.connection;
    const answer = plain(method, path, body);
    const there = (head && tablet.chain[head[0] - 1]) ?? "-";
    const json = path === "/api/session" ? { ...session, ...more } : answer.json;
    return { ...answer, json, headers: { "X-Head": `${tablet.chain.length} ${tablet.chain.at(-1)} ${there}` } };
  };
}

async function measured(tablet) {
  await tablet.outbox.add("reading/1", "ann", said);
  tablet.outbox.kick();
}

async function told_once(chain) {
  const tablet = await aTablet();
  tablet.answer = aLedger(tablet, chain);
  await measured(tablet);
  await until(() => told(tablet, "receipt").length);
  return tablet;
}

test("the newest head is kept, and a history that goes on from it is believed", async () => {
  const tablet = await told_once(["a", "b"]);
  tablet.chain = ["a", "b", "c"];
  await measured(tablet);
  await until(() => told(tablet, "receipt").length === 2);
  assert.deepEqual(await tablet.store.get("settings", "head"), ["3", "c"]);
  assert.equal(told(tablet, "pause").length, 0);
});

for (const [what, chain] of [["was written anew", ["x", "y", "z"]], ["lost its tail", ["a"]]])
  test(`a history that ${what} is refused, nothing is sent, and that is told`, async () => {
    const tablet = await told_once(["a", "b"]);
    tablet.chain = chain;
    await measured(tablet);
    await until(() => told(tablet, "pause").length);
    assert.equal(told(tablet, "pause")[0].why, "rewritten");
    assert.equal(told(tablet, "receipt").length, 1);
    assert.equal(tablet.memory.rows("outbox").length, 1);
    // Opened again, it still knows.
    assert.deepEqual(await tablet.store.get("settings", "head"), ["2", "b"]);
    const { status } = await tablet.connection.ask("GET", "/api/checks/c");
    assert.equal(status, 0);
  });

test("a server that told its head and tells none any more is refused; one that cannot answer is not", async () => {
  const tablet = await told_once(["a", "b"]);
  const ledger = tablet.answer;
  tablet.answer = () => ({ status: 503, json: { error: "busy" } });
  assert.equal((await tablet.connection.ask("GET", "/api/checks/c")).status, 503);
  assert.equal(tablet.connection.lost, false);
  tablet.answer = (...asked) => ({ ...ledger(...asked), headers: {} });
  await measured(tablet);
  await until(() => told(tablet, "pause").length);
  assert.equal(told(tablet, "pause")[0].why, "rewritten");
  assert.equal(tablet.memory.rows("outbox").length, 1);
});

test("a copy that says it was restored is told apart, and taken when a person says so", async () => {
  const tablet = await told_once(["a", "b"]);
  const restored = { database: "d-2", before: [DATABASE] };
  const older = aLedger(tablet, ["a"], restored);
  tablet.answer = (method, path, body) => {
    const answer = older(method, path, body);
    if (path.startsWith("/api/acts/")) return { ...answer, json: receipt(path.split("/").at(-1), { database: "d-2" }) };
    if (path === "/api/have") return { ...answer, json: { database: "d-2", missing: [] } };
    return answer;
  };
  await measured(tablet);
  await until(() => told(tablet, "pause").length);
  assert.equal(told(tablet, "pause")[0].why, "restored");
  assert.equal(tablet.connection.database, DATABASE);
  await tablet.connection.forgetHead();
  tablet.outbox.greet();
  await until(() => told(tablet, "receipt").length === 2);
  assert.equal(tablet.connection.database, "d-2");
  assert.deepEqual(await tablet.store.get("settings", "head"), ["1", "a"]);
});

test("two answers that cross are each held against the head that was known when they were asked for", async () => {
  const tablet = await told_once(["a"]);
  const asked = [];
  tablet.answer = () => new Promise((done) => asked.push(done));
  const [first, second] = [tablet.connection.ask("GET", "/api/checks/1"), tablet.connection.ask("GET", "/api/checks/2")];
  await until(() => asked.length === 2);
  asked[1]({ status: 200, json: {}, headers: { "X-Head": "3 c a" } });
  await second;
  asked[0]({ status: 200, json: {}, headers: { "X-Head": "2 b a" } });
  await first;
  assert.deepEqual([tablet.connection.head, tablet.connection.lost], [["3", "c"], false]);
});

test("a server that numbers its answers no more but names its records is still one that lost what it told", async () => {
  const tablet = await told_once(["a", "b"]);
  const ledger = tablet.answer;
  tablet.answer = (...asked) => ({ ...ledger(...asked), portal: true });
  await measured(tablet);
  await until(() => told(tablet, "pause").length);
  assert.equal(told(tablet, "pause")[0].why, "rewritten");
  assert.equal(tablet.memory.rows("outbox").length, 1);
});

for (const [what, json] of [["a page", null], ["JSON", { captive: true, ok: true }], ["a list", []]])
  test(`a portal that answers all with 200 and ${what} is no alarm, and no answer`, async () => {
    const tablet = await told_once(["a", "b"]);
    const ledger = tablet.answer;
    tablet.answer = () => ({ status: 200, json, portal: true });
    const { status, json: believed } = await tablet.connection.ask("GET", "/api/checks/1");
    assert.deepEqual([status, believed, tablet.connection.lost], [0, null, false]);
    const asked = tablet.asked.length;
    await measured(tablet);
    await until(() => tablet.asked.length > asked && told(tablet, "unreachable").length + told(tablet, "counts").length > 0);
    assert.deepEqual([tablet.connection.lost, told(tablet, "pause")], [false, []]);
    assert.equal(tablet.memory.rows("outbox").length, 1);
    // Behind it again, what waited is sent.
    tablet.answer = ledger;
    tablet.outbox.greet();
    await until(() => told(tablet, "receipt").length === 2);
    assert.equal(tablet.connection.lost, false);
  });

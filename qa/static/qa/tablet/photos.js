// Photos: kept here, sent after the readings.
// One that the server refuses stays, with the reason, until a person decides; it holds up nothing.
import { alarm, say } from "./dom.js";
import { later } from "./later.js";
import { classify } from "./protocol.js";
import { isFull } from "./store.js";

const MOST_BYTES = 15e6;
const TIMEOUT_MS = 60000;
const LATER_MS = 5000;

// What an answer means, as for acts; a photo's receipt names the photo.
export const verdictOn = (status, json, id, database) => classify(status, json && { ...json, act: json.photo, entry: json.photo }, id, database);

// A refused one waits for a person; one of somebody else goes when that person has signed in; none before its check.
export const mayGo = ({ problem, by, about }, user, waiting) => (!problem || (problem.code === "other_person" && by === user)) && !waiting.has(about.check);

export const fileName = ({ made_at, name, blob }) => name || `photo-${made_at.slice(0, 19).replace(/\D/g, "")}.${blob.type === "image/jpeg" ? "jpg" : blob.type.split("/")[1] || "bin"}`;

export function photosOf(app) {
  const { store, link, outbox, tell } = app;
  const fails = new Map();
  let told = { kept: 0, refused: 0, since: null };
  let busy = false;
  let notBefore = 0;
  // When the server did not answer; when it did since, there is nothing to wait for.
  let lostAt = 0;

  async function all() {
    const photos = await store.all("photos");
    const [since] = photos.map(({ made_at }) => made_at).sort();
    told = { kept: photos.length, refused: photos.filter(({ problem }) => problem).length, since };
    return photos;
  }

  async function changed() {
    await all();
    tell({ type: "counts" });
  }

  function readingsWait() {
    const { items } = outbox.queue;
    for (const [id, { state }] of items) if (state !== "parked" && !outbox.queue.waitsFor(id).length) return true;
    return false;
  }

  // One at a time, and only when no reading can go. What failed last time comes last.
  async function send() {
    if (busy || !link.ready || outbox.pause || (notBefore > Date.now() && !(outbox.lastContact > lostAt)) || readingsWait()) return;
    busy = true;
    const tries = ({ id }) => fails.get(id) ?? 0;
    try {
      const photos = (await all()).filter((photo) => mayGo(photo, link.user?.username, outbox.queue.items));
      for (const photo of photos.sort((a, b) => tries(a) - tries(b))) {
        fails.set(photo.id, tries(photo) + 1);
        await sendOne(photo);
      }
    } catch {
      lostAt = Date.now();
      notBefore = lostAt + LATER_MS;
    }
    busy = false;
  }

  async function sendOne(photo) {
    const { what, problem } = await answerTo(photo);
    if (what === "retry") [notBefore, lostAt] = [Date.now() + LATER_MS, Infinity];
    else if (what === "done") await store.photoSent(photo, Date.now()).catch((error) => sentNotKept(photo, error));
    else if (what === "park") {
      await store.put("photos", { ...photo, problem }).catch((error) => alarm(error));
      say(`The photo of ${photo.words} was refused: ${problem.message}`, true);
    } else {
      // Not signed in, or not our database: the page asks the server who it is.
      link.ready = false;
      throw Error(what);
    }
    await changed();
  }

  // The server has it. A full disk gives it up; on any other error it stays where it is, is told, and is sent again as the same photo.
  async function sentNotKept({ id }, error) {
    if (isFull(error)) return store.drop("photos", id);
    [notBefore, lostAt] = [Date.now() + LATER_MS, Infinity];
    alarm(error);
    return null;
  }

  async function answerTo({ id, about, by, made_at, database = "", claimed, blob }) {
    if (blob.size > MOST_BYTES) return { what: "park", problem: { code: "too_large", message: `It has ${Math.ceil(blob.size / 1e6)} MB: a photo may have ${MOST_BYTES / 1e6}.` } };
    const { status, json } = await link.ask("PUT", `/api/photos/${id}?${new URLSearchParams({ ...about, by, made_at, database, claimed: claimed ? 1 : "" })}`, blob, TIMEOUT_MS, blob.type || "application/octet-stream");
    return verdictOn(status, json, id, link.database);
  }

  // A person says: send it again.
  async function retry(photo) {
    await store.put("photos", { ...photo, problem: null });
    notBefore = 0;
    await changed();
  }

  async function remove({ id }) {
    await store.drop("photos", id);
    await changed();
  }

  // about: what it shows, words: the same for people.
  async function take(...shown) {
    await (await later("taking")).take(app, ...shown);
  }

  async function choose(...shown) {
    await (await later("taking")).choose(app, ...shown);
  }

  return { all, changed, take, choose, send, retry, remove, counts: () => told };
}

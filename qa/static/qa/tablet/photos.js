// Photos: made smaller here, kept here, sent after the readings. A canvas copy carries no place and no camera data.
// One that the server refuses stays, with the reason, until a person decides; it holds up nothing.
import { ask, el, once, say, touch } from "./dom.js";
import { classify } from "./protocol.js";
import { newId } from "./uuid.js";

const LONGEST = 1600;
const MOST_BYTES = 15e6;
const TIMEOUT_MS = 60000;
const LATER_MS = 5000;

// What an answer means, as for acts; a photo's receipt names the photo.
export const verdictOn = (status, json, id, database) => classify(status, json && { ...json, act: json.photo, entry: json.photo }, id, database);

// A refused one waits for a person; one of somebody else goes when that person has signed in; none before its check.
export const mayGo = ({ problem, by, about }, user, waiting) => (!problem || (problem.code === "other_person" && by === user)) && !waiting.has(about.check);

export const fileName = ({ made_at, name, blob }) => name || `photo-${made_at.slice(0, 19).replace(/\D/g, "")}.${blob.type === "image/jpeg" ? "jpg" : blob.type.split("/")[1] || "bin"}`;

// What a photo at this station may show beside it: [{about, words}], and holes by pattern.
export function subjects({ check, defects = [], holes = [] }, { station, kind }) {
  const here = { check, station, kind };
  return {
    things: [{ about: here, words: `station ${station} ${kind}` }, ...defects.map(({ id, label, title }) => ({ about: { ...here, nonconformance: id }, words: `${label} ${title}` }))],
    patterns: holes.map(({ id, label, holes: names }) => ({ label, holes: names.map((hole) => ({ about: { check, pattern: id, hole }, short: hole, words: `hole ${hole} of ${label}` })) })),
  };
}

// Never a canvas of full size: tablets give back an empty picture above their limit.
async function smaller(file) {
  try {
    const whole = await createImageBitmap(file, { imageOrientation: "from-image" });
    const scale = Math.min(1, LONGEST / Math.max(whole.width, whole.height));
    const canvas = el("canvas", { width: Math.round(whole.width * scale), height: Math.round(whole.height * scale) });
    canvas.getContext("2d").drawImage(whole, 0, 0, canvas.width, canvas.height);
    whole.close();
    const blob = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", 0.82));
    canvas.width = 0;
    return blob ?? file;
  } catch {
    // The browser cannot read it (HEIC, or no picture at all): the server decides.
    return file;
  }
}

export function photosOf({ store, link, outbox, person, tell }) {
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

  async function take(about, words, files = false) {
    const by = await person();
    if (!by) return;
    const input = el("input", { type: "file", accept: "image/*", capture: !files && "environment", multiple: "", hidden: "" });
    // One that stands nowhere may be collected before it answers.
    document.body.append(input);
    input.oncancel = () => input.remove();
    input.onchange = once(async () => {
      input.remove();
      for (const file of input.files) {
        const blob = await smaller(file);
        await store.addPhoto({ id: newId(), about, words, by, made_at: new Date().toISOString(), database: link.database ?? "", claimed: link.isClaimed(by), name: blob === file ? file.name : "", blob });
      }
      await changed();
      say(`The photo of ${words} is on this tablet.`);
    });
    input.click();
  }

  // The station in hand needs no question; this one is for everything else.
  async function choose(check, slot) {
    const { things, patterns } = subjects(check, slot);
    const every = [...things, ...patterns.flatMap(({ holes }) => holes)];
    const key = (one) => touch("close", one.short ?? one.words, { value: every.indexOf(one) + 1, "aria-label": one.short && one.words });
    const rows = patterns.map(({ label, holes }) => el("fieldset", {}, el("legend", {}, `Hole of ${label}`), el("div", { class: "choices" }, holes.map(key))));
    const answer = await ask("shows", { things: things.map(key), patterns: rows });
    if (!answer) return;
    const { about, words } = every[answer.value - 1];
    await take(about, words, Boolean(answer.files));
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
    else if (what === "done") await store.photoSent(photo, Date.now()).catch(() => store.drop("photos", photo.id));
    else if (what === "park") {
      await store.put("photos", { ...photo, problem });
      say(`The photo of ${photo.words} was refused: ${problem.message}`, true);
    } else {
      // Not signed in, or not our database: the page asks the server who it is.
      link.ready = false;
      throw Error(what);
    }
    await changed();
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

  return { all, take, choose, send, retry, remove, counts: () => told };
}

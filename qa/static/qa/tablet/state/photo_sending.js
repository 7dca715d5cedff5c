// Sends the photos of this tablet, each as one. One that the server refuses stays, with the reason, until a person decides; it holds up nothing.
import { MOST_BYTES, classifyPhoto, mayGo } from "../core/photo_rules.js";
import { isFull } from "./local_store.js";

const TIMEOUT_MS = 60000;

// When the server did not answer, later; when it did since, there is nothing to wait for. Never while a reading can go.
function mustWait({ outbox, notBefore, lostAt }) {
  const { items } = outbox.queue;
  const late = notBefore > Date.now() && !(outbox.lastContact > lostAt);
  return outbox.pause || late || [...items].some(([id, { state }]) => state !== "parked" && !outbox.queue.waitsFor(id).length);
}

// One at a time. What failed last time comes last.
export async function sendPhotos(outbox) {
  if (mustWait(outbox)) return;
  const { fails, connection, outbox: acts } = outbox;
  const tries = ({ id }) => fails.get(id) ?? 0;
  const photos = (await outbox.all()).filter((photo) => mayGo(photo, connection.user?.username, acts.queue.items));
  for (const photo of photos.sort((a, b) => tries(a) - tries(b))) {
    fails.set(photo.id, tries(photo) + 1);
    await sendOne(outbox, photo);
  }
}

async function sendOne(outbox, photo) {
  const { store, connection, tell } = outbox;
  const { what, problem } = await answerTo(connection, photo);
  if (what === "retry") outbox.postpone(Infinity);
  else if (what === "done") await sent(outbox, photo).catch((error) => sentNotKept(outbox, photo, error));
  else if (what === "park") {
    await store.put("photos", { ...photo, problem }).catch((error) => tell({ type: "trouble", error }));
    tell({ type: "photo_refused", photo, problem });
  } else {
    // Not signed in, or not our database: the page asks the server who it is.
    if (what !== "unanswered") connection.ready = false;
    throw Object.assign(Error(), { unanswered: true });
  }
  await outbox.changed();
}

const sent = ({ store }, photo) =>
  store.write(["photos", "sent"], (photos, sentActs) => {
    sentActs.put({ id: photo.id, photo: { ...photo, problem: null }, receipt: { entry: photo.id }, sent_at: Date.now() });
    photos.delete(photo.id);
  });

// The server has it. A full disk gives it up; on any other error it stays where it is, is told, and is sent again as the same photo.
async function sentNotKept(outbox, { id }, error) {
  if (isFull(error)) return outbox.store.drop("photos", id);
  outbox.postpone(Infinity);
  outbox.tell({ type: "trouble", error });
  return null;
}

async function answerTo(connection, { id, about, by, made_at, database = "", claimed, blob }) {
  if (blob.size > MOST_BYTES) return { what: "park", problem: { code: "too_large", message: `It has ${Math.ceil(blob.size / 1e6)} MB: a photo may have ${MOST_BYTES / 1e6}.` } };
  const query = new URLSearchParams({ ...about, by, made_at, database, claimed: claimed ? 1 : "" });
  const answer = await connection.ask("PUT", `/api/photos/${id}?${query}`, { body: blob, timeout_ms: TIMEOUT_MS, type: blob.type || "application/octet-stream" });
  const { status, json } = answer;
  return status ? classifyPhoto(status, json, id, connection.database) : { what: "unanswered" };
}

// A person says: send it again.
export async function retryPhoto(outbox, photo) {
  await outbox.store.put("photos", { ...photo, problem: null });
  outbox.notBefore = 0;
  await outbox.changed();
}

export async function removePhoto(outbox, { id }) {
  await outbox.store.drop("photos", id);
  await outbox.changed();
}

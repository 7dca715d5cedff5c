// Photos: made smaller here, kept here, sent after the readings. A canvas copy carries no place and no camera data.
import { el, say } from "./dom.js";
import { newId } from "./uuid.js";

const LONGEST = 1600;
const TIMEOUT_MS = 60000;
const LATER_MS = 5000;

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
  let busy = false;
  let notBefore = 0;

  async function take(about) {
    const by = await person();
    if (!by) return;
    const input = el("input", { type: "file", accept: "image/*", capture: "environment", multiple: "" });
    input.onchange = async () => {
      for (const file of input.files) await store.put("photos", { id: newId(), about, by, made_at: new Date().toISOString(), blob: await smaller(file) });
      say("The photo is on this tablet.");
      send();
    };
    input.click();
  }

  // One at a time, and only when no reading waits.
  async function send() {
    const { unsent, parked } = outbox.queue.counts();
    if (busy || unsent > parked || !link.ready || outbox.pause || notBefore > Date.now()) return;
    busy = true;
    try {
      for (const photo of await store.all("photos")) if (!photo.problem) await sendOne(photo);
    } catch {
      notBefore = Date.now() + LATER_MS;
    }
    busy = false;
  }

  async function sendOne(photo) {
    const { id, about, by, made_at, blob } = photo;
    const { status, json } = await link.ask("PUT", `/api/photos/${id}?${new URLSearchParams({ ...about, by, made_at })}`, blob, TIMEOUT_MS, blob.type || "application/octet-stream");
    if (status < 300 && json?.photo === id && json.database === link.database) {
      await store.drop("photos", id);
      return tell({ type: "counts" });
    }
    if (![400, 409, 413, 422].includes(status) || !json?.error) throw Error("later");
    say(`The photo was refused: ${json.error.message}`, true);
    return store.put("photos", { ...photo, problem: json.error });
  }

  return { take, send };
}

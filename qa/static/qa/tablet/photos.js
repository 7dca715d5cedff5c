// Photos: made smaller here, kept here, sent after the readings. A canvas copy carries no place and no camera data.
import { el, say } from "./dom.js";
import { newId } from "./uuid.js";

const LONGEST = 1600;
const TIMEOUT_MS = 60000;

// Never a canvas of full size: tablets give back an empty picture above their limit.
async function smaller(file) {
  try {
    const whole = await createImageBitmap(file, { imageOrientation: "from-image" });
    const scale = Math.min(1, LONGEST / Math.max(whole.width, whole.height));
    const canvas = el("canvas", { width: Math.round(whole.width * scale), height: Math.round(whole.height * scale) });
    canvas.getContext("2d").drawImage(whole, 0, 0, canvas.width, canvas.height);
    whole.close();
    const blob = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", 0.82));
    canvas.width = canvas.height = 0;
    return blob ?? file;
  } catch {
    // The browser cannot read it (HEIC, or no picture at all): the server decides.
    return file;
  }
}

export class Photos {
  constructor(app) {
    this.app = app;
    this.wait = 0;
  }

  async take(about) {
    const by = await this.app.person();
    if (!by) return;
    const input = el("input", { type: "file", accept: "image/*", capture: "environment", multiple: "" });
    input.onchange = async () => {
      for (const file of input.files) await this.app.store.put("photos", { id: newId(), about, by, made_at: new Date().toISOString(), blob: await smaller(file) });
      say(`${input.files.length} photo kept on this tablet.`);
      this.send();
    };
    input.click();
  }

  // One at a time, and only when no reading waits.
  async send() {
    const { store, outbox, link } = this.app;
    if (this.busy || outbox.queue.counts().unsent > outbox.queue.counts().parked || !link.ready || this.wait > Date.now()) return;
    this.busy = true;
    try {
      for (const photo of await store.all("photos")) if (!photo.problem) await this.sendOne(photo);
    } catch {
      this.wait = Date.now() + 15000;
    }
    this.busy = false;
  }

  async sendOne({ id, about, by, made_at, blob }) {
    const { link, store } = this.app;
    const query = new URLSearchParams({ ...about, by, made_at });
    const { status, json } = await link.ask("PUT", `/api/photos/${id}?${query}`, blob, TIMEOUT_MS, blob.type || "application/octet-stream");
    if (status < 300 && json?.photo === id && json.database === link.database) return store.drop("photos", id);
    if (![400, 403, 409, 413, 422].includes(status) || !json?.error) throw new Error("later");
    say(`The photo was refused: ${json.error.message}`, true);
    return store.put("photos", { id, about, by, made_at, blob, problem: json.error });
  }
}

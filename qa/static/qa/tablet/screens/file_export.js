// Everything on this tablet as a file that the desk can take in, or several.
import { inParts } from "../core/file_parts.js";
import { el, say, touch } from "./dom.js";

const FILE_ROOM = 5e7;

const base64 = (blob) =>
  new Promise((resolve, reject) => {
    const reader = new FileReader();
    reader.onload = () => resolve(reader.result.split(",")[1]);
    reader.onerror = () => reject(reader.error);
    reader.readAsDataURL(blob);
  });

export function download(blob, name) {
  const href = URL.createObjectURL(blob);
  el("a", { href, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(href), 60000);
}

export class FileOfEverything {
  // keys: where a button for each part goes.
  constructor({ store, connection }, keys) {
    Object.assign(this, { store, connection, keys, parts: [], saved_at: "" });
  }

  // One file, or several with a button each: a browser saves no more than one at a touch.
  async save() {
    const [acts, acknowledged, waiting] = await Promise.all(["outbox", "sent", "photos"].map((table) => this.store.all(table)));
    const sent = acknowledged.filter(({ photo }) => !photo);
    // All that the server does not have; of the rest, what the file may hold beside it.
    let room = FILE_ROOM;
    const kept = acknowledged.map(({ photo }) => photo).filter((photo) => photo && (room -= photo.blob.size) > 0);
    this.parts = inParts(acts, sent, [...waiting, ...kept]);
    this.saved_at = new Date().toISOString();
    const of = this.parts.length;
    this.keys.replaceChildren(...(of > 1 ? this.parts.map((_, k) => touch("part", `Save part ${k + 1} of ${of}`, { value: k })) : []));
    if (of > 1) say(`It takes ${of} files: save each of them.`);
    await this.savePart(0);
  }

  async savePart(k) {
    const { connection, parts, saved_at } = this;
    const { photos, ...rows } = parts[k];
    const coded = await Promise.all(photos.map(async ({ blob, ...rest }) => ({ ...rest, type: blob.type, data: await base64(blob) })));
    const file = { format: "fayline-tablet/1", tablet: connection.device, database: connection.database, saved_at, part: k + 1, of: parts.length, ...rows, photos: coded };
    const which = parts.length > 1 ? `-${k + 1}-of-${parts.length}` : "";
    download(new Blob([JSON.stringify(file)], { type: "application/json" }), `tablet-${saved_at.slice(0, 16).replace(/\D/g, "")}${which}.json`);
  }
}

// What scanning a label leads to: a choice in a new check, a check, or a page of the site.
import { ask } from "./dom.js";
import { later } from "./later.js";

// Offered where the browser reads codes itself and the page may ask for the camera.
export async function offerScan(button) {
  const formats = await globalThis.BarcodeDetector?.getSupportedFormats().catch(() => []);
  button.hidden = !(navigator.mediaDevices?.getUserMedia && formats?.includes("qr_code"));
}

// Goes on with a pick; opens a check; tells about everything else, and opens its page while the server answers.
export async function scan(tablet, here, onPick, leave) {
  const { scanLabel } = await later("label_scanner");
  const meaning = await scanLabel(here);
  if (!meaning) return;
  const { what, field, id, uuid, path, words, thing } = meaning;
  if (what === "pick") return void onPick(field, id);
  if (what === "check") return void tablet.go(`/tablet/check/${uuid}`);
  const online = (await tablet.connection.ask("GET", "/api/session", { timeout_ms: 3000 })).json?.database;
  if (leave && online) return void location.assign(location.origin + path);
  const asking = ask("found", { words, note: online ? "" : "The server cannot be reached: its page does not open now." });
  for (const [name, there] of Object.entries({ open: online, photo: thing })) document.querySelector(`dialog [value=${name}]`).hidden = !there;
  const answer = await asking;
  if (answer?.value === "open") location.assign(location.origin + path);
  if (answer?.value === "photo") await (await later("photo_capture")).take(tablet, { thing }, words);
}

export const endScan = () => document.querySelector("dialog.scan")?.close();

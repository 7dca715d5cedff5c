// Reads the square of a label through the camera, by the browser's own reader. The camera runs only while the question is open.
import { meaning } from "../core/label_codes.js";
import { ask } from "./dom.js";

const EVERY_MS = 150;

// Returns what stop() ends: the camera, or the wait for a person's permission.
function watch(video, heard, complain) {
  let stream = null;
  let over = false;

  function stop() {
    over = true;
    stream?.getTracks().forEach((track) => track.stop());
    video.srcObject = null;
  }

  async function look() {
    stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
    if (over) return stop();
    stream.getTracks()[0].onended = () => complain("stopped");
    video.srcObject = stream;
    await video.play();
    const reader = new BarcodeDetector({ formats: ["qr_code"] });
    for (let last = ""; !over; await new Promise((resolve) => setTimeout(resolve, EVERY_MS))) {
      for (const { rawValue } of await reader.detect(video).catch(() => [])) if (!over && rawValue && rawValue !== last) heard((last = rawValue));
    }
    return undefined;
  }

  look().catch(({ name }) => over || complain(name));
  return stop;
}

// Resolves to what the label means (labels.js), or null when the person went back. here: what is carried.
export async function scanLabel(here) {
  const asking = ask("scan");
  const dialog = document.querySelector("dialog.scan[open]"); // one that was left may still stand there, closed
  const [video, note, typed] = ["video", "note", "typed"].map((ref) => dialog.querySelector(`[data-ref=${ref}]`));
  let scanned = null;

  function heard(text, byHand) {
    const means = meaning(text, here, location.hostname, byHand);
    typed.ariaInvalid = Boolean(byHand) && means.what === "foreign";
    if (means.what === "foreign") return void (note.textContent = means.words);
    scanned = means;
    navigator.vibrate?.(60);
    return dialog.close();
  }

  // why: what the browser calls it; the words stand in the template.
  function complain(why) {
    video.hidden = true;
    note.textContent = (dialog.querySelector(`[data-why=${why}]`) ?? dialog.querySelector("[data-why]")).textContent;
    typed.focus();
  }

  const leave = () => document.hidden && dialog.close();
  document.addEventListener("visibilitychange", leave);
  dialog.querySelector("form").onsubmit = (event) => {
    event.preventDefault();
    heard(typed.value.trim(), true);
  };
  const stop = watch(video, heard, complain);
  await asking;
  stop();
  document.removeEventListener("visibilitychange", leave);
  return scanned;
}

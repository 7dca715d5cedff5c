// Taking a photo: what it shows is asked, it is made smaller and kept. A canvas copy carries no place and no camera data.
import { subjects } from "../core/photo_rules.js";
import { newId } from "../state/outbox.js";
import { ask, el, once, say, touch } from "./dom.js";

const LONGEST = 1600;

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

// about: what it shows, words: the same for people.
export async function take(tablet, about, words, files = false) {
  const { store, connection, photos } = tablet;
  const by = await tablet.person();
  if (!by) return;
  const input = el("input", { type: "file", accept: "image/*", capture: !files && "environment", multiple: "", hidden: "" });
  // One that stands nowhere may be collected before it answers.
  document.body.append(input);
  input.oncancel = () => input.remove();
  input.onchange = once(async () => {
    input.remove();
    try {
      for (const file of input.files) {
        const blob = await smaller(file);
        const photo = { id: newId(), about, words, by, made_at: new Date().toISOString(), database: connection.database ?? "", claimed: connection.isClaimed(by), name: blob === file ? file.name : "", blob };
        await store.writeMakingRoom(["photos"], (rows) => rows.add(photo));
        tablet.tell({ type: "photo", about });
      }
    } finally {
      await photos.changed();
    }
    say(`The photo of ${words} is on this tablet.`);
  });
  input.click();
}

// The station in hand needs no question; this one is for everything else.
export async function choose(tablet, check, slot) {
  const { shown, patterns } = subjects(check, slot);
  const every = [...shown, ...patterns.flatMap(({ holes }) => holes)];
  const key = (subject) => touch("close", subject.short ?? subject.words, { value: every.indexOf(subject) + 1, "aria-label": subject.short && subject.words });
  const rows = patterns.map(({ label, holes }) => el("fieldset", {}, el("legend", {}, `Hole of ${label}`), el("div", { class: "choices" }, holes.map(key))));
  const answer = await ask("shows", { shown: shown.map(key), patterns: rows });
  if (!answer) return;
  const { about, words } = every[answer.value - 1];
  await take(tablet, about, words, Boolean(answer.files));
}

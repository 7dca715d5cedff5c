// Taking a photo: what it shows is asked, it is made smaller and kept. A canvas copy carries no place and no camera data.
import { ask, el, once, say, touch } from "./dom.js";
import { newId } from "./uuid.js";

const LONGEST = 1600;

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

export async function take({ store, link, person, photos, tell }, about, words, files = false) {
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
    await photos.changed();
    tell({ type: "photo", about });
    say(`The photo of ${words} is on this tablet.`);
  });
  input.click();
}

// The station in hand needs no question; this one is for everything else.
export async function choose(app, check, slot) {
  const { things, patterns } = subjects(check, slot);
  const every = [...things, ...patterns.flatMap(({ holes }) => holes)];
  const key = (one) => touch("close", one.short ?? one.words, { value: every.indexOf(one) + 1, "aria-label": one.short && one.words });
  const rows = patterns.map(({ label, holes }) => el("fieldset", {}, el("legend", {}, `Hole of ${label}`), el("div", { class: "choices" }, holes.map(key))));
  const answer = await ask("shows", { things: things.map(key), patterns: rows });
  if (!answer) return;
  const { about, words } = every[answer.value - 1];
  await take(app, about, words, Boolean(answer.files));
}

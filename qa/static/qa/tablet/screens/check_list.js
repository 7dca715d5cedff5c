// The start of the tablet: checks carried along. A label that is scanned opens its check, or is chosen in a new one.
import { carry } from "../state/carried_data.js";
import { fetchCheck } from "../state/check_session.js";
import { el, stamp } from "./dom.js";
import { endScan, offerScan, scan } from "./label_scan.js";

export async function openStart(tablet) {
  const { store } = tablet;
  const picked = (field, id) => tablet.go(`/tablet/new?${field}=${id}`);
  const ui = stamp("start", { fetch: refresh, scan: async () => scan(tablet, await store.get("settings", "carry"), picked, true) });

  async function refresh() {
    const { here, fresh, problem } = await carry(tablet);
    const refused = [problem];
    for (const { uuid } of fresh ? here.checks : []) refused.push((await fetchCheck(tablet, uuid)).problem);
    const [why] = refused.filter(Boolean);
    await paint(why ? `Not brought up to date: ${why.message}` : fresh ? "" : "The server cannot be reached. What is carried here works without it.");
  }

  async function paint(note) {
    const open = (await store.all("checks")).map(({ json }) => json).filter(({ state }) => state === "open");
    ui.note.textContent = note || (open.length ? "" : "No open check is carried here.");
    ui.carried.replaceChildren(...open.map(rowOf));
    const { studies = [] } = (await store.get("settings", "carry")) ?? {};
    ui.studying.hidden = !studies.length;
    ui.studies.replaceChildren(...studies.map(({ uuid, label, what }) => row(`study/${uuid}`, el("b", {}, label), ` ${what}`)));
  }

  await paint("");
  offerScan(ui.scan);
  refresh();
  return { ...ui, close: endScan };
}

function rowOf({ check, joint, airframe, part, label, since }) {
  const words = [el("b", {}, joint.name || joint.label), ` ${airframe.label}, ${part.serial}`, el("small", {}, since ? `${label}. Changed since: ${since}` : label)];
  return row(`check/${check}`, ...words);
}

const row = (to, ...words) => el("li", {}, el("a", { class: "button", href: `/tablet/${to}`, "data-go": "" }, words));

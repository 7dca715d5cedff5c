// The tablet page: opens the store, finds the server, shows one screen at a time and never leaves the page.
import { openCheck } from "./checkpage.js";
import { age, alarm, ask, el, say } from "./dom.js";
import { keepLater, later } from "./later.js";
import { Link } from "./link.js";
import { outboxOf } from "./outbox.js";
import { peopleOf } from "./people.js";
import { photosOf } from "./photos.js";
import { openStore } from "./store.js";

const byId = (id) => document.getElementById(id);
// Screens that a check does not need, by the word in the address; the start is for all others.
const SCREENS = { new: ["start", "openNew"], store: ["stored", "openStored"] };
const WHY = { sign_in: "sign in to send", revoked: "tablet revoked", other_database: "other database" };

async function openPage() {
  const store = await openStore();
  const settings = (await store.get("settings", "page")) ?? {};
  const link = new Link(store);
  const app = { store, settings, link, tell, go, keep, paintBar, nameOf: (username) => people.nameOf(username), person: () => people.need() };
  const people = (app.people = peopleOf(app));
  const channel = "BroadcastChannel" in globalThis ? new BroadcastChannel("fayline") : null;
  const outbox = (app.outbox = outboxOf({ store, link, channel, tell }));
  app.photos = photosOf(app);
  let screen = null;
  let painting;

  function dress() {
    const { theme = "auto", keys = "", hand = "" } = settings;
    Object.assign(document.documentElement.dataset, { theme, keys, hand });
  }

  async function keep(changes) {
    Object.assign(settings, changes);
    await store.put("settings", { ...settings }, "page");
    dress();
  }

  function go(path) {
    history.pushState(null, "", path);
    return show();
  }

  async function open(name, id) {
    if (name === "check") return openCheck(app, id);
    const [module, screenOf] = SCREENS[name] ?? ["start", "openStart"];
    return (await later(module))[screenOf](app);
  }

  async function show() {
    screen?.close?.();
    const [, , name, id] = location.pathname.split("/");
    const opening = (screen = {});
    const opened = await open(name, id).catch(({ message }) => ({
      node: el("section", { class: "page" }, el("h1", { tabindex: -1 }, "This cannot be opened here"), el("p", {}, message)),
    }));
    if (screen !== opening) return void opened.close?.();
    screen = opened;
    byId("screen").replaceChildren(opened.node);
    if (name !== "check") opened.node.querySelector("h1").focus();
    paintBar();
  }

  function needsYou({ problem }, error) {
    const words = `One act needs you: ${problem.message}`;
    if (error) alarm(error, `${words} `);
    else say(words, true);
  }

  function tell(event) {
    const { type, item, why, error } = event;
    screen?.heard?.(event);
    if (type === "session") met();
    else if (type === "pause") paused(why);
    else if (type === "parked") needsYou(item, error);
    if (type === "added") return paintBar();
    app.photos.send();
    // A thousand receipts are ten pictures a second.
    painting ||= setTimeout(paintBar, 100);
    return undefined;
  }

  async function met() {
    if (link.user && !people.now()) await people.become(link.user.username);
  }

  // A question must not fall into a value that is being typed.
  async function paused(why) {
    if (screen?.typing?.()) return void setTimeout(paused, 2000, why);
    if (why === "other_database") {
      if (!(await ask("stranger"))) return;
      await link.bind(link.stranger);
      await store.drop("settings", "reconciled");
      outbox.greet();
    } else if (why === "sign_in" && (outbox.queue.items.size || app.photos.counts().kept)) people.signIn("Everything is still here, and goes under who measured it.");
  }

  async function askSettings() {
    const asking = ask("set");
    showChosen(document.querySelector("dialog form"));
    const { value, ...chosen } = (await asking) ?? {};
    if (!value) return;
    const { order } = settings;
    await keep({ aloud: false, ...chosen });
    if (order !== settings.order) show();
  }

  function showChosen({ elements }) {
    for (const [name, value] of Object.entries(settings)) if (elements[name]) elements[name][elements[name].type === "checkbox" ? "checked" : "value"] = value;
  }

  function paintBar() {
    painting = clearTimeout(painting);
    const { unsent, parked, oldest } = outbox.queue.counts();
    const { kept, refused, since } = app.photos.counts();
    const [first] = [oldest, since].filter(Boolean).sort();
    const why = WHY[outbox.pause] ?? (outbox.fails ? "no contact" : "");
    const need = parked + refused;
    const told = first ? [unsent && `${unsent} not sent`, kept && `${kept} photo${kept > 1 ? "s" : ""} not sent`, age(first), need && `${need} need you`, why] : [why || "all sent"];
    byId("unsent").textContent = told.filter(Boolean).join(", ");
    byId("unsent").dataset.state = need ? "parked" : unsent + kept ? "waiting" : "";
    byId("who").textContent = people.now() ? `${people.nameOf(people.now())}${link.isClaimed(people.now()) ? " (claimed)" : ""}` : "Who?";
    byId("place").textContent = screen?.place?.() ?? "";
  }

  dress();
  await link.open();
  await people.open();
  await outbox.open();
  await app.photos.all();
  for (const name of ["online", "pageshow", "focus", "visibilitychange"]) addEventListener(name, () => outbox.kick());
  addEventListener("keydown", (event) => screen?.keydown?.(event));
  // Nothing that could not be kept goes by without a word.
  addEventListener("unhandledrejection", ({ reason }) => alarm(reason));
  addEventListener("popstate", show);
  addEventListener("beforeunload", (event) => outbox.queue.items.size && event.preventDefault());
  addEventListener("click", (event) => {
    const to = event.target.closest("a[data-go]");
    if (!to || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    go(to.getAttribute("href"));
  });
  byId("who").onclick = () => people.choose();
  byId("set").onclick = askSettings;
  setInterval(() => {
    paintBar();
    keepLater();
    app.photos.send();
    if (!link.ready && !outbox.pause) outbox.greet();
  }, 5000);
  if (isSecureContext) {
    navigator.serviceWorker?.register("/tablet/sw.js", { scope: "/tablet/" });
    navigator.storage?.persist?.();
  }
  await show();
  keepLater();
  outbox.greet();
}

openPage().catch(({ message }) => {
  byId("screen").textContent = `The tablet page cannot be opened (${message}). Readings cannot be kept: use paper or another browser.`;
});

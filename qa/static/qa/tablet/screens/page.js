// The tablet page: opens the store, finds the server, shows one screen at a time and never leaves the page.
import { Connection } from "../state/connection.js";
import { openStore } from "../state/local_store.js";
import { Outbox, newId } from "../state/outbox.js";
import { PhotoOutbox } from "../state/photo_outbox.js";
import { openCheck } from "./check.js";
import { age, alarm, alarmOnce, el, plainError, say } from "./dom.js";
import { keepLater, later } from "./later.js";

const byId = (id) => document.getElementById(id);
// Screens that a check does not need, by the word in the address; the start is for all others.
const SCREENS = { new: ["new_check", "openNew"], store: ["tablet_contents", "openContents"], study: ["gauge_study", "openStudy"], next: ["next_steps", "openNext"] };
const WHY = { sign_in: "sign in to send", revoked: "tablet revoked", other_database: "other database", restored: "restored records", rewritten: "RECORDS REWRITTEN" };

class Page {
  constructor(store, settings) {
    Object.assign(this, { store, settings });
    const tell = (this.tell = (event) => this.heard(event));
    const channel = "BroadcastChannel" in globalThis ? new BroadcastChannel("fayline") : null;
    const connection = (this.connection = new Connection(store, (...request) => fetch(...request), tell));
    const outbox = (this.outbox = new Outbox({ store, connection, channel, tab: (sessionStorage.tab ??= newId()), tell, load: later }));
    this.photos = new PhotoOutbox({ store, connection, outbox, tell, load: later });
  }

  async open() {
    this.dress();
    await this.connection.open();
    await this.outbox.open();
    await this.photos.all();
    this.listen();
    setInterval(() => this.tick(), 5000);
    if (isSecureContext) {
      navigator.serviceWorker?.register("/tablet/sw.js", { scope: "/tablet/" }).catch(({ message }) => alarm(plainError(`This page may not open without a network: ${message}`)));
      navigator.storage?.persist?.();
    }
    await this.show();
    this.outbox.greet();
    keepLater();
  }

  listen() {
    for (const name of ["online", "pageshow", "focus", "visibilitychange"]) addEventListener(name, () => this.outbox.kick());
    addEventListener("keydown", (event) => this.screen?.keydown?.(event));
    // Nothing that could not be kept goes by without a word.
    addEventListener("unhandledrejection", ({ reason }) => alarm(reason));
    addEventListener("popstate", () => this.show());
    addEventListener("beforeunload", (event) => this.outbox.queue.items.size && event.preventDefault());
    addEventListener("click", (event) => {
      const to = event.target.closest("a[data-go]");
      if (!to || event.ctrlKey || event.metaKey) return;
      event.preventDefault();
      this.go(to.getAttribute("href"));
    });
    byId("who").onclick = async () => (await later("sign_in")).choosePerson(this);
    byId("set").onclick = async () => (await later("settings")).askSettings(this);
  }

  async tick() {
    this.paintBar();
    this.screen?.tick?.();
    keepLater();
    if (!this.connection.ready && !this.outbox.pause) this.outbox.greet();
    // Another tab may have taken some.
    await this.photos.all();
    this.photos.send();
  }

  dress() {
    const { theme = "auto", keys = "", hand = "" } = this.settings;
    Object.assign(document.documentElement.dataset, { theme, keys, hand });
  }

  async keep(changes) {
    Object.assign(this.settings, changes);
    await this.connection.remember("page", { ...this.settings });
    this.dress();
  }

  go(path) {
    history.pushState(null, "", path);
    return this.show();
  }

  async screenOf(name, id) {
    if (name === "check") return openCheck(this, id);
    const [module, open] = SCREENS[name] ?? ["check_list", "openStart"];
    return (await later(module))[open](this, id);
  }

  async show() {
    this.screen?.close?.();
    const [, , name, id] = location.pathname.split("/");
    // What happens while a screen opens it hears when it is open.
    const missed = [];
    const opening = (this.screen = { heard: (event) => missed.push(event) });
    const opened = await this.screenOf(name, id).catch((error) => ({
      // Nobody has to think of loading the page again once the server is back.
      tick: () => this.show(),
      node: el("section", { class: "page" }, el("h1", { tabindex: -1 }, "This cannot be opened here"), el("p", {}, error.message)),
    }));
    if (this.screen !== opening) return void opened.close?.();
    this.screen = opened;
    for (const event of missed) opened.heard?.(event);
    byId("screen").replaceChildren(opened.node);
    if (name !== "check") opened.node.querySelector("h1").focus();
    this.paintBar();
  }

  // Who is measuring; asked where nobody is known. Null when the person went back.
  async person() {
    if (!this.connection.person) await this.outbox.greet();
    return this.connection.person ?? (await later("sign_in")).signIn(this, "Readings carry who took them.");
  }

  // What the outbox, the photos and the connection tell.
  heard(event) {
    const { type, item, why, error, photo, problem } = event;
    this.screen?.heard?.(event);
    if (type === "trouble") return void alarmOnce(error);
    if (type === "session") this.met();
    else if (type === "pause") this.paused(why);
    else if (type === "restored") this.photos.changed();
    else if (type === "parked") needsYou(item, error);
    else if (type === "photo_refused") say(`The photo of ${photo.words} was refused: ${problem.message}`, true);
    if (type === "added") return void this.paintBar();
    this.photos.send();
    // A thousand receipts are ten pictures a second.
    this.painting ||= setTimeout(() => this.paintBar(), 100);
  }

  async met() {
    const { user, person } = this.connection;
    if (user && !person) await this.connection.become(user.username);
  }

  async paused(why) {
    await (await later("sign_in")).askWhyPaused(this, why);
  }

  paintBar() {
    this.painting = clearTimeout(this.painting);
    const { outbox, photos, connection } = this;
    const { unsent, parked, oldest } = outbox.queue.counts();
    const { kept, refused, since } = photos;
    const [first] = [oldest, since].filter(Boolean).sort();
    const why = WHY[outbox.pause] ?? (outbox.fails && (connection.fault || "no contact"));
    const need = parked + refused;
    const words = [unsent && `${unsent} not sent`, kept && `${kept} photo${kept > 1 ? "s" : ""} not sent`, first && age(first), need && `${need} need you`, why];
    byId("unsent").textContent = words.filter(Boolean).join(", ") || "all sent";
    byId("unsent").dataset.state = need ? "parked" : unsent + kept ? "waiting" : "";
    byId("who").textContent = connection.person ? `${connection.nameOf(connection.person)}${connection.isClaimed(connection.person) ? " (claimed)" : ""}` : "Who?";
    byId("place").textContent = this.screen?.place?.();
  }
}

function needsYou({ problem }, error) {
  const words = `One act needs you: ${problem.message}`;
  if (error) alarm(error, `${words} `);
  else say(words, true);
}

async function openPage() {
  const store = await openStore(indexedDB);
  await new Page(store, (await store.get("settings", "page")) ?? {}).open();
}

openPage().catch(({ message }) => {
  byId("screen").textContent = `The tablet page cannot be opened (${message}). Readings cannot be kept: use paper or another browser.`;
});

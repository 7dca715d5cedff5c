// The tablet page: opens the store, finds the server, shows one screen at a time and never leaves the page.
import { CheckPage } from "./checkpage.js";
import { age, ask, el, say } from "./dom.js";
import { Link } from "./link.js";
import { Outbox } from "./outbox.js";
import { People } from "./people.js";
import { Photos } from "./photos.js";
import { NewCheck, Start } from "./start.js";
import { openStore } from "./store.js";
import { Stored } from "./stored.js";

const byId = (id) => document.getElementById(id);

class App {
  async open() {
    this.store = await openStore();
    this.settings = (await this.store.get("settings", "page")) ?? {};
    this.dress();
    this.link = new Link(this.store);
    await this.link.open();
    this.people = new People(this);
    await this.people.open();
    this.photos = new Photos(this);
    const channel = "BroadcastChannel" in globalThis ? new BroadcastChannel("fayline") : null;
    this.outbox = new Outbox({ store: this.store, link: this.link, channel, tell: (event) => this.heard(event) });
    await this.outbox.open();
    this.listen();
    await this.show();
    this.outbox.greet();
  }

  listen() {
    for (const name of ["online", "pageshow", "focus"]) addEventListener(name, () => this.outbox.kick());
    document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && this.outbox.kick());
    addEventListener("keydown", (event) => this.screen?.keydown?.(event));
    addEventListener("popstate", () => this.show());
    addEventListener("beforeunload", (event) => this.outbox.queue.items.size && event.preventDefault());
    document.addEventListener("click", (event) => {
      const link = event.target.closest("a[data-go]");
      if (!link || event.ctrlKey || event.metaKey) return;
      event.preventDefault();
      this.go(link.getAttribute("href"));
    });
    byId("who").onclick = () => this.people.choose();
    byId("set").onclick = () => this.askSettings();
    setInterval(() => this.tick(), 15000);
    if (isSecureContext) {
      navigator.serviceWorker?.register("/tablet/sw.js", { scope: "/tablet/" });
      navigator.storage?.persist?.();
    }
  }

  tick() {
    this.paintBar();
    this.photos.send();
    if (!this.link.ready && !this.outbox.pause) this.outbox.greet();
  }

  go(path) {
    history.pushState(null, "", path);
    this.show();
  }

  async show() {
    this.screen?.close?.();
    const [, , name, id] = location.pathname.split("/");
    const screen = name === "check" ? new CheckPage(this, id) : name === "new" ? new NewCheck(this) : name === "store" ? new Stored(this) : new Start(this);
    this.screen = screen;
    let node;
    try {
      node = await screen.open();
    } catch (error) {
      node = el("section", { class: "page" }, el("h1", { tabindex: -1 }, "This cannot be opened here"), el("p", {}, error.message));
    }
    if (this.screen !== screen) return;
    byId("screen").replaceChildren(node);
    document.body.dataset.screen = name || "start";
    if (name !== "check") node.querySelector("h1")?.focus();
    this.paintBar();
  }

  heard(event) {
    this.screen?.heard?.(event);
    if (event.type === "counts") this.paintBar(event);
    if (event.type === "session") this.met();
    if (event.type === "pause") this.paused(event.why);
    if (event.type === "parked") say(`One act needs you: ${event.item.problem.message}`, true);
    if (event.type === "receipt") this.photos.send();
  }

  async met() {
    const { user } = this.link;
    this.people.learn(this.link.proven);
    if (user && !this.people.now) await this.people.become(user.username);
    this.paintBar();
    this.photos.send();
  }

  async paused(why) {
    this.paintBar();
    if (why === "other_database") {
      const answer = await ask("stranger");
      if (!answer) return;
      await this.link.bind(this.link.stranger);
      await this.store.drop("settings", "reconciled");
    } else if (why === "sign_in" && this.outbox.queue.items.size) {
      await this.people.signIn("Sign in again: everything is still here and goes under who measured it.");
      return;
    }
    this.outbox.greet();
  }

  person() {
    return this.people.need();
  }

  nameOf(username) {
    return this.people.nameOf(username);
  }

  async keep(changes) {
    Object.assign(this.settings, changes);
    await this.store.put("settings", { ...this.settings }, "page");
    this.dress();
  }

  dress() {
    Object.assign(document.documentElement.dataset, { theme: this.settings.theme ?? "auto", keys: this.settings.keys ?? "", hand: this.settings.hand ?? "" });
  }

  async askSettings() {
    const asking = ask("set");
    const { elements } = document.querySelector("dialog form");
    for (const [name, value] of Object.entries(this.settings)) if (elements[name]) elements[name][elements[name].type === "checkbox" ? "checked" : "value"] = value;
    const answer = await asking;
    if (!answer) return;
    const { value, ...chosen } = answer;
    const order = this.settings.order;
    await this.keep({ aloud: false, ...chosen });
    if (order !== this.settings.order) this.show();
  }

  paintBar() {
    const { unsent, parked, oldest } = this.outbox.queue.counts();
    const { pause, fails } = this.outbox;
    const why = pause === "sign_in" ? "sign in to send" : pause === "revoked" ? "tablet revoked" : pause ? "other database" : fails ? "no contact" : "";
    byId("unsent").textContent = unsent ? `${unsent} not sent, ${age(oldest)}${parked ? `, ${parked} need you` : ""}${why && `: ${why}`}` : why || "all sent";
    byId("unsent").dataset.state = parked ? "parked" : unsent ? "waiting" : "";
    byId("who").textContent = this.people.now ? this.nameOf(this.people.now) : "Who?";
    byId("place").textContent = this.screen?.check ? this.screen.place : "";
  }
}

new App().open().catch((error) => {
  byId("screen").textContent = `The tablet's own store cannot be opened (${error.message}). Readings cannot be kept: use paper or another browser.`;
});

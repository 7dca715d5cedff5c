// Who is measuring. On an enrolled tablet one touch and a PIN that the server proves; else whoever is signed in.
// No PIN and nothing to guess it from is ever kept here: it goes to the server in one request and is forgotten.
import { ask, el, say } from "./dom.js";

export class People {
  constructor(app) {
    this.app = app;
    this.proven = new Map();
  }

  async open() {
    this.now = (await this.app.store.get("settings", "person")) ?? null;
  }

  nameOf(username) {
    return this.app.link.people.find((one) => one.username === username)?.name ?? username;
  }

  async become(username) {
    this.now = username;
    await this.app.store.put("settings", username, "person");
    this.app.paintBar();
  }

  // The person whose acts these are; asks when nobody has been here yet.
  async need() {
    return this.now ?? (await this.signIn("Readings carry who took them."));
  }

  // Works over the page, so nothing that was typed is lost.
  async signIn(note = "") {
    if (this.asking) return this.asking;
    this.asking = this.askSignIn(note).finally(() => (this.asking = null));
    return this.asking;
  }

  async askSignIn(note) {
    const { link, outbox } = this.app;
    for (let told = note; ; ) {
      const answer = await ask("sign-in", { note: told });
      if (!answer) return null;
      try {
        if (!link.csrf) await link.session();
        const { user } = await link.session("POST", { username: answer.username, password: answer.password });
        await this.become(user.username);
        outbox.greet();
        return user.username;
      } catch (error) {
        told = error.problem?.message ?? "The server cannot be reached: what you measure stays here until it can.";
      }
    }
  }

  async choose() {
    const { link } = this.app;
    if (!link.token) return this.signIn(this.now ? `Now measuring: ${this.nameOf(this.now)}` : "");
    const people = link.people.map(({ username, name }) => el("button", { type: "button", class: "button", "data-do": "close", value: `@${username}`, "aria-current": username === this.now && "true" }, `${name}${this.isProven(username) ? " ✓" : ""}`));
    const answer = await ask("who", { people });
    if (answer?.value === "sign-in") return this.signIn();
    return answer && this.switchTo(answer.value.slice(1));
  }

  isProven(username) {
    return (this.proven.get(username) ?? 0) > Date.now();
  }

  async switchTo(username) {
    for (let note = ""; !this.isProven(username); ) {
      const answer = await ask("pin", { place: this.nameOf(username), note });
      if (!answer) return null;
      if (answer.value === "claim") break;
      try {
        const { status, json } = await this.app.link.ask("POST", "/api/prove", { username, pin: answer.pin });
        if (status === 200) this.proven.set(username, Date.parse(json.until));
        else note = json?.error?.message ?? "The server did not understand.";
      } catch {
        note = "The server cannot be reached. Without PIN the readings are claimed until confirmed.";
      }
    }
    await this.become(username);
    say(`${this.nameOf(username)} is measuring.`);
    return username;
  }

  learn(proven = []) {
    for (const { username, until } of proven) this.proven.set(username, Date.parse(until));
  }

  async enroll() {
    const { link, store, outbox } = this.app;
    const answer = await ask("enroll");
    if (!answer) return;
    const { status, json } = await link.ask("POST", "/api/tablets", { name: answer.name });
    if (status >= 300) return void say(json?.error?.message ?? "The server did not enroll this tablet.", true);
    await store.put("settings", { ...json.tablet, token: json.token }, "tablet");
    Object.assign(link, { token: json.token, device: json.tablet.id });
    outbox.greet();
  }
}

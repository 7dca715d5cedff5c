// The one door to the server: headers, time limits, and which database this tablet belongs to.

export class Link {
  constructor(store) {
    Object.assign(this, { store, database: null, token: "", device: "", csrf: "", user: null, people: [], proven: [], ready: false, stranger: null, signIns: 0 });
  }

  async open() {
    const get = (name) => this.store.get("settings", name);
    this.database = (await get("database")) ?? null;
    this.people = (await get("people")) ?? [];
    this.proven = (await get("proven")) ?? [];
    this.use((await get("tablet")) ?? {});
  }

  use({ id = "", name = "", token = "" }) {
    Object.assign(this, { device: id, name, token });
  }

  isProven(username) {
    return this.proven.some((one) => one.username === username && Date.parse(one.until) > Date.now());
  }

  // Whether an act made now is only said to be by this person: no PIN on an enrolled tablet, or somebody else is signed in.
  isClaimed(by) {
    return this.token ? !this.isProven(by) : Boolean(this.user) && this.user.username !== by;
  }

  // Who proved a PIN, and until when; kept, so that a reload without a network forgets nobody.
  prove(proven) {
    return this.store.put("settings", (this.proven = proven), "proven");
  }

  async become(tablet) {
    await this.store.put("settings", tablet, "tablet");
    this.use(tablet);
  }

  // {status, json, etag}; json is null when the answer was not JSON. known: the etag of what is here already. Throws when there was no answer or a redirect.
  async ask(method, path, body, timeout_ms = 8000, type = "application/json", known = null) {
    const headers = { "X-CSRFToken": this.csrf };
    if (this.database && path !== "/api/session") headers["X-Database"] = this.database;
    if (this.token) headers.Authorization = `Bearer ${this.token}`;
    if (known) headers["If-None-Match"] = known;
    if (body) headers["Content-Type"] = type;
    const sent = body instanceof Blob || !body ? body : JSON.stringify(body);
    const response = await fetch(path, { method, headers, body: sent, redirect: "error", cache: "no-store", signal: AbortSignal.timeout(timeout_ms) });
    return { status: response.status, etag: response.headers.get("ETag"), json: await response.json().catch(() => null) };
  }

  // Who the server is and who is signed in. Binds to a database once; later another one is followed only when it says that it was ours.
  async session(method = "GET", body = undefined) {
    const { signIns: asked } = this;
    const { status, json } = await this.ask(method, "/api/session", body);
    if (status !== 200 || !json?.database) throw Object.assign(Error(), { status, problem: json?.error });
    if (body) this.signIns += 1;
    const { csrf, user, database, people, before = [], proven = [] } = json;
    // What was asked before somebody signed in knows an old token, and nobody.
    if (body || asked === this.signIns) {
      Object.assign(this, { csrf, user });
      await this.prove(proven);
    }
    if (people.length) await this.store.put("settings", (this.people = people), "people");
    const moved = this.database !== null && this.database !== database;
    this.ready = !moved || before.includes(this.database);
    if (!this.ready) this.stranger = database;
    else if (this.database !== database) await this.bind(database);
    return { user: this.user, moved };
  }

  async bind(database) {
    this.database = database;
    await this.store.put("settings", database, "database");
  }
}

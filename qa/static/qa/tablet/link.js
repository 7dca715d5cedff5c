// The one door to the server: headers, time limits, and which database this tablet belongs to.

export class Link {
  constructor(store, fetching = (...given) => fetch(...given)) {
    this.store = store;
    this.fetching = fetching;
    Object.assign(this, { database: null, token: null, device: "", csrf: "", user: null, people: [], ready: false, stranger: null });
  }

  async open() {
    const [database, tablet] = await Promise.all([this.store.get("settings", "database"), this.store.get("settings", "tablet")]);
    this.database = database ?? null;
    this.token = tablet?.token ?? null;
    this.device = tablet?.id ?? "";
    const known = await this.store.get("settings", "people");
    this.people = known ?? [];
  }

  // {status, json}; json is null when the answer was not JSON. Throws when there was no answer or a redirect.
  async ask(method, path, body, timeout_ms = 8000, type = "application/json") {
    const headers = { Accept: "application/json" };
    if (this.database && path !== "/api/session") headers["X-Database"] = this.database;
    if (this.token) headers.Authorization = `Bearer ${this.token}`;
    if (method !== "GET") {
      headers["X-CSRFToken"] = this.csrf;
      headers["Content-Type"] = type;
    }
    const sent = body === undefined || type !== "application/json" ? body : JSON.stringify(body);
    const response = await this.fetching(path, { method, headers, body: sent, redirect: "error", credentials: "same-origin", cache: "no-store", signal: AbortSignal.timeout(timeout_ms) });
    const json = await response.json().catch(() => null);
    return { status: response.status, json };
  }

  // Who the server is and who is signed in. Binds to a database once; later another one is followed only when it says that it was ours.
  async session(method = "GET", body = undefined) {
    const { status, json } = await this.ask(method, "/api/session", body);
    if (status !== 200 || !json?.database) throw Object.assign(new Error("no session"), { status, problem: json?.error });
    Object.assign(this, { csrf: json.csrf, user: json.user });
    if (json.people.length) await this.store.put("settings", (this.people = json.people), "people");
    const moved = this.database !== null && this.database !== json.database;
    this.ready = !moved || (json.before ?? []).includes(this.database);
    this.stranger = this.ready ? null : json.database;
    if (this.ready && this.database !== json.database) await this.bind(json.database);
    return { user: json.user, moved };
  }

  async bind(database) {
    this.database = database;
    this.stranger = null;
    await this.store.put("settings", database, "database");
  }
}

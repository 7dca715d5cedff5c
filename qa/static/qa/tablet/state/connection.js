// The one way to the server: headers, time limits, which database this tablet belongs to; and who is on this side of it.
// On an enrolled tablet a person is proven by a PIN, else by signing in. No PIN and nothing to guess it from is ever kept here.

export class Connection {
  // tell(event): what could not be kept.
  constructor(store, fetch, tell) {
    Object.assign(this, { store, fetch, tell, database: null, csrf: "", people: [], proven: [], person: null, ready: false, head: null, lost: false, signIns: 0 });
  }

  async open() {
    for (const name of ["database", "people", "proven", "person", "head", "tablet"]) this[name] = (await this.store.get("settings", name)) ?? this[name];
    this.use(this.tablet);
  }

  use({ id = "", name = "", token = "" } = {}) {
    Object.assign(this, { device: id, name, token });
  }

  nameOf(username) {
    return this.people.find((person) => person.username === username)?.name ?? username;
  }

  isProven(username) {
    return this.proven.some((proof) => proof.username === username && Date.parse(proof.until) > Date.now());
  }

  // Whether an act made now is only said to be by this person: no PIN on an enrolled tablet, or somebody else is signed in.
  isClaimed(by) {
    return this.token ? !this.isProven(by) : (this.user?.username ?? by) !== by;
  }

  // Holds now, also where the tablet cannot keep it through a reload.
  remember(name, value) {
    this[name] = value;
    return this.store.put("settings", value, name).catch((error) => this.tell({ type: "trouble", error }));
  }

  // Who is measuring from now on.
  async become(username) {
    await this.remember("person", username);
    this.tell({ type: "counts" });
    return username;
  }

  async enroll(tablet) {
    await this.store.put("settings", tablet, "tablet");
    this.use(tablet);
  }

  // {status, json, etag}; status 0 where there was no answer in time, or a redirect; json is null when the answer was not JSON.
  // known: the etag of what is here already.
  async ask(method, path, { body, timeout_ms = 8000, type = "application/json", known } = {}) {
    const headers = { "X-CSRFToken": this.csrf };
    const ofRecords = path !== "/api/session";
    if (this.database && ofRecords) headers["X-Database"] = this.database;
    if (this.token) headers.Authorization = `Bearer ${this.token}`;
    if (known) headers["If-None-Match"] = known;
    const { head } = this;
    if (head) headers["X-Head"] = head[0];
    if (body) headers["Content-Type"] = type;
    const response = await this.fetch(path, { method, headers, body: body instanceof Blob || !body ? body : JSON.stringify(body), redirect: "error", cache: "no-store", signal: AbortSignal.timeout(timeout_ms) }).catch(() => null);
    const json = await response?.json().catch(() => null);
    const header = (name) => response?.headers.get(name);
    // What a portal in between answers is no answer: only a server of ours numbers its answers, or names its records.
    const ours = json?.database ?? header("X-Request");
    // Why a server that answers cannot save.
    this.fault = ours && json?.error?.short;
    if (ours) this.witness(header("X-Head"), head, response.ok && ofRecords);
    // Of a server that lost what it told, nothing counts but who it is.
    // That something is too large for what lies in between is told: it would be sent for ever.
    if (!ours || (this.lost && ofRecords)) return { status: response?.status === 413 ? 413 : 0, json: null };
    return { status: response.status, etag: header("ETag"), json };
  }

  // newest: the newest sealed head of the ledger, [position, digest], and what it has where `head` was, which was told before: its history goes on from there.
  // answered: whether it said something that only a server with a history says.
  witness(newest, head, answered) {
    const [position, digest, there] = (newest ?? "").split(" ");
    if (head && (newest ? there !== head[1] : answered)) Object.assign(this, { lost: true, ready: false });
    else if (newest && !this.lost && !(position <= +this.head?.[0])) this.remember("head", [position, digest]);
  }

  // A person said to go on with other records.
  forgetHead() {
    Object.assign(this, { head: null, lost: false });
    return this.store.drop("settings", "head");
  }

  // Who the server is and who is signed in. Binds to a database once; later another one is followed only when it says that it was ours.
  // Throws {status, problem} where the answer was no session.
  async session(method = "GET", body) {
    const { signIns: signInsThen } = this;
    const { status, json } = await this.ask(method, "/api/session", { body });
    if (status !== 200 || !json?.database) throw Object.assign(Error(), { status, problem: json?.error });
    if (body) this.signIns += 1;
    const { csrf, user, database, people, before = [], proven = [] } = json;
    // What was asked before somebody signed in knows an old token, and nobody.
    if (body || signInsThen === this.signIns) {
      Object.assign(this, { csrf, user });
      // Who proved a PIN, and until when: a reload without a network forgets nobody.
      await this.remember("proven", proven);
    }
    if (people.length) await this.remember("people", people);
    const other = this.database !== database;
    const moved = this.database && other;
    const ours = !moved || before.includes(this.database);
    this.stranger = ours ? null : database;
    this.ready = ours && !this.lost;
    if (this.ready && other) await this.bind(database);
    return { user: this.user, moved };
  }

  async bind(database) {
    this.database = database;
    await this.store.put("settings", database, "database");
  }
}

// Photos that are kept here until the server has them: how many, and when they may go. They go after the readings.

export class PhotoOutbox {
  // load(): the module that sends them, which a tablet without photos never needs.
  constructor({ store, connection, outbox, tell, load }) {
    Object.assign(this, { store, connection, outbox, tell, load, kept: 0, refused: 0, since: null, busy: false, notBefore: 0, lostAt: 0, fails: new Map() });
  }

  async all() {
    const photos = await this.store.all("photos");
    const [since] = photos.map(({ made_at }) => made_at).sort();
    Object.assign(this, { kept: photos.length, refused: photos.filter(({ problem }) => problem).length, since });
    return photos;
  }

  async changed() {
    await this.all();
    this.tell({ type: "counts" });
  }

  readingsWait() {
    const { queue } = this.outbox;
    return [...queue.items].some(([id, { state }]) => state !== "parked" && !queue.waitsFor(id).length);
  }

  // When the server did not answer, later; when it did since, there is nothing to wait for.
  isLate() {
    return this.notBefore > Date.now() && !(this.outbox.lastContact > this.lostAt);
  }

  async send() {
    if (!this.kept || this.busy || !this.connection.ready || this.outbox.pause || this.isLate() || this.readingsWait()) return;
    this.busy = true;
    try {
      await (await this.load()).sendPhotos(this);
    } catch (error) {
      this.postpone();
      if (!error.unanswered) this.tell({ type: "trouble", error });
    }
    this.busy = false;
  }

  // lostAt: from when on an answer of the server ends the wait.
  postpone(lostAt = Date.now()) {
    this.lostAt = lostAt;
    this.notBefore = Date.now() + 5000;
  }
}

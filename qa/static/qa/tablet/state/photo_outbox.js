// Photos that are kept here until the server has them: how many, and when they may go. They go after the readings.

export class PhotoOutbox {
  // load(name): the module that sends them, which a tablet without photos never needs.
  constructor({ store, connection, outbox, tell, load }) {
    Object.assign(this, { store, connection, outbox, tell, load, kept: 0, refused: 0, busy: false, notBefore: 0, lostAt: 0, fails: new Map() });
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

  async send() {
    if (!this.kept || this.busy || !this.connection.ready) return;
    this.busy = true;
    try {
      await (await this.load("photo_sending")).sendPhotos(this);
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

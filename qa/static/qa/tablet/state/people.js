// Who is measuring. On an enrolled tablet one touch and a PIN that the server proves; else whoever is signed in.
// No PIN and nothing to guess it from is ever kept here.

export class People {
  // changed(): somebody else is measuring now.
  constructor(store, connection, changed) {
    Object.assign(this, { store, connection, changed, now: null });
  }

  async open() {
    this.now = (await this.store.get("settings", "person")) ?? null;
  }

  nameOf(username) {
    return this.connection.people.find((person) => person.username === username)?.name ?? username;
  }

  async become(username) {
    this.now = username;
    this.changed();
    await this.store.put("settings", username, "person");
    return username;
  }
}

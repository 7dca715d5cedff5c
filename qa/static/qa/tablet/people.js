// Who is measuring. On an enrolled tablet one touch and a PIN that the server proves; else whoever is signed in.

export function peopleOf(app) {
  const { link, store } = app;
  let now = null;
  let asking = null;

  const nameOf = (username) => link.people.find((one) => one.username === username)?.name ?? username;
  const isProven = (username) => link.proven.some((one) => one.username === username && Date.parse(one.until) > Date.now());

  async function become(username) {
    now = username;
    await store.put("settings", username, "person");
    app.paintBar();
    return username;
  }

  // Works over the page, so nothing that was typed is lost.
  const signIn = (note = "") => (asking ??= asker().then((who) => who.signIn(note)).finally(() => (asking = null)));
  const asker = () => import("./who.js").then(({ askerOf }) => askerOf(app, people));

  const people = {
    open: async () => (now = (await store.get("settings", "person")) ?? null),
    now: () => now,
    async need() {
      if (!now) await app.outbox.greet();
      return now ?? signIn("Readings carry who took them.");
    },
    nameOf,
    become,
    signIn,
    isProven,
    choose: () => asker().then((who) => who.choose()),
    enroll: () => asker().then((who) => who.enroll()),
  };
  return people;
}

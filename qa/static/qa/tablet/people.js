// Who is measuring. On an enrolled tablet one touch and a PIN that the server proves; else whoever is signed in.
// No PIN and nothing to guess it from is ever kept here: it goes to the server in one request and is forgotten.
import { ask, say, touch } from "./dom.js";
import { later } from "./later.js";

export function peopleOf(app) {
  const { link, store } = app;
  let now = null;
  let asking = null;

  const nameOf = (username) => link.people.find((one) => one.username === username)?.name ?? username;

  async function become(username) {
    now = username;
    await store.put("settings", username, "person");
    app.paintBar();
    return username;
  }

  // Works over the page, so nothing that was typed is lost.
  async function askSignIn(note = "") {
    for (;;) {
      const answer = await ask("sign-in", { note });
      if (!answer) return null;
      try {
        if (!link.csrf) await link.session();
        const { user } = await link.session("POST", { username: answer.username, password: answer.password });
        app.outbox.greet();
        return await become(user.username);
      } catch ({ problem }) {
        // An answer cut off in the middle may have brought another cookie: ask for its token before the next try.
        link.csrf = "";
        note = problem?.message ?? "The server cannot be reached. What you measure stays here.";
      }
    }
  }

  const signIn = (note) => (asking ??= askSignIn(note).finally(() => (asking = null)));

  async function choose() {
    if (!link.token) return signIn(now ? `Now measuring: ${nameOf(now)}` : "");
    const people = link.people.map(({ username, name }) => touch("close", `${name}${link.isProven(username) ? " ✓" : ""}`, { value: `@${username}`, "aria-current": username === now && "true" }));
    const answer = await ask("who", { people });
    return answer?.value === "sign-in" ? signIn() : answer && switchTo(answer.value.slice(1));
  }

  async function switchTo(username) {
    for (let note = ""; !link.isProven(username); ) {
      const answer = await ask("pin", { place: nameOf(username), note });
      if (!answer) return null;
      if (answer.value === "claim") break;
      const { status, json } = await link.ask("POST", "/api/prove", { username, pin: answer.pin }).catch(() => ({}));
      // A guest network answers 200 with a page of its own.
      if (status === 200 && json?.username) {
        await link.prove([...link.proven, json]);
        if (json.claimed) await answerClaims(username);
      }
      else note = json?.error?.message ?? "The server cannot be reached: go on without PIN, and confirm later.";
    }
    say(`${nameOf(username)} is measuring.`);
    return become(username);
  }

  // What others sent in this name before: looked at first, answered one by one.
  async function answerClaims(username) {
    try {
      await (await later("claims")).answerClaims(app, username);
    } catch ({ message }) {
      say(message, true);
    }
  }

  async function enroll() {
    const answer = await ask("enroll");
    if (!answer) return;
    const { status, json } = await link.ask("POST", "/api/tablets", { name: answer.name }).catch(() => ({}));
    if (status !== 201 || !json?.token) return void say(json?.error?.message ?? "The server cannot be reached.", true);
    await link.become({ ...json.tablet, token: json.token });
    app.outbox.greet();
  }

  return {
    open: async () => (now = (await store.get("settings", "person")) ?? null),
    now: () => now,
    async need() {
      if (!now) await app.outbox.greet();
      return now ?? signIn("Readings carry who took them.");
    },
    nameOf,
    become,
    signIn,
    choose,
    enroll,
  };
}

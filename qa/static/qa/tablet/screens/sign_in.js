// Questions about who is measuring: signing in, one touch and a PIN on an enrolled tablet, enrolling it.
// A PIN goes to the server in one request and is forgotten.
import { alarm, ask, say, touch } from "./dom.js";
import { later } from "./later.js";

const UNREACHED = "The server cannot be reached.";
let asking = null;

// Works over the page, so nothing that was typed is lost. Resolves to the username; null when the person went back.
export const signIn = (tablet, note) => (asking ??= askSignIn(tablet, note).finally(() => (asking = null)));

async function askSignIn({ connection, outbox }, note = "") {
  for (;;) {
    const answer = await ask("sign-in", { note });
    if (!answer) return null;
    try {
      if (!connection.csrf) await connection.session();
      const { user } = await connection.session("POST", { username: answer.username, password: answer.password });
      outbox.greet();
      return await connection.become(user.username);
    } catch (error) {
      if (error.status === undefined) throw error;
      // An answer cut off in the middle may have brought another cookie: ask for its token before the next try.
      connection.csrf = "";
      note = error.problem?.message ?? `${UNREACHED} What you measure stays here.`;
    }
  }
}

export async function choosePerson(tablet) {
  const { connection } = tablet;
  const { person, token } = connection;
  if (!token) return signIn(tablet, person ? `Now measuring: ${connection.nameOf(person)}` : "");
  const keys = connection.people.map(({ username, name }) => touch("close", `${name}${connection.isProven(username) ? " ✓" : ""}`, { value: `@${username}`, "aria-current": username === person && "true" }));
  const answer = await ask("who", { people: keys });
  return answer?.value === "sign-in" ? signIn(tablet) : answer && switchTo(tablet, answer.value.slice(1));
}

async function switchTo(tablet, username) {
  const { connection } = tablet;
  for (let note = ""; !connection.isProven(username); ) {
    const answer = await ask("pin", { place: connection.nameOf(username), note });
    if (!answer) return null;
    if (answer.value === "claim") break;
    const { status, json } = await connection.ask("POST", "/api/prove", { body: { username, pin: answer.pin } });
    // A guest network answers 200 with a page of its own.
    if (status === 200 && json?.username) {
      await connection.remember("proven", [...connection.proven, json]);
      if (json.claimed) await answerClaims(tablet, username);
    } else note = json?.error?.message ?? "The server cannot be reached: go on without PIN, and confirm later.";
  }
  say(`${connection.nameOf(username)} is measuring.`);
  return connection.become(username);
}

// What others sent in this name before: looked at first, answered one by one. Whatever comes of it, the person measures.
async function answerClaims(tablet, username) {
  try {
    await (await later("claims")).answerClaims(tablet, username);
  } catch (error) {
    alarm(error);
  }
}

// Why nothing is sent. A question must not fall into a value that is being typed.
export async function askWhyPaused(tablet, why) {
  const { connection, outbox, photos, screen, store } = tablet;
  if (screen.typing?.()) return void setTimeout(askWhyPaused, 2000, tablet, why);
  if (why === "sign_in" && (outbox.queue.items.size || photos.kept)) await signIn(tablet, "Everything is still here, and goes under who measured it.");
  const question = why === "other_database" ? "stranger" : why;
  if (!["stranger", "restored", "rewritten"].includes(question)) return;
  if (!(await ask(question, { place: connection.head?.join(" ") ?? "" }))) return;
  await connection.forgetHead();
  if (connection.stranger) await connection.bind(connection.stranger);
  await store.drop("settings", "reconciled");
  outbox.greet();
}

export async function enroll({ connection, outbox }) {
  const answer = await ask("enroll");
  if (!answer) return;
  const { status, json } = await connection.ask("POST", "/api/tablets", { body: { name: answer.name } });
  if (status !== 201 || !json?.token) return void say(json?.error?.message ?? UNREACHED, true);
  await connection.enroll({ ...json.tablet, token: json.token });
  outbox.greet();
}

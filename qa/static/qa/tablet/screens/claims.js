// What was sent in somebody's name before a PIN was proven: confirmed or disowned one by one, by that person, right after the proof.
import { ask, el, hour, say, touch, why } from "./dom.js";

export async function answerClaims({ connection, outbox }, by) {
  const { status, json } = await connection.ask("GET", `/api/claims?${new URLSearchParams({ by })}`);
  if (status !== 200 || !json?.claims) return void say(json?.error?.message ?? "What was claimed in your name is listed when you sign in at the desk.", Boolean(json?.error));
  const keys = (act) => el("span", { class: "choices" }, touch("mine", "Mine", { value: act }), touch("not", "Not mine", { value: act }));
  const rows = new Map(json.claims.map(({ act, what, where, made_at }) => [act, el("li", {}, el("b", {}, what), ` ${where}, ${hour(made_at)} `, keys(act))]));

  async function answer(of, verdict, reason) {
    await outbox.add("confirm/1", by, { of, verdict, reason });
    rows.get(of).lastChild.replaceWith(el("b", {}, verdict));
    say(`${rows.get(of).firstChild.textContent} ${verdict}.`);
  }

  async function disown({ value }) {
    const reason = await why("why-disown", "");
    if (reason) await answer(value, "disowned", reason);
  }

  const more = json.count - rows.size;
  await ask("claims", { rows: [...rows.values()], more: more ? `${more} more: answer them at the desk.` : "" }, { mine: ({ value }) => answer(value, "confirmed", ""), not: disown });
}

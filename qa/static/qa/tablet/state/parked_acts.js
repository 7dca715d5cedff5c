// Acts that the server refused wait apart for a person, who sends them again or decides that they are not to be sent.
import { freedBy } from "../core/protocol.js";

export async function retryAct(outbox, id) {
  const item = outbox.queue.items.get(id);
  if (item?.state !== "parked") return;
  outbox.queue.unpark(id);
  await outbox.store.put("outbox", { ...item, claim: null });
  outbox.share({ freed: id });
  outbox.changed();
  outbox.kick();
}

// It stays in the kept week and in the file, with the reason.
export async function setAside(outbox, id, reason) {
  const item = outbox.queue.items.get(id);
  if (item?.state === "parked") await (await outbox.start()).settle(item, { aside: reason, problem: item.problem });
  outbox.changed();
  outbox.kick();
}

// This person is here now: what was refused for want of that goes again.
export async function retryActsOf(outbox, username) {
  for (const item of [...outbox.queue.items.values()]) if (freedBy(item, username)) await retryAct(outbox, item.id);
}

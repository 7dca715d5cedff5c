// The server's copy of a check, carried in the store. Asked for again and again, so with the tag of the copy that is here.
import { alarm } from "./dom.js";


let told = "";
function tellOnce(error) {
  if (told === error.message) return;
  told = error.message;
  alarm(error);
}

// The newest copy; null when the server did not tell.
export async function fetchCheck({ link, store }, id) {
  const kept = await store.get("checks", id);
  const { status, json, etag } = await link.ask("GET", `/api/checks/${id}`, undefined, undefined, undefined, kept?.etag).catch(() => ({}));
  const same = status === 304 && kept;
  if (!same && (status !== 200 || json?.check !== id)) return null;
  const copy = { check: id, json: same ? kept.json : json, etag };
  // It is shown even where it cannot be kept for later.
  if (etag !== kept?.etag) await store.put("checks", copy).catch(tellOnce);
  return copy.json;
}

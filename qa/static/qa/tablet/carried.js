// The server's copy of a check, carried in the store. Asked for again and again, so with the tag of the copy that is here.

// The newest copy; null when the server did not tell.
export async function fetchCheck({ link, store }, id) {
  const kept = await store.get("checks", id);
  const { status, json, etag } = await link.ask("GET", `/api/checks/${id}`, undefined, undefined, undefined, kept?.etag).catch(() => ({}));
  const same = status === 304 && kept;
  if (!same && (status !== 200 || json?.check !== id)) return null;
  const copy = { check: id, json: same ? kept.json : json, etag };
  if (etag !== kept?.etag) await store.put("checks", copy);
  return copy.json;
}

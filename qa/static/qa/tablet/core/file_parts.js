// The file that saves everything, in parts that the server can take: what was never sent comes first.

// Pictures grow by a third as text, and the server takes 64 MB at once.
const PART_BYTES = 3e7;
const PART_ACTS = 9000;

// Lists of {outbox, sent, photos}, each small enough; photos have a size in bytes.
export function inParts(outbox, sent, photos, { bytes = PART_BYTES, acts = PART_ACTS } = {}) {
  const parts = [];
  const part = () => parts[parts.push({ outbox: [], sent: [], photos: [] }) - 1];
  let now = part();
  let room = acts;
  const fill = (name, rows) => {
    for (const row of rows) {
      if (!room) [now, room] = [part(), acts];
      now[name].push(row);
      room -= 1;
    }
  };
  fill("outbox", outbox);
  fill("sent", sent);
  let left = bytes;
  for (const photo of photos) {
    const { size } = photo.blob;
    if ((size > left && now.photos.length) || !room) [now, room, left] = [part(), acts, bytes];
    now.photos.push(photo);
    room -= 1;
    left -= size;
  }
  return parts;
}

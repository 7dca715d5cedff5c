// Where the values stand on the map: those of the station in hand and of its neighbors large enough for arm's length, the others where there is room.

const WIDE = 0.58;
// From line to line, as parts of the size: more where they are large.
const LINE = 1.1;
const LARGE_LINE = 1.25;
// What a wider font of some tablet may need.
const SPARE = 0.2;
const SIGN = 26;
// From the middle of a station to its values: clear of the square around the station in hand.
const OUT = [52, 38];
const BLOCK = 20;

// Lines of words at a station, moved by dx, dy: {left, right, top, bottom, lines: [{x, y, half}]}.
function blockOf({ at, normal, words, near }, size, dx = 0, dy = 0) {
  const line = size * (near === null ? LINE : LARGE_LINE);
  const height = words.length * line;
  const middle = at[1] + normal[1] * (OUT[1] + height / 2) + dy;
  const lines = words.map((text, row) => {
    const half = (text.length * WIDE * size) / 2;
    return { half, x: at[0] + normal[0] * (OUT[0] + half) + 8 + dx, y: middle + (row - (words.length - 1) / 2) * line };
  });
  const left = Math.min(...lines.map(({ x, half }) => x - half)) - SIGN;
  const right = Math.max(...lines.map(({ x, half }) => x + half)) + size * SPARE;
  return { left, right, top: middle - height / 2, bottom: middle + height / 2, lines, size };
}

const meet = (a, b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;

// Nearest first: outwards, inwards across the seam, and along it.
function* moves(size, normal) {
  yield [0, 0];
  const [nx, ny] = normal;
  for (let by = size; by < 14 * size; by += size) {
    for (const [along, out] of [[by, 0], [-by, 0], [0, by], [by, by], [-by, by], [0, -by - 80], [by, -by - 80], [-by, -by - 80], [by, -170], [-by, -170]]) yield [-ny * along + nx * out, nx * along + ny * out];
  }
}

// stations: [{at, normal, words, near}]; near: 0 in hand, 1 neighbor, null for others. box: [x, y, width, height]. Returns a block for each, null where there is no room.
export function layOut(stations, box, size, large) {
  const [x, y, width, height] = box;
  const inside = (block) => block.left >= x && block.top >= y && block.right <= x + width && block.bottom <= y + height;
  const symbols = stations.map(({ at, near }) => {
    const reach = near === 0 ? 36 : BLOCK;
    return { left: at[0] - reach, right: at[0] + reach, top: at[1] - reach, bottom: at[1] + reach };
  });
  const placed = [];
  const blocks = stations.map(() => null);
  const order = stations.map((_, row) => row).sort((a, b) => (stations[a].near ?? 2) - (stations[b].near ?? 2));
  for (const row of order) {
    const station = stations[row];
    if (!station.words.length) continue;
    const near = station.near !== null;
    const free = (block) => inside(block) && !placed.some((other) => meet(block, other)) && !(near && symbols.some((other) => meet(block, other)));
    const base = blockOf(station, near ? Math.max(size, large) : size);
    let block = null;
    if (!near) block = placed.some((other) => meet(base, other)) ? null : base;
    else {
      for (const [dx, dy] of moves(large / 2, station.normal)) {
        const tried = blockOf(station, base.size, dx, dy);
        if (free(tried)) {
          block = tried;
          break;
        }
      }
      block ??= base;
    }
    if (block) placed.push(block);
    blocks[row] = block;
  }
  return blocks;
}

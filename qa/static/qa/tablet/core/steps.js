// Settings and cuts as they are gone through, counted in steps; and what should be read after them. All of it comes from qa/queries/tablet/next_work.py.

// set: steps by adjuster, of a way that is gone without a plan.
export const itemsOf = ({ items }, set) =>
  items.map((item) => {
    const asked = set ? (set[item.name] ?? 0) : item.asked;
    return { ...item, asked, done: asked };
  });

// words: the words of every step from the lowest on.
export const wordsOf = ({ low, words }, { asked, done }) => `${words[done - low]}${done === asked ? ", as asked" : `, otherwise: asked ${words[asked - low]}`}`;

// What stands beside the fields of the check after it, and what is measured first. by: what one step of an item, by its row, changes here.
export function afterIt({ fields, first }, { items }) {
  // No witness speaks across a move.
  const still = !items.some(({ name, done }) => name && done);
  const beside = fields.map(({ by, witness, ...field }) => {
    let change = 0;
    for (const row in by) change += by[row] * items[row].done;
    // In the digits that are known, as qa/queries/tablet/hints.py.
    return { ...field, witness: witness && still, expected_nm: change ? Math.round((field.before.nm + change) / 1e4) * 1e4 : null };
  });
  return { beside, first: still ? first : [] };
}

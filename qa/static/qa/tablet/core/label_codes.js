// What the square of a label or of a sheet means to this tablet.

// The digits of shop/identifiers.py: no I, L, O, U; and what people write for a digit that looks like it.
const DIGITS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
const MISTAKEN = { I: "1", L: "1", O: "0" };
const CODE = /^[A-Z][0-9A-Z]{1,13}$/;
const UUID = "([0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12})";
const CHECK = RegExp(`^/(?:fit-checks|tablet/check)/${UUID}/?$`);
const JOINT = /^\/joints\/(\d+)\/(?:revision\/\d+\/)?$/;
const FIELDS = { P: "part", J: "joint", A: "airframe", I: "instrument" };

export function keyOf(code) {
  const values = [...code.slice(1)].map((sign) => DIGITS.indexOf(MISTAKEN[sign] ?? sign));
  return values.includes(-1) ? null : values.reduce((key, value) => key * 32 + value, 0);
}

const foreign = (words) => ({ what: "foreign", words });

function asUrl(text) {
  try {
    const url = new URL(text);
    return /^https?:$/.test(url.protocol) ? url : null;
  } catch {
    return null;
  }
}

// here: what is carried (parts, joints, airframes, instruments, checks, hosts, kinds). own: the name this page came from.
// {what: "pick", field, id} into a new check; {what: "check", uuid}; {what: "page", path, words, thing?}; {what: "foreign", words}.
export function meaning(text, here, own, typed = false) {
  const bare = typed && CODE.test(text.toUpperCase());
  if (bare) return ofCode(text.toUpperCase(), here);
  const url = asUrl(text);
  if (!url) return foreign(typed ? "That is no code of a label." : `This code is not of this shop. It says: ${text.slice(0, 80)}`);
  const host = url.hostname.replace(/^\[|\]$/g, "");
  if (![own.replace(/^\[|\]$/g, ""), ...(here?.hosts ?? [])].includes(host)) return foreign(`This code is not of this shop. It leads to ${url.host}.`);
  const code = /^\/t\/([^/]+)\/?$/.exec(url.pathname)?.[1].toUpperCase();
  if (code) return CODE.test(code) ? ofCode(code, here) : foreign(`No label has the code ${code}.`);
  const check = CHECK.exec(url.pathname);
  if (check) return { what: "check", uuid: check[1] };
  const joint = JOINT.exec(url.pathname);
  return (joint && pick("joint", Number(joint[1]), here)) || { what: "page", path: url.pathname + url.search, words: "A page of this site" };
}

function pick(field, id, here) {
  return here?.[`${field}s`]?.some((row) => row.id === id) ? { what: "pick", field, id } : null;
}

function ofCode(code, here) {
  const id = keyOf(code);
  const kind = here?.kinds?.[code[0]];
  if (id === null || (here?.kinds && !kind)) return foreign(`No label has the code ${code}.`);
  const uuid = code[0] === "F" && here?.checks?.find((row) => row.id === id)?.uuid;
  if (uuid) return { what: "check", uuid };
  return (FIELDS[code[0]] && pick(FIELDS[code[0]], id, here)) || { what: "page", path: `/t/${code}`, words: `${kind?.word ?? "Thing"} ${code}`, thing: kind?.photo ? code : "" };
}

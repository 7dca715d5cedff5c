// Building from the templates of the shell. Words live there, where they can be translated; strings put in here become text, never markup.

const put = (node, attributes, children) => {
  for (const [name, value] of Object.entries(attributes)) if (value !== false && value != null) node.setAttribute(name, value);
  node.append(...children.flat().filter((child) => child != null && child !== false));
  return node;
};

export const el = (tag, attributes = {}, ...children) => put(document.createElement(tag), attributes, children);
export const svg = (tag, attributes = {}, ...children) => put(document.createElementNS("http://www.w3.org/2000/svg", tag), attributes, children);

// Something to touch: acts by name, see stamp.
export const touch = (act, words, attributes) => el("button", { type: "button", class: "button", "data-do": act, ...attributes }, words);

// No fault of ours, and nothing was to be kept.
export const plainError = (words, more) => Object.assign(Error(words), { plain: true, ...more });

// Words for what went wrong. What is no refusal of the browser's store is a fault of ours, for the console too.
export function trouble(error) {
  if (error.plain) return error.message;
  if (!(error instanceof DOMException)) reportError(error);
  return `Not kept: ${error.message}`;
}

// One at a time, however often a glove taps: two fit-ups for one are two facts.
export function once(work) {
  let running = false;
  return (...all) => {
    const done = !running && work(...all);
    if (!done?.then) return;
    running = true;
    done.catch((error) => alarm(error)).finally(() => (running = false));
  };
}

// A copy of a template: its element, and what it marks with data-ref by name. Touches of [data-do] go to acts[name](element).
export function stamp(name, acts = {}) {
  const node = document.getElementById(`t-${name}`).content.firstElementChild.cloneNode(true);
  const refs = {};
  const doing = Object.fromEntries(Object.entries(acts).map(([act, work]) => [act, once(work)]));
  for (const marked of [node, ...node.querySelectorAll("[data-ref]")]) refs[marked.dataset.ref] = marked;
  node.addEventListener("click", ({ target }) => {
    const touched = target.closest("[data-do]");
    if (touched && !touched.disabled) doing[touched.dataset.do]?.(touched);
  });
  return { node, ...refs };
}

// A question on top of the page. Resolves to the form's fields with `value`, the button that was pressed; null when the person went back.
export function ask(name, fill = {}, acts = {}) {
  const { node, ...refs } = stamp(name, { close: ({ value }) => node.close(value), ...acts });
  for (const [ref, content] of Object.entries(fill)) refs[ref].replaceChildren(...[content].flat());
  document.body.append(node);
  node.showModal();
  return new Promise((resolve) => {
    node.onclose = () => {
      const fields = Object.fromEntries(new FormData(node.querySelector("form")));
      node.remove();
      resolve(node.returnValue ? { ...fields, value: node.returnValue } : null);
    };
  });
}

// Why something is done: one touch, or own words. Empty when the person went back.
export async function why(name, place) {
  const answer = await ask(name, { place });
  return answer ? (answer.value === "text" ? answer.text.trim() : answer.value) : "";
}

// Live regions stand in the shell from the start; emptied first so that the same words are said again.
export function say(words, urgent = false, seen = false) {
  const region = document.getElementById(urgent ? "alert" : "status");
  region.textContent = "";
  document.querySelector(".seen")?.classList.remove("seen");
  region.classList.toggle("seen", seen);
  requestAnimationFrame(() => (region.textContent = words));
}

// What went wrong is for everybody to see, over whatever screen is open, until something else is said.
export const alarm = (error, before = "") => say(before + trouble(error), true, true);

// The same trouble again and again, as with a disk that is full, is told once a minute.
let last = { until: 0 };
export function alarmOnce(error) {
  const { message } = error;
  if (last.message === message && Date.now() < last.until) return;
  last = { message, until: Date.now() + 60000 };
  alarm(error);
}

export const hour = (iso) => new Date(iso).toTimeString().slice(0, 5);

export function age(when) {
  const minutes = Math.floor((Date.now() - new Date(when)) / 60000);
  if (minutes < 1) return "just now";
  return minutes < 100 ? `${minutes} min` : `${Math.round(minutes / 60)} h`;
}

// Modules that opening a check does not need. They come after the first screen into the browser's cache (and the service worker's, where there is one),
// so that they are here before somebody asks for them without a network.
import { plainError } from "./dom.js";

// What the shell names as not needed yet.
const all = [...document.querySelectorAll("link[rel=prefetch]")].map(({ href }) => href);
// What of it is not here yet.
const missing = [...all];
let running = false;

const answer = (url) => fetch(url).catch(() => null);
// A page of a guest network is no module.
const isModule = (response) => response?.ok && response.headers.get("Content-Type")?.startsWith("text/javascript");

// The module and all that it imports. Never an import that could fail on the way: some browsers remember the failure until the page is opened again.
async function fetchWhole(url) {
  const response = await answer(url);
  if (response?.status === 404) throw plainError("The server was updated: open this page again.");
  if (!isModule(response)) throw plainError("This screen is not on this tablet yet, and the server cannot be reached.", { unanswered: true });
  const imports = (await response.text()).matchAll(/from ?"(\.[^"]+)"/g);
  await Promise.all([...imports].map(([, path]) => new URL(path, url).href).filter((to) => all.includes(to)).map(fetchWhole));
}

// By the name of its file, without folder: no two have the same.
export async function later(name) {
  const url = all.find((href) => href.endsWith(`/${name}.js`));
  await fetchWhole(url);
  return import(url);
}

// Until all are here; a server that was updated has them no more.
export async function keepLater() {
  if (running) return;
  running = true;
  while (missing.length) {
    const response = await answer(missing[0]);
    if (!isModule(response) && response?.status !== 404) break;
    missing.shift();
  }
  running = false;
}

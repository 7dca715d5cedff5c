// Opens the tablet's shell without a network. One cache a release, so that files of two releases never mix;
// data is not its business.
// The release before stays: a page that was opened while the site was updated still asks for its files.
const CACHE = "tablet-{{ version }}";
const SHELL = {{ shell }};
const FILES = {{ files }};

self.addEventListener("install", (event) => {
  const fetched = (url) => new Request(url, { cache: "reload" });
  event.waitUntil(
    caches
      .open(CACHE)
      .then((cache) => cache.addAll([SHELL, ...FILES].map(fetched)))
      .then(() => self.skipWaiting()),
  );
});

self.addEventListener("activate", (event) => {
  const old = (names) => names.filter((name) => name.startsWith("tablet-") && name !== CACHE).slice(0, -1);
  event.waitUntil(
    caches
      .keys()
      .then((names) => Promise.all(old(names).map((name) => caches.delete(name))))
      .then(() => self.clients.claim()),
  );
});

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  const shell = event.request.mode === "navigate" && url.pathname.startsWith(SHELL);
  const orFetched = (kept) => kept ?? fetch(event.request);
  if (shell) event.respondWith(caches.open(CACHE).then((cache) => cache.match(SHELL)).then(orFetched));
  else if (url.pathname.startsWith(SHELL) || FILES.includes(url.pathname)) {
    event.respondWith(caches.match(event.request).then(orFetched));
  }
});

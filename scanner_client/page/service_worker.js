// @ts-check
// Keeps the files of one version of the page, all or none, so that the page opens without a network. The server writes
// the version in when it gives this file, so that each version of the page is a service worker of its own.

const VERSION = "unversioned";
const OURS = "tinebook-page-";
const CACHE = `${OURS}${VERSION}`;
/** Answers of these are never kept: an old answer could pass for a fresh one. */
const LIVE = /^\/(v1|health|decode|files\.json|service_worker\.js)(\/|$)/;

const worker = /** @type {any} */ (self);

worker.addEventListener("install", (/** @type {any} */ event) => event.waitUntil(fetched()));
worker.addEventListener("activate", (/** @type {any} */ event) => event.waitUntil(tookOver()));
worker.addEventListener("message", (/** @type {any} */ event) => {
  // Only a person makes a new version take over while tabs are open: half-done work would be torn from its page.
  if (event.data?.type === "update") event.waitUntil(worker.skipWaiting());
});
worker.addEventListener("fetch", (/** @type {any} */ event) => {
  const { method, url } = event.request;
  const { origin, pathname } = new URL(url);
  if (method === "GET" && origin === worker.location.origin && !LIVE.test(pathname)) event.respondWith(answered(event.request, pathname));
});

/** Fetch every file of this version. One that is missing or of another version fails it all, and the browser tries again. */
async function fetched() {
  const { version, files } = await (await fetch("/files.json", { cache: "no-store" })).json();
  if (version !== VERSION) throw new Error(`The server has version ${version} by now, not ${VERSION}.`);
  const cache = await caches.open(CACHE);
  await Promise.all(files.map(async (/** @type {{path: string, integrity: string}} */ { path, integrity }) => {
    await cache.put(path, await had(path, integrity));
  }));
}

/**
 * What the browser has just had for the page is not asked for again: its hash says that it is of this version. The
 * document is, as its headers bind the whole page.
 * @param {string} path @param {string} integrity @returns {Promise<Response>}
 */
async function had(path, integrity) {
  const anew = async () => {
    const answer = await fetch(path, { cache: "no-cache", integrity });
    if (!answer.ok) throw new Error(`${path} answered ${answer.status}.`);
    return answer;
  };
  if (path === "/") return anew();
  const kept = await fetch(path, { cache: "force-cache", integrity }).catch(() => null);
  return kept?.ok ? kept : anew();
}

/** Throw the files of older versions away, and answer for the tabs that are open. */
async function tookOver() {
  for (const name of await caches.keys()) {
    if (name.startsWith(OURS) && name !== CACHE) await caches.delete(name);
  }
  await worker.clients.claim();
}

/** @param {Request} request @param {string} pathname @returns {Promise<Response>} */
async function answered(request, pathname) {
  // By path alone: what stands behind the question mark is for the page to read.
  return (await (await caches.open(CACHE)).match(pathname, { ignoreVary: true })) ?? fetch(request);
}

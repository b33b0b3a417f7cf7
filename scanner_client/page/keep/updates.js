// @ts-check
// A newer version of the page: it is fetched whole beside the old one, and takes over when somebody says so.

/**
 * Have the page kept for work without a network, and be told of newer versions.
 * @param {{onWaiting?: (take: () => void) => void, onTaken?: () => void}} told
 *   `onWaiting`: a newer version is here; `take` makes it the one. `onTaken`: it has taken over, in this tab or another:
 *   keep what is half done, then reload.
 * @returns {Promise<ServiceWorkerRegistration | null>} null where the browser keeps no pages (plain HTTP, old, private window)
 */
export async function watchUpdates({ onWaiting = () => undefined, onTaken = () => undefined }) {
  const container = navigator.serviceWorker;
  if (!container) return null;
  let ours = container.controller !== null;
  container.addEventListener("controllerchange", () => {
    // The first version to take this page is no update.
    if (ours) onTaken();
    ours = true;
  });
  /** @type {ServiceWorkerRegistration} */
  let registration;
  try {
    registration = await container.register("/service_worker.js", { updateViaCache: "none" });
  } catch {
    return null;
  }
  const told = () => {
    const { waiting, active } = registration;
    if (waiting && active) onWaiting(() => waiting.postMessage({ type: "update" }));
  };
  registration.addEventListener("updatefound", () => registration.installing?.addEventListener("statechange", told));
  told();
  return registration;
}

/** Whether the whole page is kept here, so that it opens without a network. @returns {Promise<boolean>} */
export async function isKept() {
  return Boolean((await navigator.serviceWorker?.getRegistration("/"))?.active);
}

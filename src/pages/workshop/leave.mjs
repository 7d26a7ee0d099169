// Signed out: what the bench kept of its pages on this device is taken away. What was typed and is not yet in the book stays in
// the queue, for whoever typed it.

/** Takes pages and worker away. */
export async function leave() {
  const registered = (await navigator.serviceWorker?.getRegistrations()) ?? [];
  for (const one of registered.filter((each) => new URL(each.scope).pathname === '/bench/')) {
    // What the worker has under way must not be kept afterwards.
    one.active?.postMessage({ left: true });
    await one.unregister();
  }
  if ('caches' in globalThis) await caches.delete('pourbook-bench');
}

if (document.querySelector('script[data-signed-out]')) leave();

// Signed out: what the bench kept of its pages on this device is taken away. What was typed and is not yet in the book stays in
// the queue, for whoever typed it.

/** Takes pages and worker away. */
export async function leave() {
  if ('caches' in globalThis) await caches.delete('pourbook-bench');
  const registered = (await navigator.serviceWorker?.getRegistrations()) ?? [];
  await Promise.all(registered.filter((one) => new URL(one.scope).pathname === '/bench/').map((one) => one.unregister()));
}

if (document.querySelector('script[data-signed-out]')) leave();

// The service worker of the bench: keeps the page of a step and what it loads, so that a reload without a line shows the tray.
//
// It answers from the network as long as there is one. Kept are the steps that send through the queue, their modules, the
// stylesheet and the mark; never a page whose form has a key, which is good for one sending; never anything of /v1, never a
// cookie (a worker cannot see them), never a page that was sent on to the sign-in. Signing out takes all of it away (leave.mjs).
// What was typed is not here but in the queue (keep.mjs).

const KEPT = 'pourbook-bench';
const COUNT_MAX = 40;
const PATIENCE = 6_000;

const STEPS = /^\/(assets\/.+|bench\/(modules\/.+|tray|strike|melts\/[^/]+\/pours|pieces\/[^/]+\/photograph))$/;

const isKept = (url) => url.origin === self.location.origin && STEPS.test(url.pathname);

self.addEventListener('install', () => self.skipWaiting());
self.addEventListener('activate', (event) => event.waitUntil(self.clients.claim()));

self.addEventListener('fetch', (event) => {
  const { request } = event;
  if (request.method !== 'GET' || !isKept(new URL(request.url))) return;
  event.respondWith(answer(request));
});

/** Once somebody has signed out nothing more is kept, also not what was under way. */
let left = false;

self.addEventListener('message', (event) => {
  left = event.data?.left === true;
  if (left) return event.waitUntil(caches.delete(KEPT));
  const urls = Array.isArray(event.data?.keep) ? event.data.keep : [];
  return event.waitUntil(keepAll(urls.map((url) => new URL(url, self.location)).filter(isKept)));
});

/** From the network; from what is kept where there is no line, or where it is too slow and something is kept. */
async function answer(request) {
  const asked = fetch(request).then(async (reply) => {
    await keep(request, reply);
    return reply;
  });
  const late = new Promise((resolve) => setTimeout(resolve, PATIENCE)).then(async () => (await find(request)) ?? asked);
  try {
    const reply = await Promise.race([asked, late]);
    return reply.status < 500 ? reply : ((await find(request)) ?? reply);
  } catch {
    return (await find(request)) ?? Response.error();
  }
}

const find = (request) => caches.match(request, { cacheName: KEPT, ignoreVary: true });

async function keep(request, reply) {
  if (left || reply.status !== 200 || reply.redirected || reply.type !== 'basic') return;
  const store = await caches.open(KEPT);
  await store.delete(request, { ignoreVary: true });
  await store.put(request, reply.clone());
  const all = await store.keys();
  await Promise.all(all.slice(0, Math.max(0, all.length - COUNT_MAX)).map((old) => store.delete(old, { ignoreVary: true })));
  if (left) await caches.delete(KEPT);
}

async function keepAll(urls) {
  for (const url of urls) {
    if (left || (await find(url))) continue;
    try {
      await keep(new Request(url), await fetch(url, { credentials: 'same-origin' }));
    } catch {
      // Without a line it is kept the next time.
    }
  }
}

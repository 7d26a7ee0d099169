// What every step of the bench begins with: the queue, the line that says how it stands, and the worker that keeps the page.
//
// The page gives <section data-bench data-operator data-token data-header> and in it <p data-line role="status">. Of the
// page's parts, those with data-without-script are taken away, and what is hidden with data-with-script is shown.

import { open } from './keep.mjs';
import { leave } from './leave.mjs';
import { Queue } from './queue.mjs';

const SECURE = globalThis.isSecureContext;
const NO_RELOAD =
  'This page came without TLS, so the browser keeps no page: while the line is cut, do not load it anew. What you typed is kept.';
const NOT_KEPT = 'This browser keeps nothing on the device: what is not yet in the book is lost when this page is left.';

/** An element with attributes and children. */
export function make(name, attributes = {}, ...children) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === true) element.setAttribute(key, '');
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(key, value);
  }
  element.append(...children);
  return element;
}

/** Puts children into an element in the place of those that differ: what stands there already is not drawn anew. */
export function put(element, ...children) {
  const wanted = [...make('div', {}, ...children).childNodes];
  const there = [...element.childNodes];
  for (const old of there.splice(wanted.length)) old.remove();
  element.append(...wanted.splice(there.length));
  for (const [at, next] of wanted.entries()) if (!there[at].isEqualNode(next)) there[at].replaceWith(next);
}

/** Begins a step in an element; answers the queue. */
export async function begin(element) {
  const { operator, token, header } = element.dataset;
  for (const other of element.querySelectorAll('[data-without-script]')) other.remove();
  for (const other of element.querySelectorAll('[data-with-script]')) other.hidden = false;
  const keep = await open();
  const queue = new Queue(keep, { operator, token, header });
  const line = element.querySelector('[data-line]');
  const show = async () => sayLine(line, queue, await queue.entries());
  queue.addEventListener('changed', show);
  queue.addEventListener('line', show);
  addEventListener('offline', show);
  addEventListener('online', show);
  await show();
  remember();
  parting();
  queue.run();
  return queue;
}

/** How the queue stands, in words. */
function sayLine(line, queue, entries) {
  const waiting = entries.filter((one) => one.state === 'waiting');
  const others = waiting.filter((one) => one.by !== queue.who.operator).length;
  const own = waiting.length - others;
  const parts = [];
  const signIn = queue.line === 'sign-in';
  const cut = queue.line === 'down' || !navigator.onLine;
  if (own > 0) {
    const why = cut ? ': there is no line. It is kept on this device and sent when the line is back.' : '.';
    parts.push(make('strong', {}, `${own} not yet in the book`), signIn ? '. ' : `${why} `);
  } else if (cut) parts.push('There is no line. Go on: what you type is kept and sent later. ');
  if (signIn) {
    const next = encodeURIComponent(location.pathname + location.search);
    parts.push('You are signed out; nothing is lost. ', make('a', { href: `/sign-in?next=${next}` }, 'Sign in'), ' to go on. ');
  }
  if (queue.line === 'busy') parts.push('The book cannot take it just now; it is sent again by itself. ');
  if (others > 0) parts.push(`${others} more wait for the operator who typed them to sign in here. `);
  if (waiting.length > 0 && !queue.keep.lasts) parts.push(NOT_KEPT);
  if (cut && !SECURE) parts.push(NO_RELOAD);
  put(line, ...parts);
  line.dataset.waiting = own;
  line.dataset.state = signIn ? 'sign-in' : cut ? 'down' : queue.line;
}

/** Lets the worker keep this page and what it loaded. */
async function remember() {
  if (!navigator.serviceWorker) return;
  try {
    await navigator.serviceWorker.register('/bench/worker.mjs', { scope: '/bench/', updateViaCache: 'none' });
    const { active } = await navigator.serviceWorker.ready;
    const loaded = performance.getEntriesByType('resource').map((one) => one.name);
    active.postMessage({ keep: [location.href.split('#')[0], ...loaded] });
    document.documentElement.dataset.kept = 'asked';
  } catch {
    // A browser that lends no worker shows the page while it is open.
  }
}

/** What is kept of pages goes when somebody signs out. */
function parting() {
  for (const form of document.querySelectorAll('form[action="/sign-out"]')) {
    form.addEventListener('submit', () => {
      leave();
    });
  }
}

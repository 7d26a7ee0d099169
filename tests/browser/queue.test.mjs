// The queue of the bench without a browser: whatever the moment at which something is entered, it is sent.

import assert from 'node:assert/strict';
import { test } from 'node:test';

const pause = (milliseconds) => new Promise((resolve) => setTimeout(resolve, milliseconds));

/** As long as the device takes to read what is kept. */
const READ = 4;

/** What is kept, in memory: an entry that is added while it is read is not in what was read. */
class Kept {
  #entries = [];

  /** How long it takes to write down what was entered, and what was answered. */
  constructor(adding = 0, marking = 0) {
    Object.assign(this, { adding, marking });
  }

  async all() {
    const entries = this.#entries.map((entry) => ({ ...entry }));
    await pause(READ);
    return entries;
  }

  async first(wanted, change) {
    const entry = this.#entries.find(wanted);
    const next = entry && change(entry);
    if (next) this.#entries[this.#entries.indexOf(entry)] = next;
    await pause(READ);
    return next ?? entry;
  }

  async add(entry) {
    if (this.adding > 0) await pause(this.adding);
    this.#entries.push(entry);
    return true;
  }

  async change(keys, change) {
    if (this.marking > 0) await pause(this.marking);
    this.#entries = this.#entries.map((entry) => (keys.includes(entry.key) ? change(entry) : entry)).filter((entry) => entry !== null);
  }

  async lease() {
    return true;
  }
}

// What the queue asks of a browser.
globalThis.document = { addEventListener() {}, hidden: false };
globalThis.addEventListener = () => {};
Object.defineProperty(globalThis, 'navigator', { value: {} });
delete globalThis.BroadcastChannel;
const { Queue } = await import('../../src/pages/workshop/queue.mjs');

test('what is entered while the last look is over is sent without another trigger', async () => {
  for (let wait = 0; wait < 4 * READ; wait += 1) {
    const sent = [];
    globalThis.fetch = async (path) => {
      sent.push(path);
      return { status: 201, json: async () => ({ index: sent.length, subjects: [], events: [] }) };
    };
    const queue = new Queue(new Kept(), { operator: 'one', header: 'form', token: 'token' });
    await queue.add({ path: '/first', body: {} });
    while (sent.length === 0) await pause(0);
    await pause(wait);
    await queue.add({ path: '/second', body: {} });
    await pause(20 * READ);
    assert.deepEqual(sent, ['/first', '/second'], `entered ${wait} ms after the first was sent`);
  }
});

test('what is entered is kept before it is sent, and what the book answered is told before it is marked', async () => {
  const told = [];
  globalThis.fetch = async () => {
    told.push('sent');
    return { status: 201, json: async () => ({ index: 7, subjects: [{ id: 'a', version: 2 }], events: [] }) };
  };
  const queue = new Queue(new Kept(5 * READ, 5 * READ), { operator: 'one', header: 'form', token: 'token' });
  queue.addEventListener('answered', ({ detail }) => told.push(`answered ${detail.state} ${detail.answer.versions.a}`));
  queue.addEventListener('changed', async () => told.push((await queue.entries()).map((one) => one.state).join()));
  const added = queue.add({ path: '/weighings', body: {} });
  await pause(READ);
  assert.deepEqual(told, [], 'nothing is sent that is not kept');
  assert.equal(await added, true);
  await pause(20 * READ);
  assert.deepEqual(told.filter((one) => one !== 'waiting'), ['sent', 'answered recorded 2', 'recorded']);
});

test('what could not be kept is not sent, and whoever entered it is told', async () => {
  let sent = 0;
  globalThis.fetch = async () => {
    sent += 1;
    return { status: 201, json: async () => ({}) };
  };
  const kept = new Kept();
  kept.add = async () => {
    throw new Error('the device is full');
  };
  const queue = new Queue(kept, { operator: 'one', header: 'form', token: 'token' });
  await assert.rejects(queue.add({ path: '/weighings', body: {} }), /full/);
  await pause(5 * READ);
  assert.equal(sent, 0);
});

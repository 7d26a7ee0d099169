// Hostile files and servers: what is said, and that nothing grows without bound or crashes.

import assert from 'node:assert/strict';
import { createHash } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { test } from 'node:test';
import { checkPiece, exitCode } from '../../api/check/check.mjs';
import { CannotCheck, Checker } from '../../api/check/ed25519.mjs';
import { readJson } from '../../api/check/json.mjs';
import { TooLong, checkOnline, holdPhotographs } from '../../api/check/online.mjs';

const root = 'MJOk_G0WEXNu0J8w0ZFAKLVf0lRkcYh57PEhm9cNm1o';
const golden = new Uint8Array(readFileSync(new URL('../../api/golden/DW-0001-21.proof.json', import.meta.url)));
const text = new TextDecoder().decode(golden);
/** The index after the last entry of the piece. */
const AFTER = 34;
const note = `${JSON.parse(text).proofs[0].split('\n\n').slice(1).join('\n\n')}`;

test('the golden file holds, and with one more byte than a file may have it is not even read', async () => {
  const report = await checkPiece(golden, { root });
  assert.equal(report.conclusion, 'holds');
  const long = new Uint8Array(2_000_001).fill(0x20);
  long.set(golden);
  const refused = await checkPiece(long, { root });
  assert.match(refused.why, /longer than 2000000 bytes/);
  assert.equal(exitCode(refused), 2);
});

test('what is no file is unreadable, whatever it is', async () => {
  const junk = ['', 'null', '[]', '0', '"x"', '{}', '{"v":1}', '['.repeat(100_000), '\ufeff{}', text.replace('"serial":"DW-0001-21"', '"serial":["DW-0001-21"]'), text.replace('"proofs":[', '"proofs":[7,')];
  for (const one of junk) assert.equal((await checkPiece(new TextEncoder().encode(one), { root })).conclusion, 'unreadable', one.slice(0, 40));
  assert.equal((await checkPiece(Uint8Array.of(0xff, 0xfe), { root })).conclusion, 'unreadable');
});

test('half a character in a policy is unreadable, though JSON writes it again as it was', async () => {
  const half = text.replace(/"policy":"/, '"policy":"\\ud800');
  assert.notEqual(half, text);
  assert.equal((await checkPiece(new TextEncoder().encode(half), { root })).conclusion, 'unreadable');
});

test('JSON is read no deeper than 127 levels, and with no second spelling of a number', () => {
  const nested = (depth) => '['.repeat(depth) + ']'.repeat(depth);
  readJson(nested(127));
  assert.throws(() => readJson(nested(128)), /too deeply/);
  for (const bad of ['1.0', '1e0', '-0', '01', '+1', '.5', '18446744073709551616', '"\\ud800"', '"\t"', '{"a":1,}', '[1,]', 'nul', '1 2', '']) {
    assert.throws(() => readJson(bad), bad);
  }
});

test('a platform without cryptography cannot check, which is said as such', async () => {
  const theirs = Object.getOwnPropertyDescriptor(globalThis, 'crypto');
  const subtle = { importKey: async () => Promise.reject(new DOMException('no', 'NotSupportedError')) };
  Object.defineProperty(globalThis, 'crypto', { value: { subtle }, configurable: true });
  try {
    await assert.rejects(Checker.ready(), CannotCheck);
    await assert.rejects(checkPiece(golden, { root }), /cannot check Ed25519 signatures \(NotSupportedError\)/);
  } finally {
    Object.defineProperty(globalThis, 'crypto', theirs);
  }
});

/** A server that gives what is told of paths; anything else is 404. */
function server(answers) {
  return async (url) => {
    const answer = answers[url.pathname + url.search];
    if (answer === undefined) return new Response('', { status: 404 });
    if (answer instanceof Error) throw answer;
    return new Response(answer);
  };
}
const honest = {
  '/v1/serials/DW-0001-21/proof': golden,
  [`/v1/serials/DW-0001-21/proof?after=${AFTER}`]: '{"entries":[]}',
  '/log/checkpoint': note,
};
const ask = (answers, more = {}) =>
  checkOnline({ serial: 'DW-0001-21', root, base: 'http://book.example/', fetch: server({ ...honest, ...answers }), ...more });
const stepOf = (report, name) => report.steps.find((step) => step.name === name);

/** Storage as a browser has it. */
function memory(kept = {}) {
  return { kept, getItem: (name) => kept[name] ?? null, setItem: (name, value) => (kept[name] = value) };
}

test('an honest server holds, and its checkpoint is remembered', async () => {
  const storage = memory();
  const first = await ask({}, { storage });
  assert.equal(first.conclusion, 'holds', first.why);
  // Its entries are not public here, so that nothing came later is its word.
  assert.deepEqual(first.open, ['later']);
  assert.equal(storage.kept[`pourbook-check:${root}`], note);
  assert.equal(stepOf(await ask({}, { storage }), 'remembered').holds, true);
});

test('a checkpoint that another key signed, or that was changed, is named', async () => {
  const forged = note.replace('\n107\n', '\n108\n');
  assert.equal(stepOf(await ask({ '/log/checkpoint': forged }), 'newest').holds, false);
  const foreign = note.replace(/BCtqv3/, 'CCtqv3');
  assert.match(stepOf(await ask({ '/log/checkpoint': foreign }), 'newest').found, /no trusted key signed/);
});

test('a log that is shorter than what was remembered went back, and another root under its size is a fork', async () => {
  // What is remembered is this browser's own, so it need not be signed again.
  const [origin, , hash] = note.split('\n');
  for (const [size, kept, says] of [
    ['200', hash, /went back: this browser saw size 200/],
    ['107', 'AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=', /forked: what this browser saw at size 107/],
  ]) {
    const older = `${origin}\n${size}\n${kept}\n\n\u2014 ${origin} AAAAAAAA\n`;
    const storage = memory({ [`pourbook-check:${root}`]: older });
    const report = await ask({}, { storage });
    const step = stepOf(report, 'remembered');
    assert.match(step.found, says);
    assert.deepEqual(step.evidence, [older, note]);
    assert.deepEqual([report.conclusion, report.step], ['does_not_hold', 'remembered']);
    assert.equal(storage.kept[`pourbook-check:${root}`], older, 'what was seen is not forgotten');
  }
});

test('what was remembered stays where it could not be compared', async () => {
  const [origin, , hash] = note.split('\n');
  const older = `${origin}\n50\n${hash}\n\n\u2014 ${origin} AAAAAAAA\n`;
  const storage = memory({ [`pourbook-check:${root}`]: older });
  assert.equal(stepOf(await ask({}, { storage }), 'remembered').holds, null);
  assert.equal(storage.kept[`pourbook-check:${root}`], older);
});

test('a server that does not answer proves nothing, either way', async () => {
  const gone = await ask({ '/v1/serials/DW-0001-21/proof': undefined });
  assert.equal(gone.conclusion, 'not_fetched');
  const cut = await ask({ '/log/checkpoint': new Error('network') });
  assert.equal(stepOf(cut, 'newest').holds, null);
  assert.deepEqual([cut.conclusion, cut.open.includes('newest')], ['holds', true]);
});

test('replies longer than they may be are not read to their end', async () => {
  let read = 0;
  const endless = () =>
    new Response(new ReadableStream({
      pull(controller) {
        read += 1;
        controller.enqueue(new Uint8Array(1 << 20));
      },
    }));
  const report = await checkOnline({ serial: 'DW-0001-21', root, base: 'http://book.example/', fetch: async () => endless() });
  assert.equal(report.steps[0].holds, false);
  assert.match(report.steps[0].found, /more than 2000000 bytes/);
  assert.ok(read < 6, `${read} MiB were read`);
});

test('the proof of another piece is not taken for the one that was asked for', async () => {
  const other = { '/v1/serials/TW-0007-65/proof': golden, [`/v1/serials/TW-0007-65/proof?after=${AFTER}`]: '{"entries":[]}' };
  const report = await ask(other, { serial: 'TW-0007-65' });
  assert.equal(report.conclusion, 'does_not_hold');
  assert.match(report.why, /gave the proof of DW-0001-21/);
});

test('an entry that the server states and its proof leaves out is named', async () => {
  const stated = { [`/v1/serials/DW-0001-21/proof?after=${AFTER}`]: '{"entries":[{"index":106,"events":[{"kind":"piece.stolen"}]}]}' };
  const report = await ask(stated);
  assert.deepEqual([report.conclusion, report.step], ['does_not_hold', 'later']);
  assert.match(report.why, /leaves out entry 106/);
});

/** Photographs of these sizes with small thumbnails, and a server that gives them; what it gave. */
function album(...sizes) {
  const files = new Map();
  const given = [];
  const keep = (bytes) => {
    const hash = createHash('sha256').update(bytes).digest('hex');
    files.set(hash, bytes);
    return hash;
  };
  const named = sizes.map((size, at) => ({
    photograph: keep(new Uint8Array(size).fill(at + 1)),
    thumbnail: keep(Uint8Array.of(at)),
  }));
  const read = async (hash, most) => {
    if (files.get(hash).length > most) throw new TooLong(hash);
    given.push(files.get(hash).length);
    return files.get(hash);
  };
  return { files, given, named, read };
}

test('photographs and their thumbnails are held against their hashes, each once', async () => {
  const { files, given, named, read } = album(5_000, 6_000);
  assert.deepEqual(await holdPhotographs([...named, named[0]], read), { found: '3 photographs and their thumbnails' });
  assert.equal(given.length, 4);
  for (const hash of files.keys()) {
    const swapped = async (asked, most) => (asked === hash ? Uint8Array.of(9) : read(asked, most));
    await assert.rejects(holdPhotographs(named, swapped), /another photograph than/);
  }
});

test('of large photographs no more than 12 MB is fetched, and what was not is said', async () => {
  const { given, named, read } = album(7_000_000, 7_000_000, 4_000_000);
  const told = await holdPhotographs(named, read);
  assert.equal(told.holds, null);
  assert.match(told.found, /1 of 3 large ones were not fetched, since all are more than 12 MB together/);
  assert.equal(given.reduce((sum, size) => sum + size, 0), 11_000_003);
  // A thumbnail is small: one that is not is none.
  const heavy = async (hash, most) => (most < 2_000_000 ? Promise.reject(new TooLong('too long')) : read(hash, most));
  await assert.rejects(holdPhotographs(named, heavy), TooLong);
});

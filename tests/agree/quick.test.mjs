// What makes the check quick must not make it weaker: verifications begun early, nodes and keys that are not reckoned twice.

import assert from 'node:assert/strict';
import { generateKeyPairSync, randomBytes, sign } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { test } from 'node:test';
import { fromBase64url, isThumbprint, sha256, toBase64url, utf8 } from '../../api/check/bytes.mjs';
import { readFile } from '../../api/check/check.mjs';
import { CannotCheck, Checker, isKey } from '../../api/check/ed25519.mjs';
import { Evidence } from '../../api/check/evidence.mjs';
import { Fails } from '../../api/check/fails.mjs';
import { leafHash, nodeHash, verifyInclusion } from '../../api/check/log.mjs';

/** A key pair of the platform: the 32 bytes of the public key, and what signs. */
function pair() {
  const { publicKey, privateKey } = generateKeyPairSync('ed25519');
  const key = fromBase64url(publicKey.export({ format: 'jwk' }).x);
  return { key, sign: (message) => new Uint8Array(sign(null, message, privateKey)) };
}

test('what was begun answers for the same key and message alone', async () => {
  const checker = await Checker.ready();
  const [mine, foreign] = [pair(), pair()];
  const message = utf8('50.42 g');
  const signature = mine.sign(message);
  checker.begin(mine.key, signature, message);
  assert.equal(await checker.holds(mine.key, signature, message), true);
  assert.equal(await checker.holds(foreign.key, signature, message), false, 'another key');
  assert.equal(await checker.holds(mine.key, signature, utf8('60.42 g')), false, 'another message');
});

test('what cannot be begun is told to whoever asks, and to nobody else', async () => {
  const checker = await Checker.ready();
  const [signature, message] = [new Uint8Array(64).fill(3), utf8('x')];
  // Nobody asks for this one: an unhandled rejection would end the test.
  checker.begin(new Uint8Array(31), new Uint8Array(64).fill(3), message);
  checker.begin(new Uint8Array(31), signature, message);
  await new Promise((done) => setTimeout(done, 20));
  await assert.rejects(checker.holds(new Uint8Array(31), signature, message));
});

test('of signatures that do not hold the first in the log is named, whichever is answered first', async () => {
  const file = readFile(new Uint8Array(readFileSync(new URL('../../api/golden/DW-0001-21.proof.json', import.meta.url))));
  const checker = await Checker.ready();
  const evidence = new Evidence(file, checker);
  await evidence.hashed();
  const keys = await evidence.keys('MJOk_G0WEXNu0J8w0ZFAKLVf0lRkcYh57PEhm9cNm1o', checker);
  const ours = [...evidence.entries].filter(([, held]) => !held.entry.isAboutKeys);
  const [first, last] = [ours[2], ours.at(-1)];
  const holds = async (key, signature) => {
    if (signature === last[1].entry.signature) return false;
    await new Promise((done) => setTimeout(done, 20));
    return signature !== first[1].entry.signature;
  };
  const named = { name: 'Error', message: new RegExp(`^entry ${first[0]}: the signature does not hold`) };
  await assert.rejects(evidence.signed(file.origin, keys, { holds }), named);
});

test('a node that the path before went through is the same only if both below it are', () => {
  const leaves = Array.from({ length: 8 }, (_, at) => leafHash(utf8(`leaf ${at}`)));
  const rows = [leaves];
  while (rows.at(-1).length > 1) {
    const row = rows.at(-1);
    rows.push(row.filter((_, at) => at % 2 === 0).map((left, at) => nodeHash(left, row[2 * at + 1])));
  }
  const tree = { size: 8n, root: rows[3][0] };
  const pathOf = (index) => [0, 1, 2].map((level) => rows[level][(index >> level) ^ 1]);
  for (let changed = 0; changed < 3; changed += 1) {
    const before = [];
    verifyInclusion(4n, tree, leaves[4], pathOf(4), before);
    verifyInclusion(5n, tree, leaves[5], pathOf(5), before);
    const path = pathOf(5);
    path[changed] = sha256(path[changed]);
    assert.throws(() => verifyInclusion(5n, tree, leaves[5], path, before), Fails, `sibling ${changed}`);
  }
  const before = [];
  verifyInclusion(5n, tree, leaves[5], pathOf(5), before);
  assert.throws(() => verifyInclusion(5n, tree, leaves[6], pathOf(5), before), Fails, 'another leaf');
});

// RFC 8032, 5.1.3, with Euler's criterion, which takes powers; the check takes the law of reciprocity.
test('keys are points by the criterion with powers too, and every key of the platform is one', () => {
  const p = 2n ** 255n - 19n;
  const power = (base, exponent) => {
    let result = 1n;
    for (let [square, rest] = [base % p, exponent]; rest > 0n; rest >>= 1n, square = (square * square) % p) {
      if (rest & 1n) result = (result * square) % p;
    }
    return result;
  };
  const d = ((p - 121665n) * power(121666n, p - 2n)) % p;
  let points = 0;
  for (let i = 0; i < 200; i += 1) {
    const bytes = new Uint8Array(randomBytes(32));
    const y = BigInt(`0x${Buffer.from(bytes).reverse().toString('hex')}`) & (2n ** 255n - 1n);
    const xx = ((y * y - 1n) * power(d * y * y + 1n, p - 2n)) % p;
    const isPoint = power(xx, (p - 1n) / 2n) === 1n;
    assert.equal(isKey(bytes), isPoint, Buffer.from(bytes).toString('hex'));
    points += Number(isPoint);
  }
  assert.ok(points > 50 && points < 150, `${points} of 200`);
  for (let i = 0; i < 20; i += 1) assert.ok(isKey(pair().key));
});

test('a thumbprint is the one text of 32 bytes', () => {
  const start = toBase64url(new Uint8Array(randomBytes(32))).slice(0, 42);
  const signs = [...'ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_', '=', '+', '\n', ''];
  for (const sign of signs) assert.equal(isThumbprint(start + sign), sign !== '' && fromBase64url(start + sign) !== null, sign);
  assert.equal(signs.filter((sign) => isThumbprint(start + sign)).length, 16);
  assert.ok(!isThumbprint(`${start}A\n`) && !isThumbprint(`A${start}A`));
});

test('each platform is asked for the known example, though another one got it right before', async () => {
  await Checker.ready();
  const theirs = Object.getOwnPropertyDescriptor(globalThis, 'crypto');
  for (const answer of [true, false]) {
    const subtle = { importKey: async () => ({}), verify: async () => answer };
    Object.defineProperty(globalThis, 'crypto', { value: { subtle }, configurable: true });
    try {
      // Twice: what got it wrong is not taken for proven.
      await assert.rejects(Checker.ready(), CannotCheck);
      await assert.rejects(Checker.ready(), CannotCheck);
    } finally {
      Object.defineProperty(globalThis, 'crypto', theirs);
    }
  }
});

// The parts of the browser's check against what others published, and against the platform's own.

import assert from 'node:assert/strict';
import { createHash, randomBytes } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { test } from 'node:test';
import { checkDigits, readSerial, readUuid } from '../../api/check/amounts.mjs';
import * as bytes from '../../api/check/bytes.mjs';
import { Checker, isKey, thumbprint } from '../../api/check/ed25519.mjs';
import { fail } from '../../api/check/fails.mjs';
import { verifyConsistency, verifyInclusion } from '../../api/check/log.mjs';

const hex = (text) => new Uint8Array(Buffer.from(text, 'hex'));
const vectors = (name) => JSON.parse(readFileSync(new URL(`../vectors/merkle/${name}.json`, import.meta.url)));

test('hashes and base64 are those of the platform, at every length around a block', () => {
  for (const length of [...Array(200).keys(), 1_000, 40_000]) {
    const message = new Uint8Array(randomBytes(length));
    assert.equal(bytes.toHex(bytes.sha256(message)), createHash('sha256').update(message).digest('hex'));
    assert.equal(bytes.toBase64(message), Buffer.from(message).toString('base64'));
    assert.equal(bytes.toBase64url(message), Buffer.from(message).toString('base64url'));
    assert.deepEqual(bytes.fromBase64(bytes.toBase64(message)), message);
    assert.deepEqual(bytes.fromBase64url(bytes.toBase64url(message)), message);
  }
});

test('a base64 text that is not the one of its bytes is refused', () => {
  for (const alias of ['AB==', 'AA=', 'AA', 'A===', 'AA==\n', 'AAA=A', 'A A=', 'AA-_', '====', 'AAB=']) {
    assert.equal(bytes.fromBase64(alias), null, alias);
  }
  for (const alias of ['AB', 'A', 'AA==', 'AAB', 'A+', 'A/', 'é']) assert.equal(bytes.fromBase64url(alias), null, alias);
});

// RFC 8032, 7.1, tests 1 to 3.
const RFC_8032 = [
  [
    'd75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a', '',
    'e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b',
  ],
  [
    '3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c', '72',
    '92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00',
  ],
  [
    'fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025', 'af82',
    '6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a',
  ],
];

test('published signatures hold, and none that was changed', async () => {
  const checker = await Checker.ready();
  for (const [key, message, signature] of RFC_8032) {
    assert.ok(isKey(hex(key)));
    assert.ok(await checker.holds(hex(key), hex(signature), hex(message)));
    for (const place of [0, 31, 32, 63]) {
      const changed = hex(signature);
      changed[place] ^= 1;
      assert.ok(!(await checker.holds(hex(key), changed, hex(message))));
    }
  }
});

test('a second half at or above the order of the group is refused, though it is the same number', async () => {
  const checker = await Checker.ready();
  const [key, message, signature] = RFC_8032[1];
  const order = 2n ** 252n + 27742317777372353535851937790883648493n;
  let s = BigInt(`0x${Buffer.from(signature, 'hex').subarray(32).reverse().toString('hex')}`) + order;
  const changed = hex(signature);
  for (let at = 32; at < 64; at += 1, s >>= 8n) changed[at] = Number(s & 0xffn);
  assert.ok(!(await checker.holds(hex(key), changed, hex(message))));
});

// The secret of RFC 8032's test 2 as a number: whoever has it can make a signature whose first half is the neutral element, of small
// order, which an equation alone takes. Strict checking (as ed25519-dalek's `verify_strict`) refuses it.
test('a first half of small order is refused, which the platform takes', async () => {
  const order = 2n ** 252n + 27742317777372353535851937790883648493n;
  const little = (some) => some.reduceRight((n, byte) => (n << 8n) | BigInt(byte), 0n);
  const seed = hex('4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb');
  const scalar = new Uint8Array(createHash('sha512').update(seed).digest().subarray(0, 32));
  scalar[0] &= 248;
  scalar[31] = (scalar[31] & 127) | 64;
  const key = hex(RFC_8032[1][0]);
  const message = hex('72');
  const r = hex(`01${'00'.repeat(31)}`);
  const h = little(new Uint8Array(createHash('sha512').update(r).update(key).update(message).digest()));
  let s = (h * little(scalar)) % order;
  const half = new Uint8Array(32);
  for (let at = 0; at < 32; at += 1, s >>= 8n) half[at] = Number(s & 0xffn);
  const signature = bytes.concat(r, half);
  const raw = await crypto.subtle.importKey('raw', key, { name: 'Ed25519' }, false, ['verify']);
  assert.ok(await crypto.subtle.verify({ name: 'Ed25519' }, raw, signature, message), 'the equation holds');
  assert.ok(!(await (await Checker.ready()).holds(key, signature, message)));
});

test('keys of small order, aliases and what is no point are refused', () => {
  // The eight points of small order as compressed by RFC 8032, and the aliases of those whose y has one.
  const small = [
    `01${'00'.repeat(31)}`, `ec${'ff'.repeat(30)}7f`, '00'.repeat(32), `${'00'.repeat(31)}80`,
    'c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac037a',
    'c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac03fa',
    '26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05',
    '26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc85',
    `ed${'ff'.repeat(30)}7f`, `ee${'ff'.repeat(30)}7f`,
  ];
  // y = 2 is no point; y = 3 is one, and p + 3 its alias.
  const others = [`02${'00'.repeat(31)}`, `f0${'ff'.repeat(30)}7f`];
  for (const key of [...small, ...others]) assert.ok(!isKey(hex(key)), key);
  assert.ok(isKey(hex(`03${'00'.repeat(31)}`)));
});

test('the thumbprint of the example key of RFC 8037 is that of its appendix A.3', () => {
  assert.equal(thumbprint(hex(RFC_8032[0][0])), 'kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k');
});

test('published proofs of inclusion and consistency hold or fail as they should', () => {
  const hash = (text) => bytes.hashFromBase64(text ?? '') ?? fail('no hash');
  const holds = (run) => {
    try {
      run();
      return true;
    } catch (error) {
      assert.equal(error.constructor.name, 'Fails', error.stack);
      return false;
    }
  };
  for (const { leafIdx, treeSize, root, leafHash, proof, wantErr, name } of vectors('inclusion')) {
    const tree = () => ({ size: BigInt(treeSize), root: hash(root) });
    const found = holds(() => verifyInclusion(BigInt(leafIdx), tree(), hash(leafHash), (proof ?? []).map(hash)));
    assert.equal(found, !wantErr, name);
  }
  for (const { size1, size2, root1, root2, proof, wantErr, name } of vectors('consistency')) {
    // Anything begins with nothing, so a tree of size 0 is refused here, whatever is published of it.
    if (size1 === 0) continue;
    // Some vectors put words in place of roots; a hash of the words stands in for them, equal where they are equal.
    const rootOf = (text) => bytes.hashFromBase64(text) ?? bytes.sha256(new Uint8Array(Buffer.from(text, 'base64')));
    const trees = () => [{ size: BigInt(size1), root: rootOf(root1) }, { size: BigInt(size2), root: rootOf(root2) }];
    assert.equal(holds(() => verifyConsistency(...trees(), (proof ?? []).map(hash))), !wantErr, name);
  }
});

test('check digits catch every single wrong character and every swap of neighbours', () => {
  // ISO/IEC 7064 MOD 97-10: the whole is 1 modulo 97, letters taken as 10 to 35.
  assert.equal(checkDigits('TW0007'), '65');
  const symbols = '0123456789ABCDEFGHJKMNPQRSTVWXYZ';
  const payload = 'TW0007';
  for (let at = 0; at < payload.length; at += 1) {
    const others = [...symbols].filter((sign) => sign !== payload[at] && /[0-9]/.test(sign) === /[0-9]/.test(payload[at]));
    for (const sign of others) assert.notEqual(checkDigits(payload.slice(0, at) + sign + payload.slice(at + 1)), '65');
  }
  assert.notEqual(checkDigits('WT0007'), '65');
  assert.throws(() => readSerial('TW-0007-66'));
  assert.throws(() => readSerial('tw-0007-65'));
});

test('a UUID is read in four forms and kept in one', () => {
  const one = '7b0e1c2a-0000-4000-8000-00000000abcd';
  for (const form of [one.toUpperCase(), one.replaceAll('-', ''), `{${one}}`, `urn:uuid:${one}`]) assert.equal(readUuid(form), one);
  for (const form of ['', one.slice(1), `${one}0`, `{${one}`, `URN:UUID:${one}`, one.replaceAll('-', '_')]) {
    assert.throws(() => readUuid(form), form);
  }
});

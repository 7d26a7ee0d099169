// Proofs made from tiles, for trees of every size up to some three tiles, against a tree that is hashed from its leaves.

import assert from 'node:assert/strict';
import { test } from 'node:test';
import { concat, same, sha256, utf8 } from '../../api/check/bytes.mjs';
import { consistencyPath, leafHash, nodeHash, rightEdge, rootOf, tilePath, verifyConsistency } from '../../api/check/log.mjs';

const LEAVES = Array.from({ length: 700 }, (_, at) => leafHash(utf8(`leaf ${at}`)));

/** MTH of RFC 6962, 2.1, as it is written there. */
function root(leaves) {
  if (leaves.length === 0) return sha256(new Uint8Array());
  if (leaves.length === 1) return leaves[0];
  let half = 1;
  while (half * 2 < leaves.length) half *= 2;
  return nodeHash(root(leaves.slice(0, half)), root(leaves.slice(half)));
}

const tree = (size) => ({ size: BigInt(size), root: root(LEAVES.slice(0, size)) });

/** The tiles of a log of some size (C2SP tlog-tiles): level 1 holds the roots of full tiles of level 0. */
function reader(size, leaves = LEAVES) {
  return async (path) => {
    const [, level, n, , width] = /^tile\/(\d)\/(\d{3})(\.p\/(\d+))?$/.exec(path) ?? assert.fail(path);
    const full = Math.floor(size / 256);
    const hashes =
      level === '0' ? leaves.slice(0, size) : Array.from({ length: full }, (_, at) => root(leaves.slice(256 * at, 256 * at + 256)));
    const part = hashes.slice(256 * Number(n), 256 * Number(n) + Number(width ?? 256));
    assert.equal(part.length, Number(width ?? 256), path);
    return concat(...part);
  };
}

test('the proof that a log of one size begins with a smaller one comes from its tiles', async () => {
  const sizes = [1, 2, 3, 4, 5, 7, 8, 31, 32, 33, 100, 255, 256, 257, 300, 511, 512, 513, 640, 700];
  for (const to of sizes) {
    for (const from of sizes.filter((size) => size < to)) {
      const path = await consistencyPath(BigInt(from), BigInt(to), reader(to));
      verifyConsistency(tree(from), tree(to), path);
      const forked = { ...tree(from), root: leafHash(utf8('another')) };
      assert.throws(() => verifyConsistency(forked, tree(to), path), /another root/);
      assert.throws(() => verifyConsistency(tree(from), tree(to), path.slice(1)), /length|another root/);
    }
  }
});

test('leaves hashed onto the right edge of a tree make the newer root, and no others do', async () => {
  for (const [from, to] of [[1, 2], [3, 4], [255, 257], [256, 700], [300, 301], [511, 512], [512, 513], [700, 700]]) {
    const edge = await rightEdge(BigInt(from), BigInt(to), reader(to));
    assert.ok(same(rootOf(edge, LEAVES.slice(from, to)), tree(to).root), `${from} to ${to}`);
    if (to > from + 1) assert.ok(!same(rootOf(edge, LEAVES.slice(from + 1, to)), tree(to).root), 'one left out');
  }
  const altered = LEAVES.map((leaf, at) => (at === 17 ? leafHash(utf8('altered')) : leaf));
  const edge = await rightEdge(300n, 700n, reader(700, altered));
  assert.ok(!same(rootOf(edge, LEAVES.slice(300)), tree(700).root), 'a tile was altered');
});

test('tiles have the paths that C2SP tlog-tiles gives them', () => {
  assert.equal(tilePath(0n, 0n, 256n), 'tile/0/000');
  assert.equal(tilePath('entries', 0n, 107n), 'tile/entries/000.p/107');
  assert.equal(tilePath(3n, 1_234_067n, 256n), 'tile/3/x001/x234/067');
});

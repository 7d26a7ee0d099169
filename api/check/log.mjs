// The log: trees of RFC 6962, signed notes, checkpoints, proofs and tiles of C2SP (signed-note, tlog-checkpoint, tlog-proof,
// tlog-tiles). Bytes, never pieces. Indexes and sizes are BigInt: they may be as long as 64 bits.

import { concat, fromBase64, hashFromBase64, isLonger, same, sha256, utf8 } from './bytes.mjs';
import { fail, must } from './fails.mjs';

const NOTE_BYTES_MAX = 64_000;
const SIGNATURES_MAX = 64;
const EXTRA_CHARACTERS_MAX = 64_000;
const PATH_MAX = 64;
const U64_MAX = 2n ** 64n - 1n;

/** What stands before an entry when its leaf is hashed. */
export const LEAF = Uint8Array.of(0);
export const leafHash = (entry) => sha256(concat(LEAF, entry));
/** What a node is hashed over; made once, since nodes are many. */
const NODE = Uint8Array.of(1, ...new Uint8Array(64));

export function nodeHash(left, right) {
  NODE.set(left, 1);
  NODE.set(right, 33);
  return sha256(NODE);
}

/** A decimal number without sign and without zeros in front, or null. */
function decimal(text) {
  if (!/^(?:0|[1-9][0-9]*)$/.test(text) || text.length > 20) return null;
  const count = BigInt(text);
  return count <= U64_MAX ? count : null;
}

const formFails = (what, why) => fail(`${what} has not the form it must have: ${why}`);

/**
 * Reads a proof that stands in a file: index, path, checkpoint, and the bytes of `extra`. One proof has one text. `hashes`
 * remembers what was read, by its text: the paths of a file share most of theirs.
 */
export function readProof(text, hashes = new Map()) {
  const wrong = (why) => formFails('tlog-proof', why);
  const end = text.indexOf('\n\n');
  if (end < 0) wrong('no empty line before the checkpoint');
  const lines = text.slice(0, end).split('\n');
  const checkpoint = text.slice(end + 2);
  if (lines.shift() !== 'c2sp.org/tlog-proof@v1') wrong('the first line is not that of a tlog-proof');
  let extra = null;
  if (lines[0]?.startsWith('extra ')) {
    const base64 = lines.shift().slice('extra '.length);
    if (base64.length > EXTRA_CHARACTERS_MAX) wrong('its extra line is too long');
    extra = fromBase64(base64) ?? wrong('its extra line is not base64');
  }
  const line = lines.shift() ?? wrong('the index is missing');
  const index = (line.startsWith('index ') ? decimal(line.slice('index '.length)) : null) ?? wrong('the index is no number');
  if (lines.length > PATH_MAX) wrong('its path is longer than any tree is deep');
  const path = lines.map((line) => {
    if (!hashes.has(line)) hashes.set(line, hashFromBase64(line) ?? wrong('a hash is not the base64 of 32 bytes'));
    return hashes.get(line);
  });
  if (isLonger(checkpoint, NOTE_BYTES_MAX) || !checkpoint.endsWith('\n')) {
    wrong('its checkpoint is no note: it is too long, or does not end with a line feed');
  }
  return { extra, index, path, checkpoint };
}

/** A note's text, its last line feed included, and its signature lines. */
function splitNote(note) {
  const wrong = (why) => formFails('signed note', why);
  if (isLonger(note, NOTE_BYTES_MAX)) wrong('it is too long');
  if (/[\u0000-\u0009\u000b-\u001f]/.test(note)) wrong('it holds control characters');
  const at = note.lastIndexOf('\n\n');
  if (at < 0) wrong('no empty line stands before the signatures');
  const signatures = note.slice(at + 2);
  if (!signatures.endsWith('\n')) wrong('it does not end with a line feed');
  const lines = signatures.slice(0, -1).split('\n');
  if (lines.length > SIGNATURES_MAX) wrong('it has too many signatures');
  return { text: note.slice(0, at + 1), lines };
}

function isName(name) {
  return name !== '' && !/[+\p{White_Space}\p{Cc}]/u.test(name);
}

function readSignatureLine(line) {
  const found = /^\u2014 ([^ ]*) (.*)$/s.exec(line);
  const bytes = found !== null && isName(found[1]) ? fromBase64(found[2]) : null;
  if (bytes === null || bytes.length < 5) formFails('signature line', 'want a dash, a name and base64');
  return { name: found[1], id: bytes.subarray(0, 4), signature: bytes.subarray(4) };
}

/** A name and a key that verify notes; its id is the start of a hash over both (type 01, Ed25519). */
export function noteVerifier(name, key) {
  if (!isName(name)) formFails('key name', 'it is empty or has spaces or `+`');
  return { name, key, id: sha256(concat(utf8(`${name}\n`), Uint8Array.of(1), key)).subarray(0, 4) };
}

function readCheckpointText(text) {
  const wrong = (why) => formFails('checkpoint', why);
  const lines = text.slice(0, -1).split('\n');
  if (lines.length !== 3) wrong('want three lines: origin, size, root');
  const [origin, size, root] = lines;
  if (origin === '') wrong('the origin is empty');
  return {
    origin,
    size: decimal(size) ?? wrong('the size is no plain decimal number'),
    root: hashFromBase64(root) ?? wrong('the root is not the base64 of 32 bytes'),
  };
}

/** What a checkpoint claims, before any signature is checked. */
export const peekCheckpoint = (note) => readCheckpointText(splitNote(note).text);

/**
 * Opens a signed checkpoint: at least one trusted key, named like the log, must have signed, and no trusted key's signature
 * may fail. Lines of unknown keys are passed over.
 */
export async function openCheckpoint(note, trusted, checker) {
  const { text, lines } = splitNote(note);
  const signedBy = new Set();
  for (const line of lines) {
    const { name, id, signature } = readSignatureLine(line);
    const known = trusted.find((verifier) => verifier.name === name && same(verifier.id, id));
    if (known === undefined) continue;
    must(await checker.holds(known.key, signature, utf8(text)), `the signature of ${name} does not hold`);
    signedBy.add(name);
  }
  must(signedBy.size > 0, 'no trusted key signed it');
  const checkpoint = readCheckpointText(text);
  must(signedBy.has(checkpoint.origin), `it is of ${checkpoint.origin}, not of ${[...signedBy].join(', ')}`);
  return checkpoint;
}

/** On the right edge there are levels without a sibling; they are passed over. */
function skipRightEdge(place) {
  while ((place.at & 1n) === 0n && place.at !== 0n) {
    place.at >>= 1n;
    place.last >>= 1n;
  }
}

/** The node over two others; the one that the path before went through, by its level, need not be hashed again. */
function climb(before, level, left, right) {
  const known = before[level];
  if (known !== undefined && same(known.left, left) && same(known.right, right)) return known.node;
  const node = nodeHash(left, right);
  before[level] = { left, right, node };
  return node;
}

/**
 * That a leaf stands at an index in the tree of a signed size and root (RFC 9162, 2.1.3.2). `before` remembers the nodes of one
 * path for the next: paths of neighbours are the same from where they meet.
 */
export function verifyInclusion(index, { size, root }, leaf, path, before = []) {
  must(index < size, `index ${index} is not in a tree of size ${size}`);
  const place = { at: index, last: size - 1n };
  let reached = leaf;
  // Counted from the root: there they meet.
  for (const [at, sibling] of path.entries()) {
    const level = path.length - at;
    must(place.last !== 0n, 'the path has the wrong length');
    if ((place.at & 1n) === 1n || place.at === place.last) {
      reached = climb(before, level, sibling, reached);
      skipRightEdge(place);
    } else {
      reached = climb(before, level, reached, sibling);
    }
    place.at >>= 1n;
    place.last >>= 1n;
  }
  must(place.last === 0n, 'the path has the wrong length');
  must(same(reached, root), 'the path leads to another root');
}

/** That the newer tree begins with the older one (RFC 9162, 2.1.4.2). */
export function verifyConsistency(older, newer, path) {
  must(older.size > 0n && older.size <= newer.size, `a tree of size ${newer.size} does not begin with one of size ${older.size}`);
  if (older.size === newer.size) {
    must(path.length === 0, 'the path has the wrong length');
    must(same(older.root, newer.root), 'the path leads to another root');
    return;
  }
  const isPower = (older.size & (older.size - 1n)) === 0n;
  const [first, ...rest] = isPower ? [older.root, ...path] : path;
  must(first !== undefined, 'the path has the wrong length');
  const place = { at: older.size - 1n, last: newer.size - 1n };
  while ((place.at & 1n) === 1n) {
    place.at >>= 1n;
    place.last >>= 1n;
  }
  let [old, now] = [first, first];
  for (const hash of rest) {
    must(place.last !== 0n, 'the path has the wrong length');
    if ((place.at & 1n) === 1n || place.at === place.last) {
      [old, now] = [nodeHash(hash, old), nodeHash(hash, now)];
      skipRightEdge(place);
    } else {
      now = nodeHash(now, hash);
    }
    place.at >>= 1n;
    place.last >>= 1n;
  }
  must(place.last === 0n, 'the path has the wrong length');
  must(same(old, older.root) && same(now, newer.root), 'the path leads to another root');
}

/** The greatest power of two below a count of at least 2. */
function split(count) {
  return 1n << BigInt((count - 1n).toString(2).length - 1);
}

/** The ranges of leaves whose roots make the proof that a tree of size `to` begins with one of size `from` (RFC 6962, 2.1.2). */
export function consistencyRanges(from, to) {
  const ranges = [];
  let [start, end, known] = [0n, to, true];
  while (end !== from) {
    const middle = start + split(end - start);
    if (from <= middle) {
      ranges.push([middle, end]);
      end = middle;
    } else {
      ranges.push([start, middle]);
      start = middle;
      known = false;
    }
  }
  if (!known) ranges.push([start, end]);
  return ranges.reverse();
}

/** The complete subtrees that a range of leaves is made of, from the left: level and place in it. */
function subtrees(start, end) {
  const found = [];
  for (let at = end; at > start; ) {
    let level = 0n;
    while (((at - start) >> level) % 2n === 0n) level += 1n;
    at -= 1n << level;
    found.unshift({ level, n: at >> level });
  }
  return found;
}

/** The path of a tile by its level (`entries`, or one of hashes), place and width (C2SP tlog-tiles). */
export function tilePath(level, n, width) {
  const groups = [];
  for (let rest = n, last = true; last || rest > 0n; rest /= 1000n, last = false) {
    groups.unshift((last ? '' : 'x') + (rest % 1000n).toString().padStart(3, '0'));
  }
  return `tile/${level}/${groups.join('/')}${width < 256n ? `.p/${width}` : ''}`;
}

/** How wide tile `n` is where there are so many hashes or entries. */
export function widthAt(n, count) {
  const left = count - n * 256n;
  return left < 256n ? left : 256n;
}

/** The root of a range of leaves, from tiles of a log of some size; `readTile` gives the bytes of a path, once each. */
async function rangeRoot(start, end, size, readTile) {
  let root = null;
  for (const { level, n } of subtrees(start, end).reverse()) {
    const node = await readNode(level, n, size, readTile);
    root = root === null ? node : nodeHash(node, root);
  }
  return root;
}

/** A node stands in a tile of the level of eights below it, as the root of 1 to 128 hashes of that tile. */
async function readNode(level, n, size, readTile) {
  const tileLevel = level / 8n;
  const height = level % 8n;
  const first = n << height;
  const tile = first / 256n;
  const bytes = await readTile(tilePath(tileLevel, tile, widthAt(tile, size >> (8n * tileLevel))));
  const from = Number(first % 256n);
  let row = [];
  for (let i = 0; i < 1 << Number(height); i += 1) row.push(bytes.slice(32 * (from + i), 32 * (from + i + 1)));
  must(row.every((hash) => hash.length === 32), 'a tile of the log is too short');
  while (row.length > 1) row = row.filter((_, i) => i % 2 === 0).map((left, i) => nodeHash(left, row[2 * i + 1]));
  return row[0];
}

/** The proof that the log of a newer size begins with the older one, made from the log's tiles. */
export function consistencyPath(from, to, readTile) {
  return Promise.all(consistencyRanges(from, to).map(([start, end]) => rangeRoot(start, end, to, readTile)));
}

/**
 * The complete subtrees that the first leaves of a log are made of, from the left, read from the tiles of a log of some size. They are
 * believed only when they make its root together with the leaves that follow (`rootOf`).
 */
export function rightEdge(count, size, readTile) {
  const nodes = subtrees(0n, count).map(async ({ level, n }) => ({ level, hash: await readNode(level, n, size, readTile) }));
  return Promise.all(nodes);
}

const joined = (edge) => edge.reduceRight((right, { hash }) => (right === null ? hash : nodeHash(hash, right)), null);

/** The root of the tree that a right edge and the leaves after it make. */
export function rootOf(edge, leaves) {
  const grown = [...edge];
  for (const leaf of leaves) {
    let node = { level: 0n, hash: leaf };
    while (grown.length > 0 && grown.at(-1).level === node.level) {
      node = { level: node.level + 1n, hash: nodeHash(grown.pop().hash, node.hash) };
    }
    grown.push(node);
  }
  return joined(grown);
}

// The check of a piece while the server can be asked: its proof file, then what only a server can be asked for.
//
// Steps beyond those of a file: `fetched` (the server gave the file), `newest` (the log's newest checkpoint is signed),
// `consistent` (it continues the one of the proof), `remembered` (it continues what this browser saw before), `later` (what came
// after the proof), `photographs` (their bytes are those that the log names). A step is `{ name, checked, holds, found }`, where
// `holds` is true, false, or null where it cannot be told; a step that shows two histories of one log has both as `evidence`.

import { fromUtf8, same, toHex } from './bytes.mjs';
import { FILE_BYTES_MAX, checkDeeply } from './check.mjs';
import { readEntry } from './entry.mjs';
import { Fails, fail, must } from './fails.mjs';
import { Refused } from './json.mjs';
import {
  consistencyPath, leafHash, openCheckpoint, peekCheckpoint, rightEdge, rootOf, tilePath, verifyConsistency, widthAt,
} from './log.mjs';

const CHECKED = {
  fetched: 'The server gave the proof file of the piece',
  newest: 'The newest checkpoint of the log is signed',
  consistent: 'The newest checkpoint continues the log of the proof',
  remembered: 'The log continues what this browser saw of it before',
  later: 'Nothing came after the last entry of the piece',
  photographs: 'The photographs are those that the log names',
};
const CHECKPOINT_BYTES_MAX = 64_000;
const TILE_BYTES_MAX = 256 * 32;
const BUNDLE_BYTES_MAX = 256 * 40_002;
const STATED_BYTES_MAX = 4_000_000;
const THUMBNAIL_BYTES_MAX = 1_000_000;
/** So much is fetched of large photographs: whoever opens a page at a fair pays for what it loads. */
const PHOTOGRAPHS_BYTES_MAX = 12_000_000;
/** So many entries after the last one of the piece are read one by one, some 2 MB; beyond, the server is believed and it is said. */
const READ_MAX = 1_024n;

/** Nothing can be said, since the server did not answer. */
export class NotFetched extends Error {}
/** More was given than was to be read. */
export class TooLong extends Fails {}

class Asking {
  constructor({ fetch = (...asked) => globalThis.fetch(...asked), base }) {
    this.fetch = fetch;
    this.base = base;
  }

  async bytes(path, most) {
    let reply;
    try {
      reply = await this.fetch(new URL(path, this.base), { credentials: 'omit', referrerPolicy: 'no-referrer' });
    } catch (error) {
      throw new NotFetched(`${path}: the server did not answer (${error.message})`);
    }
    if (!reply.ok) throw new NotFetched(`${path}: the server answered ${reply.status}`);
    return readAtMost(reply, most, path);
  }

  async text(path, most) {
    return fromUtf8(await this.bytes(path, most)) ?? fail(`${path} is no text`);
  }
}

/** The body of a reply, unless it is longer than it may be. */
async function readAtMost(reply, most, path) {
  const tooLong = () => new TooLong(`${path}: the server gave more than ${most} bytes`);
  if (Number(reply.headers?.get('content-length') ?? 0) > most) {
    await reply.body?.cancel?.();
    throw tooLong();
  }
  if (!reply.body?.getReader) {
    const whole = new Uint8Array(await reply.arrayBuffer());
    if (whole.length > most) throw tooLong();
    return whole;
  }
  const reader = reply.body.getReader();
  const parts = [];
  let length = 0;
  for (;;) {
    const { done, value } = await reader.read();
    if (done) break;
    parts.push(value);
    length += value.length;
    if (length > most) {
      await reader.cancel();
      throw tooLong();
    }
  }
  const whole = new Uint8Array(length);
  let at = 0;
  for (const part of parts) {
    whole.set(part, at);
    at += part.length;
  }
  return whole;
}

/**
 * Checks a piece by its serial. `root` is the thumbprint that the holder trusts; `base` the address of the server, `proof` and
 * `log` paths on it; `storage` has `getItem` and `setItem` and remembers the newest checkpoint (or is absent); `onStep` is told of each
 * step, and `onFresh` that steps begin anew since the piece has a newer proof.
 *
 * Gives the report of the file with all steps, `conclusion` also being `not_fetched` (with `why`), and `bytes`, the file. Throws
 * `CannotCheck` where the platform cannot check signatures.
 */
export async function checkOnline(options) {
  const online = new Online(options);
  const report = await online.run();
  return { ...report, bytes: online.file };
}

class Online {
  steps = [];
  file = null;

  constructor({ serial, root, proof, log = '/log/', storage = null, onStep = () => {}, onFresh = () => {}, ...asking }) {
    this.asking = new Asking(asking);
    this.proof = proof ?? `/v1/serials/${encodeURIComponent(serial)}/proof`;
    Object.assign(this, { serial, root, log, storage, onStep, onFresh });
  }

  tell(name, holds, found, more = {}) {
    const step = { name, checked: CHECKED[name], holds, found, ...more };
    this.steps.push(step);
    this.onStep(step);
    return step;
  }

  /** A step that holds unless it fails, and cannot be told where the server does not answer. */
  async step(name, find) {
    try {
      const { found, holds = true, ...more } = await find();
      return this.tell(name, holds, found, more);
    } catch (error) {
      if (error instanceof Fails || error instanceof Refused) return this.tell(name, false, error.message, error.more);
      if (error instanceof NotFetched) return this.tell(name, null, error.message);
      throw error;
    }
  }

  async run() {
    const first = await this.checkFile();
    if (first.report.conclusion !== 'holds') return this.concluded(first.report);
    const after = await this.stated(first.found);
    if (!after.isNewer) return this.goOn(first, after);
    // What the server states later is no proof, but its newer proof file is one: everything begins anew with that.
    this.steps = [];
    this.onFresh();
    const again = await this.checkFile();
    if (again.report.conclusion !== 'holds') return this.concluded(again.report);
    return this.goOn(again, await this.stated(again.found));
  }

  async checkFile() {
    const fetched = await this.step('fetched', async () => {
      this.file = await this.asking.bytes(this.proof, FILE_BYTES_MAX);
      return { found: `${this.file.length} bytes` };
    });
    if (fetched.holds !== true) {
      return { report: { steps: this.steps, conclusion: 'not_fetched', why: fetched.found, facts: null } };
    }
    const onStep = (step) => {
      this.steps.push(step);
      this.onStep(step);
    };
    return checkDeeply(this.file, { root: this.root, onStep });
  }

  /** What the server says of the piece after the last entry that the proof has of it: the end of a file can be left out unseen. */
  async stated(found) {
    try {
      const said = JSON.parse(await this.asking.text(`${this.proof}?after=${afterLast(found)}`, STATED_BYTES_MAX));
      const entries = Array.isArray(said?.entries) ? said.entries : fail('the server states nothing readable of later entries');
      const kinds = entries.flatMap((entry) => entry?.events ?? []).map((event) => String(event?.kind));
      const leftOut = entries.find((entry) => entry?.index < found.checkpoint.size)?.index;
      return { isNewer: entries.length > 0, count: entries.length, kinds, leftOut };
    } catch (error) {
      const why = error instanceof SyntaxError ? 'the server states nothing readable of later entries' : error.message;
      if (error instanceof NotFetched || error instanceof Fails || error instanceof SyntaxError) return { isNewer: false, why };
      throw error;
    }
  }

  async goOn({ report, found, checker }, after) {
    if (found.file.serial !== this.serial.toUpperCase()) {
      const why = `the server gave the proof of ${found.file.serial}, asked was ${this.serial}`;
      this.tell('fetched', false, why);
      return this.concluded(report);
    }
    const newest = await this.newest(found, checker);
    await this.later(found, newest, after);
    await this.photographs(found);
    return this.concluded(report);
  }

  /** The newest checkpoint, if it is signed, continues the proof's, and continues what was remembered. */
  async newest({ file, keys, checkpoint }, checker) {
    let note;
    let newest;
    const signed = await this.step('newest', async () => {
      note = await this.asking.text(`${this.log}checkpoint`, CHECKPOINT_BYTES_MAX);
      const { size } = peekCheckpoint(note);
      newest = await openCheckpoint(note, keys.logVerifiers(file.origin, size), checker);
      must(newest.origin === file.origin, `it is of ${newest.origin}, the proof is of ${file.origin}`);
      return { found: `size ${newest.size}` };
    });
    if (signed.holds !== true) return null;
    const continues = await this.step('consistent', async () => {
      const back = `the log went back: the proof is of size ${checkpoint.size}, its newest size is ${newest.size}`;
      must(newest.size >= checkpoint.size, back);
      await this.continues(checkpoint, newest);
      return { found: `size ${checkpoint.size} is the beginning of size ${newest.size}` };
    });
    const remembered = await this.step('remembered', () => this.remembered({ ...newest, note }));
    const sound = continues.holds === true && (remembered.holds === true || remembered.isFirst === true);
    if (sound) this.remember(note, newest);
    return continues.holds === true ? newest : null;
  }

  async continues(older, newer) {
    if (older.size < newer.size) {
      const path = await consistencyPath(older.size, newer.size, this.tileReader());
      verifyConsistency(older, newer, path);
    } else {
      verifyConsistency(older, newer, []);
    }
  }

  /** Reads tiles of hashes, each once. */
  tileReader() {
    const read = new Map();
    return (path) => {
      if (!read.has(path)) read.set(path, this.asking.bytes(this.log + path, TILE_BYTES_MAX));
      return read.get(path);
    };
  }

  /** One root has one log, so what was seen is kept under the root that was trusted. */
  get place() {
    return `pourbook-check:${this.root}`;
  }

  async remembered(newest) {
    const first = { holds: null, isFirst: true, found: `nothing is remembered yet; from now on size ${newest.size} is` };
    if (this.storage === null) return { holds: null, found: 'this browser remembers nothing here' };
    let note = null;
    let older;
    try {
      note = this.storage.getItem(this.place);
      if (note === null) return first;
      older = peekCheckpoint(note);
    } catch (error) {
      return note === null ? { holds: null, found: `this browser remembers nothing here (${error.name})` } : first;
    }
    const differs = (why) => {
      throw Object.assign(new Fails(why), { more: { evidence: [note, newest.note] } });
    };
    if (older.origin !== newest.origin) {
      differs(`two logs under one root: this browser saw ${older.origin} before, now ${newest.origin}`);
    }
    if (newest.size < older.size) {
      differs(`the log went back: this browser saw size ${older.size} before, now it has size ${newest.size}`);
    }
    try {
      await this.continues(older, newest);
    } catch (error) {
      if (!(error instanceof Fails)) throw error;
      differs(`the log forked: what this browser saw at size ${older.size} is not the beginning of size ${newest.size}`);
    }
    return { found: `size ${older.size}, seen before, is the beginning of size ${newest.size}` };
  }

  remember(note, { size }) {
    try {
      const kept = this.storage?.getItem(this.place);
      if (kept === null || peekCheckpoint(kept).size < size) this.storage?.setItem(this.place, note);
    } catch {
      // A browser that keeps nothing for this page checks no worse than one that comes for the first time.
    }
  }

  /** What came after the proof: read, where all entries are public; else as the server states it. */
  async later(found, newest, after) {
    await this.step('later', async () => {
      must(after.leftOut === undefined, `the proof leaves out entry ${after.leftOut}, which the server itself states`);
      if (after.count > 0) {
        const kinds = after.kinds.join(', ');
        const found = `the server states ${after.count} later entries, which its proof does not hold yet: ${kinds}`;
        return { holds: null, found };
      }
      const read = newest === null ? null : await this.readOn(found.file.piece, afterLast(found), newest);
      if (read !== null) return { found: `the ${read} entries of the log after that were read here, and none is of this piece` };
      if (after.why !== undefined) return { holds: null, found: after.why };
      return { holds: null, found: 'the server states no later entry: that is its word, and not checked here' };
    });
  }

  /**
   * Reads every entry from one on, if they are public: hashed onto the tree before them they must make the signed root, so none is
   * left out. How many; null where they are not public, or too many.
   */
  async readOn(piece, from, { size, root }) {
    if (size - from > READ_MAX) return null;
    try {
      const edge = await rightEdge(from, size, this.tileReader());
      const entries = await this.entriesOf(from, size);
      const reached = rootOf(edge, entries.map(leafHash));
      must(reached !== null && same(reached, root), 'the entries that the server gives are not those of its checkpoint');
      entries.forEach((bytes, at) => {
        const { payload } = readEntry(bytes);
        must(!payload.prev.has(piece), `entry ${from + BigInt(at)} is of this piece, and the server left it out`);
      });
      return entries.length;
    } catch (error) {
      if (error instanceof NotFetched) return null;
      throw error;
    }
  }

  async entriesOf(from, to) {
    const entries = [];
    for (let tile = from / 256n; tile * 256n < to; tile += 1n) {
      const width = widthAt(tile, to);
      const path = tilePath('entries', tile, width);
      entries.push(...unbundle(await this.asking.bytes(this.log + path, BUNDLE_BYTES_MAX), Number(width)));
    }
    return entries.slice(Number(from % 256n));
  }

  /** Every photograph and thumbnail that the log names of the piece has the bytes that were hashed. */
  async photographs({ evidence, file }) {
    const named = evidence.events.filter(([, event]) => event.kind === 'piece.photographed' && event.piece === file.piece);
    if (named.length === 0) return;
    const read = (hash, most) => this.asking.bytes(`/photographs/${hash}`, most);
    await this.step('photographs', () => holdPhotographs(named.map(([, event]) => event), read));
  }

  /** Holds only if no step fails; what cannot be told is left open, and shown so. */
  concluded(report) {
    const failed = this.steps.find((step) => step.holds === false);
    const open = this.steps.filter((step) => step.holds === null && !step.isFirst).map((step) => step.name);
    if (report.conclusion === 'holds' && failed !== undefined) {
      const { steps: _, conclusion: __, size: ___, ...rest } = report;
      return { ...rest, steps: this.steps, open, conclusion: 'does_not_hold', step: failed.name, why: failed.found };
    }
    return { ...report, steps: this.steps, open };
  }
}

/**
 * Holds pictures against their hashes: all thumbnails, which the page shows, and large photographs as long as there is room for
 * them. `read` gives the bytes under a hash, or throws `TooLong` where they are more than so many.
 */
export async function holdPhotographs(named, read) {
  const hold = async (hash, most) => {
    const bytes = await read(hash, most);
    const found = toHex(new Uint8Array(await globalThis.crypto.subtle.digest('SHA-256', bytes)));
    must(found === hash, `the server gives another photograph than ${hash.slice(0, 12)}…, which the log names`);
    return bytes.length;
  };
  const thumbnails = new Set(named.map(({ thumbnail }) => thumbnail));
  const photographs = new Set(named.map(({ photograph }) => photograph));
  for (const hash of thumbnails) await hold(hash, THUMBNAIL_BYTES_MAX);
  let room = PHOTOGRAPHS_BYTES_MAX;
  let unread = 0;
  for (const hash of photographs) {
    try {
      room -= await hold(hash, room);
    } catch (error) {
      if (!(error instanceof TooLong)) throw error;
      unread += 1;
    }
  }
  if (unread === 0) return { found: `${named.length} photographs and their thumbnails` };
  const left = `${unread} of ${photographs.size} large ones were not fetched, since all are more than`;
  return { holds: null, found: `the thumbnails are; ${left} ${PHOTOGRAPHS_BYTES_MAX / 1_000_000} MB together` };
}

/** The index after the last entry that a proof has of its piece. */
function afterLast({ file, evidence }) {
  return evidence.history(file.piece).at(-1) + 1n;
}

/** Takes a bundle of entries apart: each stands behind its length in two bytes. */
function unbundle(bytes, count) {
  const entries = [];
  for (let at = 0; at < bytes.length; ) {
    const length = bytes[at] * 256 + (bytes[at + 1] ?? 0);
    must(at + 2 + length <= bytes.length, 'a bundle of entries ends inside one');
    entries.push(bytes.subarray(at + 2, at + 2 + length));
    at += 2 + length;
  }
  must(entries.length === count, 'a bundle of entries has not as many as it should');
  return entries;
}

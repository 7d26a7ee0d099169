// The entries of a proof file, held against keys, checkpoint and each other.

import { hashFromBase64url, toBase64url } from './bytes.mjs';
import { readEntry } from './entry.mjs';
import { Fails, must, within } from './fails.mjs';
import { Refused } from './json.mjs';
import { Keys } from './keys.mjs';
import { LEAF, openCheckpoint, peekCheckpoint, readProof, verifyInclusion } from './log.mjs';

/** The file cannot be read. */
export class Unreadable extends Error {}
/** The file holds a kind of event that this version does not know: it is neither confirmed nor denied. */
export class NotUnderstood extends Error {}

const TILDE = 0x7e;

/** What an entry corrects. */
export const restated = (events) => events.flatMap((event) => (event.kind === 'entry.corrected' ? event.entries : []));

/** What corrections say of earlier entries; of two about the same entry the later one holds. */
export function correctionsOf(listsOfEvents) {
  const said = new Map();
  for (const events of listsOfEvents) for (const { index, events: now } of restated(events)) said.set(index, now);
  return said;
}

/** The entry: what stands before the first `~`. The public file holds no disclosure after it. */
function publicPart(extra) {
  const at = extra?.indexOf(TILDE) ?? -1;
  return at >= 0 && at === extra.length - 1 ? extra.subarray(0, at) : null;
}

export class Evidence {
  /** By index, in the order of the log: entry, what it says as corrected, leaf hash, path. */
  entries = new Map();
  #note = '';
  #histories = new Map();
  /** Under way, one for each entry. */
  #hashes = [];
  /** By thumbprint, the keys that entries before say they add. */
  #claimed = new Map();

  /** Takes the proofs apart. Nothing is believed yet; the checker begins to verify what will be asked of it. */
  constructor(file, checker) {
    const hashes = new Map();
    let last = -1n;
    file.proofs.forEach((text, place) => {
      const unreadable = (why) => {
        throw new Unreadable(`proof ${place}: ${why}`);
      };
      try {
        const { extra, index, path, checkpoint } = readProof(text, hashes);
        if (index <= last) unreadable('the proofs are not in the order of the log');
        last = index;
        if (place === 0) this.#note = checkpoint;
        else if (checkpoint !== this.#note) unreadable('it stands on another checkpoint than the first');
        if (extra === null) unreadable('it carries no entry');
        const bytes = publicPart(extra) ?? unreadable('it does not carry one entry and `~`');
        this.#add(index, path, bytes);
        this.#begin(index, bytes, checker);
      } catch (error) {
        if (error instanceof Fails || error instanceof Refused) unreadable(error.message);
        throw error;
      }
    });
    if (this.entries.size === 0) throw new Unreadable('it holds no proof');
    const corrections = correctionsOf([...this.entries.values()].map((held) => held.entry.events));
    for (const [index, held] of this.entries) held.said = corrections.get(index) ?? held.entry.events;
    this.events = [...this.entries].flatMap(([index, held]) => held.said.map((event) => [index, event]));
  }

  #add(index, path, bytes) {
    const entry = readEntry(bytes);
    if (entry.unknown !== undefined) {
      throw new NotUnderstood(`entry ${index} holds ${entry.unknown.kind} version ${entry.unknown.v}`);
    }
    this.entries.set(index, { entry, path, said: entry.events });
    for (const subject of entry.payload.prev.keys()) {
      if (!this.#histories.has(subject)) this.#histories.set(subject, []);
      this.#histories.get(subject).push(index);
    }
  }

  /** Begins to hash an entry, and to verify it under the key that it names, if one before it, or itself, says what that is. */
  #begin(index, bytes, checker) {
    const { kid, events, signature, signed } = this.entries.get(index).entry;
    this.#hashes.push(checker.hash(LEAF, bytes));
    for (const event of events) if (event.kind === 'key.added') this.#claimed.set(event.kid, hashFromBase64url(event.x));
    const key = this.#claimed.get(kid) ?? null;
    if (key !== null) checker.begin(key, signature, signed);
  }

  /** Waits for the hashes of the entries, by which they are known in the tree and name each other. */
  async hashed() {
    const leaves = await Promise.all(this.#hashes);
    [...this.entries.values()].forEach((held, place) => {
      held.leaf = leaves[place];
      held.name = toBase64url(held.leaf);
    });
  }

  /** Indexes of the entries in a chain, in the order of the log. */
  history(subject) {
    return this.#histories.get(subject) ?? [];
  }

  /** What an entry says, or undefined if the file does not hold it. */
  said(index) {
    return this.entries.get(index)?.said;
  }

  keyEntries() {
    return [...this.entries].filter(([, held]) => held.entry.isAboutKeys).map(([index]) => index);
  }

  /** Follows the key chain from the root that the reader trusts. */
  async keys(root, checker) {
    const keys = new Keys();
    for (const index of this.keyEntries()) {
      try {
        await keys.apply(index, this.entries.get(index), checker);
      } catch (error) {
        within(`entry ${index}`, () => {
          throw error;
        });
      }
    }
    must(keys.rows.length > 0, "the root key's own entry is missing");
    must(keys.rows[0].kid === root, `the log begins with root ${keys.rows[0].kid}, trusted is ${root}`);
    return keys;
  }

  /** Opens the checkpoint with the log keys of the chain. */
  async checkpoint(origin, keys, checker) {
    const { size } = peekCheckpoint(this.#note);
    const checkpoint = await openCheckpoint(this.#note, keys.logVerifiers(origin, size), checker);
    must(checkpoint.origin === origin, `it is of ${checkpoint.origin}, the file says ${origin}`);
    return checkpoint;
  }

  /** Every path leads to the checkpoint's root. */
  included(checkpoint) {
    const before = [];
    for (const [index, held] of this.entries) {
      within(`entry ${index}`, () => verifyInclusion(index, checkpoint, held.leaf, held.path, before));
    }
  }

  /** Every entry is of this log, signed by a recorder key valid at its index, and names the newest key entry. */
  async signed(origin, keys, checker) {
    const pending = [];
    let newest;
    let stopped = null;
    try {
      for (const [index, held] of this.entries) {
        const { payload, kid, signature, signed, isAboutKeys } = held.entry;
        must(payload.iss === origin, `entry ${index} is of ${payload.iss}, the file says ${origin}`);
        must(payload.keys === newest, `entry ${index} does not follow the key entries that the file holds`);
        if (isAboutKeys) {
          newest = held.name;
          continue;
        }
        const key = within(`entry ${index}`, () => keys.valid(kid, 'recorder', index));
        pending.push(checker.holds(key, signature, signed).then((holds) => ({ index, holds })));
      }
    } catch (error) {
      stopped = error;
    }
    // All at once, and the first that does not hold is named.
    const wrong = (await Promise.all(pending)).find(({ holds }) => !holds);
    must(wrong === undefined, `entry ${wrong?.index}: the signature does not hold under this key`);
    if (stopped !== null) throw stopped;
  }

  /** Every correction names the entries that it corrects as they stand in the file, and comes after them. */
  corrected() {
    for (const [index, held] of this.entries) {
      for (const { index: of, entry } of restated(held.entry.events)) {
        const named = this.entries.get(of);
        const right = of < index && (named === undefined || named.name === entry);
        must(right, `entry ${index} corrects another entry than entry ${of}`);
      }
    }
  }

  /** The entries of a chain are unbroken: the first follows nothing, each next one the one before. How many there are. */
  unbroken(subject) {
    let before = null;
    for (const index of this.history(subject)) {
      const held = this.entries.get(index);
      const follows = held.entry.payload.prev.get(subject) === before;
      must(follows, `entry ${index} does not follow the entry before it: one is missing or foreign`);
      before = held.name;
    }
    return this.history(subject).length;
  }
}

// The key chain: which key may sign what, by index of the log. A key is valid by index, since an index cannot be pretended.
//
// Entry 0 adds the root key, signed by itself; all entries about keys are signed by the root key; a recorder key signs all other
// entries, a log key checkpoints.

import { hashFromBase64url, toBase64url } from './bytes.mjs';
import { isKey, thumbprint } from './ed25519.mjs';
import { isAboutKeys } from './events.mjs';
import { fail, must } from './fails.mjs';
import { noteVerifier } from './log.mjs';

export class Keys {
  rows = [];
  /** Leaf hash of the newest key entry, base64url. */
  newest = undefined;

  /** Takes an entry about keys. */
  async apply(index, held, checker) {
    const { payload, events } = held.entry;
    const alone = payload.events.length === 1 && events.length === 1 && isAboutKeys(events[0]) && payload.prev.size === 0;
    must(alone, 'an entry about keys has exactly one event and no prev');
    must(payload.keys === this.newest, 'keys does not name the newest key entry');
    const [event] = events;
    if (event.kind === 'key.added') {
      const row = this.#admit(index, event);
      await this.#byRoot(this.rows[0] ?? row, held, checker);
      this.rows.push(row);
    } else {
      must(this.rows.length > 0, 'entry 0 does not add the root key');
      await this.#byRoot(this.rows[0], held, checker);
      if (event.kind === 'key.revoked') this.#revoke(index, event.kid);
      else this.#doubt(index, event.kid, event.from);
    }
    this.newest = toBase64url(held.leaf);
  }

  #admit(index, { kid, role, x }) {
    if (this.rows.length === 0) must(role === 'root' && index === 0n, 'entry 0 does not add the root key');
    else must(role !== 'root', 'the root key stays: no second one is added, and it is not revoked');
    const key = hashFromBase64url(x);
    must(key !== null && isKey(key), `${kid} is no Ed25519 key, or a weak one`);
    must(thumbprint(key) === kid, `${kid} is not the thumbprint of the key`);
    must(!this.rows.some((row) => row.kid === kid), `${kid} was added before: a key has one role, for ever`);
    return { kid, role, key, added: index, revoked: undefined, suspectFrom: undefined };
  }

  async #byRoot(root, { entry }, checker) {
    must(entry.kid === root.kid, `an entry about keys is signed by the root key, not by ${entry.kid}`);
    must(await checker.holds(root.key, entry.signature, entry.signed), 'the signature of the key entry does not hold');
  }

  #row(kid) {
    return this.rows.find((row) => row.kid === kid) ?? fail(`${kid} is not a key of this log`);
  }

  #revoke(index, kid) {
    const row = this.#row(kid);
    must(row.role !== 'root', 'the root key stays: no second one is added, and it is not revoked');
    must(row.revoked === undefined, `${kid} was revoked at ${row.revoked} already`);
    row.revoked = index;
  }

  #doubt(index, kid, from) {
    const row = this.#row(kid);
    must(from <= index, `a doubt about ${kid} begins at ${from}, which is after the entry that states it`);
    // A later statement can only widen the doubt.
    row.suspectFrom = row.suspectFrom === undefined || from < row.suspectFrom ? from : row.suspectFrom;
  }

  /** The key, if it may sign entries in a role at an index. */
  valid(kid, role, index) {
    const row = this.#row(kid);
    must(row.role === role, `${kid} is a ${row.role} key`);
    must(index > row.added || (index === 0n && role === 'root'), `${kid} was added at ${row.added} and is not valid at ${index}`);
    must(row.revoked === undefined || index < row.revoked, `${kid} was revoked at ${row.revoked} and is not valid at ${index}`);
    return row.key;
  }

  isSuspect(kid, index) {
    const from = this.rows.find((row) => row.kid === kid)?.suspectFrom;
    return from !== undefined && index >= from;
  }

  /** The log keys that may sign a checkpoint of a size: one that ends just before the entry that revoked its key still holds. */
  logVerifiers(origin, size) {
    const logs = this.rows.filter((row) => {
      return row.role === 'log' && size > row.added && (row.revoked === undefined || size <= row.revoked);
    });
    return logs.map((row) => noteVerifier(origin, row.key));
  }
}

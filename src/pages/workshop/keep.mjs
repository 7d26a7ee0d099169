// What is kept on this tablet until the book has it: a list of entries in IndexedDB, in the order in which they were made.
//
// An entry is written here before anything is sent, under the key that makes it recordable once only. Where a browser lends no
// place, it is kept in the page alone, and `lasts` is false. Absent: sending (queue.mjs) and what an entry means (tray.mjs).

const NAME = 'pourbook-bench';
const ENTRIES = 'entries';
const LEASES = 'leases';

/** Waits for one request of IndexedDB. */
function done(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

/** The entries as the database has them. */
class Kept {
  lasts = true;

  constructor(database) {
    this.database = database;
    // Another version of this page wants another form: let it.
    database.onversionchange = () => database.close();
  }

  /** Runs work on one store in one transaction. Only what somebody typed waits for the disk: the rest can be found out again. */
  async #within(store, mode, work, durability = 'relaxed') {
    const transaction = this.database.transaction(store, mode, { durability });
    const finished = new Promise((resolve, reject) => {
      transaction.oncomplete = resolve;
      transaction.onerror = () => reject(transaction.error);
      transaction.onabort = () => reject(transaction.error);
    });
    // A request that fails is thrown by the work; what it does to the transaction is no news then.
    finished.catch(() => {});
    const result = await work(transaction.objectStore(store));
    await finished;
    return result;
  }

  /** Adds an entry; false when one with its key is there already. */
  async add(entry) {
    try {
      entry.id = await this.#within(ENTRIES, 'readwrite', (store) => done(store.add(entry)), 'strict');
      return true;
    } catch (error) {
      if (error?.name === 'ConstraintError') return false;
      throw error;
    }
  }

  all() {
    return this.#within(ENTRIES, 'readonly', (store) => done(store.getAll()));
  }

  /** Changes entries by their key, all or none; what a change answers is written, null takes the entry away. */
  change(keys, change) {
    return this.#within(ENTRIES, 'readwrite', async (store) => {
      for (const key of keys) {
        const entry = await done(store.index('key').get(key));
        const next = entry && change(entry);
        if (next) await done(store.put(next));
        else if (next === null) await done(store.delete(entry.id));
      }
    });
  }

  /** Changes the first entry that is wanted, found and written in one step; the entry as it stands then, or nothing. */
  first(wanted, change) {
    return this.#within(ENTRIES, 'readwrite', async (store) => {
      const entry = (await done(store.getAll())).find(wanted);
      const next = entry && change(entry);
      if (next) await done(store.put(next));
      return next ?? entry;
    });
  }

  /** Whether a tab may send for so long: only one has the lease at a time. */
  lease(tab, milliseconds) {
    const now = Date.now();
    return this.#within(LEASES, 'readwrite', async (store) => {
      const held = await done(store.get('sender'));
      if (held && held.tab !== tab && held.until > now && held.until < now + 10 * milliseconds) return false;
      await done(store.put({ name: 'sender', tab, until: now + milliseconds }));
      return true;
    });
  }
}

/** The same for as long as the page lives. */
class InPage {
  lasts = false;
  #entries = [];
  #next = 1;

  async add(entry) {
    if (this.#entries.some((known) => known.key === entry.key)) return false;
    entry.id = this.#next++;
    this.#entries.push(entry);
    return true;
  }

  async all() {
    return [...this.#entries];
  }

  async change(keys, change) {
    this.#entries = this.#entries.flatMap((entry) => {
      if (!keys.includes(entry.key)) return [entry];
      const next = change(entry);
      return next === null ? [] : [next ?? entry];
    });
  }

  async first(wanted, change) {
    const entry = this.#entries.find(wanted);
    const next = entry && change(entry);
    if (next) this.#entries[this.#entries.indexOf(entry)] = next;
    return next ?? entry;
  }

  async lease() {
    return true;
  }
}

/** Opens what is kept. */
export async function open() {
  try {
    const request = globalThis.indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => {
      const entries = request.result.createObjectStore(ENTRIES, { keyPath: 'id', autoIncrement: true });
      entries.createIndex('key', 'key', { unique: true });
      request.result.createObjectStore(LEASES, { keyPath: 'name' });
    };
    return new Kept(await done(request));
  } catch {
    return new InPage();
  }
}

/** A fresh random UUID (RFC 9562, version 4); also where the browser gives none without TLS. */
export function fresh() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, '0')).join('');
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, '$1-$2-$3-$4-$5');
}

// Ed25519 (RFC 8032) as the log uses it: which keys may be added, and the strict check of a signature.
//
// The platform's WebCrypto does the check; around it stands what platforms leave open. A key must be the one spelling of a
// point and not one of small order, under which anything would hold; a signature's first half must not be of small order
// either, and its second half is below the order of the group.

import { concat, fromBase64url, same, sha256, toBase64url, utf8 } from './bytes.mjs';

const P = 2n ** 255n - 19n;
const ORDER = 2n ** 252n + 27742317777372353535851937790883648493n;
/** The d of the curve: -121665 / 121666 (RFC 8032, 5.1). */
const D = 37095705934669439343138083508754565189542113879843219016388785533085940283555n;
/** A y of the points of order 8; the other one is its negative. */
const EIGHTH = 0x7a03ac9277fdc74ec6cc392cfa53202a0f67100d760b3cba4fd84d3d706a17c7n;
/** The y of every point of small order: 1, -1, 0 and those of order 8. */
const SMALL_ORDER = [1n, P - 1n, 0n, EIGHTH, P - EIGHTH];

/** The platform cannot check an Ed25519 signature: nothing can be said of the record. */
export class CannotCheck extends Error {}

function mod(n) {
  const rest = n % P;
  return rest < 0n ? rest + P : rest;
}

/** Whether a number above 0 and below P is a square modulo P: by the law of quadratic reciprocity for Jacobi symbols. */
function isSquare(n) {
  let [above, below, isOne] = [n, P, true];
  while (above !== 0n) {
    while ((above & 1n) === 0n) {
      above >>= 1n;
      const eighths = below & 7n;
      if (eighths === 3n || eighths === 5n) isOne = !isOne;
    }
    if ((above & below & 3n) === 3n) isOne = !isOne;
    [above, below] = [below % above, above];
  }
  return isOne;
}

/** The number that 32 bytes are. */
function littleEndian(bytes) {
  const view = new DataView(bytes.buffer, bytes.byteOffset, 32);
  const words = [0, 8, 16, 24].map((at) => view.getBigUint64(at, true));
  return words[0] | (words[1] << 64n) | (words[2] << 128n) | (words[3] << 192n);
}

/** The y of 32 bytes, without the bit that says the sign of x. */
function ordinate(bytes) {
  return littleEndian(bytes) & (2n ** 255n - 1n);
}

function isOfSmallOrder(y) {
  return SMALL_ORDER.includes(mod(y));
}

/** x^2 = (y^2 - 1) / (d y^2 + 1) must be a square (RFC 8032, 5.1.3): it is where the product is, as the divisor is never 0. */
function isOnCurve(y) {
  const square = mod(y * y);
  const product = mod((square - 1n) * (D * square + 1n));
  return product === 0n || isSquare(product);
}

/** Whether 32 bytes are a key that may be held against signatures. */
export function isKey(bytes) {
  if (bytes.length !== 32) return false;
  const y = ordinate(bytes);
  return y < P && !isOfSmallOrder(y) && isOnCurve(y);
}

/** RFC 7638 thumbprint of a key: SHA-256 over its JWK with the required members in order (RFC 8037). */
export function thumbprint(bytes) {
  return toBase64url(sha256(utf8(`{"crv":"Ed25519","kty":"OKP","x":"${toBase64url(bytes)}"}`)));
}

async function subtle() {
  if (globalThis.crypto?.subtle) return globalThis.crypto.subtle;
  // Older command-line runtimes have it, under another name.
  if (globalThis.process?.versions?.node) return (await import('node:crypto')).webcrypto.subtle;
  throw new CannotCheck('this page was not fetched by a secure connection, so the browser lends it no cryptography');
}

/** RFC 8032, 7.1, test 2: key, message and signature. */
const KNOWN = {
  key: 'PUAXw-hDiVqStwqnTRt-vJyYLM8uxJaMwM1V8Sr0Zgw',
  message: Uint8Array.of(0x72),
  signature: 'kqAJqfDUyrhyDoILX2QlQKKye1QWUD-Ps3YiI-vbadoIWsHkPhWZbkWPNhPQ8R2MOHsurrQwKu6wDSkWErsMAA',
};

/** Platforms that got the known example right: asked once, they answer the same. */
const proven = new WeakSet();

/** Checks signatures; each key is imported once. */
export class Checker {
  #subtle;
  #keys = new Map();
  /** By signature, what was begun before it was asked for. */
  #begun = new Map();

  /** Throws `CannotCheck` where the platform does not know Ed25519, or gets a known example wrong. */
  static async ready() {
    const checker = new Checker();
    checker.#subtle = await subtle();
    if (!proven.has(checker.#subtle)) await checker.#prove();
    return checker;
  }

  async #prove() {
    const [key, known] = [fromBase64url(KNOWN.key), fromBase64url(KNOWN.signature)];
    const messages = [KNOWN.message, concat(KNOWN.message, KNOWN.message)];
    let [right, wrong] = [];
    try {
      [right, wrong] = await Promise.all(messages.map((message) => this.holds(key, known, message)));
    } catch (error) {
      throw new CannotCheck(`this browser cannot check Ed25519 signatures (${error.name})`);
    }
    if (!right || wrong) throw new CannotCheck('this browser gets a published Ed25519 signature wrong');
    proven.add(this.#subtle);
  }

  #key(bytes) {
    const name = toBase64url(bytes);
    if (!this.#keys.has(name)) {
      this.#keys.set(name, this.#subtle.importKey('raw', bytes, { name: 'Ed25519' }, false, ['verify']));
    }
    return this.#keys.get(name);
  }

  /** SHA-256 of bytes, beside the reading: worth a promise where they are long. */
  async hash(...parts) {
    return new Uint8Array(await this.#subtle.digest('SHA-256', concat(...parts)));
  }

  /** Begins what will be asked by `holds` with the same signature and message, so that it goes on beside the reading. */
  begin(key, signature, message) {
    const holds = this.#verify(key, signature, message);
    // Whoever asks is told; whether anybody does is not known yet.
    holds.catch(() => {});
    this.#begun.set(signature, { key, message, holds });
  }

  /** Whether 64 bytes are a strict signature of a message under a key. */
  async holds(key, signature, message) {
    const begun = this.#begun.get(signature);
    const isThat = begun !== undefined && begun.message === message && same(begun.key, key);
    return isThat ? begun.holds : this.#verify(key, signature, message);
  }

  async #verify(key, signature, message) {
    if (signature.length !== 64 || littleEndian(signature.subarray(32)) >= ORDER) return false;
    if (isOfSmallOrder(ordinate(signature))) return false;
    return this.#subtle.verify({ name: 'Ed25519' }, await this.#key(key), signature, message);
  }
}

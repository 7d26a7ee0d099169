// Ed25519 (RFC 8032) as the log uses it: which keys may be added, and the strict check of a signature.
//
// The platform's WebCrypto does the check; around it stands what platforms leave open. A key must be the one spelling of a
// point and not one of small order, under which anything would hold; a signature's first half must not be of small order
// either, and its second half is below the order of the group.

import { concat, fromBase64url, sha256, toBase64url, utf8 } from './bytes.mjs';

const P = 2n ** 255n - 19n;
const ORDER = 2n ** 252n + 27742317777372353535851937790883648493n;
const D = mod(-121665n * power(121666n, P - 2n));
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

function power(base, exponent) {
  let result = 1n;
  let square = mod(base);
  for (let rest = exponent; rest > 0n; rest >>= 1n) {
    if (rest & 1n) result = mod(result * square);
    square = mod(square * square);
  }
  return result;
}

function littleEndian(bytes) {
  let n = 0n;
  for (let i = bytes.length - 1; i >= 0; i -= 1) n = (n << 8n) | BigInt(bytes[i]);
  return n;
}

/** The y of 32 bytes, without the bit that says the sign of x. */
function ordinate(bytes) {
  return littleEndian(bytes) & (2n ** 255n - 1n);
}

function isOfSmallOrder(bytes) {
  return SMALL_ORDER.includes(mod(ordinate(bytes)));
}

/** x^2 = (y^2 - 1) / (d y^2 + 1) must be a square (RFC 8032, 5.1.3). */
function isOnCurve(y) {
  const square = mod(y * y);
  const xx = mod((square - 1n) * power(D * square + 1n, P - 2n));
  return xx === 0n || power(xx, (P - 1n) / 2n) === 1n;
}

/** Whether 32 bytes are a key that may be held against signatures. */
export function isKey(bytes) {
  const y = ordinate(bytes);
  return bytes.length === 32 && y < P && !isOfSmallOrder(bytes) && isOnCurve(y);
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

/** Checks signatures; each key is imported once. */
export class Checker {
  #subtle;
  #keys = new Map();

  /** Throws `CannotCheck` where the platform does not know Ed25519, or gets a known example wrong. */
  static async ready() {
    const checker = new Checker();
    checker.#subtle = await subtle();
    const known = fromBase64url(KNOWN.signature);
    let right;
    try {
      right =
        (await checker.holds(fromBase64url(KNOWN.key), known, KNOWN.message)) &&
        !(await checker.holds(fromBase64url(KNOWN.key), known, concat(KNOWN.message, KNOWN.message)));
    } catch (error) {
      throw new CannotCheck(`this browser cannot check Ed25519 signatures (${error.name})`);
    }
    if (!right) throw new CannotCheck('this browser gets a published Ed25519 signature wrong');
    return checker;
  }

  #key(bytes) {
    const name = toBase64url(bytes);
    if (!this.#keys.has(name)) {
      this.#keys.set(name, this.#subtle.importKey('raw', bytes, { name: 'Ed25519' }, false, ['verify']));
    }
    return this.#keys.get(name);
  }

  /** Whether 64 bytes are a strict signature of a message under a key. */
  async holds(key, signature, message) {
    const [r, s] = [signature.subarray(0, 32), signature.subarray(32)];
    if (signature.length !== 64 || littleEndian(s) >= ORDER || isOfSmallOrder(r)) return false;
    return this.#subtle.verify({ name: 'Ed25519' }, await this.#key(key), signature, message);
  }
}

// Bytes and their texts: UTF-8, base64 in its one form, SHA-256.
//
// SHA-256 is written out here (FIPS 180-4) and not asked of the platform: a path of a tree is hundreds of short hashes one
// after the other, and a promise for each costs more than the hash. Aliases of base64 (spare bits, missing padding, line
// feeds) are refused, so that one value has one text.

const STANDARD = 'ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/';
const URL_SAFE = 'ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_';

function table(alphabet) {
  const values = new Int8Array(128).fill(-1);
  for (let i = 0; i < 64; i += 1) values[alphabet.charCodeAt(i)] = i;
  return values;
}
const STANDARD_VALUES = table(STANDARD);
const URL_SAFE_VALUES = table(URL_SAFE);

function decode(text, values) {
  if (text.length % 4 === 1) return null;
  const out = new Uint8Array(Math.floor((text.length * 3) / 4));
  let at = 0;
  let held = 0;
  let bits = 0;
  for (let i = 0; i < text.length; i += 1) {
    const code = text.charCodeAt(i);
    const value = code < 128 ? values[code] : -1;
    if (value < 0) return null;
    held = ((held << 6) | value) & 0xffff;
    bits += 6;
    if (bits >= 8) {
      bits -= 8;
      out[at] = (held >> bits) & 0xff;
      at += 1;
    }
  }
  // What is left over of the last character must be zero, or another text would say the same.
  return (held & ((1 << bits) - 1)) === 0 ? out : null;
}

function encode(bytes, alphabet) {
  let text = '';
  for (let i = 0; i < bytes.length; i += 3) {
    const left = bytes.length - i;
    const group = (bytes[i] << 16) | ((left > 1 ? bytes[i + 1] : 0) << 8) | (left > 2 ? bytes[i + 2] : 0);
    text += alphabet[group >> 18] + alphabet[(group >> 12) & 63];
    if (left > 1) text += alphabet[(group >> 6) & 63];
    if (left > 2) text += alphabet[group & 63];
  }
  return text;
}

/** Bytes of canonical base64url without padding, or null. */
export function fromBase64url(text) {
  return decode(text, URL_SAFE_VALUES);
}

/** Bytes of canonical base64 with padding, or null. */
export function fromBase64(text) {
  if (text.length % 4 !== 0) return null;
  const padding = text.endsWith('==') ? 2 : text.endsWith('=') ? 1 : 0;
  return decode(text.slice(0, text.length - padding), STANDARD_VALUES);
}

export function toBase64url(bytes) {
  return encode(bytes, URL_SAFE);
}

export function toBase64(bytes) {
  return encode(bytes, STANDARD) + ['', '==', '='][bytes.length % 3];
}

/** The 32 bytes of a hash in base64url (43 characters), or null. */
export function hashFromBase64url(text) {
  return text.length === 43 ? fromBase64url(text) : null;
}

/** The 32 bytes of a hash in base64 (44 characters), or null. */
export function hashFromBase64(text) {
  const bytes = text.length === 44 ? fromBase64(text) : null;
  return bytes !== null && bytes.length === 32 ? bytes : null;
}

/** Whether a text has the form of an RFC 7638 thumbprint. */
export function isThumbprint(text) {
  return hashFromBase64url(text) !== null;
}

export function toHex(bytes) {
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, '0')).join('');
}

export function same(a, b) {
  return a.length === b.length && a.every((byte, at) => byte === b[at]);
}

const encoder = new TextEncoder();
const decoder = new TextDecoder('utf-8', { fatal: true, ignoreBOM: true });

export function utf8(text) {
  return encoder.encode(text);
}

/** The text of UTF-8 bytes, or null where they are none. */
export function fromUtf8(bytes) {
  try {
    return decoder.decode(bytes);
  } catch {
    return null;
  }
}

export function concat(...parts) {
  const out = new Uint8Array(parts.reduce((sum, part) => sum + part.length, 0));
  let at = 0;
  for (const part of parts) {
    out.set(part, at);
    at += part.length;
  }
  return out;
}

// FIPS 180-4, 4.2.2 and 5.3.3: the first 32 bits of the fractional parts of the cube roots of the first 64 primes, and of the
// square roots of the first 8. They are computed, in whole numbers, rather than typed.
function primes(count) {
  const found = [];
  for (let n = 2; found.length < count; n += 1) if (found.every((p) => n % p !== 0)) found.push(n);
  return found;
}
function rootBits(prime, power) {
  // floor(prime^(1/power) * 2^32), by halving; its low 32 bits are those of the fraction.
  const target = BigInt(prime) << BigInt(32 * power);
  let low = 0n;
  let high = 1n << 40n;
  while (high - low > 1n) {
    const middle = (low + high) >> 1n;
    if (middle ** BigInt(power) <= target) low = middle;
    else high = middle;
  }
  return Number(low & 0xffffffffn);
}
const ROUND = Uint32Array.from(primes(64), (prime) => rootBits(prime, 3));
const START = Uint32Array.from(primes(8), (prime) => rootBits(prime, 2));

function block(state, words, bytes, at) {
  for (let i = 0; i < 16; i += 1) {
    const p = at + 4 * i;
    words[i] = (bytes[p] << 24) | (bytes[p + 1] << 16) | (bytes[p + 2] << 8) | bytes[p + 3];
  }
  for (let i = 16; i < 64; i += 1) {
    const x = words[i - 15];
    const y = words[i - 2];
    const s0 = ((x >>> 7) | (x << 25)) ^ ((x >>> 18) | (x << 14)) ^ (x >>> 3);
    const s1 = ((y >>> 17) | (y << 15)) ^ ((y >>> 19) | (y << 13)) ^ (y >>> 10);
    words[i] = (words[i - 16] + s0 + words[i - 7] + s1) | 0;
  }
  let [a, b, c, d, e, f, g, h] = state;
  for (let i = 0; i < 64; i += 1) {
    const s1 = ((e >>> 6) | (e << 26)) ^ ((e >>> 11) | (e << 21)) ^ ((e >>> 25) | (e << 7));
    const t1 = (h + s1 + ((e & f) ^ (~e & g)) + ROUND[i] + words[i]) | 0;
    const s0 = ((a >>> 2) | (a << 30)) ^ ((a >>> 13) | (a << 19)) ^ ((a >>> 22) | (a << 10));
    const t2 = (s0 + ((a & b) ^ (a & c) ^ (b & c))) | 0;
    h = g;
    g = f;
    f = e;
    e = (d + t1) | 0;
    d = c;
    c = b;
    b = a;
    a = (t1 + t2) | 0;
  }
  [a, b, c, d, e, f, g, h].forEach((value, i) => {
    state[i] = (state[i] + value) | 0;
  });
}

/** SHA-256 of bytes. */
export function sha256(bytes) {
  const state = Int32Array.from(START);
  const words = new Int32Array(64);
  const whole = bytes.length - (bytes.length % 64);
  for (let at = 0; at < whole; at += 64) block(state, words, bytes, at);
  const rest = bytes.length - whole;
  const tail = new Uint8Array(rest < 56 ? 64 : 128);
  tail.set(bytes.subarray(whole));
  tail[rest] = 0x80;
  const view = new DataView(tail.buffer);
  view.setUint32(tail.length - 8, Math.floor(bytes.length / 0x20000000));
  view.setUint32(tail.length - 4, (bytes.length << 3) >>> 0);
  for (let at = 0; at < tail.length; at += 64) block(state, words, tail, at);
  const out = new DataView(new ArrayBuffer(32));
  state.forEach((value, i) => out.setInt32(4 * i, value));
  return new Uint8Array(out.buffer);
}

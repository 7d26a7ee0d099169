// Bytes and their texts: UTF-8, base64 in its one form, SHA-256.
//
// SHA-256 is written out here (FIPS 180-4) and not asked of the platform: a path of a tree is hundreds of short hashes one
// after the other, and a promise for each costs more than the hash. (Entries are long, and there the platform is asked:
// `Checker.hash`.) Aliases of base64 (spare bits, missing padding, line feeds) are refused, so that one value has one text.

const encoder = new TextEncoder();
const decoder = new TextDecoder('utf-8', { fatal: true, ignoreBOM: true });
const ASCII = /^[\u0000-\u007f]*$/;
const NOT_URL_SAFE = /[+/=]/;

/** The bytes that a text of characters up to 255 stands for. */
function bytesOf(characters) {
  if (ASCII.test(characters)) return encoder.encode(characters);
  const bytes = new Uint8Array(characters.length);
  for (let i = 0; i < bytes.length; i += 1) bytes[i] = characters.charCodeAt(i);
  return bytes;
}

function charactersOf(bytes) {
  let characters = '';
  for (let i = 0; i < bytes.length; i += 1) characters += String.fromCharCode(bytes[i]);
  return characters;
}

/** What canonical base64 with padding spells, or null. What the platform reads must be the very text that it writes. */
function decode(text) {
  try {
    const characters = atob(text);
    return btoa(characters) === text ? characters : null;
  } catch {
    return null;
  }
}

/** What canonical base64url without padding spells, or null. */
function decodeUrl(text) {
  if (NOT_URL_SAFE.test(text)) return null;
  return decode(text.replaceAll('-', '+').replaceAll('_', '/') + ['', '', '==', '='][text.length % 4]);
}

/** Bytes of canonical base64 with padding, or null. */
export function fromBase64(text) {
  const characters = decode(text);
  return characters === null ? null : bytesOf(characters);
}

/** Bytes of canonical base64url without padding, or null. */
export function fromBase64url(text) {
  const characters = decodeUrl(text);
  return characters === null ? null : bytesOf(characters);
}

/** The text whose UTF-8 is spelled in canonical base64url, or null. */
export function textFromBase64url(text) {
  const characters = decodeUrl(text);
  return characters === null || ASCII.test(characters) ? characters : fromUtf8(bytesOf(characters));
}

export function toBase64(bytes) {
  return btoa(charactersOf(bytes));
}

export function toBase64url(bytes) {
  return toBase64(bytes).replaceAll('+', '-').replaceAll('/', '_').replaceAll('=', '');
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

/** 32 bytes in base64url: of the last character two bits are spare, and zero. */
const THUMBPRINT = /^[A-Za-z0-9_-]{42}[AEIMQUYcgkosw048]$/;

/** Whether a text has the form of an RFC 7638 thumbprint. */
export function isThumbprint(text) {
  return THUMBPRINT.test(text);
}

export function toHex(bytes) {
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, '0')).join('');
}

export function same(a, b) {
  if (a === b) return true;
  if (a.length !== b.length) return false;
  for (let at = 0; at < a.length; at += 1) if (a[at] !== b[at]) return false;
  return true;
}

export function utf8(text) {
  return encoder.encode(text);
}

/** Whether a text is longer than so many bytes of UTF-8, of which a character takes at most three. */
export function isLonger(text, most) {
  return text.length * 3 > most && utf8(text).length > most;
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
  let length = 0;
  for (const part of parts) length += part.length;
  const out = new Uint8Array(length);
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
const ROUND = Int32Array.from(primes(64), (prime) => rootBits(prime, 3));
const START = Int32Array.from(primes(8), (prime) => rootBits(prime, 2));

// Made once: each hash overwrites them, and making them anew would take longer than a short hash.
const WORDS = new Int32Array(64);
const STATE = new Int32Array(8);
const TAIL = new Uint8Array(128);
const TAIL_VIEW = new DataView(TAIL.buffer);

function block(bytes, at) {
  for (let i = 0, p = at; i < 16; i += 1, p += 4) {
    WORDS[i] = (bytes[p] << 24) | (bytes[p + 1] << 16) | (bytes[p + 2] << 8) | bytes[p + 3];
  }
  for (let i = 16; i < 64; i += 1) {
    const x = WORDS[i - 15];
    const y = WORDS[i - 2];
    const s0 = ((x >>> 7) | (x << 25)) ^ ((x >>> 18) | (x << 14)) ^ (x >>> 3);
    const s1 = ((y >>> 17) | (y << 15)) ^ ((y >>> 19) | (y << 13)) ^ (y >>> 10);
    WORDS[i] = (WORDS[i - 16] + s0 + WORDS[i - 7] + s1) | 0;
  }
  let [a, b, c, d, e, f, g, h] = STATE;
  for (let i = 0; i < 64; i += 1) {
    const s1 = ((e >>> 6) | (e << 26)) ^ ((e >>> 11) | (e << 21)) ^ ((e >>> 25) | (e << 7));
    const t1 = (h + s1 + ((e & f) ^ (~e & g)) + ROUND[i] + WORDS[i]) | 0;
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
  STATE[0] += a;
  STATE[1] += b;
  STATE[2] += c;
  STATE[3] += d;
  STATE[4] += e;
  STATE[5] += f;
  STATE[6] += g;
  STATE[7] += h;
}

/** SHA-256 of bytes. */
export function sha256(bytes) {
  STATE.set(START);
  const rest = bytes.length % 64;
  const whole = bytes.length - rest;
  for (let at = 0; at < whole; at += 64) block(bytes, at);
  const end = rest < 56 ? 64 : 128;
  TAIL.fill(0);
  for (let i = 0; i < rest; i += 1) TAIL[i] = bytes[whole + i];
  TAIL[rest] = 0x80;
  TAIL_VIEW.setUint32(end - 8, Math.floor(bytes.length / 0x20000000));
  TAIL_VIEW.setUint32(end - 4, (bytes.length << 3) >>> 0);
  for (let at = 0; at < end; at += 64) block(TAIL, at);
  const out = new Uint8Array(32);
  for (let i = 0; i < 32; i += 1) out[i] = STATE[i >> 2] >>> (24 - 8 * (i & 3));
  return out;
}

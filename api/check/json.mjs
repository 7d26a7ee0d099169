// Reading JSON strictly (RFC 8259), with what the platform's reader throws away: members that stand twice, and in which order
// they stand; whole numbers of any size. No fraction or exponent is read behind a number, since an entry holds none.
//
// The text comes from UTF-8, so halves of characters can only stand in escapes.
//
// An object becomes `Members`, a list of [name, value]; an array an array; a whole number a BigInt; the rest what JSON has.

/** How deep objects and arrays may stand in each other. */
const DEPTH_MAX = 127;
const U64_MAX = 18446744073709551615n;
const I64_MIN = -9223372036854775808n;
const SPACE = new Set([0x20, 0x09, 0x0a, 0x0d]);
const SURROGATE = /\p{Surrogate}/u;
const NUMBER = /-?(?:0|[1-9][0-9]*)/y;
const PLAIN = /[^"\\\u0000-\u001f]*/y;
const NOT_PLAIN = /[\\\u0000-\u001f]/;
const ESCAPES = { '"': '"', '\\': '\\', '/': '/', b: '\b', f: '\f', n: '\n', r: '\r', t: '\t' };

/** Why a text is refused, anywhere in the reading of an entry. */
export class Refused extends Error {}

export function refuse(why) {
  throw new Refused(why);
}

/** The members of an object, in their order. */
export class Members {
  constructor(list) {
    this.list = list;
  }
}

class Reader {
  constructor(text) {
    this.text = text;
    this.at = 0;
    this.depth = 0;
  }

  skip() {
    while (SPACE.has(this.text.charCodeAt(this.at))) this.at += 1;
  }

  expect(word) {
    if (!this.text.startsWith(word, this.at)) refuse(`want ${word} at character ${this.at}`);
    this.at += word.length;
  }

  value() {
    this.skip();
    switch (this.text[this.at]) {
      case '{':
        return new Members(this.list('}', this.member));
      case '[':
        return this.list(']', this.value);
      case '"':
        return this.string();
      case 't':
        this.expect('true');
        return true;
      case 'f':
        this.expect('false');
        return false;
      case 'n':
        this.expect('null');
        return null;
      default:
        return this.number();
    }
  }

  /** Members or elements up to the closing sign, each read by `one`. */
  list(closing, one) {
    this.depth += 1;
    if (this.depth > DEPTH_MAX) refuse('it is nested too deeply');
    this.at += 1;
    const list = [];
    this.skip();
    while (this.text[this.at] !== closing) {
      if (list.length > 0) this.expect(',');
      list.push(one.call(this));
      this.skip();
    }
    this.at += 1;
    this.depth -= 1;
    return list;
  }

  member() {
    this.skip();
    const name = this.string();
    this.skip();
    this.expect(':');
    return [name, this.value()];
  }

  string() {
    this.expect('"');
    const from = this.at;
    const end = this.text.indexOf('"', from);
    const plain = this.text.slice(from, end);
    if (end < 0 || NOT_PLAIN.test(plain)) return this.escapedString();
    this.at = end + 1;
    return plain;
  }

  /** The rest of a text with escapes, the only ones that can spell half a character. */
  escapedString() {
    let text = '';
    for (;;) {
      text += this.take(PLAIN);
      const sign = this.text[this.at];
      if (sign === '"') {
        this.at += 1;
        break;
      }
      if (sign !== '\\') refuse(`a text does not end, or holds a control character, at character ${this.at}`);
      this.at += 1;
      text += this.escape();
    }
    if (SURROGATE.test(text)) refuse('a text holds half a character');
    return text;
  }

  take(pattern) {
    pattern.lastIndex = this.at;
    const found = pattern.exec(this.text);
    if (found === null) return null;
    this.at = pattern.lastIndex;
    return found[0];
  }

  escape() {
    const sign = this.text[this.at];
    this.at += 1;
    if (sign !== 'u') {
      return Object.hasOwn(ESCAPES, sign ?? '') ? ESCAPES[sign] : refuse(`no escape at character ${this.at}`);
    }
    const digits = this.text.slice(this.at, this.at + 4);
    if (!/^[0-9a-fA-F]{4}$/.test(digits)) refuse(`no escape at character ${this.at}`);
    this.at += 4;
    return String.fromCharCode(Number.parseInt(digits, 16));
  }

  number() {
    const digits = this.take(NUMBER);
    if (digits === null) refuse(`no value at character ${this.at}`);
    const count = BigInt(digits);
    if (digits === '-0' || count > U64_MAX || count < I64_MIN) refuse('a number is no whole number of 64 bits');
    return count;
  }
}

/** Reads one value and nothing behind it. Throws `Refused`. */
export function readJson(text) {
  const reader = new Reader(text);
  const value = reader.value();
  reader.skip();
  if (reader.at !== text.length) refuse('something stands behind the value');
  return value;
}

/** A value of which nothing is known must still have no member twice. */
export function holdStrict(value) {
  if (value instanceof Members) {
    const names = new Set();
    for (const [name, inner] of value.list) {
      if (names.has(name)) refuse('a key stands twice');
      names.add(name);
      holdStrict(inner);
    }
  } else if (Array.isArray(value)) {
    value.forEach(holdStrict);
  }
}

/** A text as the log spells it. */
export function writeText(text) {
  return JSON.stringify(text);
}

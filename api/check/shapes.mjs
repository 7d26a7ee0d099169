// Shapes of what stands in an entry: how a value is read from JSON and written again, in the one spelling.
//
// A shape has `read(value)` and `write(value)`. What was read is written again and compared with the bytes, so reading need
// not be strict about order or about an absent member that is written out: the comparison is.

import * as amounts from './amounts.mjs';
import { Members, refuse, writeText } from './json.mjs';

function textOf(value) {
  return typeof value === 'string' ? value : refuse('want a text');
}

/** A value that is written as a text in which nothing needs an escape. */
const quoted = (read, say = (value) => value) => ({
  read: (value) => read(textOf(value)),
  write: (value) => `"${say(value)}"`,
});

export const text = { read: textOf, write: writeText };
export const uuid = quoted(amounts.readUuid);
export const mass = quoted(amounts.readMass, amounts.sayMass);
export const difference = quoted(amounts.readDifference, amounts.sayMass);
export const reading = quoted(amounts.readReading, (value) => value.text);
export const fineness = quoted(amounts.readFineness, amounts.sayFineness);
export const temperature = quoted(amounts.readTemperature, amounts.sayTemperature);
export const shapeName = quoted(amounts.readShape);
export const hexHash = quoted(amounts.readHexHash);
export const seriesCode = quoted(amounts.readSeriesCode);
export const serial = quoted((value) => amounts.readSerial(value).text);
export const day = quoted(amounts.readDay);
const amount = quoted(amounts.readAmount);
const currency = quoted(amounts.readCurrency);

/** A whole number within bounds: a Number where it is short, a BigInt where it may be as long as an index. */
const whole = (least, most, made) => ({
  read: (value) => {
    if (typeof value !== 'bigint' || value < least || value > most) refuse('want a whole number within its bounds');
    return made(value);
  },
  write: (value) => value.toString(),
});

export const u8 = whole(0n, 255n, Number);
export const u16 = whole(0n, 65_535n, Number);
export const u32 = whole(0n, 4_294_967_295n, Number);
export const u64 = whole(0n, 2n ** 64n - 1n, (value) => value);
export const i64 = whole(-(2n ** 63n), 2n ** 63n - 1n, (value) => value);

export const bool = {
  read: (value) => (typeof value === 'boolean' ? value : refuse('want true or false')),
  write: String,
};

/** One of some words. */
export function word(...words) {
  return {
    read: (value) => {
      const alone = value instanceof Members && value.list.length === 1 && value.list[0][1] === null;
      const said = alone ? value.list[0][0] : value;
      return words.includes(said) ? said : refuse(`want one of ${words.join(', ')}`);
    },
    write: writeText,
  };
}

export function list(of) {
  return {
    read: (value) => (Array.isArray(value) ? value.map((one) => of.read(one)) : refuse('want a list')),
    write: (value) => `[${value.map((one) => of.write(one)).join(',')}]`,
  };
}

/** A member that may be absent, and then is not written. */
export const optional = (of) => ({
  read: (value) => (value === null ? undefined : of.read(value)),
  write: (value) => of.write(value),
  absent: () => undefined,
  isAbsent: (value) => value === undefined,
});

/** A flag that is written only where it is true. */
export const flag = { ...bool, absent: () => false, isAbsent: (value) => !value };

/** A list that is written only where it is not empty. */
export function someOf(of) {
  return { ...list(of), absent: () => [], isAbsent: (value) => value.length === 0 };
}

/** An object with just these members, in this order. */
export function struct(members) {
  const entries = Object.entries(members).map(([name, shape]) => ({ name, shape, spelled: `${writeText(name)}:` }));
  return {
    /** Reads a list of [name, value] pairs, in whatever order. */
    readMembers(pairs) {
      const made = {};
      for (const pair of pairs) {
        const name = pair[0];
        if (!Object.hasOwn(members, name)) refuse(`unknown member ${JSON.stringify(name)}`);
        if (Object.hasOwn(made, name)) refuse(`${name} stands twice`);
        made[name] = members[name].read(pair[1]);
      }
      return this.completed(made);
    },
    /** With what may be absent; of what may not, none is missing. */
    completed(made) {
      for (const { name, shape } of entries) {
        if (Object.hasOwn(made, name)) continue;
        made[name] = shape.absent ? shape.absent() : refuse(`${name} is missing`);
      }
      return made;
    },
    read(value) {
      if (value instanceof Members) return this.readMembers(value.list);
      if (!Array.isArray(value)) refuse('want an object');
      return this.readList(value);
    },
    /** A list of the members' values in their order: no entry is spelled so, and whoever compares sees it. */
    readList(values) {
      if (values.length > entries.length) refuse('too many members');
      return this.completed(Object.fromEntries(values.map((value, at) => [entries[at].name, entries[at].shape.read(value)])));
    },
    writeMembers(value) {
      let text = '';
      for (const { name, shape, spelled } of entries) {
        if (shape.isAbsent?.(value[name])) continue;
        text += (text === '' ? '' : ',') + spelled + shape.write(value[name]);
      }
      return text;
    },
    write(value) {
      return `{${this.writeMembers(value)}}`;
    },
  };
}

/** An object whose member `tag` says which of some shapes the others have. */
export function tagged(tag, variants) {
  const chosen = (said) => (typeof said === 'string' && Object.hasOwn(variants, said) ? variants[said] : refuse(`unknown ${tag}`));
  return {
    read(value) {
      if (Array.isArray(value)) return { [tag]: value[0], ...chosen(value[0]).readList(value.slice(1)) };
      if (!(value instanceof Members)) refuse('want an object');
      const tags = value.list.filter(([name]) => name === tag);
      if (tags.length !== 1) refuse(`want one ${tag}`);
      const rest = value.list.filter(([name]) => name !== tag);
      return { [tag]: tags[0][1], ...chosen(tags[0][1]).readMembers(rest) };
    },
    write(value) {
      return `{${writeText(tag)}:${writeText(value[tag])},${variants[value[tag]].writeMembers(value)}}`;
    },
  };
}

export const money = struct({ amount, currency });

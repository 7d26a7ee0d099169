// The trade's quantities as texts and whole numbers. A mass is a count of 10 micrograms, a fineness a count of 0.0001 parts
// per thousand, both BigInt: nothing here is a binary fraction.

import { refuse } from './json.mjs';

/** 100 tonnes, in steps of 10 micrograms. */
export const MASS_MAX = 10_000_000_000_000n;
/** 1000 parts per thousand. */
export const PURE = 10_000_000n;
/** Letters and digits of codes: without I, L, O and U, which are misread. */
const CODE = '[A-HJKMNP-TV-Z]{2,4}';
const SERIES_CODE = new RegExp(`^${CODE}$`);
const SERIAL = new RegExp(`^(${CODE})-([0-9]{4,6})-([0-9]{2})$`);

/** Plain digits, `whole[.decimals]`, without zeros in front, as a count of 10^-decimals. */
function readCount(text, decimals, most) {
  const found = /^(0|[1-9][0-9]*)(?:\.([0-9]+))?$/.exec(text);
  if (found === null) refuse(`${JSON.stringify(text)} is no plain decimal number`);
  const fraction = found[2] ?? '';
  if (fraction.length > decimals) refuse(`${text} is too fine: at most ${decimals} decimals`);
  const count = BigInt(found[1] + fraction.padEnd(decimals, '0'));
  return count > most ? refuse(`${text} is too large`) : count;
}

/** A count of 10^-decimals with as few decimals as it needs, but at least some. */
function writeCount(count, decimals, least) {
  const digits = (count < 0n ? -count : count).toString().padStart(decimals + 1, '0');
  const whole = digits.slice(0, digits.length - decimals);
  let fraction = digits.slice(digits.length - decimals);
  while (fraction.length > least && fraction.endsWith('0')) fraction = fraction.slice(0, -1);
  return (count < 0n ? '-' : '') + whole + (fraction === '' ? '' : `.${fraction}`);
}

export const readMass = (text) => readCount(text, 5, MASS_MAX);
export const sayMass = (mass) => writeCount(mass, 5, 2);

/** A difference of masses: a minus stands before one below zero, and never before zero. */
export function readDifference(text) {
  if (!text.startsWith('-')) return readMass(text);
  const size = readMass(text.slice(1));
  return size === 0n ? refuse('minus zero is no difference') : -size;
}

/** A reading keeps its digits as typed: "50.40" is not "50.4". */
export const readReading = (text) => ({ text, mass: readMass(text) });

export function readFineness(text) {
  const units = readCount(text, 4, PURE);
  return units === 0n ? refuse('a fineness is above 0') : units;
}
export const sayFineness = (fineness) => writeCount(fineness, 4, 1);

/** Of water, in hundredths of a degree Celsius. */
export const readTemperature = (text) => readCount(text, 2, 4_000n);
export const sayTemperature = (units) => writeCount(units, 2, 0);

/** An amount of money keeps its digits: at most eight decimals, and at most 10^12. */
export function readAmount(text) {
  const size = text.startsWith('-') ? text.slice(1) : text;
  const count = readCount(size, 8, 10n ** 20n);
  return text.startsWith('-') && count === 0n ? refuse('minus zero is no amount') : text;
}

export function readCurrency(text) {
  return /^[A-Z]{3}$/.test(text) ? text : refuse('a currency is three capital letters');
}

/** SHA-256 of a photograph, in lower hexadecimal digits. */
export function readHexHash(text) {
  return /^[0-9a-f]{64}$/.test(text) ? text : refuse('want 64 lower hexadecimal digits');
}

/** The name of a shape or a mould. */
export function readShape(text) {
  return /^[a-z][a-z0-9_]{0,15}$/.test(text) ? text : refuse(`${JSON.stringify(text)} is no name of a shape`);
}

export function readSeriesCode(text) {
  return SERIES_CODE.test(text) ? text : refuse(`${JSON.stringify(text)} is no code of a series`);
}

/** A day of the Gregorian calendar, `2026-11-25`. */
export function readDay(text) {
  const found = /^([0-9]{4})-([0-9]{2})-([0-9]{2})$/.exec(text);
  const [year, month, day] = (found ?? []).slice(1).map(Number);
  const leap = year % 4 === 0 && (year % 100 !== 0 || year % 400 === 0);
  const days = [31, leap ? 29 : 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31][month - 1];
  return found !== null && day >= 1 && day <= days ? text : refuse(`${JSON.stringify(text)} is no day`);
}

/**
 * The two check digits of ISO/IEC 7064 MOD 97-10 over capital letters and digits: 98 less the number, with 00 behind it,
 * modulo 97. They are computed and compared as text: 00, 01 and 99 would pass a test for 1 modulo 97.
 */
export function checkDigits(payload) {
  const digits = Array.from(payload, (sign) => Number.parseInt(sign, 36)).join('');
  return (98n - (BigInt(digits) * 100n) % 97n).toString().padStart(2, '0');
}

/** A serial in its printed form: code, number of 4 to 6 digits, check digits that fit. */
export function readSerial(text) {
  const found = SERIAL.exec(text);
  if (found === null) refuse(`${JSON.stringify(text)} is no serial`);
  const [, code, number, check] = found;
  if (checkDigits(code + number) !== check) refuse(`the check digits of ${text} do not fit`);
  return { text, code, number };
}

const UUID = /^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$/;

/** A UUID; upper case, braces and missing hyphens are read, though an entry spells none so. */
export function readUuid(text) {
  if (UUID.test(text)) return text;
  const braced = /^\{.{36}\}$/.test(text);
  const inner = text.startsWith('urn:uuid:') ? text.slice(9) : braced ? text.slice(1, -1) : text;
  const lower = inner.toLowerCase();
  if (UUID.test(lower)) return lower;
  if (inner !== text || !/^[0-9a-f]{32}$/.test(lower)) refuse(`${JSON.stringify(text)} is no UUID`);
  return lower.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, '$1-$2-$3-$4-$5');
}

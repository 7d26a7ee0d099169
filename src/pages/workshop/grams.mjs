// What was typed, or what a scale typed, as a reading in grams; and whether it is near what it should be.
//
// The same as src/metal/typed.rs and src/metal/likely.rs, told a second time for the browser: tests/vectors/typed.json holds both.
// A mass is a BigInt of 10 micrograms, so nothing is rounded.

export const UNTAKEN = {
  empty: 'nothing was typed: give the figure that the scale shows',
  negative:
    'the scale shows less than nothing: it was tared with something on the pan. Clear the pan, tare it empty, weigh again',
  separators: 'there are two separators in it: write one point or comma, and nothing between thousands',
  unit: 'the scale is not set to grams: set it to g, then weigh again',
  number: 'this is no figure like 50.42',
  fine: 'it has more than five decimals: no scale of this book shows so many',
};
const TYPED_MAX = 40;
const DECIMALS = 5;
const FIGURE = /^(?:[A-Za-z][A-Za-z ,:;]*(?:(?<= )|(?=[+\-\u2212])))?([+\-\u2212]?)[ \t]*([0-9.,]*)[ \t]*(.*)$/u;

/** The digits of a reading: { text }, or { wrong } with the name of why not. */
export function digits(typed) {
  const text = typed.trim();
  if (text === '') return { wrong: 'empty' };
  const found = [...text].length > TYPED_MAX ? null : FIGURE.exec(text);
  if (!found) return { wrong: 'number' };
  const [, sign, figure, unit] = found;
  const separators = figure.match(/[.,]/g)?.length ?? 0;
  if (separators > 1) return { wrong: 'separators' };
  const [whole, fraction] = figure.replace(',', '.').split('.');
  if (whole === '' || fraction === '') return { wrong: 'number' };
  if (!['', 'g', 'G', 'gr'].includes(unit)) return { wrong: /^\p{L}+$/u.test(unit) ? 'unit' : 'number' };
  if ((fraction?.length ?? 0) > DECIMALS) return { wrong: 'fine' };
  const bare = whole.replace(/^0+(?=\d)/, '');
  const read = fraction === undefined ? bare : `${bare}.${fraction}`;
  const below = sign !== '' && sign !== '+' && /[1-9]/.test(read);
  return below ? { wrong: 'negative' } : { text: read };
}

/** A plain decimal as a BigInt of 10 micrograms. */
export function units(text) {
  const [whole, fraction = ''] = text.split('.');
  return BigInt(whole + fraction.padEnd(DECIMALS, '0'));
}

/** A mass of so many units in grams, with at least two decimals. */
export function grams(count) {
  const text = String(count).padStart(DECIMALS + 1, '0');
  const fraction = text.slice(-DECIMALS).replace(/0{1,3}$/, '');
  return `${text.slice(0, -DECIMALS)}.${fraction}`;
}

/** Why to ask about a reading: null, or { kind, tare }. `likely` has low, near, high as BigInt, and the round tare in units. */
export function doubt(likely, reading) {
  const { low, near, high, round } = likely;
  if (reading < low) return { kind: reading * 20n < near ? 'empty_pan' : 'light' };
  if (reading <= high) return null;
  const over = reading - near;
  const half = high - near;
  const tare = ((over + round / 2n) / round) * round;
  const off = tare > over ? tare - over : over - tare;
  const telling = half * 4n <= round;
  return tare > 0n && off <= half && telling ? { kind: 'tare', tare } : { kind: 'heavy' };
}

/** The question, as somebody at the bench reads it. */
export function question(likely, text, asked) {
  const over = units(text) - likely.near;
  const span = `${grams(likely.low)} g to ${grams(likely.high)} g`;
  const ground = { mould: 'the mould gives', limits: 'the limits let expect', last: 'it weighed last, so expect' }[likely.by];
  const why = {
    empty_pan: 'that is next to nothing: is the piece on the pan?',
    light: `${ground} ${span}.`,
    heavy: over >= likely.round
      ? `that is some ${(over + 50_000n) / 100_000n} g more than ${ground} (${span}): a slipped digit, or a dish that was not tared?`
      : `${ground} ${span}.`,
    tare: `that is about ${asked.tare === undefined ? '' : grams(asked.tare)} g more than ${ground} (${span}): was the dish tared?`,
  }[asked.kind];
  return `${text} g: ${why} Enter takes it as it is; or type it anew.`;
}

// Gives every file that the Rust verifier checked to the one of `api/check`, and compares what both say: steps, findings and facts.
// Only the words for what cannot be read are each verifier's own.
//
// `node tests/agree/run.mjs FILES [LEAST]`; FILES is what `check::agree` wrote, LEAST how many files there must be.

import { isDeepStrictEqual } from 'node:util';
import { closeSync, openSync, readSync, writeFileSync } from 'node:fs';
import { checkPiece, exitCode } from '../../api/check/check.mjs';

/** What is compared: all of it, but of a file that cannot be read only that it cannot. */
function compared(report) {
  return report.conclusion === 'unreadable' ? { ...report, why: '' } : report;
}

/** The records of the file, one after the other: a line of JSON, then so many bytes. */
function* records(path) {
  const file = openSync(path);
  let held = Buffer.alloc(0);
  const more = () => {
    const chunk = Buffer.alloc(1 << 20);
    const length = readSync(file, chunk);
    held = Buffer.concat([held, chunk.subarray(0, length)]);
    return length > 0;
  };
  try {
    for (;;) {
      let end = held.indexOf(10);
      while (end < 0 && more()) end = held.indexOf(10);
      if (end < 0) return;
      const line = JSON.parse(held.subarray(0, end).toString());
      while (held.length < end + 1 + line.bytes) if (!more()) throw new Error('the file ends inside a record');
      yield { ...line, file: new Uint8Array(held.subarray(end + 1, end + 1 + line.bytes)) };
      held = held.subarray(end + 1 + line.bytes);
    }
  } finally {
    closeSync(file);
  }
}

const [path, least = '1'] = process.argv.slice(2);
const counts = new Map();
let [total, wrong] = [0, 0];
for (const { kind, root, exit, report, file } of records(path)) {
  total += 1;
  let found;
  try {
    found = JSON.parse(JSON.stringify(await checkPiece(file, { root })));
  } catch (error) {
    found = { conclusion: 'crashed', why: error.stack };
  }
  const outcome = `${report.conclusion}${report.step ? ` (${report.step})` : ''}`;
  const kinds = counts.get(outcome) ?? new Map();
  counts.set(outcome, kinds.set(kind, (kinds.get(kind) ?? 0) + 1));
  if (isDeepStrictEqual(compared(found), compared(report)) && exitCode(found) === exit) continue;
  wrong += 1;
  if (wrong <= 20) {
    const kept = `${path}.${total}.json`;
    writeFileSync(kept, file);
    const said = ({ conclusion, step, why, what }) => [conclusion, step, why ?? what].filter(Boolean).join(', ');
    console.log(`${kind}, kept as ${kept}, root ${root}\n  Rust:    ${said(report)}\n  browser: ${said(found)}`);
    if (said(report) === said(found)) console.log(JSON.stringify(report), '\n', JSON.stringify(found));
  }
}
for (const [outcome, kinds] of [...counts].sort()) {
  const sum = [...kinds.values()].reduce((a, b) => a + b, 0);
  console.log(`${String(sum).padStart(6)} ${outcome}: ${[...kinds].map(([kind, count]) => `${count} ${kind}`).join('; ')}`);
}
console.log(`${total} files, ${wrong} of which the two verifiers say something else`);
if (total < Number(least)) console.log(`there should be at least ${least}`);
process.exitCode = wrong > 0 || total < Number(least) ? 1 : 0;

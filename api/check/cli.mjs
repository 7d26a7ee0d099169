#!/usr/bin/env node
// The check on the command line: `node cli.mjs FILE --root THUMBPRINT [--json]`.
//
// Exit code: 0 it holds, 1 it does not hold, 2 it cannot be read, or is not understood, or cannot be checked here.

import { readFile } from 'node:fs/promises';
import { parseArgs } from 'node:util';
import { isThumbprint } from './bytes.mjs';
import { checkPiece, exitCode, say } from './check.mjs';

const USAGE = `Check a piece's proof file against the root key that you trust.

  node cli.mjs TW-0007-65.proof.json --root THUMBPRINT [--json]

The thumbprint stands on the workshop's certificates. Take it from there, not from whoever gave you the file.
Exit code: 0 it holds, 1 it does not hold, 2 it cannot be read.`;

/** Where a thumbprint begins with a hyphen, it is no option. */
function joined(words) {
  const at = words.indexOf('--root');
  if (at < 0 || at + 1 === words.length) return words;
  return [...words.slice(0, at), `--root=${words[at + 1]}`, ...words.slice(at + 2)];
}

async function main() {
  const options = { root: { type: 'string' }, json: { type: 'boolean' }, help: { type: 'boolean', short: 'h' } };
  const { values, positionals } = parseArgs({ args: joined(process.argv.slice(2)), options, allowPositionals: true });
  if (values.help) {
    console.log(USAGE);
    return 0;
  }
  if (positionals.length !== 1 || values.root === undefined) throw new Error(USAGE);
  if (!isThumbprint(values.root)) {
    throw new Error('a root thumbprint has 43 characters A-Z a-z 0-9 - _ (RFC 7638); compare it with the certificate');
  }
  const report = await checkPiece(await readFile(positionals[0]), { root: values.root });
  console.log(values.json ? JSON.stringify(report, null, 2) : say(report));
  return exitCode(report);
}

main().then(
  (code) => {
    process.exitCode = code;
  },
  (error) => {
    console.error(error.message);
    process.exitCode = 2;
  },
);

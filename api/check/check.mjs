// The check of one piece's proof file, from the root thumbprint down to the grams.
//
// It is a second verifier, written apart from the one in Rust on purpose and held to it: `scripts/agree` gives both the same
// thousands of files, and steps, findings and facts must be the same. What is trusted is the root thumbprint that the reader
// brings; it must not come from the file, nor from whoever gave the file. A file cannot show that nothing came later.
//
// These modules need no build step and no other package: a browser, or Node from version 18 on, runs them as they are.

import { readSerial, readUuid } from './amounts.mjs';
import { fromUtf8 } from './bytes.mjs';
import { certificate } from './certificate.mjs';
import { Claims, serial } from './claims.mjs';
import { Checker, CannotCheck } from './ed25519.mjs';
import { edition } from './edition.mjs';
import { Evidence, NotUnderstood, Unreadable } from './evidence.mjs';
import { factsOf, noFacts } from './facts.mjs';
import { Fails, must } from './fails.mjs';
import { refuse } from './json.mjs';
import { follow } from './life.mjs';
import { lineageOf } from './lineage.mjs';
import { metal } from './melts.mjs';
import { office } from './office.mjs';
import { weight } from './weight.mjs';

export { CannotCheck };

/** How long a proof file may be, bytes. */
export const FILE_BYTES_MAX = 2_000_000;

/** What a proof file can never show; to be shown beside every conclusion. */
export const LIMIT =
  'This is true as of that size of the log. A file cannot show that nothing came later - a sale, a theft, a revoked key: ' +
  'ask the server what came after, or let an auditor read the log. And it speaks of the record, not of the object in your ' +
  'hand: a copy can carry a real number.';

/** The steps in their order, and what each checks in plain words. */
export const STEPS = {
  keys: 'The keys descend from the root you trust',
  checkpoint: 'The log signed its size and root',
  inclusion: 'Every entry stands in that log',
  signatures: 'Every entry is signed by a key valid at its place',
  chain: 'No entry of the piece is missing in between',
  ancestry: 'The file holds just the entries behind the piece',
  serial: 'The serial belongs to the piece',
  life: 'What happened to the piece could happen, one thing after another',
  metal: 'Every melt adds up, and what one gives the next takes',
  weight: 'The weighings and gradings follow from scale, check and limits',
  office: 'What went to the assay office came back or is accounted for',
  edition: 'The series counts the piece as it was',
  certificate: 'The certificate states no more than the record supports',
};

const MEMBERS = ['v', 'origin', 'serial', 'piece', 'traced', 'proofs', 'policy'];
const SURROGATE = /\p{Surrogate}/u;

/** Reads a proof file, whose bytes are canonical: the members in order, no white space, one line feed. Throws `Unreadable`. */
export function readFile(bytes) {
  const unreadable = (why) => {
    throw new Unreadable(why);
  };
  if (bytes.length > FILE_BYTES_MAX) unreadable(`it is longer than ${FILE_BYTES_MAX} bytes`);
  const text = fromUtf8(bytes) ?? unreadable('it is no proof file: it is not UTF-8 text');
  let file;
  try {
    file = JSON.parse(text);
    const proofs = Array.isArray(file.proofs) ? file.proofs : [null];
    const texts = [file.origin, file.serial, file.piece, file.traced, file.policy, ...proofs];
    // UTF-8 spells no half a character; an escape can.
    const escapes = text.includes('\\u');
    const isText = (value) => typeof value === 'string' && !(escapes && SURROGATE.test(value));
    if (!texts.every(isText)) refuse('a member is missing or no text');
    readSerial(file.serial);
    readUuid(file.piece);
  } catch (error) {
    unreadable(`it is no proof file: ${error.message}`);
  }
  if (file.v !== 1) unreadable(`it is of version ${file.v}, this program reads version 1`);
  const written = `${JSON.stringify(Object.fromEntries(MEMBERS.map((name) => [name, file[name]])))}\n`;
  const known = Object.keys(file).length === MEMBERS.length && readUuid(file.piece) === file.piece;
  if (!known || written !== text) unreadable('its bytes are not in the canonical form: it was altered or re-saved');
  return file;
}

/** One check under way: its steps so far, and whom it tells of each. */
class Check {
  steps = [];
  facts = noFacts();
  /** Kept for whoever goes on from here: the file, its entries, keys and checkpoint. */
  found = {};

  constructor(onStep) {
    this.onStep = onStep;
  }

  async step(name, find) {
    const told = (holds, found) => {
      const step = { name, checked: STEPS[name], holds, found };
      this.steps.push(step);
      this.onStep(step);
    };
    try {
      const [found, value] = await find();
      told(true, found);
      return value;
    } catch (error) {
      if (error instanceof Fails) {
        told(false, error.message);
        error.step = name;
      }
      throw error;
    }
  }

  async run(bytes, root, checker) {
    const file = readFile(bytes);
    this.facts = noFacts(file.serial);
    const evidence = new Evidence(file, checker);
    await evidence.hashed();
    const keys = await this.step('keys', async () => [`root ${root}`, await evidence.keys(root, checker)]);
    const checkpoint = await this.step('checkpoint', async () => {
      const opened = await evidence.checkpoint(file.origin, keys, checker);
      return [`${opened.origin} at size ${opened.size}`, opened];
    });
    this.found = { file, evidence, keys, checkpoint };
    await this.entries(checker);
    const lineage = await this.step('ancestry', () => follows(file, evidence));
    await this.claims(new Claims(file, evidence, lineage));
    return checkpoint.size;
  }

  /** That every entry stands in the log, is signed, and that none of the piece's own is missing. */
  async entries(checker) {
    const { file, evidence, keys, checkpoint } = this.found;
    await this.step('inclusion', () => {
      evidence.included(checkpoint);
      return [`${evidence.entries.size} entries`];
    });
    await this.step('signatures', async () => {
      await evidence.signed(file.origin, keys, checker);
      return ['all of them'];
    });
    await this.step('chain', () => {
      evidence.corrected();
      const count = evidence.unbroken(file.piece);
      must(count > 0, 'the file holds no entry of the piece');
      return [`${count} entries, each naming the one before`];
    });
  }

  /** That what the entries claim holds. */
  async claims(claims) {
    await this.step('serial', () => [serial(claims)]);
    const told = await this.step('life', () => {
      const followed = follow(claims);
      return [`last said: ${followed.life.state}`, followed];
    });
    await this.step('metal', () => [metal(claims)]);
    await this.step('weight', () => [weight(claims)]);
    await this.step('office', () => [office(claims)]);
    await this.step('edition', () => [edition(claims, told)]);
    await this.step('certificate', () => [certificate(claims, told)]);
    this.facts = factsOf(claims, this.found.keys, told);
  }
}

/** That the file holds what is behind the piece, and nothing else. */
function follows(file, evidence) {
  const lineage = lineageOf(file.piece, evidence);
  const { indexes } = lineage;
  const same = indexes.size === evidence.entries.size && [...indexes].every((index) => evidence.entries.has(index));
  must(same, 'it holds entries that are not behind the piece');
  must(lineage.traced === file.traced, `it says ${file.traced} is traced, the entries trace ${lineage.traced}`);
  return [`melts followed: ${lineage.melts.size}, traced ${lineage.traced}`, lineage];
}

/**
 * Checks a proof file against the root thumbprint that the reader trusts. Gives the report
 * `{ steps: [{ name, checked, holds, found }], conclusion, size | step, why | why | what, facts }`, where `conclusion` is `holds`,
 * `does_not_hold`, `unreadable` or `not_understood`. `onStep` is told of each step when it is made.
 *
 * Throws `CannotCheck` where the platform cannot check Ed25519 signatures: that says nothing of the record.
 */
export async function checkPiece(bytes, { root, onStep = () => {} }) {
  return (await checkDeeply(bytes, { root, onStep })).report;
}

/** As `checkPiece`; beside the report stands what was found, for whoever goes on from there. */
export async function checkDeeply(bytes, { root, onStep = () => {} }) {
  const checker = await Checker.ready();
  const check = new Check(onStep);
  let outcome;
  try {
    outcome = { conclusion: 'holds', size: Number(await check.run(bytes, root, checker)) };
  } catch (error) {
    outcome = concluded(error);
  }
  return { report: { steps: check.steps, ...outcome, facts: check.facts }, found: check.found, checker };
}

function concluded(error) {
  if (error instanceof Unreadable) return { conclusion: 'unreadable', why: error.message };
  if (error instanceof NotUnderstood) return { conclusion: 'not_understood', what: error.message };
  if (error instanceof Fails) return { conclusion: 'does_not_hold', step: error.step, why: error.message };
  throw error;
}

/** 0 it holds, 1 it does not hold, 2 it cannot be read or is not understood. */
export function exitCode({ conclusion }) {
  return { holds: 0, does_not_hold: 1 }[conclusion] ?? 2;
}

/** The report in words. */
export function say(report) {
  const lines = report.steps.map(({ holds, checked, found }) => `${holds ? 'holds ' : 'FAILS '} ${checked}: ${found}`);
  return `${[...lines, '', sayConclusion(report)].join('\n')}\n`;
}

/** What it comes to, in words. */
export function sayConclusion({ conclusion, size, step, why, what, facts }) {
  switch (conclusion) {
    case 'holds':
      return `The record of ${facts.serial} holds, as of size ${size}.\n${sayLast(facts)}\n${LIMIT}`;
    case 'does_not_hold':
      return `The record does not hold (${step}): ${why}`;
    case 'unreadable':
      return `The file cannot be read: ${why}`;
    default:
      return `Not understood by this version: ${what}. It is neither confirmed nor denied.`;
  }
}

/** What was last said of the piece, in one line, and that nothing later is known. */
export function sayLast(facts) {
  const before = facts.before === null ? '' : `; before that it was ${facts.before}`;
  const closed = facts.edition_closed ? '; its edition is closed' : '';
  const burned = facts.number_burned ? ', and its number was burned' : '';
  const said = `Last said of the piece: ${facts.state} - ${facts.place}${before}${closed}${burned}`;
  return `${said}. Nothing later is known from this file.`;
}

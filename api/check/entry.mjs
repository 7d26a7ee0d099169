// Reading an entry strictly: a compact JWS (RFC 7515) with one header, one payload spelling, nothing unknown, nothing twice.
//
// It judges form alone. Signatures, keys, and whether events may follow one another are asked elsewhere. Throws `Refused`.

import { fromBase64url, fromUtf8, isThumbprint, textFromBase64url } from './bytes.mjs';
import { digestSlots, isAboutKeys, isKnown, readEvent, subjects, writeTold } from './events.mjs';
import { Members, holdStrict, readJson, refuse, writeText } from './json.mjs';
import { i64, optional, struct, text, uuid } from './shapes.mjs';

const ENTRY_BYTES_MAX = 40_000;
/** The last second of the year 9999. */
const TIME_MAX = 253_402_300_799n;
const HEADER = /^\{"alg":"Ed25519","typ":"pourbook-entry\+sd-jwt","kid":"([^"]*)"\}$/;

const hash = {
  read: (value) => (typeof value === 'string' && isThumbprint(value) ? value : refuse('want 43 characters of base64url')),
  write: writeText,
};

const prev = {
  read: (value) => {
    if (!(value instanceof Members)) refuse('prev is an object');
    const chains = new Map();
    for (const [name, leaf] of value.list) {
      const subject = uuid.read(name);
      if (chains.has(subject)) refuse('a chain stands twice in prev');
      chains.set(subject, leaf === null ? null : hash.read(leaf));
    }
    return new Map([...chains].sort(([a], [b]) => (a < b ? -1 : 1)));
  },
  write: (chains) =>
    `{${[...chains].map(([subject, leaf]) => `${writeText(subject)}:${leaf === null ? 'null' : hash.write(leaf)}`).join(',')}}`,
};

const events = {
  read: (value) => (Array.isArray(value) ? value.map(readRecorded) : refuse('events is a list')),
  write: (recorded) => `[${recorded.map(writeRecorded).join(',')}]`,
};

const PAYLOAD = struct({
  iss: text, jti: uuid, iat: i64, by: uuid, at: optional(i64), keys: optional(hash), events, prev, _sd_alg: optional(text),
});

/** An event as it stands in an entry: `event` is undefined where kind or version are not known here. */
function readRecorded(value) {
  if (!(value instanceof Members)) refuse('want an event');
  const [[name, kind] = [], [version, v] = [], ...rest] = value.list;
  if (name !== 'kind' || version !== 'v') refuse('an event begins with kind and v');
  if (typeof kind !== 'string' || kind.length > 64 || !/^[a-z_]+\.[a-z_]+$/.test(kind)) {
    refuse('a kind is subject.verb in small letters');
  }
  if (typeof v !== 'bigint' || v < 1n) refuse('a version is at least 1');
  const members = rest.filter((pair) => pair[0] !== '_sd');
  if (members.length < rest.length - 1) refuse('_sd stands twice');
  const sd = members.length < rest.length ? readDigests(rest.find((pair) => pair[0] === '_sd')[1]) : [];
  if (v !== 1n || !isKnown(kind)) {
    holdStrict(new Members(members));
    return { kind, v, sd, event: undefined };
  }
  if (sd.length !== digestSlots(kind)) refuse(`${kind} has ${digestSlots(kind)} digests in _sd, not ${sd.length}`);
  return { kind, v, sd, event: readEvent(kind, members) };
}

/** Sorted by their text, none twice. */
function readDigests(value) {
  if (!Array.isArray(value) || value.length === 0) refuse('_sd without a digest is left out');
  const digests = value.map(hash.read);
  if (!digests.every((digest, at) => at === 0 || digests[at - 1] < digest)) refuse('the digests in _sd are sorted, none twice');
  return digests;
}

function writeRecorded({ event, sd }) {
  return writeTold(event, sd.length === 0 ? '' : `,"_sd":[${sd.map(hash.write).join(',')}]`);
}

function holdValues(payload) {
  if (!/^[!-*,-~]{1,255}$/.test(payload.iss)) refuse('iss is no origin');
  for (const time of [payload.iat, payload.at ?? 0n]) {
    if (time < 0n || time > TIME_MAX) refuse('a time is outside the years 1970 to 9999');
  }
  if (payload.events.length === 0 || payload.events.length > 65_535) refuse('an entry has at least one event');
  const digests = payload.events.flatMap((recorded) => recorded.sd);
  if (new Set(digests).size !== digests.length) refuse('a digest stands twice in the entry');
  if (payload._sd_alg !== (digests.length > 0 ? 'sha-256' : undefined)) refuse('_sd_alg is sha-256 if an event has _sd');
}

/** `prev` names exactly the chains that the events move; an erasure and a correction move others too. */
function holdChains(payload) {
  const told = payload.events.map((recorded) => recorded.event);
  if (told.some((event) => event === undefined || ['field.erased', 'entry.corrected'].includes(event.kind))) return;
  const moved = new Set(told.flatMap(subjects));
  if (moved.size !== payload.prev.size || [...moved].some((subject) => !payload.prev.has(subject))) {
    refuse('prev does not name exactly the chains that the events move');
  }
}

function readHeader(part) {
  const kid = HEADER.exec(textFromBase64url(part) ?? '')?.[1];
  return kid !== undefined && isThumbprint(kid) ? kid : refuse('the header is not that of an entry');
}

/** Reads an entry from its bytes. */
export function readEntry(bytes) {
  const entry = fromUtf8(bytes) ?? refuse('it is not text');
  if (bytes.length > ENTRY_BYTES_MAX) refuse(`an entry has at most ${ENTRY_BYTES_MAX} bytes`);
  const parts = entry.split('.');
  if (parts.length !== 3) refuse('it is not three parts with points between them');
  const kid = readHeader(parts[0]);
  const signature = fromBase64url(parts[2]);
  if (signature === null || signature.length !== 64) refuse('the signature is not the base64url of 64 bytes');
  const json = textFromBase64url(parts[1]);
  if (json === null) refuse('the payload is not base64url of UTF-8');
  const payload = PAYLOAD.read(readJson(json));
  holdValues(payload);
  holdChains(payload);
  const isUnderstood = payload.events.every((recorded) => recorded.event !== undefined);
  if (isUnderstood && PAYLOAD.write(payload) !== json) refuse('the payload is spelled another way than an entry is');
  const told = payload.events.flatMap((recorded) => recorded.event ?? []);
  return {
    kid,
    payload,
    signature,
    signed: bytes.subarray(0, parts[0].length + 1 + parts[1].length),
    events: told,
    unknown: payload.events.find((recorded) => recorded.event === undefined),
    isAboutKeys: told.some(isAboutKeys),
  };
}

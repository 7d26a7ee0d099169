"""The entries of a log, read from its segment files as their format page describes them; nothing of Pourbook is called."""

import base64
import json
import pathlib
import struct

MAGIC = b"\xffPBGROUP"
HEAD_BYTES = 40


def decoded(text):
    return json.loads(base64.urlsafe_b64decode(text + b"=" * (-len(text) % 4)))


def payloads(book):
    """The payload of every entry in the folder of a book, in log order."""
    found = []
    for segment in sorted((pathlib.Path(book) / "log").glob("*.entries")):
        found.extend(payloads_of(segment.read_bytes()))
    return found


def payloads_of(segment):
    at = 0
    while segment[at : at + 8] == MAGIC:
        _version, count, _first, length = struct.unpack_from("<IIQI", segment, at + 8)
        at += HEAD_BYTES
        body = at
        for _ in range(count):
            (size,) = struct.unpack_from("<I", segment, body)
            entry = segment[body + 4 : body + 4 + size]
            body += 4 + size
            yield decoded(entry.split(b".")[1])
        at += length


def said(entries):
    """What these entries say: of one that a later correction names, what the last correction lets it say."""
    events = [entry["events"] for entry in entries]
    for entry in entries:
        for event in entry["events"]:
            if event["kind"] == "entry.corrected":
                for restated in event["entries"]:
                    events[restated["index"]] = restated["events"]
    return events

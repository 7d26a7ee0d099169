"""Asks the calculators of the built program: one process of `pourbook reckon`, one line of JSON for each question."""

import json
import os
import pathlib
import subprocess

ROOT = pathlib.Path(__file__).resolve().parents[3]


def program():
    """The built program: named by POURBOOK, else what cargo builds now."""
    named = os.environ.get("POURBOOK")
    if named:
        return named
    target = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))
    subprocess.run(["cargo", "build", "--locked", "--quiet", "--bin", "pourbook"], cwd=ROOT, check=True)
    return str(target / "debug" / "pourbook")


def answers(questions):
    """What each question is answered, in order."""
    lines = "".join(json.dumps(question) + "\n" for question in questions)
    told = subprocess.run([program(), "reckon"], input=lines, capture_output=True, text=True, check=True).stdout
    told = [json.loads(line) for line in told.splitlines()]
    assert len(told) == len(questions), "one answer for one line"
    return told

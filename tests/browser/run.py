"""Walks the buyer's page in a real browser: every state, the check, the lies of a server, without scripts too.

    run.py PROGRAM SHOTS [--only PART]     parts: states walk lies metal
"""

import argparse
import tempfile
import urllib.error
import urllib.request
from pathlib import Path

import buyer
import metal_pages
import stages
import tables
from book import Book
from screen import Screen


def ask(book, path):
    """What a book serves at a path; None where it refuses."""
    try:
        with urllib.request.urlopen(book.url + path) as reply:
            return reply.read()
    except urllib.error.HTTPError:
        return None


def main():
    """Makes the books, walks the parts, and fails if anything was found."""
    asked = argparse.ArgumentParser()
    asked.add_argument("program")
    asked.add_argument("shots")
    asked.add_argument("--only", choices=["states", "walk", "lies", "metal"])
    asked = asked.parse_args()
    with tempfile.TemporaryDirectory(prefix="pourbook-browser-") as folder, Screen(asked.shots) as screen:
        if asked.only in (None, "metal"):
            metal_pages.of_the_demo(screen, asked.program, folder)
        book = Book(asked.program, Path(folder) / "book").found().serve()
        try:
            serials, pieces = stages.make(book)
            if asked.only in (None, "states"):
                buyer.states(screen, book, serials)
            if asked.only in (None, "walk"):
                buyer.walk(screen, book, serials, stages.codes(book, pieces))
            if asked.only in (None, "lies"):
                tables.lies(screen, book, serials, pieces, Path(folder), ask)
        finally:
            book.stop()
        for fault in screen.faults:
            print(f"FAULT {fault}")
        raise SystemExit(1 if screen.faults else 0)


main()

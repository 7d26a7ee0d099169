"""Walks the workshop's own pages in a real browser: signing in, forms, a piece, lists, home, and what others change meanwhile.

    workshop.py PROGRAM SHOTS
"""

import argparse
import json
import os
import tempfile
import urllib.request
import uuid
from pathlib import Path

from axe_playwright_python.sync_playwright import Axe

import screen as screens
import stages
from book import Book
from screen import Screen

screens.WIDTHS["phone"] = (390, 844)
PAGES = ["/home", "/lots/new", "/lists", "/pieces", "/pieces?state=certified", "/lots", "/melts", "/series",
         "/consignments", "/orders", "/sales", "/residues", "/certificates", "/spots", "/quotes", "/charges", "/stocktakes"]


class Shop:
    """A browser that is signed in."""

    def __init__(self, screen, book, width="desk", scripts=True, dark=False):
        self.screen, self.book, self.width, self.scripts = screen, book, width, scripts
        self.context = screen.context(width, scripts, dark)
        self.page = self.context.new_page()
        self.page.on("pageerror", lambda error: screen.fault(width, f"script error: {error}"))
        self.page.on("console", lambda line: line.type == "error" and "Failed to load resource" not in line.text
                     and screen.fault(width, f"console: {line.text}"))

    def go(self, path):
        """Opens a path."""
        self.page.goto(self.book.url + path, wait_until="load")
        return self.page

    def sign_in(self, next_path="/home"):
        """Signs in by key strokes alone."""
        self.go(next_path)
        self.page.keyboard.press("Tab")  # the skip link
        self.page.keyboard.press("Tab")
        self.screen.must(self.page.evaluate("document.activeElement.id") == "token", "sign-in", "the token is not the second stop")
        self.page.keyboard.type(self.book.token)
        self.page.keyboard.press("Enter")
        self.page.wait_for_url(lambda url: "/sign-in" not in url)
        return self

    def look(self, name):
        """A screenshot; nothing wider than the screen, and no fault by axe-core."""
        wide = self.page.evaluate("document.documentElement.scrollWidth")
        self.screen.must(wide <= screens.WIDTHS[self.width][0], name, f"is {wide} pixels wide at {self.width}")
        self.page.screenshot(path=self.screen.shots / f"{name}-{self.width}.png", full_page=True)
        if not self.scripts:
            return  # axe-core is a script itself
        found = Axe().run(self.page, options=screens.RULES).response["violations"]
        for fault in found:
            nodes = [node["html"][:140] for node in fault["nodes"][:3]]
            self.screen.fault(f"{name} at {self.width}", f"axe: {fault['id']}: {nodes}")


def pages(screen, book, serials):
    """Every page on a telephone; with SLOW=1 on a dark desk too."""
    for width, dark in (("phone", False), ("desk", True))[: 2 if os.environ.get("SLOW") else 1]:
        shop = Shop(screen, book, width, dark=dark)
        shop.go("/home")
        shop.look("sign-in")
        shop.sign_in("/home")
        for path in PAGES + [f"/pieces/{serial}" for serial in serials]:
            shop.go(path)
            shop.look("workshop" + path.replace("/", "-").replace("?", "-").replace("=", "-"))
        shop.context.close()


def forms(screen, book):
    """A form by key strokes: refused in place, sent again, sent twice, and sent when the session is over."""
    shop = Shop(screen, book, scripts=False).sign_in("/lots/new")
    page = shop.page
    lots = lambda: len(book.ask("/v1/lots?limit=200")["items"])  # noqa: E731
    before = lots()
    fill = {"#f-fineness": "999,9", "#f-mass": "250,005", "#f-seller": "Pellworth"}
    page.select_option("#f-metal", "silver")
    page.select_option("#f-basis", "declared")
    if page.locator("#f-session option").count() > 1:
        page.select_option("#f-session", index=1)
    for field, text in fill.items():
        page.fill(field, text)
    page.press("#f-seller", "Enter")
    page.wait_for_selector(".notice.wrong")
    shop.look("workshop-form-refused")
    screen.must(page.input_value("#f-seller") == "Pellworth", "form", "what was typed is lost")
    screen.must(page.locator("#f-mass-fault").count() == 1, "form", "the refusal does not stand beside its field")
    screen.must(page.get_attribute("#f-mass", "aria-describedby").endswith("f-mass-fault"), "form", "and is not said with it")
    page.fill("#f-mass", "250,00")
    # The session ends in the middle.
    shop.context.clear_cookies()
    page.press("#f-mass", "Enter")
    page.wait_for_selector("#token")
    shop.look("workshop-signed-out")
    page.fill("#token", book.token)
    page.press("#token", "Enter")
    page.wait_for_selector("#f-mass")
    screen.must(page.input_value("#f-mass") == "250,00", "form", "what was typed is lost when the session ends")
    screen.must(lots() == before, "form", "something was recorded before it was sent")
    page.dblclick("button:has-text('Record the lot')")
    page.wait_for_selector(".done")
    shop.look("workshop-recorded")
    screen.must(lots() == before + 1, "form", f"{lots() - before} lots were recorded by a double tap")
    shop.context.close()


def changes(screen, book):
    """What somebody else records appears without a reload; a page with something typed on it is left alone."""
    shop = Shop(screen, book).sign_in("/lots")
    typing = Shop(screen, book).sign_in("/lots/new")
    typing.page.fill("#f-mass", "12.34")
    rows = shop.page.locator("tbody tr").count()
    book.post("/v1/lots", dict(book.lot, mass="111.00"))
    shop.page.wait_for_function("rows => document.querySelectorAll('tbody tr').length > rows", arg=rows, timeout=20_000)
    typing.page.wait_for_selector("#changed:not([hidden])", timeout=20_000)
    shop.look("workshop-changed")
    screen.must(typing.page.input_value("#f-mass") == "12.34", "changes", "what was typed was overwritten")
    for each in (shop, typing):
        each.context.close()


class Told(Book):
    """A book with a session that stays open, and its commands as JSON."""

    def ask(self, path):
        """What the API answers."""
        asked = urllib.request.Request(self.url + path, headers={"Authorization": f"Bearer {self.token}"})
        with urllib.request.urlopen(asked) as reply:
            return json.load(reply)

    def post(self, path, body):
        """A command that must be recorded; what the API answers."""
        headers = {"Authorization": f"Bearer {self.token}", "Idempotency-Key": str(uuid.uuid4()),
                   "Content-Type": "application/json"}
        asked = urllib.request.Request(self.url + path, json.dumps(body).encode(), headers, method="POST")
        with urllib.request.urlopen(asked) as reply:
            return json.load(reply)

    def prepare(self):
        """A scale in session, and a lot to be received."""
        scale = self.post("/v1/scales", {"class": "II", "e": "0.01", "d": "0.01", "max": "600", "verified": True,
                                         "repeatability": "0.003", "label": "by the door"})
        scale = scale["events"][0]["scale"]
        opened = self.post("/v1/sessions", {"scale": scale, "nominal": "50.00", "reading": "50.00"})
        self.lot = {"metal": "silver", "fineness": "999.9", "basis": "declared", "session": opened["events"][0]["session"],
                    "mass": "100.00"}
        return self


def main():
    """Makes a book, walks its pages, and fails if anything was found."""
    asked = argparse.ArgumentParser()
    asked.add_argument("program")
    asked.add_argument("shots")
    asked = asked.parse_args()
    with tempfile.TemporaryDirectory(prefix="pourbook-workshop-") as folder, Screen(asked.shots) as screen:
        book = Told(asked.program, Path(folder) / "book").found().serve()
        try:
            serials, _ = stages.make(book)
            book.prepare()
            some = [serials[name] for name in ("certified", "superseded", "delivered", "stolen", "remelted") if name in serials]
            pages(screen, book, some)
            forms(screen, book)
            changes(screen, book)
        finally:
            book.stop()
        for fault in screen.faults:
            print(f"FAULT {fault}")
        raise SystemExit(1 if screen.faults else 0)


main()

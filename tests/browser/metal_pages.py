"""The pages about metal, on a telephone and on a desk: signed in, held to the rules of axe-core, looked at, and printed.

    metal_pages.py PROGRAM SHOTS [FOLDER]     FOLDER: a book that is there already; without one the demo is made
"""

import re
import sys
import tempfile
from pathlib import Path

from book import Book
from screen import Screen

PAGES = {
    "metal": "/metal", "metal-silver": "/metal/silver", "metal-gold": "/metal/gold", "metal-losses": "/metal/silver/losses",
    "metal-opened": "/metal/silver/under/melt_loss", "metal-series": "/metal/series/TW", "metal-melt": "/metal/melts/5",
    "metal-stock": "/metal/stock", "metal-earlier": "/metal/silver?at=2026-03-31",
}
# The width of a telephone in the hand, and of a desk.
WIDTHS = {"hand": (390, 844), "desk": (1280, 900)}


def signed_in(screen, book, width, dark=False, scripts=True):
    """A context whose cookie was got by typing the token."""
    wide, high = WIDTHS[width]
    context = screen.browser.new_context(
        viewport={"width": wide, "height": high}, color_scheme="dark" if dark else "light", java_script_enabled=scripts,
        device_scale_factor=1, reduced_motion="reduce")
    page = context.new_page()
    page.goto(f"{book.url}/sign-in")
    page.fill("[name=token]", book.token)
    page.press("[name=token]", "Enter")
    page.wait_for_url(f"{book.url}/home")
    page.close()
    return context


def shown(screen, context, book, name, path, width):
    """One page: it fits, its pictures are of this width and their words at least as large as a hand can read."""
    where = f"{name} at {width}"
    page = context.new_page()
    page.on("console", lambda line: line.type == "error" and screen.fault(where, f"console: {line.text}"))
    answer = page.goto(book.url + path, wait_until="load")
    screen.must(answer.status == 200, where, f"answers {answer.status}")
    wide = page.evaluate("document.documentElement.scrollWidth")
    screen.must(wide <= WIDTHS[width][0], where, f"is {wide} px wide")
    page.screenshot(path=screen.shots / f"{name}.{width}.png", full_page=True)
    for picture in page.query_selector_all("svg.picture"):
        if picture.is_visible():
            words = picture.eval_on_selector_all("text", TEXTS)
            small = [word for word, high in words if high < 12]
            screen.must(not small, where, f"words smaller than 12 px: {small[:3]}")
            out = picture.eval_on_selector_all("text", OUTSIDE)
            screen.must(not out, where, f"words that stand outside of their picture: {out[:3]}")
    return page


# The words of a picture with their height on the screen.
TEXTS = "all => all.map(t => [t.textContent, parseFloat(getComputedStyle(t).fontSize) * t.getScreenCTM().a])"
# Words that reach over the edge of their picture.
OUTSIDE = """all => all.filter(t => { const b = t.getBoundingClientRect(), s = t.ownerSVGElement.getBoundingClientRect();
    return b.left < s.left - 2 || b.right > s.right + 2 || b.top < s.top - 2 || b.bottom > s.bottom + 2; }).map(t => t.textContent)"""


def looked_at(screen, book):
    """Every page at both widths, light and dark."""
    for width in WIDTHS:
        for dark in (False, True):
            context = signed_in(screen, book, width, dark)
            for name, path in PAGES.items():
                if dark and name not in ("metal-silver", "metal-series", "metal-losses", "metal-stock"):
                    continue
                named = f"{name}.dark" if dark else name
                page = shown(screen, context, book, named, path, width)
                screen.axe(page, f"{named} at {width}")
                page.close()
            context.close()


def followed(screen, book):
    """Every link of a picture leads where a link of its table leads, and is no stop for the keyboard of its own."""
    context = signed_in(screen, book, "desk")
    for path in ("/metal/silver", "/metal/silver/losses", "/metal/series/TW", "/metal/melts/5"):
        page = context.new_page()
        page.goto(book.url + path)
        drawn = page.eval_on_selector_all("svg.picture.wide a", "all => all.map(a => [a.getAttribute('href'), a.tabIndex])")
        tables = set(page.eval_on_selector_all("table a", "all => all.map(a => a.getAttribute('href'))"))
        rows = set(page.eval_on_selector_all("tr[id]", "all => all.map(r => '#' + r.id)"))
        screen.must(drawn, path, "no picture leads anywhere")
        for address, stop in drawn:
            screen.must(stop == -1, path, f"{address} is a stop of its own")
            screen.must(address in tables | rows, path, f"{address} is in no table")
        page.close()
    context.close()


def printed(screen, book):
    """On paper: black on white, the wide pictures, nothing of the screen's furniture."""
    context = signed_in(screen, book, "desk", dark=True)
    for name in ("metal-silver", "metal-series", "metal-losses", "metal-stock"):
        page = context.new_page()
        page.goto(book.url + PAGES[name])
        page.emulate_media(media="print")
        screen.must(not page.is_visible("svg.picture.narrow"), name, "prints the narrow picture")
        screen.must(not page.is_visible("nav"), name, "prints the navigation")
        ink, paper = page.evaluate("['color', 'backgroundColor'].map(c => getComputedStyle(document.body)[c])")
        screen.must(re.findall(r"\d+", ink)[:3] == ["0", "0", "0"], name, f"prints in {ink}")
        screen.must(re.findall(r"\d+", paper)[:3] == ["255", "255", "255"], name, f"prints on {paper}")
        page.pdf(path=screen.shots / f"{name}.pdf", format="A4", print_background=True, margin={"top": "15mm", "left": "15mm", "right": "15mm", "bottom": "15mm"})
        page.close()
    context.close()


def walk(screen, book):
    """All of it, of a book that is served."""
    looked_at(screen, book)
    followed(screen, book)
    printed(screen, book)


def served(program, folder, made=True):
    """A book with a token for the office, served: the demo, or what is there already."""
    book = Book(program, folder)
    if made:
        book.run("demo", str(folder))
    book.token = book.run("token", "add", str(folder), "--role", "office", "--name", "tester").split()[0]
    return book.serve()


def of_the_demo(screen, program, folder):
    """The walk through the demo's pages."""
    book = served(program, Path(folder) / "demo")
    try:
        walk(screen, book)
    finally:
        book.stop()


def main():
    """Of the demo, or of a book in a folder."""
    program, shots, *folder = sys.argv[1:]
    with tempfile.TemporaryDirectory(prefix="pourbook-metal-") as made, Screen(shots) as screen:
        if folder:
            book = served(program, Path(folder[0]), made=False)
            try:
                walk(screen, book)
            finally:
                book.stop()
        else:
            of_the_demo(screen, program, made)
        for fault in screen.faults:
            print(f"FAULT {fault}")
        raise SystemExit(1 if screen.faults else 0)


if __name__ == "__main__":
    main()

"""The buyer's page as a buyer meets it: every state of a piece, then one walk from the scan to the certificate's code."""

import re

from screen import PAGE_BYTES_MAX, WIDTHS

# What a page must say of a state, in the notice or the sentence: a word that no other state has to say.
WORDS = {
    "stolen": "Reported stolen", "lost": "Lost on its way", "missing": "Missing", "destroyed": "Destroyed", "remelted": "Melted",
    "refined": "Melted", "kept": "Kept by the assay office", "condemned": "Withdrawn by the workshop", "mis_struck": "Not for sale",
    "archived": "Not for sale", "unmarked": "Without a hallmark", "suspect": "Its weight is in doubt",
}
GRAVE = set(WORDS) - {"unmarked"}


def states(screen, book, serials):
    """Each state at each width, light, and at phone width dark: checked, looked at, and held to the rules of access."""
    for state, serial in serials.items():
        for width in WIDTHS:
            with_scripts(screen, book, state, serial, width)
        dark(screen, book, state, serial)
        without_scripts(screen, book, state, serial)


def with_scripts(screen, book, state, serial, width):
    """The page whose browser checks for itself."""
    where = f"{state} at {width}"
    context = screen.context(width)
    page = screen.open(context, f"{book.url}/p/{serial}#k={book.thumbprint()}", where)
    steps, outcome = screen.checked(page)
    screen.must(outcome == "holds", where, f"the check says {outcome}: {steps}")
    screen.must(steps.get("page") == "true", where, f"the page is not held against the record: {steps}")
    says(screen, page, state, where)
    screen.look(page, state, width)
    screen.axe(page, where)
    context.close()


def dark(screen, book, state, serial):
    """The same in the dark."""
    context = screen.context("phone", dark=True)
    page = screen.open(context, f"{book.url}/p/{serial}", f"{state} in the dark")
    screen.checked(page)
    page.screenshot(path=screen.shots / f"{state}.phone.dark.png", full_page=True)
    screen.axe(page, f"{state} in the dark")
    context.close()


def without_scripts(screen, book, state, serial):
    """The same where nothing but the page itself is run: it must say all that matters, and be small."""
    where = f"{state} without scripts"
    context = screen.context("phone", scripts=False)
    sizes = []
    page = context.new_page()
    page.on("response", lambda reply: sizes.append((reply.url, len(reply.body()))))
    page.goto(f"{book.url}/p/{serial}", wait_until="load")
    says(screen, page, state, where)
    read = [(url, size) for url, size in sizes if "/photographs/" not in url and "/check/" not in url]
    total = sum(size for _, size in read)
    screen.must(total < PAGE_BYTES_MAX, where, f"{total} bytes to read it: {read}")
    page.screenshot(path=screen.shots / f"{state}.phone.plain.png", full_page=True)
    context.close()


def says(screen, page, state, where):
    """The word of the state stands at the head of the page, loud where it must be."""
    word = WORDS.get(state)
    notices = page.query_selector_all(".notice")
    told = [(notice.inner_text(), "grave" in (notice.get_attribute("class") or "")) for notice in notices]
    if word is None:
        loud = [text for text, grave in told if grave]
        screen.must(not loud, where, f"a loud notice without a reason: {loud}")
        return
    found = [grave for text, grave in told if word.lower() in text.lower()]
    screen.must(bool(found), where, f"no notice says {word!r}: {told}")
    screen.must(not found or found[0] == (state in GRAVE), where, f"{word!r} is not as loud as it should be")


def walk(screen, book, serials):
    """Scan, page, check, a weighing that agrees and one that does not, the code of the certificate; with and without scripts."""
    serial = serials["delivered"]
    for scripts in (True, False):
        where = f"the walk {'with' if scripts else 'without'} scripts"
        context = screen.context("phone", scripts=scripts)
        page = screen.open(context, f"{book.url}/P/{serial.upper()}#k={book.thumbprint()}", where)
        screen.must(re.search(re.escape(serial), page.inner_text("h1, .serial")), where, "the scanned address does not lead there")
        context.close()

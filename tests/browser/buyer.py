"""The buyer's page as a buyer meets it: every state of a piece, then one walk from the scan to the certificate's code."""

import os

from lies import altered_certificate
from screen import PAGE_BYTES_MAX, WIDTHS

# What a page must say of a state, in the notice or the sentence: a word that no other state has to say.
WORDS = {
    "stolen": "Reported stolen", "lost": "Lost on its way", "missing": "Missing", "destroyed": "Destroyed", "remelted": "Melted",
    "refined": "Melted", "kept": "Kept by the assay office", "condemned": "Withdrawn by the workshop", "mis_struck": "Not for sale",
    "archived": "Not for sale", "unmarked": "Without a hallmark",
}
GRAVE = set(WORDS) - {"unmarked"}


def states(screen, book, serials):
    """Each state at each width, light, and at phone width dark: checked, looked at, and held to the rules of access."""
    widths = [width for width in WIDTHS if width != "tablet" or os.environ.get("SLOW") == "1"]
    for state, serial in serials.items():
        for width in widths:
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


def walk(screen, book, serials, codes):
    """Scan, page, check, a weighing that agrees and one that does not, the code of the certificate; with and without scripts."""
    for scripts in (True, False):
        where = f"the walk {'with' if scripts else 'without'} scripts"
        context = screen.context("phone", scripts=scripts)
        page = scanned(screen, context, book, serials["delivered"], where)
        if scripts:
            steps, outcome = screen.checked(page)
            screen.must(outcome == "holds", where, f"the check says {outcome}: {steps}")
        weighed(screen, page, where, "50.36", "agrees", "agrees")
        page.goto(f"{book.url}/p/{serials['delivered']}")
        weighed(screen, page, where, "48.90", "disagrees", "do not agree")
        page.goto(f"{book.url}/p/{serials['delivered']}")
        weighed(screen, page, where, "-3", "impossible", "cannot be")
        for name, code, says in (
            ("belongs", codes["delivered"], "belongs to this record"),
            ("another", codes["sold"], "does not belong"),
            ("slip", codes["delivered"][:-1] + ("2" if codes["delivered"][-1] != "2" else "3"), "cannot be read"),
        ):
            page.goto(f"{book.url}/p/{serials['delivered']}")
            page.fill("#certificate-code", code)
            page.click("form[action$='/code'] button")
            shown(screen, page, f"code-{name}", f"{where}: code {name}", says)
        context.close()
    strangers(screen, book, serials)
    dropped(screen, book, serials)


def scanned(screen, context, book, serial, where):
    """The address of the certificate leads to the page, in capitals too."""
    page = screen.open(context, f"{book.url}/P/{serial.upper()}#k={book.thumbprint()}", where)
    screen.must(serial in page.inner_text(".serial"), where, "the scanned address does not lead there")
    return page


def weighed(screen, page, where, mass, name, says):
    """Types what a scale showed and reads the answer."""
    page.fill("#mass", mass)
    page.select_option("#step", "0.01")
    page.click("form[action$='/comparison'] button")
    shown(screen, page, f"weight-{name}", f"{where}: {mass} g", says)


def shown(screen, page, name, where, says):
    """An answer says what it must, fits the screen, and keeps the rules of access where scripts run."""
    text = page.inner_text("main")
    screen.must(says.lower() in text.lower(), where, f"it does not say {says!r}: {text[:300]!r}")
    screen.must("genuine" not in text.replace("cannot say that an object is genuine", ""), where, "it speaks of genuine")
    if where.startswith("the walk with "):
        screen.look(page, name, "phone")
        screen.axe(page, where)


def strangers(screen, book, serials):
    """What is no serial of this book."""
    good = serials["delivered"]
    wrong = good[:-1] + ("1" if good[-1] != "1" else "2")
    for name, typed, status, says in (
        ("never-given", never_given(), 404, "has given it to no piece"),
        ("slip", wrong, 422, "slip"),
        ("no-check-digits", good[:-3], 200, "the last two digits were not typed"),
        ("rubbish", "%F0%9F%94%A8-0001", 422, "serial"),
        ("look-alike", "%D0%85R-0016-60", 422, "serial"),
        ("path", "..%2F..%2Fetc", 422, "serial"),
        ("long", "A" * 5_000, 422, "serial"),
    ):
        context = screen.context("phone")
        page = context.new_page()
        reply = page.goto(f"{book.url}/p/{typed}")
        screen.must(reply.status == status, f"serial {name}", f"status {reply.status}, wanted {status}")
        screen.must(says.lower() in page.inner_text("body").lower(), f"serial {name}", f"does not say {says!r}")
        screen.look(page, f"serial-{name}", "phone")
        screen.axe(page, f"serial {name}")
        context.close()


def never_given():
    """A serial of the right form (ISO/IEC 7064, MOD 97-10 over code and number) that no piece has."""
    digits = "".join(str(int(letter, 36)) for letter in "SR9999")
    return f"SR-9999-{98 - int(digits) * 100 % 97:02}"


def dropped(screen, book, serials):
    """The page for dropped files checks with the network off, and names the step that fails."""
    where = "a dropped file"
    context = screen.context("phone")
    page = screen.open(context, f"{book.url}/check", where)
    page.wait_for_selector("input[type=file]", state="attached")
    whole = page.request.get(f"{book.url}/v1/serials/{serials['delivered']}/proof").body()
    page.wait_for_load_state("networkidle")
    context.set_offline(True)
    for name, bytes_, outcome in (("whole", whole, "holds"), ("cut", whole[:-500], "unreadable"),
                                  ("altered", altered_certificate(whole), "does_not_hold")):
        root = book.thumbprint()
        page.fill("input[name=thumbprint]", " ".join(root[at:at + 4] for at in range(0, 43, 4)))
        page.press("input[name=thumbprint]", "Tab")
        page.set_input_files("input[type=file]", {"name": "proof.json", "mimeType": "application/json", "buffer": bytes_})
        try:
            page.wait_for_selector(f".check-word[data-outcome={outcome}]", timeout=20_000)
        except Exception:
            found = page.get_attribute(".check-word", "data-outcome")
            screen.fault(where, f"{name}: {found}, wanted {outcome}: {page.inner_text('main')[:400]}")
        screen.look(page, f"dropped-{name}", "phone")
    screen.axe(page, where)
    context.close()

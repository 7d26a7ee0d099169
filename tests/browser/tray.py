"""The bench in a real browser: a run from a lot to a closed melt by taps and key strokes, and all that goes wrong beside a scale.

    tray.py PROGRAM SHOTS [--only PART]     parts: words run tray wrong cut answers expired tabs operators tablets others dark plain speed
"""

import argparse
import json
import tempfile
import time
from pathlib import Path

from bench import Bench
from book import Book
from hands import Hands
from line import Line
from load import Load
from screen import Screen

VECTORS = Path(__file__).resolve().parents[1] / "vectors" / "typed.json"


class Shop:
    """A served book with a scale, jars and a series; what the tests begin with."""

    def __init__(self, book):
        self.book, self.bench, self.number = book, Bench(book.wire()), 0
        self.scale = self.bench.make("/v1/scales", {
            "class": "II", "e": "0.01", "d": "0.01", "max": "600", "verified": True, "repeatability": "0.003",
            "label": "Bench scale"}, "scale")[0]
        self.session = self.bench.session(self.scale)
        self.series = self.bench.make("/v1/series", {
            "code": "TH", "kind_of": "edition", "metal": "silver", "fineness": "999", "unit": "g",
            "shapes": [{"shape": "oval", "size": 40}, {"shape": "long_bar", "size": 20}],
            "limits": {"nominal": "50.00", "lower": "50.00", "upper": "51.20"}, "digits": 4, "marking": "exempt",
            "ground": "bullion", "struck": False, "title": "Tarn House"}, "series")[0]
        self.jar = self.bench.make("/v1/jars", {"metal": "silver", "fineness": "999", "residue": "prills"}, "jar")[0]
        # What the mould gave before: six readings, 50.20 to 50.70, so that a slip is known as one.
        weights = [f"50.{20 + 10 * number}" for number in range(6)]
        self.bench.melt(self.session, self.lot(), "490.00", self.series, weights, "187.20")

    def lot(self, mass="500.00"):
        """Metal to draw from."""
        return self.bench.make("/v1/lots", {"metal": "silver", "fineness": "999.5", "basis": "declared",
                                            "session": self.session, "mass": mass}, "lot")[0]

    def melt(self, count=9):
        """An open melt with so many pieces poured; its id, and the pieces by pour number."""
        self.lots = self.lot()
        melt = self.bench.make("/v1/melts", {"metal": "silver", "session": self.session,
                                             "lots": [{"lot": self.lots, "mass": "490.00"}]}, "melt")[0]
        pours = {"pours": [{"series": self.series, "shape": "oval"} for _ in range(count)]}
        events = self.bench.give(f"/v1/melts/{melt}/pours", pours, melt)["events"]
        return melt, {event["pour"]: event["piece"] for event in events}

    def open(self):
        """The scale is in session, whatever the part before left."""
        self.session = self.bench.wire.send("GET", f"/v1/scales/{self.scale}")[1]["session"] or self.bench.session(self.scale)
        status, row = self.bench.wire.send("GET", f"/v1/sessions/{self.session}")
        self.bench.wire.versions[self.session] = row["version"]

    def row(self, piece):
        """A piece as the book has it."""
        return self.bench.wire.send("GET", f"/v1/pieces/{piece}")[1]

    def readings(self, pieces):
        """What the book has of each piece, by pour number."""
        return {pour: [reading["mass"] for reading in self.row(piece)["readings"]] for pour, piece in pieces.items()}


def words(screen, hands):
    """What is typed is read by the browser as by the book; the same file holds both."""
    page = hands.go("/bench")
    found = page.evaluate("""async (cases) => {
        const { digits, doubt, units, grams } = await import('/bench/modules/grams.mjs');
        const typed = cases.typed.map(([text]) => { const read = digits(text); return read.wrong ? `!${read.wrong}` : read.text; });
        const doubts = cases.doubts.flatMap(({ low, near, high, readings }) => readings.map(([text]) => {
            const likely = { low: units(low), near: units(near), high: units(high), round: 500000n };
            const found = doubt(likely, units(text));
            return found && (found.kind === 'tare' ? `tare ${grams(found.tare)}` : found.kind);
        }));
        return { typed, doubts };
    }""", json.loads(VECTORS.read_text()))
    cases = json.loads(VECTORS.read_text())
    for (text, wanted), got in zip(cases["typed"], found["typed"]):
        screen.must(got == wanted, "words", f"{text!r} is read as {got!r}, wanted {wanted!r}")
    wanted = [reading for window in cases["doubts"] for reading in window["readings"]]
    for (text, asked), got in zip(wanted, found["doubts"]):
        screen.must(got == asked, "words", f"{text} is doubted as {got!r}, wanted {asked!r}")


def run(screen, shop, hands):
    """Lot, session, charge, pours, tray, closing of the melt, closing check: nothing but taps and key strokes."""
    lot = shop.lot("300.00")
    shop.bench.close(shop.session)
    page = hands.go("/bench")
    hands.look("board", whole=True)
    page.click("text=Open a session")
    hands.fill(scale=shop.scale, nominal="50", reading="50,00")
    hands.look("session", whole=True)
    hands.send()
    screen.must("Closing check" in page.inner_text("main"), "run", "the session is not open")
    page.click("text=Charge a crucible")
    hands.fill(metal="silver")
    page.fill(f"[name='lots/{lot}/mass']", "210.00")
    hands.until("document.querySelector('[data-blend]').textContent.includes('999.5')")
    hands.look("charge", whole=True)
    hands.send()
    screen.must("Pour melt" in page.inner_text("h1"), "run", f"not charged: {page.inner_text('main')[:300]}")
    poured(screen, hands, page)
    page.click("text=Weigh the tray")
    hands.ready()
    for number, text in enumerate(["50.42", "50,40", "49.40", "51.60"], 1):
        hands.type(text)
        if number > 2:
            screen.must("the mould gives" in hands.text(".says"), "run", f"{text} g is not asked about")
            page.keyboard.press("Enter")
        hands.last({1: "accepted", 2: "accepted", 3: "under", 4: "over"}[number])
    hands.look("tray-done")
    screen.must("tray is weighed" in page.inner_text(".now"), "run", "the tray is not done")
    page.click("text=Close the melt")
    hands.fill(heel="8.10", prills__jar=shop.jar, prills__mass="0.05")
    hands.look("closing", whole=True)
    hands.send()
    screen.must("weighed out" in page.inner_text("h1"), "run", f"not closed: {page.inner_text('main')[:300]}")
    screen.must("0.03 g" in page.inner_text("main"), "run", "210.00 - 201.82 - 8.10 - 0.05 = 0.03 g of loss is not told")
    hands.look("balance", whole=True)
    closing(screen, shop, hands)


def poured(screen, hands, page):
    """One tap a cavity; one is taken back; two taps on the last button write once."""
    hands.ready()
    for _ in range(4):
        page.click(".cavity[data-shape=oval]")
    page.click(".cavity[data-shape=long_bar]")
    screen.must(page.locator(".poured li").count() == 5, "run", "five taps are not five pours")
    page.click("text=Undo the last")
    hands.look("pour")
    hands.targets("pour")
    page.dblclick("text=Write 4 in the book")
    hands.until("document.querySelector('[data-poured] .says').textContent.startsWith('In the book')")
    said = page.inner_text("[data-poured] .says")
    screen.must(said.count("-") == 4, "run", f"four pours are in the book: {said}")


def closing(screen, shop, hands):
    """The closing check fails: what was weighed is listed as suspect."""
    page = hands.go("/bench")
    page.click("text=Closing check")
    hands.fill(nominal="50", reading="50.20")
    hands.send()
    text = page.inner_text("main")
    screen.must("suspect" in text and text.count("weigh again") >= 4, "run", f"suspects are not listed: {text[:400]}")
    hands.look("suspects", whole=True)
    shop.session = shop.bench.session(shop.scale)


def tray(screen, shop, hands):
    """Key strokes counted, a comma, a slip asked once, a tare, a scale that types, corrections."""
    melt, pieces = shop.melt(9)
    page = hands.go(f"/bench/tray?melt={melt}")
    hands.ready()
    page.evaluate("""() => { window.strokes = []; window.taps = 0;
        document.addEventListener('keydown', event => window.strokes.push(event.key), true);
        document.addEventListener('pointerdown', () => { window.taps += 1; }, true); }""")
    hands.look("tray")
    hands.targets("tray")
    texts = ["50.42", "50.51", "50.60", "50.71", "50.38"]
    for text in texts:
        hands.type(text)
        hands.last("accepted")
    strokes = page.evaluate("window.strokes.length")
    wanted = sum(len(text) + 1 for text in texts)
    screen.must(strokes == wanted and page.evaluate("window.taps") == 0, "keys", f"{strokes} strokes, wanted {wanted}")
    print(f"key strokes a piece: {strokes / len(texts)}, taps {page.evaluate('window.taps')}")
    slips(screen, hands, page)
    screen.must(shop.readings(pieces)[list(pieces)[5]] == ["54.42"], "slip", "what was asked and confirmed is not in the book")
    corrected(screen, shop, hands, page, list(pieces)[5], pieces)
    hands.type("N  +  50,44 g")
    hands.last("accepted")
    hands.type("50,46")
    hands.last("accepted")
    # The words of a grade are the same when the page itself says them.
    said = hands.text(".last").split(" ", 1)[1]
    page.reload()
    hands.ready()
    plain = page.request.get(f"{hands.url}/bench/tray?melt={melt}").text()
    screen.must(said.split("\n")[0] in plain, "words", f"the page itself does not say {said!r}")
    screen.must(all(len(found) == 1 for pour, found in list(shop.readings(pieces).items())[:5]), "keys", "a reading is twice")


def slips(screen, hands, page):
    """What is far off is asked about once; what cannot be is named."""
    before = hands.current()
    for typed, says in (("-20.00", "tared"), ("50.4.2", "two separators"), ("50.42 ct", "grams")):
        hands.type(typed)
        told = hands.text(".says")
        screen.must(says in told and hands.current() == before, "slip", f"{typed}: {told!r}")
    hands.type("70.50")
    screen.must("was the dish tared" in hands.text(".says"), "slip", f"a tare is not named: {hands.text('.says')!r}")
    hands.look("slip")
    hands.type("54.42")
    screen.must(hands.current() == before, "slip", "a slip was taken without a question")
    screen.must("Enter takes it" in hands.text(".says"), "slip", "nothing is asked")
    page.keyboard.press("Enter")
    hands.last("over", before)


def corrected(screen, shop, hands, page, pour, pieces):
    """A slip that was taken is corrected by a correction: both stay to be read."""
    page.click(f".strip button:has-text('{pour}')")
    screen.must("corrects that slip" in hands.text(".hint"), "correction", hands.text(".hint"))
    hands.type("50.42")
    words = hands.last("accepted", pour)
    screen.must("50.42 g" in words, "correction", words)
    row = shop.row(pieces[pour])
    screen.must([reading["mass"] for reading in row["readings"]] == ["50.42"], "correction", str(row["readings"]))
    history = shop.bench.wire.send("GET", f"/v1/pieces/{pieces[pour]}/history")[1]["entries"]
    kinds = [event["kind"] for entry in history for event in entry["events"]]
    screen.must("entry.corrected" in kinds, "correction", f"no correction is recorded: {kinds}")


def wrong(screen, shop, hands):
    """A reading that is another piece's is taken back after a question, and goes to the piece that was on the pan."""
    melt, pieces = shop.melt(3)
    page = hands.go(f"/bench/tray?melt={melt}")
    hands.ready()
    first, second, _ = pieces
    hands.type("50.41")
    hands.last("accepted", first)
    page.click(f".strip button:has-text('{first}')")
    page.click("text=It was another piece")
    screen.must("Press once more" in hands.text(".says"), "wrong", f"nothing is asked: {hands.text('.says')!r}")
    screen.must(shop.readings(pieces)[first] == ["50.41"], "wrong", "a reading was taken back without a question")
    hands.look("wrong-piece")
    page.click("text=It was another piece")
    page.wait_for_selector(f".strip [data-state=open]:has-text('{first}')", timeout=15_000)
    page.click(f".strip button:has-text('{second}')")
    hands.type("50.41")
    if "on the pan" in hands.text(".says"):
        page.keyboard.press("Enter")
    hands.last("accepted", second)
    found = list(shop.readings(pieces).values())
    screen.must(found == [[], ["50.41"], []], "wrong", f"the book has {found}")
    page.click(f".strip button:has-text('{first}')")
    hands.type("50.44")
    hands.last("accepted", first)


def cut(screen, shop, hands, line):
    """The line is cut in the middle of a tray, the page loaded anew without it, and it comes back: each reading is there once."""
    melt, pieces = shop.melt(9)
    page = hands.go(f"/bench/tray?melt={melt}")
    hands.ready()
    hands.until("navigator.serviceWorker.controller !== null")
    page.wait_for_selector("html[data-kept]", state="attached")
    # A form on the way there is not kept: its key is good for one sending.
    hands.go("/bench/charge")
    page = hands.go(f"/bench/tray?melt={melt}")
    hands.ready()
    time.sleep(0.5)
    texts = [f"50.{40 + number}" for number in range(9)]
    for text in texts[:3]:
        hands.type(text)
        hands.last("accepted")
    line.cut()
    hands.context.set_offline(True)
    for text in texts[3:6]:
        hands.type(text)
    hands.waiting(3)
    page.wait_for_selector("[data-line][data-state=down]")
    hands.look("cut")
    page.reload()
    hands.ready()
    hands.waiting(3)
    screen.must(hands.current() == list(pieces)[6], "cut", f"goes on at {hands.current()}, wanted {list(pieces)[6]}")
    chips = dict(page.eval_on_selector_all(".strip button", "all => all.map(one => [one.firstChild.textContent, one.dataset.state])"))
    states = dict(zip(pieces, ["accepted"] * 3 + ["waiting"] * 3 + ["open"] * 3))
    wrong = {pour: state for pour, state in chips.items() if states[pour] != state}
    screen.must(len(chips) >= 5 and not wrong, "cut", f"after the reload the tray shows {chips}")
    hands.look("cut-reloaded")
    kept = page.evaluate("""async () => { const urls = []; for (const name of await caches.keys())
        for (const one of await (await caches.open(name)).keys()) urls.push(new URL(one.url).pathname); return urls; }""")
    never = [url for url in kept if url.startswith("/v1") or url == "/bench/charge"]
    screen.must(kept and not never, "cut", f"the worker keeps {never} of {kept}")
    hands.type(texts[6])
    hands.waiting(4)
    line.mend()
    hands.context.set_offline(False)
    hands.waiting(0)
    for text in texts[7:]:
        hands.type(text)
        hands.last("accepted")
    wanted = {pour: [text] for pour, text in zip(pieces, texts)}
    screen.must(shop.readings(pieces) == wanted, "cut", f"the book has {shop.readings(pieces)}")


def answers(screen, shop, hands, line):
    """The book has it but its answer is lost: sent again under the same key it is there once. A bounced Enter sends once."""
    melt, pieces = shop.melt(4)
    page = hands.go(f"/bench/tray?melt={melt}")
    hands.ready()
    # An answer that is lost on a connection that was used before makes the browser itself send again: until it gives up.
    line.swallow = 99
    hands.type("50.41")
    page.wait_for_selector("[data-line][data-state=down]", timeout=30_000)
    line.swallow = 0
    hands.last("accepted", list(pieces)[0])
    hands.waiting(0)
    page.keyboard.type("50.43")
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    hands.type("50.43")
    screen.must("on the pan" in hands.text(".says"), "answers",
                f"the same reading at once goes unasked: {hands.text('.says')!r}, {hands.current()}")
    hands.last("accepted", list(pieces)[1])
    found = list(shop.readings(pieces).values())
    screen.must(found == [["50.41"], ["50.43"], [], []], "answers", f"the book has {found}")
    refusals(screen, shop, hands, page)


def refusals(screen, shop, hands, page):
    """What the book refuses comes back to the piece that it belongs to."""
    melt, pieces = shop.melt(3)
    page = hands.go(f"/bench/tray?melt={melt}")
    hands.ready()
    hands.type("700.00")
    page.keyboard.press("Enter")
    words = hands.last("refused", list(pieces)[0])
    screen.must("more than this scale can weigh" in words and "700.00" in words, "refusal", words)
    hands.look("refused")
    hands.type("50.44")
    hands.type("50.45")
    hands.until("document.querySelectorAll('.strip [data-state=accepted]').length === 2")
    screen.must(hands.current() == list(pieces)[0], "refusal", "the tray does not come back to what was refused")
    hands.type("50.46")
    hands.last("accepted", list(pieces)[0])
    screen.must(list(shop.readings(pieces).values()) == [["50.46"], ["50.44"], ["50.45"]], "refusal", str(shop.readings(pieces)))


def expired(screen, shop, hands):
    """The session ends in the middle: the queue stays, sign-in is asked for, and what was typed goes into the book."""
    melt, pieces = shop.melt(3)
    page = hands.go(f"/bench/tray?melt={melt}")
    hands.ready()
    hands.type("50.41")
    hands.last("accepted")
    hands.context.clear_cookies()
    hands.type("50.43")
    page.wait_for_selector("[data-line][data-state=sign-in]")
    hands.type("50.45")
    hands.waiting(2)
    hands.look("expired")
    page.click("[data-line] a")
    hands.sign_in()
    hands.ready()
    hands.waiting(0)
    screen.must(list(shop.readings(pieces).values()) == [["50.41"], ["50.43"], ["50.45"]], "expired", str(shop.readings(pieces)))
    hands.until("navigator.serviceWorker.controller !== null")
    page.click("form[action='/sign-out'] button")
    page.wait_for_load_state()
    hands.until("async () => (await caches.keys()).length === 0")
    left = page.evaluate("async () => (await navigator.serviceWorker.getRegistrations()).length")
    screen.must(left == 0, "sign-out", "the worker is still there")


def tabs(screen, shop, hands, line):
    """Two tabs of one tablet share one queue; each reading is sent once. The same where there are no locks."""
    for locks in (True, False):
        melt, pieces = shop.melt(4)
        first = hands.page
        if not locks:
            hands.context.add_init_script("Object.defineProperty(navigator, 'locks', { value: undefined })")
        hands.go(f"/bench/tray?melt={melt}")
        hands.ready()
        second = hands.tab()
        second.goto(first.url)
        hands.ready(second)
        screen.must(second.evaluate("navigator.locks !== undefined") == locks, "tabs", "the browser lends locks, or not")
        line.cut()
        line.posts = 0
        hands.type("50.41", second)
        hands.waiting(1, second)
        first.bring_to_front()
        hands.waiting(1, first)
        hands.type("50.43", first)
        hands.waiting(2, first)
        line.delay = 0.3
        line.mend()
        for page in (first, second):
            page.evaluate("dispatchEvent(new Event('online'))")
        hands.waiting(0, first)
        hands.waiting(0, second)
        found = list(shop.readings(pieces).values())
        screen.must(found == [["50.41"], ["50.43"], [], []], "tabs", f"locks {locks}: the book has {found}")
        screen.must(line.posts == 2, "tabs", f"locks {locks}: {line.posts} requests for two readings")
        line.delay = 0
        second.close()


def operators(screen, shop, hands, line):
    """What somebody typed is sent as theirs alone: not by who signs in after them on the same device. The bench role corrects nothing."""
    melt, pieces = shop.melt(3)
    path = f"/bench/tray?melt={melt}"
    page = hands.go(path)
    hands.ready()
    line.cut()
    hands.type("50.41")
    page.wait_for_selector("[data-line][data-state=down]")
    hands.type("50.42")
    hands.waiting(2)
    line.mend()
    hands.context.clear_cookies()
    first, hands.token = hands.token, shop.book.run("token", "add", str(shop.book.folder), "--role", "bench", "--name", "second").split()[0]
    hands.go(path)
    hands.ready()
    hands.until("document.querySelector('[data-line]').textContent.includes('2 more wait')")
    hands.type("50.43")
    hands.last("accepted")
    found = list(shop.readings(pieces).values())
    screen.must(found.count([]) == 2 and ["50.43"] in found, "operators", f"the book has {found}")
    page.click(".strip [data-state=accepted]")
    hands.type("50.44")
    screen.must("Only the office can correct it" in hands.text(".says"), "operators", hands.text(".says"))
    hands.context.clear_cookies()
    hands.token = first
    age(page, 150)
    hands.go(path)
    hands.ready()
    hands.waiting(0)
    done_at(screen, shop, pieces)


def age(page, seconds):
    """Makes what waits older by so much."""
    page.evaluate("""async (seconds) => { const { open } = await import('/bench/modules/keep.mjs'); const kept = await open();
        const all = await kept.all();
        await kept.change(all.map(one => one.key), one => ({ ...one, typed: one.typed - seconds * 1000 })); }""", seconds)


def done_at(screen, shop, pieces):
    """What waited long says when it was done; who typed it stands beside it."""
    wanted = [piece for piece in pieces.values() if [one["mass"] for one in shop.row(piece)["readings"]] == ["50.42"]]
    screen.must(len(wanted) == 1, "operators", f"50.42 g is not in the book once: {shop.readings(pieces)}")
    history = shop.bench.wire.send("GET", f"/v1/pieces/{wanted[0]}/history")[1]["entries"] if wanted else []
    entry = history[-1] if history else {}
    late = entry.get("recorded", 0) - entry.get("at", 0)
    screen.must(140 <= late <= 240, "operators", f"it was done {late} s before it was recorded: {entry}")


def tablets(screen, shop, hands, other):
    """Two tablets on one tray: who comes second is told what the book has."""
    melt, pieces = shop.melt(3)
    for one in (hands, other):
        one.go(f"/bench/tray?melt={melt}")
        one.ready()
    hands.type("50.41")
    hands.last("accepted")
    other.type("50.47")
    words = other.last("refused", list(pieces)[0])
    screen.must("Somebody else was at it" in words and "50.41 g" in words and "50.47 g" in words, "tablets", words)
    other.look("two-tablets")
    other.type("50.43")
    other.until("document.querySelectorAll('.strip [data-state=accepted]').length === 1")
    found = list(shop.readings(pieces).values())
    screen.must(found == [["50.41"], ["50.43"], []], "tablets", f"the book has {found}")


def others(screen, shop, hands):
    """What else goes over a tray: filed pieces with their lemel, the final weighing, strikes, photographs."""
    melt, pieces = shop.melt(3)
    lemel = shop.bench.make("/v1/jars", {"metal": "silver", "fineness": "999", "residue": "lemel"}, "jar")[0]
    for piece, mass in zip(pieces.values(), ("51.40", "50.42", "50.43")):
        shop.bench.weigh(shop.session, "from_mould", [(piece, mass)])
    shop.bench.give(f"/v1/melts/{melt}/closing", {"session": shop.session, "heel": "337.70"}, melt)
    page = hands.go(f"/bench/tray?melt={melt}&jar={lemel}")
    hands.ready()
    screen.must("Acid into water" in page.inner_text("main"), "filed", "no caution where pieces are cleaned")
    hands.type("50.90")
    hands.last("accepted", list(pieces)[0])
    hands.look("filed")
    first = list(pieces.values())[0]
    screen.must(shop.row(first)["filed"] == "0.50", "filed", f"0.50 g of lemel is not told: {shop.row(first)['filed']}")
    shop.bench.give("/v1/serials", {"pieces": [first]})
    serial = shop.bench.serial(first)
    page = hands.go(f"/bench/tray?series={shop.series}")
    hands.ready()
    screen.must(hands.current() == serial, "final", f"{hands.current()} is weighed, not {serial}")
    hands.type("50.89")
    hands.last("accepted", serial)
    struck(screen, shop, hands, melt)
    pictured(screen, shop, hands, first)


def struck(screen, shop, hands, melt):
    """Two pieces under a die: one good, one off centre; a double tap strikes once."""
    series = shop.bench.make("/v1/series", {
        "code": "KX", "kind_of": "edition", "metal": "silver", "fineness": "999", "unit": "g",
        "shapes": [{"shape": "oval", "size": 9}], "limits": {"nominal": "50.00", "lower": "50.00", "upper": "51.20"}, "digits": 4,
        "marking": "exempt", "ground": "bullion", "struck": True, "title": "Kelder"}, "series")[0]
    lot = shop.lot()
    pieces = shop.bench.melt(shop.session, lot, "200.00", series, ["50.40", "50.41"], "99.10")
    die = shop.bench.make("/v1/dies", {"owner": "workshop", "series": series, "label": "the sluice"}, "die")[0]
    page = hands.go(f"/bench/strike?die={die}")
    hands.ready()
    hands.look("strike")
    hands.targets("strike")
    page.dblclick("[data-outcomes] [value=good]")
    hands.until("document.querySelector('.strip [data-state=recorded]') && !document.querySelector('.strip [data-state=waiting]')")
    states = [shop.row(piece)["state"] for piece in pieces]
    screen.must(states.count("struck") >= 1, "strike", f"nothing is struck: {states}")
    if states.count("struck") == 1:
        time.sleep(0.8)
        page.click("[data-outcomes] [value=off_centre]")
        hands.until("document.querySelectorAll('.strip [data-state=recorded]').length === 2")
        states = sorted(shop.row(piece)["state"] for piece in pieces)
        screen.must(states == ["mis_struck", "struck"], "strike", str(states))
    else:
        screen.fault("strike", "a double tap struck two pieces")


def pictured(screen, shop, hands, piece):
    """A picture from the camera goes into the book."""
    page = hands.go(f"/bench/pieces/{piece}/photograph")
    hands.ready()
    hands.look("picture")
    hands.targets("picture")
    picture = page.screenshot(type="jpeg")
    page.set_input_files("[data-side=face]", {"name": "face.jpg", "mimeType": "image/jpeg", "buffer": picture})
    page.wait_for_selector("[data-sent] [data-state=recorded]", timeout=20_000)
    screen.must(len(shop.row(piece)["photographs"]) == 1, "picture", "the photograph is not in the book")
    page.set_input_files("[data-side=face]", {"name": "face.jpg", "mimeType": "image/jpeg", "buffer": picture})
    page.wait_for_selector("[data-sent] [data-state=refused]", timeout=20_000)


def dark(screen, shop, url, token, size):
    """The tray in a dark workshop keeps the rules of access too."""
    melt, _ = shop.melt(5)
    hands = Hands(screen, url, token, size, dark=True, name="dark")
    page = hands.go(f"/bench/tray?melt={melt}")
    hands.ready()
    hands.type("50.42")
    hands.last("accepted")
    hands.type("504.2")
    screen.must("a slipped digit" in hands.text(".says"), "dark", hands.text(".says"))
    hands.look("dark")
    page.goto(f"{url}/bench/melts/{melt}/pours")
    hands.ready()
    hands.look("dark-pour")
    hands.close()


def plain(screen, shop, url, token):
    """Without scripts: a session, one piece on the scale with its question, the end of the melt."""
    shop.bench.close(shop.session)
    hands = Hands(screen, url, token, "phone", scripts=False, name="plain")
    page = hands.go(f"/bench/sessions/new?scale={shop.scale}")
    hands.fill(nominal="50", reading="50.00")
    hands.send()
    page.click("text=Closing check")
    shop.session = page.url.split("/sessions/")[1].split("/")[0]
    melt, pieces = shop.melt(2)
    page.goto(f"{url}/bench/tray?melt={melt}")
    screen.must("Without scripts there is no queue" in page.inner_text("main"), "plain", "it is not said that there is no queue")
    page.click("text=Weigh one piece")
    piece = list(pieces.values())[0]
    page.fill(f"[name='items/{piece}/mass']", "5.042")
    page.click("main form.entry .send button")
    screen.must("the mould gives" in page.inner_text("main"), "plain",
                f"a slip is not asked about: {page.inner_text('main')[:400]}")
    page.fill(f"[name='items/{piece}/mass']", "50,42")
    page.click("main form.entry .send button")
    page.wait_for_load_state()
    screen.must("accepted" in page.inner_text("main"), "plain", f"no grade: {page.inner_text('main')[:400]}")
    page.screenshot(path=screen.shots / "bench-plain.390.png", full_page=True)
    screen.must(shop.readings(pieces)[list(pieces)[0]] == ["50.42"], "plain", str(shop.readings(pieces)))
    hands.close()


def speed(shop, hands):
    """Enter to grade in the browser, alone and while the server is under a load of durable commands."""
    timed(shop, hands, "alone")
    body = {"metal": "silver", "fineness": "999.5", "basis": "declared", "session": shop.session, "mass": "10.00"}
    began = time.monotonic()
    with Load(shop.book.port, shop.book.token, body) as load:
        timed(shop, hands, "under load")
        print(f"the load: {load.sent.value / (time.monotonic() - began):.0f} durable commands a second over 64 connections")


def timed(shop, hands, how):
    """Twelve trays of nine: the 95th of a hundred from Enter to the grade, milliseconds."""
    taken, server = [], []
    for _ in range(12):
        melt, pieces = shop.melt(9)
        page = hands.go(f"/bench/tray?melt={melt}")
        hands.ready()
        page.evaluate("""() => { window.taken = []; let began = 0;
            document.addEventListener('keydown', event => { if (event.key === 'Enter') began = performance.now(); }, true);
            new MutationObserver(() => { const state = document.querySelector('.last').dataset.state;
                if (began && ['accepted', 'under', 'over', 'borderline'].includes(state)) {
                    window.taken.push(performance.now() - began); began = 0; } })
                .observe(document.querySelector('.last'), { attributes: true, childList: true, subtree: true }); }""")
        for number, pour in enumerate(pieces):
            hands.type(f"50.{40 + number}")
            hands.last("accepted", pour)
        taken += page.evaluate("window.taken")
        server += page.evaluate("performance.getEntriesByType('resource').filter(one => one.name.endsWith('/v1/weighings')).map(one => one.duration)")
    taken.sort()
    server.sort()
    p95 = taken[len(taken) * 95 // 100]
    print(f"Enter to grade, {how}: {len(taken)} readings, median {taken[len(taken) // 2]:.1f} ms, p95 {p95:.1f} ms, worst {taken[-1]:.1f} ms;"
          f" of that the request: median {server[len(server) // 2]:.1f} ms, p95 {server[len(server) * 95 // 100]:.1f} ms")


PARTS = ["words", "run", "tray", "wrong", "cut", "answers", "expired", "tabs", "operators", "tablets", "others", "dark", "plain", "speed"]
# Each protection with the part that must fail without it.
WITHOUT = [
    ("one key for one entry", "answers", "queue.mjs", "'Idempotency-Key': entry.key", "'Idempotency-Key': fresh()"),
    ("kept before it is sent", "operators", "keep.mjs", "return new Kept(", "return new InPage("),
    ("one tab sends at a time", "tabs", "queue.mjs", "if (navigator.locks) return navigator.locks.request(NAME, work);", "if (navigator.locks) return work();"),
    ("the lease", "tabs", "keep.mjs", "return false;\n      await done(store.put({", "return true;\n      await done(store.put({"),
    ("bound to the operator", "operators", "queue.mjs", "&& one.by === this.who.operator);\n      if (!entry)", ");\n      if (!entry)"),
    ("when it was done", "operators", "queue.mjs", "if (entry.date) whole.at", "if (false) whole.at"),
    ("a slip is asked about", "tray", "tray.mjs", "if (asked && this.#asked !== about)", "if (false)"),
    ("a taken back piece is open", "wrong", "tray.mjs", "if (entry.back) return", "if (false) return"),
    ("asked once", "tray", "tray.mjs", "if (asked && this.#asked !== about)", "if (asked)"),
    ("a comma is a point", "tray", "grams.mjs", "figure.replace(',', '.')", "figure"),
    ("the same reading at once", "answers", "tray.mjs", "if (read.text === this.#taken.text", "if (false && read.text === this.#taken.text"),
    ("the version", "tablets", "queue.mjs", "version: entry.sees[item.piece]", "version: entry.sees[item.piece] + 1"),
    ("what the book has", "tablets", "tray.mjs", "await this.lookUp();", ""),
    ("a refusal at its piece", "answers", "tray.mjs", "else if (entry.state === 'refused') piece.refused = entry;", ""),
    ("sign-in is asked for", "expired", "queue.mjs", "if (reply.status === 401) return this.#stop('sign-in');", "if (false) return;"),
    ("a second tap writes nothing", "run", "pour.mjs", "key: this.#key,", "key: fresh(),"),
    ("a correction corrects", "tray", "tray.mjs", "piece.mass !== null && !this.#again && !refused;", "false;"),
    ("a double tap strikes once", "others", "strike.mjs", "|| Date.now() - this.struck < BOUNCE", ""),
    ("the office corrects", "operators", "tray.mjs", "if (corrects && this.set.corrects !== 'yes')", "if (false)"),
]


def main():
    """Makes the book, walks the parts, and fails if anything was found."""
    asked = argparse.ArgumentParser()
    asked.add_argument("program")
    asked.add_argument("shots")
    asked.add_argument("--only", choices=PARTS, action="append")
    asked.add_argument("--size", default="tablet", choices=["phone", "tablet", "desk"])
    asked.add_argument("--without", action="store_true", help="takes each protection out and wants its part to fail")
    asked = asked.parse_args()
    with tempfile.TemporaryDirectory(prefix="pourbook-bench-") as folder, Screen(asked.shots) as screen:
        book = Book(asked.program, Path(folder) / "book").found().serve()
        try:
            line = Line(book.port)
            walk(screen, Shop(book), line, book.token, asked)
        finally:
            book.stop()
        for fault in screen.faults:
            print(f"FAULT {fault}")
        raise SystemExit(1 if screen.faults else 0)


def walk(screen, shop, line, token, asked):
    """The parts that are asked for, or each protection left out."""
    if asked.without:
        for name, part, *change in [row for row in WITHOUT if row[1] in (asked.only or PARTS)]:
            before = len(screen.faults)
            one_part(screen, shop, line, token, asked.size, part, change)
            seen, screen.faults = screen.faults[before:], screen.faults[:before]
            screen.must(seen, f"without {name}", f"{part} finds nothing")
            print(f"without {name}: {part} finds {len(seen)}")
        return
    for part in asked.only or PARTS[:-1]:
        one_part(screen, shop, line, token, asked.size, part, None)


def one_part(screen, shop, line, token, size, part, without):
    """One part on a tablet of its own."""
    # What is timed goes straight to the server; the rest over a line that can be cut.
    url = shop.book.url if part == "speed" else line.url
    hands = Hands(screen, url, token, size, name=part, without=without)
    shop.open()
    line.mend()
    parts = {
        "words": lambda: words(screen, hands), "run": lambda: run(screen, shop, hands),
        "tray": lambda: tray(screen, shop, hands), "wrong": lambda: wrong(screen, shop, hands), "cut": lambda: cut(screen, shop, hands, line),
        "answers": lambda: answers(screen, shop, hands, line), "expired": lambda: expired(screen, shop, hands),
        "tabs": lambda: tabs(screen, shop, hands, line), "operators": lambda: operators(screen, shop, hands, line),
        "tablets": lambda: tablets(screen, shop, hands, Hands(screen, line.url, token, "phone", name="other", without=without)),
        "others": lambda: others(screen, shop, hands), "dark": lambda: dark(screen, shop, line.url, token, size),
        "plain": lambda: plain(screen, shop, line.url, token), "speed": lambda: speed(shop, hands),
    }
    try:
        parts[part]()
    except Exception as error:
        screen.fault(part, f"{type(error).__name__}: {str(error)[:500]}")
    hands.close()


if __name__ == "__main__":
    main()

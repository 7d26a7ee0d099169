"""One run of a workshop by clicks and key strokes alone, from an empty book: metal in, melt, tray, grading, strike, consignment,
return, numbers, certificates, sale, parcel, one piece back; corrections on the way. Each page at 390 and 1280 px, held to axe-core.

    shop.py PROGRAM SHOTS
"""

import argparse
import re
import tempfile
from pathlib import Path

from book import Book
from screen import Screen

WIDTHS = {390: 844, 1280: 900}
ADDRESS = 'address = "https://book.brackenfold.example"'
# From the mould: four that fit, one too light, one too heavy.
FROM_MOULD = ["50.40", "50.62", "50.81", "50.33", "49.12", "52.04"]


class Maker:
    """Somebody at the workshop's pages. Whatever is done, is done by clicking what stands there and typing into it."""

    def __init__(self, screen, book):
        self.screen, self.book = screen, book
        self.context = screen.browser.new_context(viewport={"width": 1280, "height": 900}, reduced_motion="reduce",
                                                  accept_downloads=True)
        self.page = self.context.new_page()
        self.shot = 0
        self.page.on("pageerror", lambda error: screen.fault("shop", f"script error: {error}"))
        self.page.on("console", lambda line: line.type == "error" and "Failed to load resource" not in line.text
                     and screen.fault("shop", f"console: {line.text}"))

    def sign_in(self):
        """Comes to the book for the first time: the one address that is typed."""
        self.page.goto(self.book.url + "/home")
        self.look("sign-in")
        self.page.click("#token")
        self.page.keyboard.type(self.book.token)
        self.follow(lambda: self.page.keyboard.press("Enter"))

    def follow(self, act):
        """Does something that leads to another page, and waits until it is there."""
        with self.page.expect_navigation():
            act()

    def click(self, words, within="main"):
        """Clicks the first link or button that says so."""
        found = self.page.locator(f"{within} :is(a, button):has-text('{words}')").first
        self.follow(found.click)

    def go(self, *words):
        """Goes through the navigation: the page, and in the office the second line."""
        self.click(words[0], ".masthead nav")
        for word in words[1:]:
            self.click(word, "nav.second")

    def near(self, thing, words):
        """Clicks what stands beside a thing of a list."""
        ways = f":is(a, button):has-text('{words}')"
        item = self.page.locator(f"main li:has-text('{thing}')", has=self.page.locator(ways)).first
        self.follow(item.locator(ways).first.click)

    def type(self, **fields):
        """Fills fields in by name; `__` stands for a slash."""
        for name, value in fields.items():
            self.put(name.replace("__", "/"), value)

    def put(self, name, value):
        """Fills one field in, as its kind wants it."""
        field = self.page.locator(f"main [name='{name}']").first
        kind = field.evaluate("field => field.type")
        if kind == "select-one":
            options = field.evaluate("field => [...field.options].map(one => [one.value, one.text])")
            fits = [option for option, text in options if value.lower() in (option.lower(), text.lower())
                    or (len(value) >= 2 and value.lower() in text.lower())]
            if not self.screen.must(bool(fits), "shop", f"{name} has no choice {value!r}: {options}"):
                return
            field.focus()
            field.select_option(fits[0])
        elif kind == "checkbox":
            field.set_checked(bool(value))
        elif kind == "datetime-local":
            field.fill(value)
        else:
            field.click()
            self.page.keyboard.press("Control+A")
            self.page.keyboard.type(value)

    def tick(self, *things):
        """Ticks lines by what they are called."""
        for thing in things:
            self.page.locator(f"main label.pick:has-text('{thing}') input").first.check()

    def press(self):
        """Presses the button of the form."""
        self.follow(lambda: self.page.click("main form.entry .send button"))

    def send(self, sure=None):
        """Sends the form. `sure`: words of the question that must be asked, which is answered with yes."""
        self.press()
        if sure:
            asked = self.page.locator(".notice.asks")
            if self.screen.must(asked.count() == 1, "shop", f"nothing is asked where {sure!r} should be: {self.text()[:400]}"):
                self.screen.must(sure in asked.inner_text(), "shop", f"asks {asked.inner_text()!r}, wanted {sure!r}")
                self.follow(asked.locator("button").click)
        said = self.page.locator(".done, .notice.wrong")
        words = said.first.inner_text() if said.count() else ""
        self.screen.must("Recorded" in words, "shop", f"{self.page.url}: not recorded: {self.text()[:600]}")

    def refused(self, says):
        """Sends a form that is wrong: it comes back with what is wrong, and nothing is lost."""
        before = self.page.eval_on_selector_all(
            "main form.entry :is(input:not([type=hidden]), select, textarea)", "all => all.map(one => [one.name, one.value])")
        self.page.evaluate("document.querySelector('main form.entry').noValidate = true")
        self.press()
        self.screen.must(says.lower() in self.text().lower(), "shop", f"does not say {says!r}: {self.text()[:600]}")
        after = self.page.eval_on_selector_all(
            "main form.entry :is(input:not([type=hidden]), select, textarea)", "all => all.map(one => [one.name, one.value])")
        self.screen.must(before == after, "shop", f"typed text is lost: {before} {after}")

    def text(self):
        """What the page says."""
        return self.page.inner_text("main").replace("\xa0", " ")

    def says(self, *words):
        """Notes a fault unless the page says all of these."""
        for word in words:
            self.screen.must(word.lower() in self.text().lower(), "shop", f"{self.page.url} does not say {word!r}: {self.text()[:800]}")

    def look(self, name):
        """Screenshots at both widths; nothing is wider than the screen; axe-core."""
        self.shot += 1
        for wide, high in WIDTHS.items():
            self.page.set_viewport_size({"width": wide, "height": high})
            found = self.page.evaluate("document.documentElement.scrollWidth")
            self.screen.must(found <= wide, f"{name} at {wide}", f"is {found} px wide")
            self.page.screenshot(path=self.screen.shots / f"shop-{self.shot:02}-{name}.{wide}.png", full_page=True)
            self.screen.axe(self.page, f"{name} at {wide}")

    def download(self, words):
        """Clicks what gives a PDF; its first bytes are those of one."""
        with self.page.expect_download() as waited:
            self.page.locator(f"main a:has-text('{words}')").first.click()
        path = waited.value.path()
        self.screen.must(Path(path).read_bytes().startswith(b"%PDF-"), "shop", f"{words} is no PDF")
        return waited.value.suggested_filename


def set_up(maker):
    """Scale, series, die, an order ahead."""
    maker.go("Office", "Set up")
    maker.look("setup-empty")
    maker.click("A scale")
    maker.look("form-scale")
    maker.type(label="Bench scale", d="0,01", e="0.01", max="600", repeatability="0.003", verified="yes")
    maker.type(**{"class": "II"})
    maker.send()
    maker.go("Office", "Series")
    maker.click("Open a series")
    maker.type(code="ST", kind_of="edition", title="Saltlantern", commissioner="The Lantern & Loom Society", metal="silver",
               fineness="999", limits__nominal="50", limits__lower="50.00", limits__upper="49.00", unit="g", marking="required",
               struck="yes", spares_sold="yes")
    maker.put("shapes/1/shape", "oval")
    maker.put("shapes/1/size", "4")
    maker.refused("limits do not enclose")
    maker.look("form-series-refused")
    maker.type(limits__upper="51.20")
    maker.send()
    maker.click("Open a series")
    maker.type(code="GW", kind_of="open", title="Greywater", metal="silver", fineness="958", unit="g", marking="required")
    maker.send()
    maker.look("board-empty")
    maker.go("Office", "Set up")
    maker.click("A die")
    maker.type(label="Lantern and waves", owner="commissioner", series="ST")
    maker.look("form-die")
    maker.send()
    maker.go("Office", "Orders and sales")
    maker.click("Record an order")
    maker.type(series="ST", buyer="The Lantern & Loom Society")
    maker.put("shapes/1/shape", "oval")
    maker.put("shapes/1/count", "1")
    maker.look("form-order")
    maker.send()
    maker.look("order")


def open_session(maker):
    """A check weighing opens the scale."""
    maker.go("Bench")
    maker.click("Open a session")
    maker.type(scale="Bench scale", nominal="50", reading="50,00")
    maker.send()


def close_session(maker, name=None):
    """The closing check holds."""
    maker.go("Bench")
    maker.click("Closing check")
    maker.type(nominal="50", reading="50.00")
    maker.press()
    if name:
        maker.look(name)


def metal_in(maker):
    """A lot, and jars for what falls off."""
    maker.go("Office", "Set up")
    maker.click("Metal received")
    maker.type(metal="silver", fineness="999,9 \u2030", basis="declared", session="Bench scale", mass="500.00", invoiced="500.2",
               seller="Pellworth Metals Counter", document="PMC 1207", price="431.20")
    maker.look("form-lot")
    maker.send()
    for residue in ("prills", "lemel"):
        maker.go("Office", "Set up")
        maker.click("A jar")
        maker.type(residue=residue, metal="silver", fineness="999", label=f"Silver {residue}")
        maker.send()


def readings(maker, texts):
    """Types a tray: each reading and Enter; what the page asks about is taken with a second Enter."""
    maker.page.wait_for_selector("[data-bench][data-ready=yes]", timeout=20_000)
    for text in texts:
        before = maker.page.inner_text(".now")
        maker.page.keyboard.type(text)
        maker.page.keyboard.press("Enter")
        maker.page.wait_for_timeout(300)
        if maker.page.inner_text(".now") == before:
            maker.page.keyboard.press("Enter")
        maker.page.wait_for_selector("[data-line][data-waiting='0']", state="attached", timeout=20_000)


def melted(maker):
    """Charge, pour, tray, end of the melt."""
    maker.go("Bench")
    maker.look("bench")
    maker.click("Charge a crucible")
    maker.type(metal="silver")
    lot = maker.page.locator("main input[name^='lots/'][name$='/mass']").first
    lot.click()
    maker.page.keyboard.type("310.00")
    maker.send()
    maker.page.wait_for_selector("[data-bench][data-ready=yes]", timeout=20_000)
    for _ in FROM_MOULD:
        maker.page.click(".cavity[data-shape=oval]")
    maker.page.click(f"text=Write {len(FROM_MOULD)} in the book")
    maker.page.wait_for_selector("[data-poured] .says:has-text('In the book')", timeout=20_000)
    maker.click("Weigh the tray")
    readings(maker, FROM_MOULD)
    maker.look("bench-tray")
    maker.click("Close the melt")
    maker.type(heel="3.60", prills__jar="Silver prills", prills__mass="0.05")
    maker.send()
    maker.look("bench-melt")


def sorted_out(maker):
    """What does not fit: given up, or moved to the open series."""
    maker.go("Office")
    maker.look("board")
    maker.says("No more wanted", "outside limits")
    maker.go("Office", "Stock")
    maker.look("stock-outside")
    maker.near("1-05", "Give up")
    maker.look("form-condemn")
    maker.type(reason="Too light")
    maker.send("Is it this one?")
    maker.look("piece-condemned")
    maker.go("Office", "Stock")
    maker.near("1-06", "Move to an open series")
    maker.type(to="GW")
    maker.look("form-move")
    maker.send()
    maker.go("Office", "Numbers and certificates")
    maker.look("numbers-serials")
    maker.near("ST", "Give serials")
    maker.look("form-serials")
    maker.send()


def struck(maker):
    """Each of the four under the die, a tap a piece."""
    maker.go("Bench")
    maker.click("Strike")
    maker.click("Lantern and waves")
    maker.page.wait_for_selector("[data-bench][data-ready=yes]", timeout=20_000)
    for _ in range(4):
        maker.page.click("[data-outcomes] button[value=good]")
        maker.page.wait_for_selector("[data-line][data-waiting='0']", state="attached", timeout=20_000)
        # A second tap at once is taken for a bounce.
        maker.page.wait_for_timeout(1_200)
    maker.look("bench-strikes")


def assayed(maker):
    """To the office and back: three marked, one damaged there and unmarked."""
    maker.go("Office", "Assay office")
    maker.look("assay-ready")
    maker.click("Send them")
    maker.type(office="The Hall", seal="EAH-0511")
    maker.look("form-consignment")
    maker.send()
    maker.look("consignment-out")
    maker.screen.must(maker.download("Packing list") == "packing-list-1.pdf", "shop", "the packing list has another name")
    maker.click("It is back")
    maker.click("Begin with all of them marked")
    maker.tick("Date letter")
    maker.put("hallmark/marks/date_letter/legible", "yes")
    outcome = maker.page.locator("main select[name$='/outcome']").last
    piece = outcome.get_attribute("name").split("/")[1]
    maker.put(f"lines/{piece}/outcome", "unmarked")
    maker.refused("came back for a reason")
    maker.look("form-return-refused")
    maker.put(f"lines/{piece}/reason", "Damaged there")
    maker.press()
    maker.says("4 were sent: 3 marked, 1 unmarked, 0 kept or cut, 0 missing")
    maker.look("form-return-asks")
    maker.follow(lambda: maker.page.click(".notice.asks button"))
    maker.says("Recorded", "3 marked, 1 unmarked, 0 kept or cut, 0 missing, of 4 sent")
    maker.look("consignment-back")
    maker.go("Office", "Assay office")
    maker.look("assay-unmarked")
    maker.click("Give up")
    maker.type(reason="The office would not mark it")
    maker.send("Is it this one?")


def numbered(maker):
    """Final weighing, numbers, certificates, paper."""
    open_session(maker)
    maker.go("Office", "Numbers and certificates")
    maker.look("numbers-final")
    maker.near("ST", "Weigh at the bench")
    readings(maker, FROM_MOULD[:3])
    maker.look("bench-final")
    close_session(maker, "bench-closing")
    maker.go("Office", "Numbers and certificates")
    maker.near("ST", "Give numbers")
    maker.page.locator("main label.pick input").last.uncheck()
    maker.send()
    maker.near("ST", "Set spares aside")
    maker.page.locator("main label.pick input").first.check()
    maker.send()
    maker.near("ST", "Issue certificates")
    maker.page.locator("main label.pick input").last.uncheck()
    maker.look("form-certificates")
    maker.send()
    maker.look("numbers-print")
    maker.click("Print certificates")
    maker.type(paper="A6")
    maker.send()
    maker.look("entry-print")
    maker.screen.must(maker.download("The PDF").startswith("certificates-"), "shop", "the certificates have another name")
    maker.go("Office", "Numbers and certificates")
    maker.screen.must(maker.download("The sheet") == "labels-ST.pdf", "shop", "the labels have another name")


def sold(maker):
    """Sold under the order, sent, arrived, given back, into stock again."""
    maker.go("Office", "Stock")
    maker.look("stock")
    maker.near("ST-0001", "Sell")
    maker.type(order="Order 1", buyer="The Lantern & Loom Society", document="INV-31")
    maker.put(maker.page.locator("main input[name$='/price']").first.get_attribute("name"), "181,50")
    maker.look("form-sale")
    maker.send()
    maker.look("sale")
    maker.click("Send a parcel")
    maker.type(weight="112 g", seal="S-77", insured="250", carrier="the night coach", tracking="NC 4411")
    maker.look("form-parcel")
    maker.send()
    maker.look("sale-sent")
    maker.go("Office", "Orders and sales")
    maker.look("orders")
    maker.click("Arrived")
    maker.page.locator("main label.pick input").first.check()
    maker.send()
    maker.near("ST-0001", "Given back")
    maker.send()
    maker.look("piece-returned")
    maker.go("Office", "Stock")
    maker.look("stock-came-back")
    maker.near("ST-0001", "Back into stock")
    maker.send()


def slips(maker):
    """A lot whose weight was mistyped is corrected from its entry; one that was recorded twice is withdrawn."""
    maker.go("Office", "Set up")
    maker.look("setup")
    maker.click("Lot 1")
    maker.says("310.00 g of a charge of 310.00 g", "Not melted yet", "Pellworth Metals Counter", "431.20 GBP")
    maker.look("lot")
    maker.click("Its entry")
    maker.says("Bench scale, begun")
    maker.look("entry-lot")
    maker.click("Correct a lot")
    maker.type(mass="500.10", reason="mistyped")
    maker.look("form-correction")
    maker.send()
    maker.says("What holds now", "500.10")
    maker.look("entry-corrected")
    maker.click("Correct a lot")
    maker.type(mass="200.00", reason="mistyped")
    maker.refused("could not be")
    maker.look("form-correction-refused")


def priced(maker):
    """A spot price, what stock is worth by it, a quotation for a piece, a bill of the assay office."""
    maker.go("Metal")
    maker.click("What the stock is worth")
    maker.says("No spot price was noted")
    maker.click("Note a spot price")
    maker.type(metal="silver", price="0", source="the fair")
    maker.refused("above zero")
    maker.type(price="24,10")
    maker.look("form-spot")
    maker.send()
    maker.says("silver 24.10 GBP")
    maker.go("Office", "Stock")
    maker.click("ST-0002")
    maker.click("Quote a price")
    maker.type(premium_percent="12,5", weight="gram", vat="Standard", buyer="Odile Tarrant")
    maker.look("form-quote")
    maker.send()
    maker.says("Quotation 1", "Odile Tarrant", "the same")
    maker.look("quote")
    maker.go("Office", "Assay office")
    maker.click("Consignment 1")
    maker.click("Record a bill")
    maker.type(amount="38.40", document="EAH 2210")
    maker.look("form-bill")
    maker.send()
    maker.says("38.40 GBP", "EAH 2210")


def counted(maker):
    """Sweepings into their jar; then what is there is counted: one weight is off, one piece is not seen."""
    maker.go("Office", "Set up")
    maker.click("Open a jar")
    maker.type(residue="sweeps", metal="silver", fineness="800", label="Floor and bench")
    maker.send()
    open_session(maker)
    maker.click("Sweepings of silver")
    maker.type(mass="84.10")
    maker.look("form-sweepings")
    maker.send()
    maker.go("Home")
    maker.click("A stock-take")
    maker.screen.must("190.10" not in maker.text(), "shop", "the count is not blind: what the book expects stands there")
    maker.put(maker.page.locator("main input[name^='lots/'][name$='/mass']").first.get_attribute("name"), "190.02")
    maker.type(session="Bench scale")
    maker.page.locator("main label.pick input[name='pieces/seen']").first.check()
    maker.look("form-stock-take")
    maker.press()
    maker.says("1 seen; not seen:", "ST-0003")
    maker.look("form-stock-take-asks")
    maker.follow(lambda: maker.page.click(".notice.asks button"))
    maker.says("Recorded", "stocktake taken", "lot counted", "190.02 g")
    maker.look("entry-stock-take")
    maker.go("Lists")
    maker.click("Stock-takes")
    maker.look("list-stock-takes")


def at_last(maker):
    """The board as it is now, and the first page."""
    maker.go("Office")
    maker.look("board-at-last")
    maker.follow(maker.page.locator("main dl.way a").first.click)
    maker.look("list")
    maker.go("Home")
    maker.look("home")


def run(maker):
    """All of it, in the order of the trade."""
    set_up(maker)
    open_session(maker)
    metal_in(maker)
    melted(maker)
    close_session(maker)
    sorted_out(maker)
    struck(maker)
    assayed(maker)
    numbered(maker)
    sold(maker)
    slips(maker)
    priced(maker)
    counted(maker)
    at_last(maker)


def main():
    """Founds a book and runs the workshop in it."""
    asked = argparse.ArgumentParser()
    asked.add_argument("program")
    asked.add_argument("shots")
    asked = asked.parse_args()
    with tempfile.TemporaryDirectory(prefix="pourbook-shop-") as folder, Screen(asked.shots) as screen:
        book = Book(asked.program, Path(folder) / "book").found()
        settings = book.folder / "pourbook.toml"
        settings.write_text(re.sub(r'(?m)^address = ".*"$', ADDRESS, settings.read_text()))
        book.serve()
        try:
            maker = Maker(screen, book)
            maker.sign_in()
            maker.look("home-empty")
            run(maker)
        finally:
            book.stop()
        for fault in screen.faults:
            print(f"FAULT {fault}")
        raise SystemExit(1 if screen.faults else 0)


if __name__ == "__main__":
    main()

"""Somebody at the bench: a tablet with the workshop's pages, worked by taps and key strokes alone."""

import re
import time

SIZES = {"phone": (390, 844), "tablet": (1024, 768), "desk": (1280, 900)}


class Hands:
    """One tablet, signed in."""

    def __init__(self, screen, url, token, size="tablet", scripts=True, dark=False, name="bench",
                 without=None):
        self.screen, self.url, self.token, self.size, self.name = screen, url, token, size, name
        wide, high = SIZES[size]
        self.context = screen.browser.new_context(
            viewport={"width": wide, "height": high}, java_script_enabled=scripts, reduced_motion="reduce",
            color_scheme="dark" if dark else "light", device_scale_factor=1,
            service_workers="block" if without else "allow")
        if without:
            self.leave_out(*without)
        self.page = self.tab()

    def leave_out(self, module, before, after):
        """One protection of a module is taken out."""
        def without(route):
            text = route.fetch().text()
            assert before in text, f"{module} has no {before!r}"
            route.fulfill(body=text.replace(before, after), content_type="text/javascript; charset=utf-8")
        self.context.route(f"**/bench/modules/{module}", without)

    def tab(self):
        """Another tab of the same tablet."""
        page = self.context.new_page()
        page.on("pageerror", lambda error: self.screen.fault(self.name, f"script error: {error}"))
        page.on("console", lambda line: line.type == "error" and "Failed to load resource" not in line.text
                and "net::" not in line.text and self.screen.fault(self.name, f"console: {line.text}"))
        return page

    def close(self):
        """Puts the tablet away."""
        self.context.close()

    def go(self, path):
        """Opens a page; signs in where that is asked."""
        self.page.goto(self.url + path)
        if "/sign-in" in self.page.url:
            self.sign_in()
        return self.page

    def sign_in(self):
        """Types the token."""
        self.page.fill("#token", self.token)
        self.page.click("main button[type=submit]")
        self.page.wait_for_load_state()

    def fill(self, **fields):
        """Fills a form in by the names of its fields; `__` stands for a slash."""
        for name, value in fields.items():
            name = name.replace("__", "/")
            field = self.page.locator(f"main [name='{name}']")
            if field.evaluate("field => field.tagName") == "SELECT":
                field.select_option(value)
            else:
                field.fill(value)

    def send(self):
        """Sends the form that is shown."""
        self.page.click("main form.entry .send button")
        self.page.wait_for_load_state()

    def ready(self, page=None):
        """Waits until the step's module runs."""
        (page or self.page).wait_for_selector("[data-bench][data-ready=yes]", timeout=20_000)

    def type(self, text, page=None):
        """Types a reading and Enter, key by key."""
        (page or self.page).keyboard.type(text)
        (page or self.page).keyboard.press("Enter")

    def last(self, state, pour=None, page=None):
        """Waits until the last reading stands there as this; its words."""
        page = page or self.page
        wanted = f".last[data-state='{state}']" + (f"[data-piece='{pour}']" if pour else "")
        page.wait_for_selector(wanted, timeout=15_000)
        return page.inner_text(".last").replace("\xa0", " ")

    def waiting(self, count, page=None):
        """Waits until so many of the own entries are not yet in the book."""
        (page or self.page).wait_for_selector(f"[data-line][data-waiting='{count}']", state="attached", timeout=30_000)

    def until(self, expression, page=None, seconds=20):
        """Waits until an expression holds in the page; the pages forbid what playwright's own way of waiting needs."""
        end = time.monotonic() + seconds
        while not (page or self.page).evaluate(expression):
            assert time.monotonic() < end, f"never came about: {expression}"
            time.sleep(0.03)

    def text(self, where):
        """What stands there, with plain blanks."""
        return self.page.inner_text(where).replace("\xa0", " ")

    def current(self, page=None):
        """The pour number of the piece that is weighed now."""
        return (page or self.page).inner_text(".now").split()[0]

    def look(self, name, whole=False):
        """A screenshot. Nothing is wider than the screen; a step is not higher either."""
        wide, high = SIZES[self.size]
        sizes = self.page.evaluate("[document.documentElement.scrollWidth, document.documentElement.scrollHeight]")
        self.screen.must(sizes[0] <= wide, f"{name} at {self.size}", f"is {sizes[0]} px wide")
        if not whole:
            self.screen.must(sizes[1] <= high, f"{name} at {self.size}", f"is {sizes[1]} px high, the screen {high}")
        self.page.screenshot(path=self.screen.shots / f"bench-{name}.{wide}.png", full_page=True)
        self.screen.axe(self.page, f"{name} at {self.size}")

    def targets(self, name):
        """Every target of the step is at least 56 px either way, and no words below 20 px."""
        small = self.page.evaluate("""() => [...document.querySelectorAll('.bench a, .bench button, .bench input, .bench summary')]
            .filter(one => one.checkVisibility() && !one.closest('.unseen') && !one.matches('.unseen'))
            .map(one => [one.textContent.trim() || one.id, one.getBoundingClientRect()])
            .filter(([, box]) => box.height < 56 || box.width < 56).map(([text, box]) => `${text} ${box.width}x${box.height}`)""")
        self.screen.must(not small, name, f"targets below 56 px: {small}")
        words = self.page.evaluate("""() => [...document.querySelectorAll('.bench *')]
            .filter(one => one.checkVisibility() && !one.closest('.unseen') && [...one.childNodes].some(n => n.nodeType === 3 && n.data.trim()))
            .map(one => [one.textContent.trim().slice(0, 30), parseFloat(getComputedStyle(one).fontSize)])
            .filter(([, size]) => size < 20)""")
        self.screen.must(not words, name, f"words below 20 px: {words}")


def entry_of(text):
    """The index that a page says it recorded."""
    found = re.search(r"entry (\d+)", text)
    return int(found.group(1)) if found else None

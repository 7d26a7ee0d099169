"""A real browser: Chromium, driven by playwright. What is opened is also held against what every page must keep."""

import os
import shutil
from pathlib import Path

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import sync_playwright

QUIET = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync"]
WIDTHS = {"phone": (360, 740), "tablet": (768, 1024), "desk": (1280, 900)}
PAGE_BYTES_MAX = 60_000
RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}}


def chromium():
    """Where the browser is."""
    named = os.environ.get("CHROMIUM")
    return named or shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")


class Screen:
    """One browser for a run; pages are opened in contexts of their own."""

    def __init__(self, shots):
        self.shots = Path(shots)
        self.shots.mkdir(parents=True, exist_ok=True)
        self.faults = []

    def __enter__(self):
        self.playwright = sync_playwright().start()
        self.browser = self.playwright.chromium.launch(executable_path=chromium(), args=QUIET)
        return self

    def __exit__(self, *_):
        self.browser.close()
        self.playwright.stop()

    def fault(self, where, what):
        """Something that must not be; the run goes on, and fails at its end."""
        self.faults.append(f"{where}: {what}")
        print(f"FAULT {where}: {what}", flush=True)

    def must(self, holds, where, what):
        """Notes a fault unless it holds."""
        if not holds:
            self.fault(where, what)
        return holds

    def context(self, width="desk", scripts=True, dark=False):
        """A browser that was never here."""
        wide, high = WIDTHS[width]
        return self.browser.new_context(
            viewport={"width": wide, "height": high}, java_script_enabled=scripts,
            color_scheme="dark" if dark else "light", device_scale_factor=1, reduced_motion="reduce")

    def open(self, context, url, where):
        """Opens a page, and notes what it asks for from elsewhere, what it says on the console, and cookies."""
        page = context.new_page()
        page.on("pageerror", lambda error: self.fault(where, f"script error: {error}"))
        page.on("console", lambda line: line.type == "error" and "Failed to load resource" not in line.text
                and self.fault(where, f"console: {line.text}"))
        host = url.split("/")[2]
        page.on("request", lambda asked: asked.url.split("/")[2] != host and not asked.url.startswith(("data:", "blob:"))
                and self.fault(where, f"asks elsewhere: {asked.url}"))
        page.goto(url, wait_until="load")
        self.must(not context.cookies(), where, f"sets cookies: {context.cookies()}")
        return page

    def checked(self, page):
        """Waits for the browser's check; {step: whether it holds}, and the outcome."""
        page.wait_for_selector("[data-check]:not([data-checking]) .check-word[data-outcome]:not([data-outcome=busy])",
                               timeout=60_000)
        steps = page.eval_on_selector_all("li.check-step", "items => items.map(i => [i.dataset.step, i.dataset.holds])")
        return dict(steps), page.get_attribute(".check-word", "data-outcome")

    def look(self, page, name, width):
        """A screenshot; nothing may be wider than the screen."""
        wide = page.evaluate("document.documentElement.scrollWidth")
        self.must(wide <= WIDTHS[width][0], f"{name} at {width}", f"is {wide} px wide")
        page.screenshot(path=self.shots / f"{name}.{width}.png", full_page=True)

    def axe(self, page, where):
        """The accessibility rules of axe-core."""
        found = Axe().run(page, options=RULES).response["violations"]
        for violation in found:
            nodes = "; ".join(node["html"][:120] for node in violation["nodes"][:3])
            self.fault(where, f"axe {violation['id']}: {violation['help']} ({nodes})")

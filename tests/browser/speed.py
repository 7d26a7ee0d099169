"""How long the check of one piece takes in a real browser, against single verifications by the same browser's cryptography.

    speed.py URL SERIAL ROOT ROUNDS     prints a line for each round: milliseconds of the check, of the verifications, entries
"""

import sys

from playwright.sync_api import sync_playwright

from screen import QUIET, chromium

# Both in turns, in one page; the first time of each warms the other and is not told.
MEASURE = """async ([serial, root, rounds]) => {
    const { checkPiece, readFile } = await import('/check/check.mjs');
    const bytes = new Uint8Array(await (await fetch(`/v1/serials/${serial}/proof`)).arrayBuffer());
    const entries = readFile(bytes).proofs.length;
    const pair = await crypto.subtle.generateKey({ name: 'Ed25519' }, false, ['sign', 'verify']);
    const message = new Uint8Array(Math.round(bytes.length / entries / 2));
    const signature = await crypto.subtle.sign('Ed25519', pair.privateKey, message);
    const taken = [];
    for (let round = -1; round < rounds; round += 1) {
        const start = performance.now();
        const report = await checkPiece(bytes, { root });
        const ours = performance.now() - start;
        if (report.conclusion !== 'holds') throw new Error(JSON.stringify(report));
        const again = performance.now();
        for (let i = 0; i < entries; i += 1) {
            if (!(await crypto.subtle.verify('Ed25519', pair.publicKey, signature, message))) throw new Error('does not verify');
        }
        const theirs = performance.now() - again;
        if (round >= 0) taken.push([ours, theirs, entries]);
    }
    return taken;
}"""


def main():
    """Opens the page of the check, measures in it, prints."""
    url, serial, root, rounds = sys.argv[1:]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium(), args=QUIET)
        page = browser.new_page()
        page.goto(url + "/check", wait_until="load")
        for ours, theirs, entries in page.evaluate(MEASURE, [serial, root, int(rounds)]):
            print(ours, theirs, entries)
        browser.close()


main()

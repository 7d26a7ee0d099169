"""Holds the metal statement of books against what their logs come to, reckoned here anew.

    python3 tests/statement/run.py PROGRAM BOOK...

Every heading of every metal, in mass and in fine mass, at the end and at positions in between; what stands on the way from
one account to another must come to nothing after every entry.
"""

import json
import subprocess
import sys
from decimal import Decimal

from accounts import OUTSIDE
from log_files import payloads, said
from quantities import fine_grams, grams
from workshop import Workshop

METALS = ("silver", "gold", "platinum", "palladium", "copper")
ON_THE_WAY = ("emptied", "gathered", "filed")
# The accounts that are no state of a piece; the heading of a state begins with `pieces_`.
PLACES = {
    "unmelted", "heels", "crucible", "prills", "lemel", "sweeps", "at_refiner", "settled", "melt_loss", "finishing_loss",
    "assay_loss", "refining_loss", "weighing_variance", "stocktake_variance", "revaluation", "alloyed_out", OUTSIDE, "alloyed_in",
}
POSITIONS = 12


def reckoned(entries):
    """Heading -> (mass, fine mass) of each metal, zeros left out."""
    shop = Workshop()
    for events in said(entries):
        shop.take(events)
        for metal in METALS:
            left = [heading for heading in ON_THE_WAY if shop.accounts.amount(metal, heading) != (0, 0)]
            assert not left, f"{metal}: {left} is not settled within an entry"
    found = {}
    for metal in METALS:
        assert shop.accounts.difference(metal) == (0, 0), metal
        found[metal] = {}
        for heading in shop.accounts.headings(metal):
            if heading in ON_THE_WAY:
                continue
            mass, fine = shop.accounts.amount(metal, heading)
            if heading in (OUTSIDE, "alloyed_in"):
                mass, fine = -mass, -fine
            name = heading if heading in PLACES else f"pieces_{heading}"
            if mass or fine:
                found[metal][name] = (grams(mass), fine_grams(fine))
    return found


def stated(program, book, position):
    words = [program, "statement", book, "--json", "--at", str(position)]
    told = json.loads(subprocess.run(words, check=True, capture_output=True, text=True).stdout)
    found = {metal: {} for metal in METALS}
    for statement in told["metals"]:
        lines = found[statement["metal"]]
        for line in statement["lines"]:
            amount = (Decimal(line["mass"]), Decimal(line["fine"]))
            if any(amount):
                lines[line["heading"]] = amount
        difference = statement["difference"]
        assert not Decimal(difference["mass"]) and not Decimal(difference["fine"]), difference
    return found


def differences(program, book, entries, position):
    ours, theirs = reckoned(entries[:position]), stated(program, book, position)
    for metal in METALS:
        for heading in sorted(set(ours[metal]) | set(theirs[metal])):
            here = tuple(map(Decimal, ours[metal].get(heading, ("0", "0"))))
            there = theirs[metal].get(heading, (Decimal(0), Decimal(0)))
            if here != there:
                yield f"{book} at {position}: {metal} {heading}: reckoned {here}, stated {there}"


def check(program, book, positions=POSITIONS):
    """What differs, and how many figures were held side by side."""
    entries = payloads(book)
    assert entries, f"{book} holds no entry"
    step = max(1, len(entries) // positions)
    at = sorted({len(entries), *range(step, len(entries), step)})
    bad = [line for position in at for line in differences(program, book, entries, position)]
    figures = sum(len(lines) for lines in reckoned(entries).values())
    return bad, len(at), figures


def main():
    program, books = sys.argv[1], sys.argv[2:]
    assert books, "no book to hold"
    bad = []
    for book in books:
        found, positions, figures = check(program, book)
        bad += found
        print(f"{book}: {positions} positions, {figures} figures at the end")
    for line in bad:
        print(line)
    print(f"{len(bad)} figures differ" if bad else "statement and log agree")
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()

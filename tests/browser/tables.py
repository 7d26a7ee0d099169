"""The table of lies: each told to a browser of its own, and what exposed it printed beside what should."""

import time

import stages
from bench import Bench
from book import Book
from lies import Lies
from liar import Liar


def lies(screen, book, serials, pieces, folder, ask):
    """Makes the books that lies are taken from, tells each lie, and notes one that is exposed otherwise than the table says."""
    book.stop()
    settings = book.folder / "pourbook.toml"
    settings.write_text(settings.read_text().replace('entries = "auditors"', 'entries = "public"'))
    older, forked = book.copy(folder / "older"), book.copy(folder / "forked")
    other = Book(book.program, folder / "other").found()
    served = [book, older, forked, other]
    try:
        for one in served:
            one.serve()
        stages.make(other)
        happened(book, pieces, theft=True)
        happened(forked, pieces, theft=False)
        time.sleep(2)
        told = Lies(book, older, forked, other, serials, ask).all()
        rows = [(lie, *tell(screen, book, serials, lie, ask)) for lie in told]
    finally:
        for one in served[1:]:
            one.stop()
    print(f"\n{'a server that lies about the data':<72} {'exposed by':<38} step")
    for lie, found, _ in rows:
        print(f"{lie.name:<72} {lie.by:<38} {found or 'not exposed, and said so'}")


def happened(book, pieces, theft):
    """What the true book has and a forked one has not; both grow, the fork by one more."""
    shop = Bench(book.wire())
    for piece in (pieces["certified"], pieces["reserved"], pieces["returned"]):
        status, row = shop.wire.send("GET", f"/v1/pieces/{piece}")
        assert status == 200, row
        shop.wire.versions[piece] = row["version"]
    if theft:
        shop.piece(pieces["certified"], "theft", {"reference": "CR 43"})
    else:
        shop.piece(pieces["reserved"], "release")
        shop.piece(pieces["returned"], "restocking")


def tell(screen, book, serials, lie, ask):
    """Tells one lie to a browser; the step that failed, and the outcome."""
    serial = serials[lie.state]
    alter = {"now": lambda path, body: body}
    with Liar(book, lambda path, body: alter["now"](path, body)) as liar:
        context = screen.context()
        url = f"{liar.url}/p/{serial}" + (f"#k={book.thumbprint()}" if lie.link else "")
        if lie.before is not None:
            screen.checked(screen.open(context, url, lie.name))
        alter["now"] = lie.alter
        page = screen.open(context, url, lie.name)
        steps, outcome = screen.checked(page)
        text = page.inner_text("body")
        context.close()
        asked = [path for path in liar.asked if book.thumbprint() in path]
        screen.must(not asked, lie.name, f"the thumbprint of the link was sent: {asked}")
    failed = [name for name, holds in steps.items() if holds == "false"]
    found = failed[0] if failed else outcome if outcome in ("unreadable", "not_understood", "not_fetched") else None
    screen.must(found == lie.exposed, lie.name, f"exposed by {found}, the table says {lie.exposed} ({outcome}, {steps})")
    if lie.said is not None:
        screen.must(lie.said in text, lie.name, f"the page does not say {lie.said!r}")
    return found, outcome

"""The workshop that a sequence begins with: balances, a session, lots, a jar, two series and the dies, by the seed's choice."""

from metal import STEPS_PER_GRAM, Balance, grams
from workshop import Series

NAMES = "ABCDEFGHJKMNPQRSTVWXYZ"
LOWER, UPPER = 60 * STEPS_PER_GRAM, 6_120 * STEPS_PER_GRAM // 100


def code(number):
    """A series code of four letters that no other sequence of the book has."""
    letters = ""
    for _ in range(4):
        number, at = divmod(number, len(NAMES))
        letters = NAMES[at] + letters
    return letters


def choose(dice):
    """What this sequence's two series are: an edition with limits, and an open series of a lower standard."""
    marking = dice.random() < 0.6
    numbered = dice.random() < 0.85
    sizes = {"oval": dice.randint(1, 3)}
    if dice.random() < 0.3:
        sizes["round"] = dice.randint(1, 2)
    edition = Series(
        True, 9250, sizes, (LOWER, UPPER), marking, numbered,
        on_metal=numbered and dice.random() < 0.25,
        struck=dice.random() < 0.4,
        spares_sold=numbered and dice.random() < 0.5,
        given={shape: 0 for shape in sizes},
    )
    return [edition, Series(False, 8000, {}, None, marking or dice.random() < 0.3)]


def series_body(series, name):
    """The request that opens a series."""
    body = {
        "code": name, "kind_of": "edition" if series.edition else "open", "metal": "silver",
        "fineness": f"{series.fineness // 10}.{series.fineness % 10}", "unit": "g", "digits": 4,
        "marking": "required" if series.marking else "exempt",
    }
    if not series.marking:
        body["ground"] = "other"
    if series.edition:
        lower, upper = series.limits
        body["shapes"] = [{"shape": shape, "size": size} for shape, size in series.sizes.items()]
        body["limits"] = {"nominal": grams(lower), "lower": grams(lower), "upper": grams(upper)}
    flags = {"unnumbered": not series.numbered, "number_on_metal": series.on_metal, "struck": series.struck,
             "spares_sold": series.spares_sold}
    return body | {name: True for name, value in flags.items() if value}


def furnish(shop, dice, wire, name):
    """Sets up the model and the book alike."""
    shop.balances = [Balance("II", 2, 600), Balance("I", 3, 60)]
    for balance in shop.balances:
        interval = grams(balance.division, balance.digits)
        wire.make("balances", "/v1/scales", {
            "class": balance.accuracy, "e": interval, "d": interval, "max": "1000" if balance.digits == 2 else "220",
            "verified": True, "repeatability": grams(balance.repeatability, 5),
        })
    for key in (0, 1):
        command = {"do": "open_session", "balance": key, "reading": 100 * STEPS_PER_GRAM}
        yield command
    shop.owners = [False]
    wire.make("owners", "/v1/owners", {})
    shop.jars = [{"mass": 0, "owners": set()}]
    wire.make("jars", "/v1/jars", {"metal": "silver", "fineness": "800", "residue": "lemel"})
    shop.series = choose(dice)
    for key, series in enumerate(shop.series):
        wire.make("series", "/v1/series", series_body(series, code(2 * name + key)))
    shop.dies = [{"owner": "workshop", "series": None, "state": "in_use", "strikes": 0}]
    wire.make("dies", "/v1/dies", {"owner": "workshop"})
    if dice.random() < 0.5:
        shop.dies.append({"owner": "commissioner", "series": 0, "state": "in_use", "strikes": 0})
        wire.make("dies", "/v1/dies", {"owner": "commissioner", "series": wire.ids["series"][0]})
    yield {"do": "receive_lot", "session": 0, "mass": 600 * STEPS_PER_GRAM, "fineness": 9300}
    if dice.random() < 0.3:
        yield {"do": "receive_lot", "session": 0, "mass": 200 * STEPS_PER_GRAM, "fineness": 9300, "owner": 0}

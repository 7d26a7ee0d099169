"""Holds what the service shows of a thing against what the model knows of it."""

from decimal import Decimal

from rules_metal import suspect
from rules_number import burned_for_good
from rules_sale import promised_by_orders

STATE = {  # the page's word -> the service's
    "mis-struck": "mis_struck", "archive": "archived", "at assay office": "at_office", "returned unmarked": "unmarked",
    "kept or cut by the office": "kept", "lost in transit": "lost", "bought back": "bought_back", "at the refiner": "refined",
}
PLURAL = {"series": "series"}


def plural(kind):
    return PLURAL.get(kind, kind + "s")


def state_of(piece, state):
    """An accepted piece with its serial is called `serialled` by the service; on the page a serial is no state."""
    if state == "graded" and piece.serial is not None:
        return "serialled"
    return STATE.get(state, state)


def check_digits(code, number):
    """Two digits by ISO/IEC 7064 MOD 97-10, letters counting from 10."""
    digits = "".join(str(int(c, 36)) for c in f"{code}{number:04}")
    return f"{98 - int(digits + '00') % 97:02}"


def serial_text(book, piece):
    if piece.serial is None:
        return None
    code, number = piece.serial
    return f"{code}-{number:04}-{check_digits(code, number)}"


def mass(text):
    return None if text is None else Decimal(text)


def piece_facts(book, names, p, row):
    yield "state", state_of(p, p.state), row["state"]
    yield "readings", [m for _, m, _ in p.readings], [Decimal(r["mass"]) for r in row["readings"]]
    yield "grade", p.grade, row["grading"] and row["grading"]["grade"]
    yield "fault", p.fault, row["grading"] and row["grading"]["fault"]
    for fact in ("series", "melt", "remelted", "refined", "order", "sale"):
        yield fact, getattr(p, fact) and names.id(getattr(p, fact)), row[fact]
    yield "filed", p.filed, mass(row["filed"])
    yield "condemned", p.condemned, row["condemned"]
    yield "strikes", p.strikes, [s["outcome"] for s in row["strikes"]]
    yield "hallmark", p.hallmark, row["hallmark"] and Decimal(row["hallmark"]["fineness"])
    yield "assay", p.assay, mass(row["assay"])
    yield "unmarked", p.unmarked, row["unmarked"]
    yield "refused at", p.refused_at, mass(row["refused_at"])
    yield "back unweighed", p.back, row["back_unweighed"]
    yield "assay loss", p.assay_loss, mass(row["assay_loss"])
    yield "before", p.before and state_of(p, p.before), row["before"]
    yield "serial", serial_text(book, p), row["serial"]
    yield "number", p.number, row["number"]
    yield "certified", p.issue > 0, row["certificate"] is not None
    if p.state == "at assay office":
        yield "consignment", names.id(p.consignment), row["consignment"]


def lot_facts(book, names, lot, row):
    yield "metal", lot.metal, row["metal"]
    yield "fineness", lot.fineness, Decimal(row["fineness"])
    yield "basis", lot.basis, row["basis"]
    yield "mass", lot.mass, Decimal(row["mass"])
    yield "left", lot.left, Decimal(row["left"])
    yield "owner", lot.owner and names.id(lot.owner), row["owner"]
    yield "outturn of", lot.outturn_of and names.id(lot.outturn_of), row["outturn_of"]


def melt_facts(book, names, melt, row):
    yield "state", "closed" if melt.closed else "open", row["state"]
    yield "charge", melt.charge, Decimal(row["charge"])
    yield "fineness", melt.fineness, Decimal(row["fineness"])
    yield "basis", melt.basis, row["basis"]
    yield "owners", sorted(str(o and names.id(o)) for o in melt.owners), sorted(str(o) for o in row["owners"])
    yield "pieces", [names.id(p) for p in melt.pieces], row["pieces"]
    yield "assayed", melt.assayed, mass(row["assayed"])
    yield "heel", melt.heel, mass(row["heel"])
    yield "heel taken", melt.heel_taken and names.id(melt.heel_taken), row["heel_taken"]
    yield "prills", melt.prills or 0, mass(row["prills"]) or 0
    yield "loss", melt.loss, mass(row["loss"])


def jar_facts(book, names, jar, row):
    yield "mass", jar.mass, Decimal(row["mass"])
    yield "holds", {names.id(m): g for m, g in jar.holds.items()}, {h["melt"]: Decimal(h["mass"]) for h in row["holds"]}
    yield "swept", jar.swept, Decimal(row["swept"])


def series_facts(book, names, series, row):
    yield "state", "closed" if series.closed else "open", row["state"]
    yield "serials", series.serials, row["serials"]
    yield "numbers", [series.numbers[s["shape"]] for s in row["shapes"]], row["numbers"]
    yield "promised", [promised_by_orders(book, series, s["shape"]) for s in row["shapes"]], row["promised"]


def die_facts(book, names, die, row):
    yield "state", die.state, row["state"]
    yield "strikes", die.strikes, row["strikes"]


def consignment_facts(book, names, con, row):
    yield "state", con.state, row["state"]
    yield "pieces", [names.id(p) for p in con.pieces], [p["piece"] for p in row["pieces"]]
    yield "mass", con.mass, Decimal(row["mass"])
    yield "outcomes", con.outcomes, row["outcomes"]


def order_facts(book, names, order, row):
    yield "state", order.state, row["state"]
    yield "reserved", [order.reserved[s["shape"]] for s in row["shapes"]], row["reserved"]
    yield "sold", [order.sold[s["shape"]] for s in row["shapes"]], row["sold"]


def sale_facts(book, names, sale, row):
    yield "pieces", [names.id(p) for p in sale.pieces], row["pieces"]
    yield "undone", sorted(names.id(p) for p in sale.undone), sorted(row["undone"])
    yield "order", sale.order and names.id(sale.order), row["order"]


def refining_facts(book, names, refining, row):
    yield "state", refining.state, row["state"]
    yield "mass", refining.mass, Decimal(row["mass"])
    yield "outturn", refining.outturn and names.id(refining.outturn), row["outturn"]
    yield "settled", refining.settled, row["settled"] and Decimal(row["settled"]["mass"])
    yield "loss", refining.loss, mass(row["loss"])
    yield "owners", sorted(str(o and names.id(o)) for o in refining.owners), sorted(str(o) for o in row["owners"])


def session_facts(book, names, session, row):
    yield "state", session.state, row["state"]


def owner_facts(book, names, owner, row):
    yield "agreed", owner.agreed, row["agreed"]


def scale_facts(book, names, scale, row):
    yield "session", scale.session and names.id(scale.session), row["session"]


def public_facts(book, names, p, row):
    """What a stranger is told."""
    series = book.series[p.series]
    yield "public state", state_of(p, p.state), row["state"]
    yield "public number", p.number, row.get("number")
    yield "public burned", burned_for_good(book, p), row.get("number_burned", False)
    yield "public suspect", suspect(book, p), row["suspect"]
    yield "public marking", series.marking, row["series"]["marking"]
    yield "public series", "closed" if series.closed else "open", row["series"]["state"]
    stated = row.get("certificate")
    yield "certificate", p.issue, stated["issue"] if stated else 0
    if stated and p.issue:
        weight = stated["weight"]
        yield "weight of record", p.readings[p.stated - 1][1], Decimal(weight["grams"])
        yield "at least", Decimal(weight["grams"]) - Decimal(weight["uncertainty_grams"]), Decimal(weight["at_least_grams"])
        yield "stated fineness", series.fineness, Decimal(stated["fineness"])
        yield "stated mark", "not_hallmarked" if p.hallmark is None else "hallmarked", stated["hallmark"]
        yield "stated number", p.number, stated.get("number")
    if series.closed and "closed" in row["series"]:
        for line in row["series"]["closed"]["shapes"]:
            shape = line["shape"]
            yield "given at the close", series.numbers[shape], line["given"]
            yield "burned at the close", [n for s, n in series.burned_at_close if s == shape], line["burned"]


def public_differences(book, names, client, piece):
    """What everybody is told of a piece with a serial, against the model."""
    row = client.get(f"/v1/serials/{serial_text(book, piece)}")
    return [f"{piece.name} {fact}: model {ours}, service {theirs}" for fact, ours, theirs in public_facts(book, names, piece, row)
            if ours != theirs]


FACTS = {"piece": piece_facts, "lot": lot_facts, "melt": melt_facts, "jar": jar_facts, "series": series_facts, "die": die_facts,
         "consignment": consignment_facts, "order": order_facts, "sale": sale_facts, "refining": refining_facts,
         "session": session_facts, "owner": owner_facts, "scale": scale_facts}


def differences(book, names, client, name):
    """What the service shows of a thing and the model does not, and the other way round."""
    kind = name.split(":")[0]
    thing = getattr(book, plural(kind)).get(name)
    if thing is None:
        return []  # withdrawn
    row = client.get(f"/v1/{plural(kind)}/{names.id(name)}")
    return [f"{name} {fact}: model {ours}, service {theirs}" for fact, ours, theirs in FACTS[kind](book, names, thing, row)
            if ours != theirs]

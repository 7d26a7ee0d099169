"""Every gram, reckoned from the rows that the book shows and from nothing else: what came in less all that is there or lost."""

from metal import steps

GONE_ON = {"remelted", "refined"}


def difference(rows):
    """In steps; zero, always. `rows` has lists of lots, melts, pieces, jars and refinings as the book shows them."""
    left = sum(steps(lot["mass"]) for lot in rows["lots"] if lot["outturn_of"] is None)
    left -= sum(steps(lot["left"]) for lot in rows["lots"])
    left -= sum(steps(jar["mass"]) for jar in rows["jars"])
    running = {melt["melt"] for melt in rows["melts"] if melt["state"] == "open"}
    for melt in rows["melts"]:
        if melt["melt"] in running:
            left -= steps(melt["charge"])
        else:
            left -= steps(melt["loss"]) + (0 if melt["heel_taken"] else steps(melt["heel"]))
    for piece in rows["pieces"]:
        left -= of_piece(piece, piece["melt"] in running)
    for refining in rows["refinings"]:
        left -= of_refining(refining)
    return left


def of_piece(piece, running):
    """What a piece weighs, and what left it: at the office, into a jar (counted there), or between two weighings."""
    readings = piece["readings"]
    now = steps(readings[-1]["mass"]) if readings else 0
    there = 0 if piece["state"] in GONE_ON else now
    if running:
        return there - now
    first = [steps(reading["mass"]) for reading in readings if reading["stage"] == "from_mould"][-1]
    lost = steps(piece["assay_loss"])
    variance = first - steps(piece["filed"]) - lost - now
    return there + lost + variance


def of_refining(refining):
    """What is at the refiner, was settled or lost; an outturn is a lot. With it, what its jars were short of."""
    short = sum(steps(share["mass"]) for jar in refining["jars"] for share in jar["holds"])
    short -= sum(steps(jar["mass"]) for jar in refining["jars"])
    if refining["state"] == "at_refiner":
        return short + steps(refining["mass"])
    settled = steps(refining["settled"]["mass"]) if refining["settled"] else 0
    return short + settled + steps(refining["loss"])

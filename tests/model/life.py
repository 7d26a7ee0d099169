"""The life of a piece from the mould to the certificate, and what may befall it at any time."""

from pieces import AWAY, ENDED, MAY_BE_CONDEMNED, Refused


def weigh_first(piece, reading, scale, better=False):
    """The first weighing grades; a borderline piece may be weighed once more on a better scale."""
    if piece.state == "graded" and piece.verdict == "borderline" and better:
        pass
    else:
        piece.need({"poured"}, "weigh")
    piece.mass, piece.state = reading, "graded"
    piece.verdict = scale.verdict(reading, piece.series.lower, piece.series.upper)


def condemn(piece):
    """Under, faulty, borderline, outside the limits; mis-struck; unmarked; a spare; what came back."""
    piece.need(MAY_BE_CONDEMNED, "condemn")
    piece.state = "condemned"


def move_to_open(piece, series):
    """An odd-weight piece leaves its edition before any edition number; so does one returned unmarked."""
    if series.edition or piece.number is not None:
        raise Refused("an odd-weight piece goes to an open series, before it has a number")


def serial(piece):
    """A serial is given once, to an accepted piece of a closed melt."""
    piece.need({"graded", "struck"}, "serial")
    if piece.verdict != "accepted" or piece.serial or not piece.melt.closed:
        raise Refused("not accepted, already serialled, or the melt is open")
    piece.serial = True
    if piece.state == "graded":
        piece.state = "serialled"


def strike(piece, good, die):
    """Accepted pieces are struck; what is not good is mis-struck."""
    piece.need({"graded", "serialled", "struck"}, "strike")
    if piece.verdict != "accepted" or not die.usable():
        raise Refused("not accepted, or the die is not in use")
    piece.state = "struck" if good else "mis_struck"
    piece.good_strike = piece.good_strike or good


def archive(piece):
    """A mis-struck piece may be kept, never for sale."""
    piece.need({"mis_struck"}, "archive")
    piece.state = "archived"


def weigh_final(piece, reading):
    """After the hallmark, or at once where marking is exempt."""
    ready = {"hallmarked"} if piece.series.marking else {"struck", "serialled"}
    piece.need(ready, "final weighing")
    piece.mass, piece.final = reading, True


def number(piece, wanted):
    """The next number never given, to a marked (or exempt), finally weighed, accepted piece of an edition."""
    series = piece.series
    ready = {"hallmarked"} if series.marking else {"struck", "serialled"}
    piece.need(ready | {"spare"}, "number")
    if not (series.edition and series.numbered and piece.final and piece.verdict == "accepted"):
        raise Refused("no edition number for this piece")
    if series.given >= series.size or wanted != series.given + 1:
        raise Refused("that number is not the next")
    series.given += 1
    piece.number, piece.state = wanted, "numbered"


def spare(piece):
    """An accepted, finally weighed piece of an edition that is not numbered."""
    piece.need({"hallmarked"} if piece.series.marking else {"struck", "serialled"}, "spare")
    if not piece.series.edition or not piece.final or piece.verdict != "accepted":
        raise Refused("no spare of an edition")
    piece.state = "spare"


def steal(piece):
    """Any held state; the state before is remembered."""
    if piece.state in AWAY | ENDED:
        raise Refused(f"the piece is {piece.state}: it is not held")
    piece.before, piece.state = piece.state, "stolen"


def recover(piece):
    """Back to the state before."""
    piece.need({"stolen"}, "recover")
    piece.state, piece.before = piece.before, None


def destroy(piece, witnessed):
    """Any state may end so, with a witness; there is no way out."""
    if piece.state in ENDED or piece.state == "poured" or not witnessed:
        raise Refused("ended already, or nobody saw it")
    piece.before, piece.state = piece.state, "destroyed"

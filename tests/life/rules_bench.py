"""Rules of the bench: pouring, weighing, grading, finishing, moving, condemning, striking."""

from decimal import Decimal

from rule import need, once, rule
from rules_metal import ZERO, known_fineness, noted, open_session_of, residue_fits, suspect
from things import Die, Piece, Series

CLEAR = Decimal("0.04")  # nearer to a limit than this no weighing here can decide; the generator weighs on the limit or far off


def grade_of(series, mass):
    """A piece is held against the limits of its series; what the scale cannot tell apart from a limit is borderline."""
    if not series.limits:
        return "accepted"
    lower, upper = series.limits
    if min(abs(mass - lower), abs(mass - upper)) < CLEAR:
        return "borderline"
    return "under" if mass < lower else "over" if mass > upper else "accepted"


def weighed(book, piece, stage, mass, session):
    """A reading is never edited: a better one supersedes it, and both stay."""
    piece.readings.append((stage, mass, session.name))
    if not piece.fault:  # page is silent: what is faulty by eye stays so, whatever it weighs
        piece.grade = grade_of(book.series[piece.series], mass)
    noted(session, piece.name, len(piece.readings))


@rule
def open_series(book, n, cmd):
    edition = cmd["kind"] == "edition"
    need(bool(cmd.get("sizes")) == edition, "an edition has a size per shape, an open series is numbered without end")
    need(not edition or cmd.get("limits"), "an edition has a nominal weight and its limits")
    need((cmd["marking"] == "exempt") == bool(cmd.get("ground")), "exempt has a ground")
    need(edition or not (cmd.get("unnumbered") or cmd.get("number_on_metal") or cmd.get("spares_sold")), "only editions")  # page is silent
    need(not (cmd.get("unnumbered") and cmd.get("number_on_metal")), "no number to put on the metal")
    need(cmd.get("ground") != "below_weight" or cmd.get("limits"), "nothing keeps it below the weight")  # page is silent
    need(all(s.code != cmd["code"] for s in book.series.values()), "a serial is never reused, in any series")
    yield
    name = f"series:{n}"
    options = {k: cmd.get(k, False) for k in ("unnumbered", "number_on_metal", "struck", "spares_sold")}
    book.series[name] = Series(name, cmd["code"], cmd["kind"], cmd["metal"], cmd["fineness"], dict(cmd.get("sizes", {})),
                               cmd.get("limits"), cmd["marking"], **options, numbers={s: 0 for s in cmd.get("sizes", {})})


@rule
def pour_pieces(book, n, cmd):
    """Each pour makes one piece."""
    melt = book.melts.get(cmd["melt"])
    need(melt and not melt.closed, "no open melt")
    for pour in cmd["pours"]:
        series = book.series.get(pour["series"])
        need(series and not series.closed, "no open series")
        need(series.kind == "open" or pour["shape"] in series.sizes, "the edition has no such shape")
        need(series.metal == melt.metal, "the series is of another metal")
        need(melt.fineness >= series.fineness, "a fineness is never above what is known of the metal")
    yield
    for k, pour in enumerate(cmd["pours"]):
        name = f"piece:{n}.{k}"
        book.pieces[name] = Piece(name, melt.name, pour["series"], pour["shape"])
        melt.pieces.append(name)


def goes_on(book, piece):
    """Before anything is decided of it: its melt is weighed out and its weight is not suspect."""  # page is silent
    need(book.melts[piece.melt].closed, "its melt is not weighed out")
    need(not book.series[piece.series].closed, "its series is closed")  # page is silent: of a stolen piece that is back
    need(piece.serial is not None or not suspect(book, piece), "its weight is suspect")


def pieces_of(book, names):
    """The pieces of a tray, each once."""
    once(names)
    need(all(name in book.pieces for name in names), "no such piece")
    return [book.pieces[name] for name in names]


def marked_or_exempt(book, piece):
    """Hallmarked (or exempt), and struck where its series is struck."""
    series = book.series[piece.series]
    marked = piece.hallmark is not None if series.marking == "required" else fit(book, piece)
    return marked and (not series.struck or struck_well(piece))


def fit(book, piece):
    """Accepted, or odd-weight."""
    return piece.fault is None and (piece.grade == "accepted" or piece.odd)


def struck_well(piece):
    return bool(piece.strikes) and all(outcome == "good" for outcome in piece.strikes)


def may_weigh(book, piece, stage, session):
    """Which weighing comes when."""
    melt_is_out = book.melts[piece.melt].closed
    if stage == "from_mould":
        need(piece.state in ("poured", "graded") and not melt_is_out, "its melt is weighed out")  # page is silent
    else:
        need(melt_is_out, "its melt is not weighed out")  # page is silent
    if stage == "finished":
        need(piece.state in ("graded", "struck") and piece.serial is None, "past finishing")  # page is silent
    if stage == "final":
        need(piece.state in ("graded", "struck", "hallmarked", "numbered", "spare", "certified", "reserved"), "not here")
        need(piece.serial is not None, "no serial yet")  # page is silent
        series = book.series[piece.series]
        need(series.marking == "exempt" or piece.hallmark is not None, "neither hallmarked nor exempt")
        need(not series.struck or struck_well(piece), "not struck")
    again = piece.readings and piece.readings[-1][0] == stage and not piece.touched
    if stage == "final":  # once more where something touched the metal since, or a certificate states that weight
        again = again and piece.final and not (piece.issue and piece.stated == len(piece.readings))
    if again and piece.grade != "borderline":  # page is silent: on whether an accepted piece may be weighed once more
        need(suspect(book, piece), "a reading is corrected, not repeated")
    if piece.grade == "borderline" and not suspect(book, piece):
        step = {s: book.scales[book.sessions[s].scale].step for s in (session.name, piece.readings[-1][2])}
        need(not piece.again and step[session.name] < step[piece.readings[-1][2]],
             "borderline may be weighed once more on a better scale")


@rule
def weigh_pieces(book, n, cmd):
    session = open_session_of(book, cmd["session"])
    pieces = pieces_of(book, [x["piece"] for x in cmd["items"]])
    for piece in pieces:
        may_weigh(book, piece, cmd["stage"], session)
    yield
    for piece, item in zip(pieces, cmd["items"]):
        before, piece.again, piece.touched = piece.mass, piece.grade == "borderline", False
        weighed(book, piece, cmd["stage"], item["mass"], session)
        if before is not None and piece.back:
            piece.assay_loss, piece.back = before - item["mass"], False
        if cmd["stage"] == "final":
            piece.final = True
        if piece.state == "poured":
            piece.state = "graded"


@rule
def finish_pieces(book, n, cmd):
    """Filed down and weighed again: what came off is lemel."""
    session = open_session_of(book, cmd["session"])
    pieces = pieces_of(book, [x["piece"] for x in cmd["items"]])
    for piece, item in zip(pieces, cmd["items"]):
        need(piece.state == "graded" and piece.serial is None, "not at the bench")
        need(not piece.finished or piece.grade == "over", "only over may be finished again")
        need(book.melts[piece.melt].closed, "its melt is not weighed out")  # page is silent
        need(piece.mass is not None and item["mass"] <= piece.mass, "filing takes metal off")
        residue_fits(book, book.jars.get(cmd["jar"]), "lemel", book.melts[piece.melt])
    yield
    holds = book.jars[cmd["jar"]].holds
    for piece, item in zip(pieces, cmd["items"]):
        off = piece.mass - item["mass"]
        weighed(book, piece, "finished", item["mass"], session)
        piece.filed += off
        piece.finished, piece.again = True, False
        if off:
            holds[piece.melt] = holds.get(piece.melt, ZERO) + off


@rule
def fault_piece(book, n, cmd):
    piece, = pieces_of(book, [cmd["piece"]])
    need(piece.state in ("poured", "graded", "struck", "mis-struck", "hallmarked", "returned unmarked", "numbered", "spare",
                         "returned", "bought back"), "not here")  # page is silent: how late a fault is seen
    need(not piece.fault, "faulty already")  # page is silent
    yield
    piece.grade, piece.fault = "faulty", cmd["fault"]  # page is silent: unweighed it is poured still


@rule
def move_piece(book, n, cmd):
    """Odd-weight leaves its edition before any number; refused metal leaves it for a lower standard."""
    piece, = pieces_of(book, [cmd["piece"]])
    home, to, melt = book.series[piece.series], book.series.get(cmd["to"]), book.melts[piece.melt]
    need(to and to.kind == "open", "an odd-weight piece moves to an open series")
    need(piece.number is None, "an odd-weight piece leaves its edition before any edition number")
    need(to.metal == home.metal, "a series of another metal")
    known = known_fineness(melt) if piece.hallmark is None else piece.hallmark  # page is silent: its own mark counts
    need(to.fineness <= known, "a fineness is never above what is known of the metal")
    if piece.state == "returned unmarked":
        need(to.fineness < home.fineness, "resubmitted at a lower standard, outside the edition")
    else:
        need(piece.state in ("graded", "struck", "hallmarked"), "nothing to decide")
        need(to is not home, "it is there")  # page is silent: from one open series to another
        need(not piece.fault, "faulty -> condemned")
        need(home.kind == "open" or piece.grade in ("under", "over"), "odd-weight is outside the limits")
    yield
    if piece.state == "returned unmarked":
        piece.state = "struck" if struck_well(piece) else "graded"  # page is silent: what it is until it is sent again
    piece.series, piece.odd = to.name, True
    if not piece.fault:
        piece.grade = grade_of(to, piece.mass)  # page is silent: it is graded by its new series


@rule
def condemn_piece(book, n, cmd):
    piece, = pieces_of(book, [cmd["piece"]])
    states = ("graded", "struck", "mis-struck", "hallmarked", "returned unmarked", "numbered", "spare", "returned", "bought back")
    need(piece.state in states, "not to be condemned now")
    reasons = {"unwanted"}  # page is silent: an accepted piece may be given up
    if piece.state not in ("returned unmarked", "returned", "bought back") and piece.grade != "accepted":
        reasons.add(piece.grade)
    if piece.state in ("hallmarked", "returned unmarked", "returned", "bought back"):
        reasons.add("damaged")  # page is silent: which reason fits when
    reasons |= {"mis-struck": {"mis_struck"}, "returned unmarked": {"unmarked"}}.get(piece.state, set())
    need(cmd["reason"] in reasons, "not so")
    yield
    piece.state, piece.condemned = "condemned", cmd["reason"]


@rule
def register_die(book, n, cmd):
    series = book.series.get(cmd.get("series"))
    need(cmd.get("series") is None or series, "no such series")
    need(series is None or (series.kind == "edition" and not series.closed), "no open edition")  # page is silent
    yield
    book.dies[f"die:{n}"] = Die(f"die:{n}", cmd["owner"], cmd.get("series"))


@rule
def dispose_die(book, n, cmd):
    die = book.dies.get(cmd["die"])
    need(die, "no such die")
    need(die.state == "in_use" or (die.state == "retired" and cmd["how"] == "destroyed"), "the die is gone")  # page is silent
    need(cmd["how"] != ("retired" if die.owner == "commissioner" else "returned"), "whose die it is")  # page is silent
    yield
    die.state = cmd["how"]


@rule
def strike_pieces(book, n, cmd):
    """Accepted and odd-weight pieces are struck; each use of the stamp counts."""
    die = book.dies.get(cmd["die"])
    need(die and die.state == "in_use", "the die is gone")
    for piece in pieces_of(book, [x["piece"] for x in cmd["items"]]):
        need(piece.state in ("graded", "struck"), "not to be struck now")
        goes_on(book, piece)
        need(fit(book, piece), "only accepted and odd-weight pieces are struck")
        need(die.series in (None, piece.series), "the die was cut for another edition")  # page is silent
    yield
    for item in cmd["items"]:
        piece = book.pieces[item["piece"]]
        die.strikes += 1
        piece.strikes.append(item["outcome"])
        piece.final, piece.touched = False, True
        piece.state = "struck" if item["outcome"] == "good" else "mis-struck"


@rule
def archive_piece(book, n, cmd):
    piece, = pieces_of(book, [cmd["piece"]])
    need(piece.state == "mis-struck", "only a mis-struck piece is archived")
    yield
    piece.state = "archive"

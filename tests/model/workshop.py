"""The workshop as the model keeps it: what there is, by number, and the one door by which a command is taken or refused.

A command is a plain dictionary, {"do": name, ...}; things are numbered from 0 in the order in which they came. What a
refused command would have changed is thrown away whole.
"""

from copy import deepcopy
from dataclasses import dataclass, field


class Refused(Exception):
    """The book says no; the text is the fact that forbids."""


def must(fact, text):
    """Refuses with `text` unless `fact` holds."""
    if not fact:
        raise Refused(text)


@dataclass
class Series:
    """An edition has sizes and limits; an open series has neither."""

    edition: bool
    fineness: int
    sizes: dict
    limits: tuple | None
    marking: bool
    numbered: bool = True
    on_metal: bool = False
    struck: bool = False
    spares_sold: bool = False
    closed: bool = False
    given: dict = field(default_factory=dict)


@dataclass
class Melt:
    """One crucible charge; its loss is derived when it is weighed out."""

    charge: int
    fineness: int
    owners: set
    open: bool = True
    heel: int = 0
    heel_taken: bool = False
    loss: int | None = None
    assayed: int | None = None


@dataclass
class Piece:
    """One poured object, for ever."""

    melt: int
    series: int
    shape: str
    state: str = "poured"
    verdict: str | None = None
    mass: int = 0
    from_mould: int = 0
    looks: int = 0
    session: int | None = None
    filed: int = 0
    serial: bool = False
    good_strike: bool = False
    final: int | None = None
    since_number: bool = False
    number: int | None = None
    certified: bool = False
    stated: bool = False
    marked: int | None = None
    assay: int | None = None
    reason: str | None = None
    refused_at: int | None = None
    unweighed: bool = False
    assay_loss: int = 0
    order: int | None = None
    sale: int | None = None
    before: str | None = None


@dataclass
class Order:
    """A promise, so many of each shape."""

    series: int
    counts: dict
    reserved: dict
    sold: dict
    state: str = "open"


class Workshop:
    """All that the model knows of one workshop."""

    def __init__(self):
        self.balances = []
        self.sessions = []
        self.lots = []
        self.owners = []
        self.jars = []
        self.series = []
        self.dies = []
        self.melts = []
        self.pieces = []
        self.consignments = []
        self.orders = []
        self.sales = []
        self.refinings = []

    def take(self, command, rules):
        """Takes a command (None), or says why not and changes nothing."""
        trial = deepcopy(self)
        members = {k: v for k, v in command.items() if k != "do"}
        try:
            rules[command["do"]](trial, **members)
        except Refused as refusal:
            return str(refusal)
        self.__dict__ = trial.__dict__
        return None

    def only(self, pieces, states, deed):
        """The pieces, each named once and each in one of `states`."""
        must(len(set(pieces)) == len(pieces), "a piece is named twice")
        for key in pieces:
            self.standing(key, states, deed)
        return [self.pieces[key] for key in pieces]

    def standing(self, key, states, deed):
        """The piece, if it stands in one of `states`."""
        piece = self.pieces[key]
        must(piece.state in states, f"{deed}: piece {key} is {piece.state}")
        return piece

    def weighing(self, session, mass):
        """The balance of an open session, if `mass` is written as it shows it."""
        must(self.sessions[session]["open"], "the session is closed")
        return self.balances[self.sessions[session]["balance"]]

    def finished(self, piece):
        """Whether nothing of its series has yet to touch the metal: struck if it asks for that, marked unless exempt."""
        series = self.series[piece.series]
        return (piece.good_strike or not series.struck) and (piece.marked is not None or not series.marking)

    def ready(self, piece):
        """Whether it stands before its final weighing, or between that and what follows."""
        return piece.state in {"serialled", "struck", "hallmarked"} and piece.serial and self.finished(piece)

    def fit(self, piece):
        """Whether it is accepted, by a reading that no failed check made suspect."""
        return piece.verdict == "accepted" and not self.suspect(piece)

    def suspect(self, piece):
        """Whether its last reading came in a session whose closing check failed."""
        session = self.sessions[piece.session]
        return not session["open"] and not session["held"]

    def is_better(self, session, piece):
        """Whether the balance of a session is better, at what the piece weighs, than the one that weighed it last."""
        now, before = (self.balances[self.sessions[s]["balance"]] for s in (session, piece.session))
        return now.twelve_u2(piece.mass) < before.twelve_u2(piece.mass)

    def known(self, piece):
        """The most that may be stated of its fineness: never above an assay, nor above its own mark."""
        found = [piece.assay, piece.marked if piece.marked is not None else self.melts[piece.melt].assayed]
        return min([f for f in found if f is not None], default=10_000)

"""A piece as the model knows it, and the table of who may follow whom.

What stands beside the state (who it is promised to, its number, its sale) is a member of the piece, never a state.
"""

from dataclasses import dataclass, field


class Refused(Exception):
    """The book says no; the text is the fact that forbids."""


# In whose hands a piece is decides what may happen to it.
AWAY = {"poured", "at_office", "kept", "missing", "handed_over", "dispatched", "lost", "stolen", "sent_back"}
ENDED = {"remelted", "refined", "destroyed"}
LOOSE = {"poured", "graded", "condemned", "serialled", "struck", "mis_struck", "at_office", "hallmarked", "unmarked",
         "spare", "numbered"}
MAY_BE_CONDEMNED = {"graded", "mis_struck", "unmarked", "spare", "returned", "bought_back"}


@dataclass
class Series:
    """An edition has a size and limits; an open series has neither."""

    key: int
    edition: bool
    size: int = 0
    lower: int | None = None
    upper: int | None = None
    marking: bool = True
    numbered: bool = True
    spares_sold: bool = False
    struck: bool = False
    closed: bool = False
    given: int = 0
    record: dict = field(default_factory=dict)


@dataclass
class Piece:
    """One poured object, for ever."""

    key: int
    series: Series
    melt: object
    state: str = "poured"
    verdict: str | None = None
    mass: int = 0
    serial: bool = False
    good_strike: bool = False
    marked: bool = False
    final: bool = False
    number: int | None = None
    certified: int = 0
    order: object = None
    reserved: bool = False
    sale: object = None
    before: str | None = None
    reason: str | None = None
    ident: str | None = None

    def need(self, states, what):
        """Refuses unless the piece stands in one of `states`."""
        if self.state not in states:
            raise Refused(f"{what}: the piece is {self.state}")

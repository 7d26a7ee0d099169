"""Promises and sales: what may be promised, to whom, and what becomes of a piece that was sold."""

from dataclasses import dataclass

from pieces import Refused

STOCK = {"numbered", "certified", "reserved"}


@dataclass(eq=False)
class Order:
    """A promise of `count` pieces of an edition; `sold` of them have been supplied."""

    series: object
    count: int
    state: str = "open"
    sold: int = 0
    reserved: int = 0
    ident: str | None = None

    def lacking(self):
        """What is promised and neither reserved nor sold."""
        return self.count - self.sold - self.reserved if self.state == "open" else 0


@dataclass(eq=False)
class Sale:
    """One live sale of one piece, under an order or not."""

    piece: object
    order: object = None
    live: bool = True
    ident: str | None = None


def givable(series, pieces):
    """Numbers still givable and numbered pieces unsold."""
    unsold = sum(p.series is series and p.number is not None and p.state in STOCK for p in pieces)
    return series.size - series.given + unsold


def promised(series, pieces, orders):
    """Open promises not yet sold, and reservations without an order."""
    owed = sum(o.count - o.sold for o in orders if o.series is series and o.state == "open")
    return owed + sum(p.series is series and p.reserved and p.order is None and p.state == "reserved" for p in pieces)


def within(series, pieces, orders):
    """Open promises never exceed what can still be given."""
    if series.edition and promised(series, pieces, orders) > givable(series, pieces):
        raise Refused("more would be promised than can still be numbered")


def earlier_first(order, orders):
    """First come, first served."""
    for other in orders:
        if other is order:
            return
        if other.series is order.series and other.lacking() > 0:
            raise Refused("an earlier order still lacks a piece")

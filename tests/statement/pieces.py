"""Where a piece is, told by the kinds of events about it, and where its mass goes when it is weighed again."""

# What an event makes of a piece, whatever it was before.
BECOMES = {
    "piece.condemned": "condemned",
    "piece.numbered": "numbered",
    "piece.archived": "archived",
    "piece.consigned": "at_office",
    "piece.hallmarked": "hallmarked",
    "piece.unmarked": "unmarked",
    "piece.kept": "kept",
    "piece.missing": "missing",
    "piece.spared": "spare",
    "piece.reserved": "reserved",
    "piece.sold": "sold",
    "piece.dispatched": "dispatched",
    "piece.handed_over": "delivered",
    "piece.delivered": "delivered",
    "piece.lost": "lost",
    "piece.sent_back": "sold",
    "piece.returned": "returned",
    "piece.restocked": "certified",
    "piece.bought_back": "bought_back",
}
ENDS_A_SALE = {"piece.unsold", "piece.returned", "piece.bought_back"}


class Piece:
    def __init__(self, melt):
        self.melt = melt
        self.state = "poured"
        self.mass = 0
        self.strikes = []
        self.in_sale = False
        self.before = None
        self.back_from_office = False
        self.from_mould = 0

    def hears(self, event):
        """The state after an event about the piece."""
        kind = event["kind"]
        if kind in BECOMES:
            self.state = BECOMES[kind]
        elif kind == "piece.graded" and self.state == "poured":
            self.state = "graded"
        elif kind == "piece.serialled" and self.state == "graded":
            self.state = "serialled"
        elif kind == "piece.certified" and event["issue"] == 1:
            self.state = "certified"
        elif kind == "piece.struck":
            self.strikes.append(event["outcome"])
            self.state = self.struck()
        elif kind == "piece.moved" and self.state == "unmarked":
            self.state = self.struck() if self.strikes else "serialled"
        elif kind == "piece.released":
            self.goes_back_to("reserved", "certified")
        elif kind == "piece.unsold":
            self.goes_back_to("sold", "certified")
        elif kind == "piece.found":
            self.state = "dispatched" if self.in_sale else "returned"
        elif kind in ("piece.stolen", "piece.destroyed"):
            self.before = self.before or self.state
            self.state = kind.split(".")[1]
        elif kind == "piece.recovered":
            self.state, self.before = self.before, None
        if kind in ("piece.hallmarked", "piece.unmarked"):
            self.back_from_office = True
        if kind == "piece.sold":
            self.in_sale = True
        elif kind in ENDS_A_SALE:
            self.in_sale = False

    def struck(self):
        return "struck" if set(self.strikes) == {"good"} else "mis_struck"

    def goes_back_to(self, was, becomes):
        """A stolen or destroyed piece keeps its state; what it was before changes."""
        if self.state == was:
            self.state = becomes
        elif self.before == was:
            self.before = becomes

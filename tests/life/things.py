"""What the book is about: one small class per word of the page. Facts only; the rules stand elsewhere.

A thing is known by a name such as `piece:7.2`: the second thing made by the seventh command of the sequence.
"""

from dataclasses import dataclass, field
from decimal import Decimal


@dataclass
class Scale:
    name: str
    step: Decimal
    session: str = None  # the open one


@dataclass
class Session:
    name: str
    scale: str
    state: str = "open"  # open | confirmed | failed
    suspect_now: list = field(default_factory=list)  # weighed since the last good check
    suspect: list = field(default_factory=list)  # weighed since the last good check before one that failed


@dataclass
class Owner:
    name: str
    agreed: bool = False


@dataclass
class Lot:
    name: str
    metal: str
    fineness: Decimal
    basis: str
    mass: Decimal
    left: Decimal
    owner: str = None
    outturn_of: str = None


@dataclass
class Jar:
    name: str
    metal: str
    fineness: Decimal
    residue: str  # prills | lemel | sweeps
    holds: dict = field(default_factory=dict)  # melt -> grams
    swept: Decimal = Decimal(0)

    @property
    def mass(self):
        return sum(self.holds.values(), Decimal(0))


@dataclass
class Melt:
    name: str
    metal: str
    charge: Decimal
    fineness: Decimal
    basis: str
    owners: list
    parts: list  # (metal, grams, fineness) of what went in
    variance: Decimal = Decimal(0)  # jars weighed out against what the book held
    pieces: list = field(default_factory=list)
    closed: bool = False
    heel: Decimal = None
    heel_taken: str = None
    prills: Decimal = None
    assayed: Decimal = None  # the least that an assay office found in a piece of it
    loss: Decimal = None


@dataclass
class Series:
    name: str
    code: str
    kind: str  # edition | open
    metal: str
    fineness: Decimal
    sizes: dict  # shape -> size
    limits: tuple  # (lower, upper) or None
    marking: str  # required | exempt
    unnumbered: bool = False
    number_on_metal: bool = False
    struck: bool = False
    spares_sold: bool = False
    closed: bool = False
    serials: int = 0
    numbers: dict = field(default_factory=dict)  # shape -> how many were given
    burned_at_close: list = field(default_factory=list)


@dataclass
class Piece:
    name: str
    melt: str
    series: str
    shape: str
    state: str = "poured"
    readings: list = field(default_factory=list)  # (stage, grams, session)
    grade: str = None
    fault: str = None
    filed: Decimal = Decimal(0)
    again: bool = False  # borderline, and weighed once more
    touched: bool = False  # struck since it was weighed
    finished: bool = False
    odd: bool = False  # left its edition
    condemned: str = None  # why
    remelted: str = None  # which melt
    refined: str = None  # which refining
    strikes: list = field(default_factory=list)
    consignment: str = None
    hallmark: Decimal = None  # the fineness mark
    assay: Decimal = None
    unmarked: str = None  # why
    refused_at: Decimal = None
    back: bool = False  # from the assay office, and not weighed since
    assay_loss: Decimal = Decimal(0)
    final: bool = False  # a final weighing stands after all that touched metal
    counted: Decimal = None  # the reading that its melt was weighed out with
    serial: tuple = None  # code of a series, number
    number: int = None
    issue: int = 0  # newest certificate
    stated: int = 0  # the reading that it states, counted from 1
    order: str = None
    sale: str = None
    before: str = None  # what it was before it was stolen or destroyed

    @property
    def mass(self):
        return self.readings[-1][1] if self.readings else None


@dataclass
class Die:
    name: str
    owner: str  # workshop | commissioner
    series: str = None
    state: str = "in_use"
    strikes: int = 0


@dataclass
class Consignment:
    name: str
    pieces: list
    fineness: Decimal
    mass: Decimal
    outcomes: list = field(default_factory=list)

    @property
    def state(self):
        return "returned" if self.outcomes else "at_office"


@dataclass
class Order:
    name: str
    series: str
    counts: dict  # shape -> how many
    reserved: dict
    sold: dict
    cancelled: bool = False

    @property
    def state(self):
        if self.cancelled:
            return "cancelled"
        return "supplied" if all(self.sold[s] >= n for s, n in self.counts.items()) else "open"


@dataclass
class Sale:
    name: str
    pieces: list
    order: str = None
    undone: list = field(default_factory=list)


@dataclass
class Refining:
    name: str
    metal: str
    mass: Decimal
    pieces: list
    jars: list
    owners: list
    outturn: str = None
    settled: Decimal = None
    loss: Decimal = None
    variance: Decimal = Decimal(0)

    @property
    def state(self):
        return "at_refiner" if self.loss is None else "returned"

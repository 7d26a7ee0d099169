"""Weights and how they are judged, written a second time with whole numbers only.

A mass is a whole number of steps of 10 micrograms; on the wire it is a decimal string of grams. There is no float here.
"""

from math import isqrt

STEPS_PER_GRAM = 100_000
CENT = 1_000


def steps(text):
    """Reads grams written as a decimal ("50.42") as steps of 10 micrograms."""
    sign, text = (-1, text[1:]) if text.startswith("-") else (1, text)
    whole, _, part = text.partition(".")
    assert len(part) <= 5, f"{text} is finer than a step"
    return sign * (int(whole) * STEPS_PER_GRAM + int(part.ljust(5, "0")))


def grams(mass, digits=2):
    """Writes steps as grams with so many digits after the point, as a balance shows them."""
    unit = 10 ** (5 - digits)
    assert mass >= 0 and mass % unit == 0, f"{mass} steps have more than {digits} digits"
    return f"{mass // STEPS_PER_GRAM}.{mass % STEPS_PER_GRAM // unit:0{digits}d}"


class Balance:
    """A verified balance whose interval e is its step d, in service (OIML R 76-1:2006, Table 6 and 3.5.2)."""

    BANDS = {"I": (50_000, 200_000), "II": (5_000, 20_000)}

    def __init__(self, accuracy, digits, repeatability):
        self.accuracy = accuracy
        self.digits = digits
        self.division = 10 ** (5 - digits)
        self.repeatability = repeatability

    def limit(self, load):
        """The maximum permissible error in service at this load, in steps: twice 0.5 e, 1 e or 1.5 e."""
        first, second = (n * self.division for n in self.BANDS[self.accuracy])
        return self.division * (1 if load <= first else 2 if load <= second else 3)

    def holds(self, nominal, reading):
        """Whether a check weighing is within the limit."""
        return abs(reading - nominal) <= self.limit(nominal)

    def twelve_u2(self, load):
        """12 u^2 at a load: u^2 = MPE^2/3 + s^2 + 2 d^2/12."""
        return 4 * self.limit(load) ** 2 + 12 * self.repeatability**2 + 2 * self.division**2

    def guard(self, load):
        """w = 1.645 u (JCGM 106:2012, one-sided 5 %), rounded up to the division."""
        square = -(-(1_645**2) * self.twelve_u2(load) // 12_000_000)
        root = isqrt(square - 1) + 1
        return -(-root // self.division) * self.division

    def verdict(self, reading, limits):
        """accepted, under, over or borderline; without limits nothing is outside them."""
        if limits is None:
            return "accepted"
        lower, upper = limits
        band = self.guard(reading)
        if reading <= lower - band:
            return "under"
        if reading >= upper + band:
            return "over"
        return "accepted" if lower + band <= reading <= upper - band else "borderline"

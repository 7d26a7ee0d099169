"""Weights and how they are judged, written a second time with whole numbers only.

A mass is a whole number of steps of 10 micrograms; on the wire it is a decimal string of grams. There is no float here.
"""

from math import isqrt

STEPS_PER_GRAM = 100_000


def steps(text):
    """Reads grams written as a decimal ("50.42") as steps of 10 micrograms."""
    sign, text = (-1, text[1:]) if text.startswith("-") else (1, text)
    whole, _, part = text.partition(".")
    assert len(part) <= 5, f"{text} is finer than a step"
    return sign * (int(whole) * STEPS_PER_GRAM + int(part.ljust(5, "0")))


def grams(mass):
    """Writes steps as grams with two decimals, as a balance of 0.01 g shows them."""
    assert mass % 1000 == 0, f"{mass} steps are no hundredth of a gram"
    sign, mass = ("-", -mass) if mass < 0 else ("", mass)
    return f"{sign}{mass // STEPS_PER_GRAM}.{mass % STEPS_PER_GRAM // 1000:02d}"


class Scale:
    """A class II balance whose verification interval e is its division d, in service (OIML R 76-1:2006, Table 6 and 3.5.2)."""

    def __init__(self, division, repeatability):
        self.division = division
        self.repeatability = repeatability

    def limit(self, load):
        """The maximum permissible error in service at this load, in steps."""
        if load <= 5_000 * self.division:
            return self.division
        if load <= 20_000 * self.division:
            return 2 * self.division
        return 3 * self.division

    def guard(self, load):
        """w = 1.645 u (JCGM 106:2012, 5 % one-sided), rounded up to the division; u as the square root of
        MPE^2/3 + s^2 + 2 d^2/12."""
        twelve_u2 = 4 * self.limit(load) ** 2 + 12 * self.repeatability**2 + 2 * self.division**2
        # 1.645^2 u^2 = 2706025 * twelve_u2 / 12e6; the root is taken of a whole number, rounded up.
        square = -(-2_706_025 * twelve_u2 // 12_000_000)
        root = isqrt(square - 1) + 1 if square else 0
        return -(-root // self.division) * self.division

    def verdict(self, reading, lower, upper):
        """accepted, under, over or borderline; a limit of None is not there."""
        band = self.guard(reading)
        if lower is not None and reading <= lower - band:
            return "under"
        if upper is not None and reading >= upper + band:
            return "over"
        if lower is not None and reading < lower + band:
            return "borderline"
        if upper is not None and reading > upper - band:
            return "borderline"
        return "accepted"

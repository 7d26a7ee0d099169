"""Grams and finenesses, exact: everything is a decimal number, nothing is ever rounded by accident."""

from decimal import ROUND_DOWN, Decimal


def grams(text):
    """The mass that a text states."""
    return Decimal(text)


def text(amount):
    """A mass or fineness as the service takes it: no exponent, two decimals at least."""
    plain = format(amount.normalize(), "f")
    whole, _, rest = plain.partition(".")
    return whole + "." + (rest + "00")[:max(2, len(rest))]


def blend(parts):
    """The fineness of a mixture of (mass, fineness of the metal in question), rounded down to a tenth."""
    mass = sum((m for m, _ in parts), Decimal(0))
    fine = sum((m * f for m, f in parts), Decimal(0))
    return (fine / mass).quantize(Decimal("0.1"), rounding=ROUND_DOWN)

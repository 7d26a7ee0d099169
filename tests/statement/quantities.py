"""Whole numbers for what a log writes in decimals: a mass in steps of 10 micrograms, a fineness in ten-thousandths of a
part per thousand. Their product is a fine mass in picograms."""

from decimal import Decimal


def mass(text):
    return whole(text, 100_000)


def fineness(text):
    return whole(text, 10_000)


def whole(text, steps):
    count = Decimal(text) * steps
    assert count == count.to_integral_value(), text
    return int(count)


def grams(steps):
    """A mass as the statement writes it: at least two decimals, none more than needed."""
    return shown(steps, 5, 2)


def fine_grams(picograms):
    return shown(picograms, 12, 2)


def shown(count, decimals, least):
    sign = "-" if count < 0 else ""
    digits = f"{abs(count):0{decimals + 1}d}"
    before, after = digits[:-decimals], digits[-decimals:]
    while len(after) > least and after.endswith("0"):
        after = after[:-1]
    return f"{sign}{before}.{after}"

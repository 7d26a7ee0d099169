"""The exact calculators computed anew: `fractions` and `decimal` of the standard library, `pint` for units.

Some thousands of random questions go into `pourbook reckon`, one line each, and every answer and every refusal is held
against what is computed here from the formulas alone.
"""

import os
import random
from decimal import Context, Decimal
from fractions import Fraction

import pint
from asking import answers

COUNT = int(os.environ.get("CASES", "1000"))
RULES = ["down", "half-up", "up"]
WIDE = Context(prec=200)
OUNCE = Fraction("31.1034768")
# Asked for the ratio of units only, which it holds exactly, as fractions of its own definitions.
REGISTRY = pint.UnitRegistry(non_int_type=Fraction)
UNITS = {"mg": "milligram", "g": "gram", "kg": "kilogram", "gr": "grain", "dwt": "pennyweight", "ozt": "troy_ounce"}


def rounded(value, decimals, rule):
    """A fraction with so many decimals, rounded once."""
    scaled = value * 10**decimals
    count = scaled.numerator // scaled.denominator
    rest = scaled - count
    if rest and (rule == "up" or (rule == "half-up" and rest >= Fraction(1, 2))):
        count += 1
    return Decimal(count).scaleb(-decimals, WIDE)


def digits(chance, whole, decimals):
    count = chance.randint(0, decimals)
    text = str(chance.randint(0, 10 ** chance.randint(1, whole) - 1))
    return text if not count else text + "." + "".join(str(chance.randint(0, 9)) for _ in range(count))


def fineness(chance):
    return str(Decimal(chance.randint(1, 10_000_000)).scaleb(-4))


def plain(value):
    """A decimal without an exponent."""
    return format(value, "f")


def convert(chance):
    amount, start, end = digits(chance, 6, 5), chance.choice(list(UNITS)), chance.choice(list(UNITS))
    decimals, rule = chance.randint(0, 9), chance.choice(RULES)
    question = {"amount": amount, "from": start, "to": end, "decimals": decimals, "rounding": rule}
    factor = REGISTRY.Quantity(Fraction(1), UNITS[start]).to(UNITS[end]).magnitude
    exact = Fraction(amount) * Fraction(factor)
    expected = {"result": plain(rounded(exact, decimals, rule)), "exact": f"{exact.numerator}/{exact.denominator}"}
    return question, expected


def blend(chance):
    parts = [(digits(chance, 4, 5), chance.choice([fineness(chance), "alloy"])) for _ in range(chance.randint(1, 6))]
    question = {"parts": [f"{mass}@{parts_of}" for mass, parts_of in parts]}
    mass = sum(Fraction(mass) for mass, _ in parts)
    if not mass:
        return question, None
    fine = sum(Fraction(mass) * (0 if of == "alloy" else Fraction(of)) / 1000 for mass, of in parts)
    exact = fine / mass
    floor = rounded(exact * 1000, 1, "down")
    return question, {"exact": f"{exact.numerator}/{exact.denominator}", "fineness": plain(floor)}


def bar(chance):
    """Gold to 0.025 ounces down where it is 0.002 over, silver to 0.1 down; fine weight half up to 0.001."""
    metal, weighed = chance.choice(["gold", "silver"]), Decimal(chance.randint(0, 10**6)).scaleb(-3)
    of = Decimal(chance.randint(1, 10_000)).scaleb(-1)
    over, step = (Fraction("0.002"), Fraction("0.025")) if metal == "gold" else (Fraction(0), Fraction("0.1"))
    gross = max((Fraction(weighed) - over) // step, 0) * step
    fine = gross * Fraction(of) / 1000
    question = {"metal": metal, "weighed": plain(weighed), "fineness": plain(of)}
    return question, {
        "gross": plain(rounded(gross, 3, "down")), "fine": plain(rounded(fine, 3, "half-up")),
        "exact": f"{fine.numerator}/{fine.denominator}",
    }


def price(chance):
    metal, rule = chance.choice(["silver", "gold", "platinum", "palladium"]), chance.choice(RULES)
    mass, of = digits(chance, 4, 5), fineness(chance)
    by_fine = chance.random() < 0.3
    spot = Decimal(chance.randint(1, 10**7)).scaleb(-chance.randint(0, 4))
    premium = Decimal(chance.randint(-100_0000, 300_0000)).scaleb(-4)
    fees = Decimal(chance.randint(0, 10**5)).scaleb(-2)
    weight, decimals = chance.choice([("ozt-0.001", 3), ("ozt-0.0001", 4), ("gram", None)]), chance.randint(0, 4)
    question = {
        "metal": metal, "mass": mass, "fineness": of, "by_fine_weight": by_fine, "spot": f"{plain(spot)} GBP",
        "premium_percent": plain(premium) if premium else "0", "fees": f"{plain(fees)} GBP", "weight": weight[0],
        "vat": "standard", "day": "2026-11-25", "rounding": rule, "decimals": decimals,
    }
    if not Fraction(mass):
        return question, None
    ounces = Fraction(mass) * (Fraction(of) / 1000 if by_fine else 1) / OUNCE
    if weight[1] is not None:
        ounces = Fraction(rounded(ounces, weight[1], "down"))
    exact = ounces * Fraction(spot) * (1 + Fraction(premium) / 100) + Fraction(fees)
    net = rounded(exact, decimals, rule)
    vat = rounded(Fraction(net) * Fraction(20, 100), decimals, rule)
    gross = WIDE.add(net, vat)
    return question, {name: f"{plain(value)} GBP" for name, value in (("net", net), ("vat", vat), ("gross", gross))}


def vat(chance):
    gross = Decimal(chance.randint(0, 10**8)).scaleb(-2)
    day, rate = chance.choice([("2010-06-01", Fraction(175, 10)), ("2026-11-25", Fraction(20))])
    rule = chance.choice(RULES)
    question = {"gross": f"{plain(gross)} GBP", "day": day, "rounding": rule}
    return question, {"vat": f"{plain(rounded(Fraction(gross) * rate / (100 + rate), 2, rule))} GBP"}


def raised(chance):
    """One lot without an end: the closed formula m2 = m1 (f - f1) / (f2 - f), rounded to the step."""
    grams, before = Decimal(chance.randint(1, 10**7)).scaleb(-2), Decimal(chance.randint(1, 9999)).scaleb(-1)
    target, added = Decimal(chance.randint(1, 9999)).scaleb(-1), Decimal(chance.randint(0, 10000)).scaleb(-1)
    step = chance.choice(["0.01", "0.1", "1"])
    question = {
        "charge": [f"{plain(grams)}@{before}"], "standard": str(target),
        "lots": [str(added) if added else "alloy"], "step": step,
    }
    if before == target:
        return question, {"direction": "nothing", "added": "0.00"}
    raises = before < target
    if (added <= target) if raises else (added >= target):
        return question, None
    exact = Fraction(grams) * (Fraction(target) - Fraction(before)) / (Fraction(added) - Fraction(target))
    steps = rounded(exact / Fraction(step), 0, "up" if raises else "down")
    if Fraction(steps) * Fraction(step) > 10**8:
        return question, None
    mass = Fraction(steps) * Fraction(step)
    direction = ("raise" if raises else "lower") if steps else "nothing"
    return question, {"direction": direction, "added": plain(rounded(mass, 2, "down"))}


def main():
    chance = random.Random(int(os.environ.get("SEED", "1")))
    makers = {"convert": convert, "blend": blend, "bar": bar, "price": price, "vat": vat, "raise": raised}
    asked = [(word, *make(chance)) for _ in range(COUNT) for word, make in makers.items()]
    answered = answers([{word: question} for word, question, _ in asked])
    refused = 0
    for (word, question, expected), told in zip(asked, answered, strict=True):
        if expected is None:
            assert "refused" in told, (word, question, told)
            refused += 1
            continue
        answer = told.get("answer")
        assert answer is not None, (word, question, told, expected)
        for name, value in expected.items():
            assert answer[name] == value, (word, question, name, answer[name], value)
    print(f"{len(asked)} questions ({refused} of them impossible) are answered as fractions, decimal and pint compute them")


main()

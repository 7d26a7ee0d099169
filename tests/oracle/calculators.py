"""The statistics computed anew by `scipy`, `numpy` and `uncertainties`, over a few thousand random questions.

One process of the program is asked through `pourbook reckon`, one line of JSON each. Nothing of its formulas is used here:
chances come from `scipy.stats`, the first-order uncertainty of a density from `uncertainties`, and for some also from drawing
a hundred thousand weighings with `numpy`.
"""

import math
import os
import random
from decimal import Decimal

import numpy
from asking import answers
from scipy import stats
from uncertainties import ufloat

SEED = int(os.environ.get("SEED", "20260921"))
CASES = 800


def grams(chance, low, high, decimals=2):
    return f"{Decimal(chance.randint(low * 10**decimals, high * 10**decimals)).scaleb(-decimals):f}"


def near(found, wanted, within, what):
    assert abs(float(found) - wanted) <= within, f"{what}: {found}, not {wanted}"


# Water, kg/m3, a table and no formula: computed elsewhere from M. Tanaka et al., Metrologia 38 (2001) 301; the figures for 20
# and 25 degrees are those that published tables print.
WATER = {0: 999.8428, 4: 999.9749, 10: 999.7027, 15: 999.1026, 20: 998.2067, 25: 997.0470, 30: 995.6488, 40: 992.2152}


def gravity(chance):
    degrees = chance.choice(list(WATER))
    step, decimals = chance.choice([("0.01", 2), ("0.1", 1), ("0.001", 3)])
    air = grams(chance, 5, 500, decimals)
    density = chance.uniform(7.0, 20.0)
    gain = Decimal(float(air) / density).quantize(Decimal(step))
    if gain <= 0 or gain >= Decimal(air):
        gain = Decimal(step)
    question = {"air": air, "step": step, "water": str(degrees)}
    if chance.random() < 0.5:
        question["gain"] = f"{gain:f}"
    else:
        question["in_water"] = f"{Decimal(air) - gain:f}"

    def check(answer):
        w, d, s, rho = float(air), float(gain), float(step), WATER[degrees] / 1000
        wanted = w * (rho - 0.0012) / d + 0.0012
        # The table has seven digits.
        near(answer["density"], wanted, 0.00006 + wanted * 2e-7, question)
        weighing = math.sqrt(s * s * (2 / 12 + 0.36 + 1 / 3))
        weighed = ufloat(w, weighing)
        displaced = ufloat(d, math.hypot(weighing, 0.01))
        first = 2 * (weighed * (rho - 0.0012) / displaced).std_dev
        # The program adds half a degree of water and the second-order term, which only make it larger.
        curved = 2 * wanted * math.sqrt(8) * (displaced.std_dev / d) ** 2
        water = 2 * wanted * 0.0002
        found = float(answer["uncertainty"])
        assert found >= first * 0.999, f"{question}: {found} < {first}"
        assert found <= math.sqrt(first**2 + curved**2 + water**2) + 0.003, f"{question}: {found} > {first}"
        least = max(2.0, 200 * s)
        fine = answer["scale"] == "fine-enough"
        assert fine == (d >= least - 1e-9), question
        if fine and chance.random() < 0.02:
            draws = numpy.random.default_rng(SEED).normal(size=(2, 100_000))
            drawn = (w + weighing * draws[0]) * (rho - 0.0012) / (d + displaced.std_dev * draws[1])
            near(found, 2 * drawn.std(), 0.02 * found + water + 0.001, question)

    return {"gravity": question}, check


def chance_of(shape, pours, prior):
    """The chance that so many pours fill a shape's quota."""
    wanted = shape["wanted"]
    if "yield" in shape:
        return stats.binom.sf(wanted - 1, pours, float(shape["yield"]))
    good = shape["good"] + prior[0]
    bad = shape["poured"] - shape["good"] + prior[1]
    return stats.betabinom.sf(wanted - 1, pours, good, bad) if pours else float(wanted == 0)


def plan(chance):
    shapes = []
    for name in range(chance.randint(1, 3)):
        shape = {"shape": f"shape{name}", "wanted": chance.randint(0, 40)}
        if chance.random() < 0.5:
            shape["yield"] = f"{chance.uniform(0.2, 1.0):.3f}"
        else:
            shape["poured"] = chance.randint(0, 60)
            shape["good"] = chance.randint(shape["poured"] // 3, shape["poured"])
            # Nothing known at all needs a great many pours.
            shape["poured"] += 6
            shape["good"] += 6
        shapes.append(shape)
    prior = chance.choice([(1.0, 1.0), (0.5, 0.5), (7.0, 3.0)])
    confidence = chance.choice(["0.5", "0.8", "0.9", "0.95", "0.99"])
    question = {
        "shapes": shapes,
        "confidence": confidence,
        "prior": f"{prior[0]:g}:{prior[1]:g}",
        "cavities": chance.randint(1, 9),
        "melts": chance.randint(0, 12),
    }

    def check(answer):
        confident = float(confidence)
        product = 1.0
        for shape, told in zip(shapes, answer["shapes"]):
            alone, pours = told["alone"], told["pours"]
            assert chance_of(shape, alone, prior) >= confident - 1e-9, (question, told)
            if alone > shape["wanted"]:
                assert chance_of(shape, alone - 1, prior) < confident + 1e-9, (question, told)
            if "yield" in shape and shape["wanted"] and float(shape["yield"]) < 1:
                quantile = shape["wanted"] + stats.nbinom.ppf(confident, shape["wanted"], float(shape["yield"]))
                assert abs(alone - quantile) <= 1, (question, told, quantile)
            product *= chance_of(shape, pours, prior)
        near(answer["chance"], product, 2e-6, question)
        assert product >= confident - 1e-9, question
        # Fewer of any one shape would not do.
        for at, (shape, told) in enumerate(zip(shapes, answer["shapes"])):
            fewer = math.prod(
                chance_of(other, given["pours"] - (place == at), prior)
                for place, (other, given) in enumerate(zip(shapes, answer["shapes"]))
            )
            if told["pours"] > shape["wanted"]:
                assert fewer < confident + 1e-9, (question, told)
        within = question["cavities"] * question["melts"]
        most = pooled(shapes, within, prior)
        near(answer["within_most"], most, 2e-6, question)
        assert float(answer["within_least"]) <= most + 2e-6, question
        if len(shapes) == 1:
            near(answer["within_least"], most, 2e-6, question)

    return {"plan": question}, check


def pooled(shapes, pours, prior):
    """The chance that the pours that each shape needs, poured just until it is full, are together no more than these."""
    bad = numpy.zeros(max(0, pours - sum(shape["wanted"] for shape in shapes)) + 1)
    if pours < sum(shape["wanted"] for shape in shapes):
        return 0.0
    bad[0] = 1.0
    for shape in shapes:
        wanted = shape["wanted"]
        sums = numpy.array([chance_of(shape, wanted + more, prior) for more in range(len(bad))])
        terms = numpy.diff(sums, prepend=0.0)
        bad = numpy.convolve(bad, terms)[: len(bad)]
    return bad.sum()


def conformity(chance):
    lower = Decimal(chance.randint(1000, 30000)).scaleb(-2)
    step = chance.choice(["0.01", "0.1"])
    reading = (lower + Decimal(chance.randint(-40, 300)).scaleb(-2)).quantize(Decimal(step))
    upper = lower + Decimal(chance.randint(1, 400)).scaleb(-2)
    error, s = grams(chance, 0, 1, 3), grams(chance, 0, 1, 3)
    question = {"reading": f"{reading:f}", "lower": f"{lower:f}", "step": step, "error": error, "repeatability": s}
    if chance.random() < 0.7:
        question["upper"] = f"{upper:f}"

    def check(answer):
        u = math.sqrt(float(error) ** 2 / 3 + float(s) ** 2 + float(step) ** 2 / 6)
        near(answer["standard_uncertainty"], u, 1.1e-6, question)
        high = float(upper) if "upper" in question else math.inf
        x = float(reading)
        wanted = stats.norm.cdf((high - x) / u) - stats.norm.cdf((float(lower) - x) / u)
        near(answer["probability"], min(max(wanted, 1e-6), 1 - 1e-6), 1e-6, question)
        for name, factor in [("guard_band", 1.645), ("uncertainty", 2)]:
            steps = float(answer[name]) / float(step)
            assert abs(steps - round(steps)) < 1e-6 and steps + 1e-9 >= factor * u / float(step), (question, name)
            assert steps - 1 < factor * u / float(step) + 1e-9, (question, name)
        guard = Decimal(answer["guard_band"])
        if reading >= lower + guard and ("upper" not in question or reading <= upper - guard):
            grade = "accepted"
        elif reading <= lower - guard:
            grade = "under"
        elif "upper" in question and reading >= upper + guard:
            grade = "over"
        else:
            grade = "borderline"
        assert answer["grade"] == grade, (question, answer)

    return {"conformity": question}, check


def comparison(chance):
    first = Decimal(chance.randint(1000, 30000)).scaleb(-2)
    second = first + Decimal(chance.randint(-40, 40)).scaleb(-2)
    u1, u2 = (f"{chance.uniform(0.001, 0.3):.3f}" for _ in range(2))
    question = {"first": f"{first:f}", "first_uncertainty": u1, "second": f"{second:f}", "second_uncertainty": u2}

    def check(answer):
        # Half the expanded uncertainty is one deviation; E_n is half of the difference in deviations.
        difference = ufloat(float(second), float(u2) / 2) - ufloat(float(first), float(u1) / 2)
        wanted = difference.nominal_value / difference.std_dev / 2
        near(answer["normalised_error"], wanted, 6e-5 + abs(wanted) * 1e-9, question)
        size = abs(wanted)
        if min(abs(size - 1), abs(size - 1.5)) > 1e-9:
            verdict = "agree" if size < 1 else "repeat-on-another-scale" if size < 1.5 else "do-not-agree"
            assert answer["verdict"] == verdict, (question, answer)

    return {"comparison": question}, check


def main():
    chance = random.Random(SEED)
    asked = [make(chance) for make in (gravity, plan, conformity, comparison) for _ in range(CASES)]
    told = answers([question for question, _ in asked])
    for (question, check), answer in zip(asked, told):
        assert "answer" in answer, f"{question}: {answer}"
        check(answer["answer"])
    print(f"{len(asked)} answers of the calculators agree with scipy, numpy and uncertainties (SEED={SEED})")


main()

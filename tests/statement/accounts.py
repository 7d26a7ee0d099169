"""The accounts of a workshop's metal: every movement takes from one and gives to another, in mass and in fine mass.

An account is (metal, heading). Nothing is ever put into one alone, so all accounts of a metal together are zero, always;
what a statement says is what stands in each of them.
"""

from collections import defaultdict

OUTSIDE = "received"  # Where metal comes from: its account is what was received, below zero.
REVALUATION = "revaluation"


class Accounts:
    def __init__(self):
        self.mass = defaultdict(int)
        self.fine = defaultdict(int)

    def move(self, metal, source, target, mass, fineness):
        """Moves a mass at one fineness."""
        self.revalued_move(metal, (source, fineness), (target, fineness), mass)

    def revalued_move(self, metal, source, target, mass):
        """Moves a mass that is reckoned at another fineness where it goes; the difference is revaluation."""
        (source, left_at), (target, came_at) = source, target
        self.mass[metal, source] -= mass
        self.mass[metal, target] += mass
        self.fine[metal, source] -= mass * left_at
        self.fine[metal, target] += mass * came_at
        self.fine[metal, REVALUATION] += mass * (left_at - came_at)

    def difference(self, metal):
        """What all accounts of a metal come to: zero, or this program forgot something."""
        masses = sum(mass for (of, _), mass in self.mass.items() if of == metal)
        fine = sum(fine for (of, _), fine in self.fine.items() if of == metal)
        return masses, fine

    def amount(self, metal, heading):
        return self.mass.get((metal, heading), 0), self.fine.get((metal, heading), 0)

    def headings(self, metal):
        both = set(self.mass) | set(self.fine)
        return sorted(heading for of, heading in both if of == metal)

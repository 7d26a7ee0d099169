"""How a rule is written: a function in two halves. Above its `yield` it may refuse; below, it changes the book."""

RULES = {}


class Refused(Exception):
    """The command is against the rules; the text names the fact that forbids it."""


def rule(function):
    """Registers a rule under the name of its command."""
    RULES[function.__name__] = function
    return function


def need(holds, why):
    """Refuses unless it holds."""
    if not holds:
        raise Refused(why)


def once(names):
    """Refuses a list that names something twice."""
    need(len(set(names)) == len(names), "named twice")

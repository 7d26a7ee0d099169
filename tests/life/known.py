"""Where the service goes another way than the page, on purpose (DEVELOPERS.md says why). Each has a name, by which a run can
keep away from it."""

# The service does what the page forbids: name -> the words with which the model refuses. The generator asks for nothing like it.
DONE_ANYWAY = {
    "move_accepted": "odd-weight is outside the limits",
    "borderline_again": "borderline may be weighed once more on a better scale",
    "finish_again": "only over may be finished again",
    "lemel_in_charge": "heel + prills: no lemel",
    "resubmit_same": "resubmitted at a lower standard",
}

# The service refuses what the page allows: name -> the words with which it does. Nothing happens then, in neither; the
# sequence goes on.
REFUSED_ANYWAY = {
    "destroy_poured": "is poured, so it cannot be destroyed",
    "steal_poured": "is poured, so it cannot be stolen",
    "refiner_brings_more": "g are accounted for",
}

KNOWN = {**DONE_ANYWAY, **REFUSED_ANYWAY}


def done_anyway(why, avoid):
    """Whether the model refuses for a reason that the service is known not to mind."""
    return any(name in avoid and words in why for name, words in DONE_ANYWAY.items())


def refused_anyway(detail, avoid):
    """Whether the service refuses for a reason that is known to be none by the page."""
    return any(name in avoid and words in detail for name, words in REFUSED_ANYWAY.items())

"""Clock references: their form, and whether two of them meet."""

from figures import covered, hour_valid


def form_right(clock):
    keys = set(clock) - {"extensions"}
    return keys in ({"at"}, {"from", "to"})


def hours_right(clock):
    return all(hour_valid(clock[key]) for key in ("at", "from", "to") if key in clock)


def meet(first, second):
    """Whether two clock references meet on the wall."""
    if first is None or second is None:
        return True
    arcs = []
    for clock in (first, second):
        if not form_right(clock):
            return False
        # A point is an arc of no hours.
        arcs.append(
            (clock["at"], 0)
            if "at" in clock
            else (clock["from"], covered(clock["from"], clock["to"]))
        )
    (one, wide), (two, broad) = arcs
    if wide == 0 and broad == 0:
        return (one - two) % 12 == 0
    if wide == 0:
        return (one - two) % 12 <= broad
    if broad == 0:
        return (two - one) % 12 <= wide
    return (two - one) % 12 < wide or (one - two) % 12 < broad

"""The rules that this reader claims: every function marked with `rule` is one."""

CLAIMED = {}


def rule(severity, name=None):
    """Claims a rule. It yields (pointer, facts) for every finding in a survey."""

    def claim(function):
        CLAIMED[name or function.__name__.replace("_", "-")] = severity, function
        return function

    return claim

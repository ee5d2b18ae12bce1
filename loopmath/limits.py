"""Every limit of an answer that speeds can break, and how far it is kept."""

from typing import Any, NamedTuple

import numpy as np

from loopmath import rules
from loopmath.solution import Solution


class Limit(NamedTuple):
    """
    One limit and how far it is kept.

    `kind` says what the margin is: "difference" [K], "sound" [dB] or "share"; a positive margin keeps the limit, and
    NaN stands where no temperature can be stated.
    """

    name: str
    kind: str
    margin: Any


SOUND = "sound limit"
#: Quantity of a fact whose limit is its own -> what the limit is called.
_OWN = {
    "coolant against your limit": "coolant limit",
    "sound against your limit": SOUND,
    "coolant against pump limit": "coolant limit of {where}",
    "coolant against tube limit": "coolant limit of {where}",
}
#: Quantity of a fact that is a margin already.
_MARGINS = {
    "component below its limit by": "limit of {where}",
    "tube below softening by": "softening of {where}",
}
FLOW, DATA = "least flow", "data of the coolant"


def least_flow() -> float:
    """Return the flow below which the rules warn of danger to what is cooled. [m3/s]"""
    grave = [r for r in rules.rules() if r.quantity == "loop flow" and r.signal in ("danger", "warning")]
    return max(rule.limit for rule in grave if rule.compare == "below")


def limits(solution: Solution) -> list[Limit]:
    """Return every limit the speeds can break, for one design or N."""
    least = least_flow()
    out = []
    for fact in solution.facts:
        if fact.quantity in _OWN:
            kind = "sound" if fact.quantity.startswith("sound") else "difference"
            out.append(Limit(_OWN[fact.quantity].format(where=fact.where), kind, fact.limit - fact.value))
        elif fact.quantity in _MARGINS:
            out.append(Limit(_MARGINS[fact.quantity].format(where=fact.where), "difference", fact.value))
        elif fact.quantity == "loop flow":
            out.append(Limit(FLOW, "share", fact.value / least - 1.0))
        elif fact.quantity == "branch flow":
            whole = np.maximum(solution.state["flow"], 1e-12)
            out.append(Limit(f"flow of {fact.where}", "share", fact.value / whole))
    plan = solution.plan
    out.append(Limit(DATA, "difference", plan.coolant.high - solution.state["coolant_warmest"]))
    if solution.designs is None:
        return [one._replace(margin=float(one.margin)) for one in out]
    return [one._replace(margin=np.broadcast_to(one.margin, (solution.designs,))) for one in out]


def margins(solution: Solution) -> dict[str, Any]:
    """
    Return how far every limit is kept: [K] of temperatures, [dB] of sound, share of the least flow.

    Positive keeps it, negative breaks it, NaN is not known. `limits` tells which unit each margin has.
    """
    return {limit.name: limit.margin for limit in limits(solution)}

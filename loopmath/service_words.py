"""Build order and service access in words and tables: one view of a plan at a time."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from loopmath import access, build_order
from loopmath import loop as tree
from loopmath.access import Access
from loopmath.build_order import BuildOrder, listed
from loopmath.checks import one_of
from loopmath.height_words import spread
from loopmath.plan import Plan
from loopmath.units import DISPLAY, show

ORDER, REACHED = "in which order it is built", "how each part is reached"
VIEWS = (ORDER, REACHED)
NOT_KNOWN = "not known"


@dataclass(frozen=True, eq=False)
class Served:
    """A view of a plan: one of `VIEWS`, the order it is built in, and how each part is reached."""

    view: str
    plan: Plan
    order: BuildOrder
    reached: tuple[Access, ...] = ()


def look(view: str, plan: Plan) -> Served:
    """
    Work a view of a plan out.

    Raises
    ------
    InputError
        If the view is unknown, the plan has N designs, or what it wants in before what names nothing of it.
    """
    one_of("view", view, VIEWS)
    order = build_order.build_order(plan)
    return Served(view, plan, order, access.accesses(plan) if view == REACHED else ())


def sentence(seen: Served, system: str = "metric") -> str:
    """Return a view in a few sentences a builder would say."""
    if seen.view == ORDER:
        steps, now = seen.order.steps, [step.name for step in seen.order.steps if step.hidden_by]
        tubes = [step.name for step in steps if step.kind == build_order.TUBE]
        words = f"{len(steps)} steps"
        words += f"; the first tube is {tubes[0]}, the last {tubes[-1]}." if tubes else "."
        if now:
            words += f" Check these joints before the next thing hides them: {listed(now)}."
        wrong = len(seen.order.contradictions)
        return words + (f" {wrong} contradiction{'s' * (wrong != 1)}: see below." if wrong else "")
    known = [one for one in seen.reached if not np.isnan(one.score)]
    if not known:
        return "No part has a place in the plan, so nothing can be said of how it is reached."
    worst, most = min(known, key=lambda one: one.score), max(_parts(known), key=lambda one: one.siphoned)
    first = f"{len(worst.first)} thing{'s' * (len(worst.first) != 1)} come out first" if worst.first else ""
    first = first.replace("thing come", "thing comes") or "nothing is in its way"
    if not worst.found:
        first = "no straight way out was found"
    words = f"Hardest to service is {worst.name}: {first}, score {worst.score:.0f} of 100. "
    words += f"Most coolant is lost at {most.name}, {spread(most.lost, most.siphoned, system)}"
    drained = [one for one in _parts(known) if not np.isnan(one.drained)]
    if not drained:
        return f"{words}."
    last = max(drained, key=lambda one: one.drained)
    return f"{words}; after draining, {show(last.drained, 'volume', system)} at {last.name}."


def _parts(known: list[Access]) -> list[Access]:
    """Return all but dead legs: a drain is opened to let the loop out, and that it does is no finding."""
    return [one for one in known if one.kind != tree.DeadLeg.kind] or known


def notes(seen: Served) -> list[str]:
    """Return what else is to be said: contradictions, what has no place, what was assumed."""
    if seen.view == ORDER:
        return [*(one.words for one in seen.order.contradictions), *seen.order.missing]
    out = [access.FORMULA, access.ASSUMED]
    if any(np.isnan(one.drained) and not np.isnan(one.lost) for one in seen.reached):
        out.append("The plan has no drain: the points for what is lost after draining go by what is lost without.")
    return [*out, *seen.order.missing]


def readouts(seen: Served, system: str = "metric") -> list[tuple[str, str]]:
    """Return what stands under the drawing: what, and how much."""
    if seen.view == ORDER:
        kinds = [step.kind for step in seen.order.steps]
        return [
            ("steps", str(len(kinds))),
            ("tubes to fit", str(kinds.count(build_order.TUBE))),
            ("to be right before the loop closes", str(sum(bool(step.hidden_by) for step in seen.order.steps))),
            ("contradictions", str(len(seen.order.contradictions))),
        ]
    known = [one for one in seen.reached if not np.isnan(one.lost)]
    drained = [one.drained for one in known if not np.isnan(one.drained)]
    most = max(_parts(known), key=lambda one: one.siphoned) if known else None
    return [
        ("most lost, not drained", spread(most.lost, most.siphoned, system) if known else NOT_KNOWN),
        ("most lost, drained before", show(max(drained), "volume", system) if drained else "no drain"),
        ("reached with nothing in the way", f"{sum(one.found and not one.first for one in seen.reached)}"),
    ]


def table(seen: Served, system: str = "metric") -> tuple[str, pd.DataFrame]:
    """Return the table of a view under its title."""
    if seen.view == ORDER:
        return "Step by step", order_table(seen.order, system)
    return "How each part is reached, the hardest first", access_table(seen.reached, system)


def order_table(order: BuildOrder, system: str = "metric") -> pd.DataFrame:
    """Return the steps as a table, in their order."""
    return pd.DataFrame(
        {
            "step": n,
            "name": step.name,
            "what": step.what,
            "why now": step.why,
            "needs": "; ".join(filter(None, [step.needs, *(_near(row, system) for row in step.beside)])),
            "take care": " ".join(step.cautions),
            "before the loop closes": f"yes: {listed(step.hidden_by)} will stand before it" if step.hidden_by else "",
        }
        for n, step in enumerate(order.steps, start=1)
    )


def _near(row: tuple[str, str, float], system: str) -> str:
    port, other, gap = row
    return f"only {show(gap, 'length', system)} beside the fitting at {port}, to {other}"


def reasons_table(order: BuildOrder) -> pd.DataFrame:
    """Return every constraint as a table: what before what, of which kind, why, says who; the builder's own first."""
    rows = sorted(order.constraints, key=lambda one: (one.source != build_order.OWN, one.source == build_order.TRADE))
    columns = ("first", "second", "kind", "why", "source")
    return pd.DataFrame([[getattr(one, name) for name in columns] for one in rows], columns=columns)


def access_table(reached: tuple[Access, ...], system: str = "metric") -> pd.DataFrame:
    """Return how each part is reached, with every term of its score; the lowest score first, what is not known last."""
    litre = DISPLAY[system]["volume"]

    def amount(value: float) -> float:
        return round(float(litre.convert(value)), litre.digits)

    rows = sorted(reached, key=lambda one: (np.isnan(one.score), one.score))
    return pd.DataFrame(
        {
            "part": one.name,
            "comes out first": ", ".join(one.first) if one.found else "no straight way out was found",
            "then goes": one.way,
            f"holds [{litre.label}]": amount(one.content),
            f"lost [{litre.label}]": amount(one.lost),
            f"may siphon up to [{litre.label}]": amount(one.siphoned),
            f"lost after draining [{litre.label}]": amount(one.drained),
            "shut off by": listed(one.shut_off),
            **{f"points: {term} (of {most:.0f})": round(one.points[term], 1) for term, most in access.POINTS.items()},
            "score": round(one.score, 1),
        }
        for one in rows
    )


def alt(seen: Served, system: str = "metric") -> str:
    """Return the drawing in words."""
    start = {
        ORDER: "The steps of building the loop in their order, each with its reason.",
        REACHED: "For every part a bar of the coolant that is lost when it is opened, and what comes out before it.",
    }
    return f"{start[seen.view]} {sentence(seen, system)}"

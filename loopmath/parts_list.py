"""The parts list of a plan: what to order, how much of it, and what it comes to."""

from collections.abc import Iterator
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from loopmath import catalogue
from loopmath import loop as tree
from loopmath.designs import number_of_designs, one_design
from loopmath.parts import Fitting, Tube
from loopmath.plan import Plan

#: A dead leg hangs from a tee in the line and ends in what closes it, by its purpose (common practice, no source).
TEE, SPLIT = "tee, through the run", "tee, into the branch"
CLOSED_BY = {"drain": "drain tap", "fill": "fill-port cap", "gauge": "plug", "other": "plug"}


class Item(NamedTuple):
    """One line: a part, what it is for, how many or how many metres, price of one; None where no price is known."""

    part: str
    used_for: str
    amount: Any
    unit: str
    price: float | None


def parts_list(plan: Plan) -> list[Item]:
    """Return the parts of a plan in flow order, equal ones on one line; tube by the metre, coolant by the litre."""
    found: dict[tuple, list] = {}

    def add(part: str, used_for: str, amount: Any, unit: str, price: float | None) -> None:
        one = price if np.ndim(price) == 0 else price.tobytes()  # designs may differ in a price; an array is no key
        line = found.setdefault((part, unit, one), [[], 0.0, price])
        line[0].append(used_for)
        line[1] = line[1] + amount

    for leaf, share in _shares(plan.loop):
        if isinstance(leaf, (tree.Run, tree.DeadLeg)):
            add(leaf.tube.name, leaf.name, leaf.length, "m", leaf.tube.price_per_m)
            run = isinstance(leaf, tree.Run)
            metal = leaf.fitting_metal if run else plan.fitting_metal
            end = end_fitting(leaf.tube, metal)
            ends = leaf.ends if run else 1.0
            add(end.name if end else f"fittings for {leaf.tube.name}", leaf.name, ends, "", end and end.price)
            wanted = {tree.SHARP_90: leaf.fittings} if run else dict.fromkeys((TEE, CLOSED_BY[leaf.purpose]), 1.0)
            for name, amount in wanted.items():
                part = in_metal(name, metal)
                add(part.name, leaf.name, amount, "", part.price)
        elif isinstance(leaf, tree.RadiatorUnit):
            add(leaf.radiator.name, leaf.name, 1.0, "", leaf.radiator.price)
            if leaf.fan is not None:
                add(leaf.fan.name, f"fans of {leaf.name}", leaf.fans, "", leaf.fan.price)
        elif leaf.part is not None:
            tee = isinstance(leaf, tree.Fittings) and leaf.fitting.name.startswith(SPLIT)
            add(leaf.part.name, leaf.name, getattr(leaf, "count", 1.0) * (share if tee else 1.0), "", leaf.part.price)
    litres = sum((leaf.volume() for leaf in tree.leaves(plan.loop)), 0.0) * 1e3
    add(plan.coolant.label, "filling once", litres, "L", plan.coolant_price)
    return [Item(k[0], ", ".join(v[0]), v[1], k[1], v[2]) for k, v in found.items() if np.any(np.asarray(v[1]) > 0)]


def _shares(item: Any, share: float = 1.0) -> Iterator[tuple[tree.Element, float]]:
    """Yield elements with their share of a tee: n branches pass n tees at either end, and n - 1 are bought."""
    if isinstance(item, tree.Series):
        for child in item.items:
            yield from _shares(child, share)
    elif isinstance(item, tree.Parallel):
        for branch in item.branches:
            yield from _shares(branch, 1.0 - 1.0 / len(item.branches))
    else:
        yield item, share


def in_metal(name: str, metal: str) -> Fitting:
    """Return a fitting of the catalogue, in a metal if it is listed in it."""
    return catalogue.shipped("fitting", f"{name}, {metal}") or catalogue.part("fitting", name)


def end_fitting(tube: Tube, metal: str) -> Any:
    """Return the catalogue fitting that holds a tube's end, None if there is none of its size, or of all its sizes."""
    if np.ndim(tube.outside):
        return None
    outside = "1/2 in" if np.isclose(tube.outside, 0.0127) else f"{1e3 * tube.outside:g} mm"
    size = tube.name.removeprefix(tube.material).strip()
    name = f"straight fitting for {outside} hard tube" if tube.rigid else f"compression fitting for {size} soft tube"
    return in_metal(name, metal) if catalogue.shipped("fitting", name) else None


def cost(items: list[Item]) -> Any:
    """Return what the priced lines of a parts list come to, in the builder's own currency."""
    return sum((item.amount * item.price for item in items if item.price is not None), 0.0)


def unpriced(items: list[Item]) -> list[str]:
    """Return the parts that have no price."""
    return [item.part for item in items if item.price is None]


def table(plan: Plan) -> pd.DataFrame:
    """Return the parts list of one design as a table, the sum on its last line; InputError for N designs."""
    one_design("parts list", number_of_designs(plan.loop))
    items, money = parts_list(plan), f"[{plan.currency}]" if plan.currency else ""
    rows = [
        (
            i.part,
            i.used_for,
            round(float(i.amount), 2),
            i.unit,
            i.price,
            None if i.price is None else i.price * float(i.amount),
        )
        for i in items
    ]
    rows.append(("sum of the priced parts", "", None, "", None, float(cost(items))))
    names = ["part", "used for", "amount", "unit", f"price {money}".strip(), f"together {money}".strip()]
    return pd.DataFrame(rows, columns=names)

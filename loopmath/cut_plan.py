"""The pieces a plan asks for, tube by tube, and which of them is sawn from which length as it is sold."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from loopmath import bench_work
from loopmath import loop as tree
from loopmath.checks import InputError
from loopmath.cutting import Cutting, Piece, Stock, cutting
from loopmath.plan import Plan
from loopmath.units import show

#: Names of the pieces that are no runs.
PRACTICE, SPARE = "practice", "spare: "


@dataclass(frozen=True, eq=False)
class CutPlan:
    """
    Which piece out of which stock, for every rigid tube of a plan.

    Attributes
    ----------
    cuttings : dict
        Name of the tube -> its `Cutting`.
    counted : tuple of str
        Runs that are not laid in space: their length is the stated one.
    """

    plan: Plan
    cuttings: dict[str, Cutting]
    counted: tuple[str, ...]

    @property
    def cost(self) -> float | None:
        """Price of all stock, None if that of any is not known."""
        prices = [one.cost for one in self.cuttings.values()]
        return None if None in prices else sum(prices)

    @property
    def bars(self) -> int:
        """Number of tubes to buy."""
        return sum(len(one.bars) for one in self.cuttings.values())

    @property
    def offcut(self) -> float:
        """What is left of all of them. [m]"""
        return sum(one.offcut for one in self.cuttings.values())

    def words(self, system: str = "metric") -> str:
        """Return what to buy in one sentence."""
        if not self.cuttings:
            return "No tube of this plan is rigid: soft tube is cut with a knife or shears as you go."
        said = []
        for name, one in self.cuttings.items():
            lengths = [bar.stock.length for bar in one.bars]
            bars = " and ".join(
                f"{lengths.count(x)} × {show(x, 'length', system)}" for x in sorted(set(lengths), reverse=True)
            )
            said.append(f"{name}: {bars}, {show(one.offcut, 'length', system)} left over")
        cost = "" if self.cost is None else f" About {self.cost:.0f} {self.plan.currency}".rstrip() + "."
        unproven = "".join(f" {one.note}" for one in self.cuttings.values() if not one.proven)
        return "; ".join(said) + "." + cost + unproven

    def table(self, system: str = "metric") -> pd.DataFrame:
        """Return a row for each cut, tube by tube, in "metric" or "us" units."""
        tables = [one.table(system) for one in self.cuttings.values()]
        if len(tables) > 1:
            for name, table in zip(self.cuttings, tables, strict=True):
                table.insert(0, "tube", name)
        return pd.concat(tables, ignore_index=True) if tables else pd.DataFrame()


def pieces(plan: Plan) -> dict[str, list[Piece]]:
    """
    Return what is to be sawn of each rigid tube of a plan, squaring included.

    A laid run is as long as its bench data say, another as the plan states it. Of the longest runs, `plan.spares` are
    cut twice; of each tube there are `plan.practice` practice pieces.
    """
    tubes = {
        leaf: leaf.laid
        for leaf in tree.leaves(plan.loop)
        if getattr(leaf, "tube", None) is not None and leaf.tube.rigid
    }
    out: dict[str, list[Piece]] = {}
    for leaf, path in tubes.items():
        long = float(leaf.length) + 2 * float(plan.squaring)
        if path is not None:
            long = bench_work.planned(plan, leaf.name).blank
        if leaf.length > 0:
            out.setdefault(leaf.tube.name, []).append(Piece(leaf.name, long))
    longest = sorted((p for listed in out.values() for p in listed), key=lambda p: -p.length)[: int(plan.spares)]
    for listed in out.values():
        listed += [replace(p, name=SPARE + p.name) for p in listed if p in longest]
        if plan.practice:
            listed.append(Piece(PRACTICE, float(plan.practice_length), int(plan.practice)))
    return out


def cut_plan(plan: Plan) -> CutPlan:
    """
    Return the cutting plan of a plan.

    Raises
    ------
    InputError
        If the plan is no single design, or a piece is longer than the longest stock: with the
        run and by how many mm.
    """
    if any(np.ndim(value) for value in (plan.kerf, plan.squaring, plan.spares, plan.practice, plan.bend_radius)):
        raise InputError("cutting", "N designs", "one design", "Choose one of them first.")
    wanted = pieces(plan)
    tubes = {leaf.tube.name: leaf.tube for leaf in tree.leaves(plan.loop) if getattr(leaf, "tube", None) is not None}
    done = {}
    for name, listed in wanted.items():
        price = tubes[name].price_per_m
        stock = [Stock(x, None if price is None else price * x) for x in plan.stock_lengths]
        done[name] = cutting(listed, stock, float(plan.kerf), time_limit=1.0)
    counted = tuple(p.name for listed in wanted.values() for p in listed if p.name not in plan.paths)
    names = {leaf.name for leaf in tree.leaves(plan.loop)}
    return CutPlan(plan, done, tuple(name for name in counted if name in names))

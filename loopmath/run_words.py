"""What the page of tube runs shows of a plan: one view at a time, worked out and said in words and tables."""

from dataclasses import dataclass, replace

import pandas as pd

from loopmath import bench_work, router, rules, run_checks
from loopmath import loop as tree
from loopmath.bench_work import BenchWork
from loopmath.checks import InputError, one_of
from loopmath.cut_plan import CutPlan, cut_plan
from loopmath.plan import Plan
from loopmath.router import Proposal
from loopmath.routes import Box, TubePath
from loopmath.rules import SIGNALS, Warned
from loopmath.run_checks import RunChecks
from loopmath.solution import Solution, solved
from loopmath.units import DISPLAY, show

CASE, MARKS, CUTS, WAYS = (
    "the machine from all sides",
    "marks on one tube",
    "what to saw from what",
    "other ways for a tube",
)
VIEWS = (CASE, MARKS, CUTS, WAYS)


@dataclass(frozen=True, eq=False)
class Looked:
    """
    A view of a plan: the plan solved, and what the view works out of it.

    Attributes
    ----------
    view : str
        One of `VIEWS`.
    solution : Solution
        The plan's answer.
    checks : RunChecks
        What was looked at in space.
    chosen : str
        The run that is looked at; empty if none is laid.
    work : BenchWork, optional
        What is to be done at the bench for it.
    cuts : CutPlan, optional
        In the view of cuts.
    ways : tuple of Proposal
        In the view of ways, the best first; `way` is the one shown.
    """

    view: str
    solution: Solution
    checks: RunChecks
    chosen: str = ""
    work: BenchWork | None = None
    cuts: CutPlan | None = None
    ways: tuple[Proposal, ...] = ()
    way: int = 0

    @property
    def plan(self) -> Plan:
        """The plan that was looked at."""
        return self.solution.plan

    @property
    def path(self) -> TubePath | None:
        """The run that is looked at, None if none is laid."""
        return self.plan.paths.get(self.chosen)

    @property
    def marks(self) -> list:
        """What is to be flagged in the drawing: signal word, place, words."""
        return self.checks.marks

    def warned(self, system: str = "metric") -> list[Warned]:
        """Return what the rules say of the plan: of its tubes first."""
        rows = self.solution.warned(system)
        own = {fact.where for fact in self.checks.facts}
        return sorted(rows, key=lambda row: (SIGNALS.index(row.signal), row.where not in own))


def look(view: str, plan: Plan, chosen: str = "", way: int = 1, ways: tuple[Proposal, ...] | None = None) -> Looked:
    """
    Work a view of a plan out.

    Parameters
    ----------
    view : str
        One of `VIEWS`.
    plan : Plan
        One design.
    chosen : str
        The run to look at; by default the first with a bend.
    way : int
        In the view of ways, which of the proposals is drawn; 0 is the way the plan has.
    ways : tuple of Proposal, optional
        Those that were found before.

    Raises
    ------
    InputError
        If the view or the run is unknown, or a piece is longer than the longest stock.
    """
    one_of("view", view, VIEWS)
    names = runs(plan)
    if chosen:
        one_of("run", chosen, names)
    chosen = chosen or first_run(plan)
    if view != WAYS or not chosen:
        ways = ()
    elif ways is None:
        ways = tuple(router.propose(plan, chosen)) if chosen in rigid(plan) else ()
    if 0 < way <= len(ways):
        plan = plan.set(**{f"{chosen}.corners": ways[way - 1].route.corners})
    answer = solved(plan)
    work = bench_work.planned(plan, chosen) if chosen in plan.paths else None
    cuts = cut_plan(plan) if view == CUTS else None
    return Looked(view, answer, run_checks.checks(plan, answer), chosen, work, cuts, ways, min(way, len(ways)))


def runs(plan: Plan) -> list[str]:
    """Return the runs that have a route, laid or not yet."""
    return [route.name for route in plan.routes]


def free_standoff(plan: Plan, name: str) -> float | None:
    """Return the standoff [m] of a run from its first fitting, None where nothing lets it move."""
    path = plan.paths.get(name)
    if path is None or not path.bends:
        return None
    for step in (1e-4, -1e-4):
        try:
            plan.set(**{f"{name}.standoff": path.standoffs[0] + step})
        except InputError:
            continue
        return path.standoffs[0]
    return None


def first_run(plan: Plan) -> str:
    """Return the run to look at first: one whose standoff can be slid, or one with a bend, or any."""
    bent = [name for name, path in plan.paths.items() if path.bends]
    free = (name for name in bent if free_standoff(plan, name) is not None)
    return next(free, next(iter((*bent, *runs(plan))), ""))


def rigid(plan: Plan) -> set[str]:
    """Return the runs and dead legs of rigid tube, which alone are laid."""
    return {leaf.name for leaf in tree.leaves(plan.loop) if getattr(getattr(leaf, "tube", None), "rigid", False)}


# ------------------------------------------------------------------------------------------------------- words


def laid_words(plan: Plan) -> str:
    """
    Return in words where lengths and bends come from: geometry, counts, or some of each.

    Examples
    --------
    >>> from loopmath.planfile import demo_plan
    >>> laid_words(demo_plan().as_counts())
    'counts'
    """
    tubes = [leaf.name for leaf in tree.leaves(plan.loop) if isinstance(leaf, (tree.Run, tree.DeadLeg))]
    laid = [name for name in tubes if name in plan.paths]
    if not laid:
        return "counts"
    if len(laid) == len(tubes):
        return "geometry"
    return f"geometry {len(laid)}, counts {len(tubes) - len(laid)}"


def tube_words(plan: Plan, system: str = "metric") -> str:
    """Return in words how much tube is laid, and with how many bends."""
    paths = plan.paths.values()
    return f"{show(sum(float(p.length) for p in paths), 'length', system)} with {sum(p.bends for p in paths)} bends"


def sentence(seen: Looked, system: str = "metric") -> str:
    """Return a view in one sentence a builder would say."""
    return f"{_said(seen, system)} {rules.told(seen.warned(system))}"


def _said(seen: Looked, system: str) -> str:
    paths = seen.plan.paths
    if not paths and seen.view not in (CUTS, WAYS):
        return "No run is laid in space yet: lengths and bends are the counts of the plan."
    if seen.view == CASE:
        bends = sum(path.bends for path in paths.values())
        whole = show(sum(float(p.length) for p in paths.values()), "length", system)
        tight = seen.checks.tightest
        words = f"{len(paths)} tubes with {bends} bends, {whole} of tube in all"
        if tight is None:
            return f"{words}."
        return f"{words}; the least gap is {show(tight.gap, 'length', system)}, {tight.run} beside {tight.other}."
    if seen.view == CUTS:
        return seen.cuts.words(system)
    if seen.view == WAYS:
        return _way_words(seen, system)
    if seen.work is None:
        return f"{seen.chosen} is not laid yet: the view of other ways proposes some."
    cut, path = show(seen.work.blank, "length", system), seen.path
    bends = f"{path.bends} bend{'s' if path.bends != 1 else ''}" if path.bends else "no bend"
    order = f" Bend in the order {', '.join(map(str, seen.work.order))}." if path.bends > 1 else ""
    return f"{seen.chosen}: saw {cut} of {path.tube.name}, {bends}.{order}"


def _way_words(seen: Looked, system: str) -> str:
    if not seen.ways:
        soft = seen.chosen not in rigid(seen.plan)
        return f"{seen.chosen} is of soft tube, which finds its own way." if soft else "No run has a route yet."
    if not seen.way:
        return f"{seen.chosen} as the plan has it; {len(seen.ways)} ways were found."
    one = seen.ways[seen.way - 1]
    long = show(float(one.length), "length", system)
    return f"Way {seen.way} of {len(seen.ways)} for {seen.chosen}: {one.bends} bends, {long}. {one.words}"


def readouts(seen: Looked, system: str = "metric") -> list[tuple[str, str]]:
    """Return what stands under the drawing: what, and how much."""
    plan, units = seen.plan, DISPLAY[system]
    state = seen.solution.state
    rows = [
        ("flow", units["flow"].text(state["flow"])),
        ("source of tube lengths", laid_words(plan)),
        ("coolant held", units["volume"].text(state["volume"])),
    ]
    if seen.view == CUTS:
        return [
            *rows[1:2],
            ("tubes to buy", str(seen.cuts.bars)),
            ("left over", show(seen.cuts.offcut, "length", system)),
        ]
    path = seen.path
    if path is not None:
        rows += [
            (f"{seen.chosen}, along its middle", show(float(path.length), "length", system)),
            ("radius of its bends", show(float(path.radius), "length", system)),
        ]
    if seen.work is not None:
        rows.append(("saw it to", show(seen.work.blank, "length", system)))
    return rows


def table(seen: Looked, system: str = "metric") -> tuple[str, pd.DataFrame] | None:
    """Return the table of a view under its title, None if it has none."""
    found = _table(seen, system)
    return None if found is None else (found[0], exact(found[1], system))


def _table(seen: Looked, system: str) -> tuple[str, pd.DataFrame] | None:
    if seen.view == CASE and seen.plan.paths:
        return "The tightest gaps", seen.checks.table("gaps", system).head(8)
    if seen.view == MARKS and seen.work is not None:
        return f"{seen.chosen}, in the order of the bench", seen.work.table(system)
    if seen.view == CUTS and seen.cuts.cuttings:
        return "Every cut", seen.cuts.table(system)
    if seen.view == WAYS and seen.ways:
        return f"Ways for {seen.chosen}, the best first", ways_table(seen.ways, system)
    return None


def exact(table: pd.DataFrame, system: str) -> pd.DataFrame:
    """Return a table whose lengths are written with all the digits a saw needs."""
    long = DISPLAY[system]["length"]
    lengths = [c for c in table.columns if str(c).endswith(f"[{long.label}]")]
    return table.assign(
        **{c: [f"{x:.{long.digits}f}" if isinstance(x, float) else x for x in table[c]] for c in lengths}
    )


def ways_table(ways: tuple[Proposal, ...], system: str = "metric") -> pd.DataFrame:
    """Return proposals as a table, the best first."""
    long, loss = DISPLAY[system]["length"], DISPLAY[system]["pressure"]
    return pd.DataFrame(
        {
            "way": n,
            "bends": one.bends,
            f"length [{long.label}]": round(float(long.convert(one.length)), long.digits),
            "in line [%]": round(100 * one.aligned),
            f"loss [{loss.label}]": float(loss.convert(one.loss)),
            "why": one.words,
        }
        for n, one in enumerate(ways, 1)
    )


def clash_table(plan: Plan, system: str = "metric") -> pd.DataFrame | None:
    """
    Return what the rules say of a plan after a box of 40 mm was put into the way of its first bent run, None if there
    is no such run: the rows that were not there before.
    """
    path = next((path for path in plan.paths.values() if path.bends), None)
    if path is None:
        return None
    leg = int(path.turns.legs.argmax())
    corner = path.points[leg : leg + 2].mean(axis=0) - 0.02
    spoilt = replace(plan, boxes=(*plan.boxes, Box("box on purpose", tuple(corner), (0.04, 0.04, 0.04))), origin=None)
    before = solved(plan).warned(system)
    rows = [row for row in solved(spoilt).warned(system) if row not in before]
    return pd.DataFrame(
        {
            "signal": r.signal,
            "where": r.where,
            "what": r.quantity,
            "value": r.value,
            "limit": r.limit,
            "to do": r.action,
        }
        for r in rows
    )


def alt(seen: Looked, system: str = "metric") -> str:
    """Return the drawing in words."""
    start = {
        CASE: "The machine from the front, from the left, from above and turned, its tubes drawn to scale.",
        MARKS: "The straight tube with its heated zones, and the bent one with its legs.",
        CUTS: "Every length of stock with the pieces that are sawn from it.",
        WAYS: "The machine from the front, from the left, from above and turned, with the way that is looked at.",
    }
    return f"{start[seen.view]} {sentence(seen, system)}"

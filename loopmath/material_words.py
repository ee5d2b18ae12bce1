"""What the page of materials shows of a plan: one view at a time, worked out and said in words and tables."""

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from pandas.io.formats.style import Styler

from loopmath import coolant_choice, rules, tube_choice, tube_ends, wetted
from loopmath.checks import one_of
from loopmath.coolant_choice import CoolantChoice
from loopmath.plan import AIDS, Plan
from loopmath.rules import Warned
from loopmath.solution import Solution, solved
from loopmath.tube_choice import TubeChoice
from loopmath.tube_ends import BRIEF, WHEN, TubeEnds
from loopmath.units import DISPLAY, Shown
from loopmath.wetted import Seen as Metals

METALS, PAIRS, ENDS = "which metals meet", "every pair of metals", "tube ends at their worst"
TUBES, COOLANTS, TOUCH = "which tube suits", "what each coolant costs", "what may touch what"
VIEWS = (METALS, PAIRS, ENDS, TUBES, COOLANTS, TOUCH)
#: What may touch the loop's materials, in the order of the drawing.
AGENTS = ("water", "propylene glycol", "ethylene glycol", "dye", "particles", *(a for a in AIDS if a != "water"))

#: Digits of units and of columns that tables hold to more or fewer than `DISPLAY`: None for two that count.
DIGITS = {"V": 2, "%": None, "": None} | dict.fromkeys((*tube_choice.CRITERIA, "total"), 2)


@dataclass(frozen=True, eq=False)
class Looked:
    """A view of a plan: the plan solved, and what the view works out of it."""

    view: str
    solution: Solution
    result: Any

    @property
    def plan(self) -> Plan:
        """The plan that was looked at."""
        return self.solution.plan

    def warned(self, system: str = "metric") -> list[Warned]:
        """Return what the rules say of the plan, those of the tube ends among them where they were worked out."""
        facts, result = list(self.solution.facts), self.result
        if isinstance(result, Metals):
            facts += wetted.second_opinion(self.plan)
        if isinstance(result, TubeEnds):
            worse = {(f.where.partition(",")[0]) for f in result.facts if f.quantity.startswith("tube end")}
            facts = [f for f in facts if f.quantity != "tube below softening by" or f.where not in worse]
            facts += result.facts
        rows = rules.warnings_of(facts, system, self.plan.house_rules)
        return result.gather(rows) if isinstance(result, TubeEnds) else rows


def look(view: str, plan: Plan, weights: dict[str, float] | None = None) -> Looked:
    """
    Work a view of a plan out.

    Parameters
    ----------
    view : str
        One of `VIEWS`.
    plan : Plan
        One design.
    weights : dict, optional
        Of the criteria of `tube_choice`, for the view of tubes.

    Raises
    ------
    InputError
        If the view is unknown, or nothing counts in the choice of a tube.
    """
    one_of("view", view, VIEWS)
    answer = solved(plan)
    if view in (METALS, PAIRS):
        result: Any = wetted.seen(plan)
    elif view == ENDS:
        result = tube_ends.tube_ends(plan, answer)
    elif view == TUBES:
        result = tube_choice.tube_choice(plan, weights)
    elif view == COOLANTS:
        result = coolant_choice.coolant_choice(plan)
    else:
        inhibitor = wetted.treatment(plan)["inhibitor"] == "yes"
        result = coolant_choice.contact_matrix(AGENTS, materials_of(plan), inhibitor)
    return Looked(view, answer, result)


def materials_of(plan: Plan) -> list[str]:
    """Return the materials that stand over the columns of the matrix of contacts, the plan's own first."""
    own = list(dict.fromkeys(material for _, material, _ in wetted.contacts(plan)))
    usual = ["copper", "nickel", "aluminium", "zinc", "PETG", "PMMA", "PC", "POM", "EPDM", "NBR", "silicone", "FKM"]
    listed = [m for m in own if m not in ("pump", "filter")] + [m for m in usual if m not in own]
    return listed[:14]


def touching(plan: Plan) -> set[tuple[str, str]]:
    """Return (agent, material) of all that touches in a plan."""
    return {(agent, material) for agent, material, _ in wetted.contacts(plan)}


# ------------------------------------------------------------------------------------------------------- words


def sentence(seen: Looked, system: str = "metric") -> str:
    """Return a view in one sentence a builder would say."""
    # A unit that ends in a full stop ends the sentence.
    return f"{_SAID[seen.view](seen, system)} {rules.told(seen.warned(system))}".replace("diff..", "diff.")


def _metals(seen: Looked, system: str) -> str:
    worst = next(iter(seen.result.pairs), None)
    if worst is None:
        names = ", ".join(dict.fromkeys(one.surface for one in seen.result.wetted)) or "no metal"
        return f"The coolant touches one metal, {names}: nothing to compare."
    refused = [pair for pair in seen.result.pairs if pair.refused]
    pair = min(refused, key=lambda p: (wetted.REFUSED.index(p.quantity), -p.volts), default=worst)
    words = f"{pair.baser[:1].upper()}{pair.baser[1:]} and {pair.nobler} lie {pair.volts:.2f} V apart"
    if refused:
        return f"{words} and do not share a loop, with any coolant."
    held = "its inhibitor holds that back while it lasts" if seen.result.inhibitor else "and no inhibitor holds it back"
    return f"{words}, the widest of {len(seen.result.pairs)} pairs; {held}."


def _ends(seen: Looked, system: str) -> str:
    units = DISPLAY[system]
    judged = [end for end in seen.result.ends if end.margin is not None and end.margin == end.margin]
    if not judged:
        plight = seen.solution.plight
        return f"No tube end can be judged: {plight}" if plight else "No tube of this loop softens."
    end = min(judged, key=lambda one: one.margin)
    margin, left, rise = float(end.margin), end.left(), units["difference"]
    place = f"at {end.at}" if end.at else "that is closed"
    far = rise.text(abs(margin))
    side = f"softens by {far}" if margin < 0 else f"comes nearest to softening, {far} are left"
    words = f"{end.tube.material}: the end of {end.run} {place} {side} {WHEN[end.worst]}"
    if end.worst in BRIEF and left is not None and left == left:
        words += f"; while it runs it {'keeps' if left >= 0 else 'is over by'} {rise.text(abs(left))}"
    return f"{words}."


def _tubes(seen: Looked, system: str) -> str:
    first = seen.result.kinds[0]
    if not first.heed:
        return seen.result.lead
    left = f", {first.left(system)}" if first.margin is not None else ""
    return f"{seen.result.lead} The rules tell a {first.heed} of it{left}."


def _coolants(seen: Looked, system: str) -> str:
    units, result = DISPLAY[system], seen.result
    own = next((mix for mix in result.mixes if mix.own), None)
    if own is None or own.flow != own.flow:
        return "This coolant has no answer in this loop as it is set."
    if own.coolant.name == result.mixes[0].coolant.name:
        return f"{own.label[:1].upper()}{own.label[1:]}: this is the water all others are compared with."
    costs, rise = own.against_water, units["difference"]
    part = f", {own.component} {rise.text(costs['component'], sign=True)}" if own.component else ""
    return (
        f"{own.label} against water: {units['share'].text(costs['flow'], sign=True)} flow, coolant "
        f"{rise.text(costs['coolant'], sign=True)}{part}."
    )


def _touch(seen: Looked, system: str) -> str:
    plan = seen.plan
    found = [row for row in seen.warned(system) if row.quantity.count(" on ")]
    grave = [row for row in found if row.signal in ("danger", "warning")]
    told = f"{grave[0].quantity}: {grave[0].why}" if grave else "nothing grave is known"
    begins = f"{plan.assembly_aid.capitalize()} on {plan.seal} rings, {plan.cleaner} on the tube"
    return f"{begins}; {told}".rstrip(".") + "."


_SAID = {METALS: _metals, PAIRS: _metals, ENDS: _ends, TUBES: _tubes, COOLANTS: _coolants, TOUCH: _touch}


def readouts(seen: Looked, system: str = "metric") -> list[tuple[str, str]]:
    """Return the figures under the picture: what, and how much."""
    units, s, plan = DISPLAY[system], seen.solution.state, seen.plan
    mix = wetted.treatment(plan)
    life = f"{mix['life_low_months']:.0f} to {mix['life_high_months']:.0f} months"
    common = [
        ("flow", units["flow"].text(s["flow"])),
        ("warmest coolant", units["temperature"].text(s["coolant_warmest"])),
        ("case air", units["temperature"].text(s["case_air"])),
    ]
    if isinstance(seen.result, Metals) and seen.result.pairs:
        return [("widest pair", f"{seen.result.pairs[0].volts:.2f} V"), ("life of the coolant", life), *common]
    if seen.view == ENDS:
        months = seen.result.months or ()
        first = [("to the next top-up", tube_choice.months_in_words(m)) for m in months[:1]]
        longest = max(seen.result.growth.items(), key=lambda item: item[1], default=None)
        grown = [(f"{longest[0]} grows", units["length"].text(longest[1]))] if longest else []
        return [*first, *grown, *common]
    return [("life of the coolant", life), *common]


def table(seen: Looked, system: str = "metric") -> pd.DataFrame | None:
    """Return the numbers of a view as `cells`, None where the warnings say it all."""
    if isinstance(seen.result, Metals):
        return cells(seen.result.table(), system)
    known = isinstance(seen.result, TubeEnds | TubeChoice | CoolantChoice)
    return cells(seen.result.table(system), system) if known else None


def cells(table: pd.DataFrame, system: str = "metric") -> pd.DataFrame:
    """
    Return a table in words: the digits its units have everywhere, else two that count, true minus signs.

    Examples
    --------
    >>> cells(pd.DataFrame({"steady [°C]": [54.0, np.nan], "pressed in [%]": [0.0623, 12.0]})).to_numpy().tolist()
    [['54.0', '0.062'], ['none', '12']]
    """
    digits = {shown.label: shown.digits for shown in DISPLAY[system].values()} | DIGITS

    def said(value: Any, places: int | None) -> str:
        if not isinstance(value, float):
            return re.sub(r"(?<!\w)-(?=\d)", "−", str(value))
        if not np.isfinite(value):
            return "none"
        places = max(1 - int(np.floor(np.log10(abs(value) or 1.0))), 0) if places is None else places
        return Shown("", 1.0, digits=places).text(value)

    out = {}
    for column in table.columns:
        unit = column.rpartition("[")[2].rstrip("]")
        out[column] = [said(value, digits.get(unit)) for value in table[column]]
    return pd.DataFrame(out)


def page(table: pd.DataFrame) -> Styler:
    """Return a table as a page shows it: `cells`, words to the left, numbers to the right, heads that break."""
    words = [column for column in table.columns if not pd.api.types.is_numeric_dtype(table[column])]
    sides = [{"selector": "th", "props": "text-align: left; white-space: normal; vertical-align: bottom"}]
    style = cells(table).style.hide(axis="index").set_table_styles(sides)
    return style.set_properties(subset=words, **{"text-align": "left", "white-space": "normal"})


def alt(seen: Looked, system: str = "metric") -> str:
    """Return the drawing of a view in words."""
    drawn = {
        METALS: "The wetted metals on an axis of anodic index, with the pairs that count and the order in sea water.",
        PAIRS: "A matrix of the differences of anodic index of all wetted metals, each cell judged.",
        ENDS: "A bar for each tube end from its steady to its worst wall temperature, with the softening temperature.",
        TUBES: "A bar for each kind of tube, made of what each criterion adds, best on top.",
        COOLANTS: "Flow and temperature with each coolant against water.",
        TOUCH: "A table of what may touch what: a sign in each cell.",
    }
    notes = seen.result.said if isinstance(seen.result, TubeEnds) else []
    return " ".join([drawn[seen.view], sentence(seen, system), *notes])

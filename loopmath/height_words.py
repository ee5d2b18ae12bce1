"""The page of filling, bleeding and draining in words and tables: what stays in the loop, where, what lets it out."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from loopmath import pockets
from loopmath.laws import flooding
from loopmath.laws.flooding import UP
from loopmath.passages import Passages, void_of
from loopmath.plan import Plan
from loopmath.pockets import AIR, LEAST, LIQUID, Holding, Outlet, Pocket
from loopmath.rules import Fact, Warned, warnings_of
from loopmath.tipping import MOST_TIPS, Tip, Tipping
from loopmath.units import DISPLAY, rough, show

BLEED, DRAIN = "air when it is filled", "coolant when it is drained"
VIEWS = {BLEED: AIR, DRAIN: LIQUID}
NAMES = {AIR: "air", LIQUID: "coolant"}
#: Pockets that have a letter.
LETTERS = "ABCDEF"
DRAINING = [
    "Unplugged at the wall and cooled down. Gloves and glasses, towels under the opening, boards and mains parts "
    "covered.",
    "Have a vessel for all of it at hand.",
    "Old coolant is never poured away or mixed with new: what its bottle says and local codes decide.",
]
CAUTIONS = [
    "Before you tip: switched off at the supply and unplugged, glass side panels off, two people for a heavy machine.",
    "An open tank spills when it is tipped: close what is open before a tip takes it below the coolant. Cloth under "
    "it; dry it before there is power again.",
    "What the case, the parts and the coolant say of themselves decides, also whether they may be tipped.",
]


@dataclass(frozen=True, eq=False)
class Looked:
    """
    What is drawn.

    Attributes
    ----------
    plan : Plan
        The design.
    passages : Passages
        Where its coolant stands.
    holding : Holding
        What stays in this position.
    frame : (3, 3) array
        Directions in the room (right, rear, up) in the frame of the machine.
    extra : str
        The part or run with one more opening; empty if none.
    outlet : Outlet or None
        How good the openings stand; None if it was not worked out.
    tips : Tipping or None
        How to tip; None if it was not asked.
    """

    plan: Plan
    passages: Passages
    holding: Holding
    frame: np.ndarray
    extra: str = ""
    outlet: Outlet | None = None
    tips: Tipping | None = None

    @property
    def tipped(self) -> bool:
        """True if it does not stand upright."""
        return bool(self.frame[2, 2] < 1 - 1e-9)

    def warned(self, system: str = "metric") -> list[Warned]:
        """Return what is warned of, as the machine stands with the openings of the plan."""
        return warnings_of(facts(self.passages, (self.holding.what,)), system, self.plan.house_rules)

    @property
    def letters(self) -> list[str]:
        """The letter of each pocket; one that reaches into a pocket that is there upright keeps the letter of that."""
        upright, now = () if self.tips is None else self.tips.upright.pockets, self.holding.pockets
        out, free = [""] * len(now), list(LETTERS)
        for letter, pocket in zip(LETTERS, upright if self.tipped else (), strict=False):
            free.remove(letter)
            for n, other in enumerate(now):
                if not out[n] and set(other.cells) & set(pocket.cells):
                    out[n] = letter
                    break
        return [letter or (free.pop(0) if free else "") for letter in out]


def hung(aside: float, back: float) -> np.ndarray:
    """
    Return the directions of the room in the frame of the machine, its right side and then its rear put down.

    Parameters
    ----------
    aside, back : float
        So much the right side, the rear goes down; negative for the left side, the front. [rad]

    Returns
    -------
    frame : (3, 3) array
        Rows to the right, to the rear, up; ``points @ frame.T`` is where they hang.

    Examples
    --------
    >>> hung(0.0, np.pi / 2)[2].round(9).tolist()  # on its back what was its front is on top
    [-0.0, -1.0, 0.0]
    """
    (sa, ca), (sb, cb) = ((np.sin(angle), np.cos(angle)) for angle in (aside, back))
    return np.array([[ca, -sa * sb, sa * cb], [0.0, cb, sb], [-sa, -ca * sb, ca * cb]])


def angles_of(up: Any) -> tuple[float, float]:
    """Return the two angles of `hung` [rad] that bring a direction of the machine (3,) on top."""
    return float(-np.arcsin(np.clip(up[0], -1.0, 1.0))), float(np.arctan2(-up[1], up[2]))


def look(plan: Plan, view: str, frame: np.ndarray, extra: str = "", outlet: Any = None, tips: Any = None) -> Looked:
    """Return what a view shows of a plan in one position; `extra` names a part or run with one more opening."""
    what, passages = VIEWS[view], void_of(plan)
    exits = [*pockets.open_for(passages, what), *([pockets.opening_at(passages, extra, what)] if extra else [])]
    holding = pockets.in_void(passages.void, passages.owner, what, frame[2], exits)
    return Looked(plan, passages, holding, frame, extra, outlet, tips)


def short_of(passages: Passages, what: str) -> tuple[str, float] | None:
    """Return the highest fill or vent opening and how far it lies below the highest point; of drains the lowest [m]."""
    up = np.array(UP) if what == AIR else -np.array(UP)
    purposes = ("fill", "vent") if what == AIR else ("drain",)
    own = {n: e for n, (purpose, e) in passages.exits.items() if purpose in purposes}
    if not own or not len(passages.void.volume):
        return None
    exits = [*own.values()]
    heights = flooding.crown(up, [e.at for e in exits], [e.normal for e in exits], [e.radius for e in exits])
    return [*own][int(np.argmax(heights))], max(float(passages.void.spans(up)[1].max() - heights.max()), 0.0)


def facts(passages: Passages, of: Any = (AIR, LIQUID)) -> list[Fact]:
    """Return what rules can judge of the machine as it stands, with the openings of the plan, of air and of coolant."""
    out = []
    names = {AIR: "fill opening below the high point by", LIQUID: "drain above the low point by"}
    for what in of:
        found = short_of(passages, what)
        if found is not None:
            out.append(Fact(names[what], *found))
    if LIQUID in of and len(passages.void.volume):
        out.append(Fact("drain in the plan", "the loop", float(bool(passages.drains))))
    if passages.vents and AIR in of:
        held = pockets.in_void(passages.void, passages.owner, AIR, UP, passages.vents)
        if held.pockets:
            out.append(Fact("air held at rest", "the loop", held.volume))
    return out


def amount(volume: float, system: str) -> str:
    """Return a volume in words; one that would round to nothing is under the least that is shown."""
    unit = DISPLAY[system]["volume"]
    least = 10.0**-unit.digits
    if 0 < float(unit.convert(volume)) < least / 2:
        return f"under {unit.text(float(unit.back(least)))}"
    return unit.text(volume)


def known(volume: float, system: str) -> str:
    """Return a volume in words, "not known" for nan."""
    return amount(volume, system) if np.isfinite(volume) else "not known"


def spread(least: float, most: float, system: str = "metric") -> str:
    """Return a range of volumes [m3] in words; one number where both would read alike."""
    low, high = known(least, system), known(most, system)
    return high if low == high else f"{show(least, 'volume', system, unit=False)} to {high}"


def position(looked: Looked) -> str:
    """Return the position in words."""
    aside, back = (round(float(np.degrees(angle))) for angle in angles_of(looked.frame[2]))
    downs = [
        f"{side} side down {abs(angle)}°" if side in ("left", "right") else f"{side} down {abs(angle)}°"
        for angle, side in ((aside, "right" if aside > 0 else "left"), (back, "rear" if back > 0 else "front"))
        if angle
    ]
    return ", ".join(downs) if downs else "upright"


def sentence(looked: Looked, system: str = "metric") -> str:
    """Return the answer in a sentence."""
    held, name = looked.holding, NAMES[looked.holding.what]
    volume = amount(held.volume, system)
    if not held.exits:
        lacks = "nothing to fill or vent it by" if held.what == AIR else "neither a drain nor a fill opening"
        return f"The plan has {lacks}: all {volume} of {name} stay."
    words = f"At rest {volume} of {name} stay" if held.pockets else f"At rest no {name} stays"
    if looked.tipped:
        words = f"While it is tipped like this {f'up to {volume}' if held.pockets else 'no'} of {name} are held"
        words = words if held.pockets else f"While it is tipped like this no {name} is held"
    if held.pockets:
        most = next(iter(held.by_element))
        share = held.by_element[most] / held.volume
        words += f", {'most' if share > 0.5 else 'the largest part'} of it in {most}" if held.volume else ""
    found = short_of(looked.passages, held.what)
    if held.what == LIQUID and not looked.passages.drains:
        words += "; there is no drain: turn it until coolant runs out of its fill opening, and rock it"
    elif found is not None and found[1] > LEAST and not looked.tipped:
        side = "below the highest" if held.what == AIR else "above the lowest"
        words += f"; {found[0]} ends {rough(found[1], system)} {side} point"
    return words + "."


def figures(looked: Looked, system: str = "metric") -> list[tuple[str, str]]:
    """Return the readouts."""
    held, passages = looked.holding, looked.passages
    found = short_of(passages, held.what)
    rows = [
        (f"{NAMES[held.what]} that stays", amount(held.volume, system)),
        ("loop holds", amount(float(passages.void.volume.sum()) + passages.uncounted, system)),
        ("places it stays in", str(len(held.pockets))),
        ("position", position(looked)),
    ]
    if found is not None:
        words = "fill below the highest point" if held.what == AIR else "drain above the lowest point"
        rows.append((words, rough(found[1], system)))
    return rows


def tip_of(looked: Looked, pocket: Pocket) -> str:
    """Return the smallest tip that frees a pocket in words."""
    tips = looked.tips
    if tips is None:
        return "press Find tips"
    for known, tip in zip(tips.upright.pockets, tips.single, strict=True):
        if known.cells == pocket.cells and not looked.tipped and not looked.extra:
            return f"none up to {np.degrees(tips.limit):.0f}°" if tip is None else tip.words
    return "set it upright to see"


def table(looked: Looked, system: str = "metric") -> pd.DataFrame:
    """Return the places something stays in, largest first."""
    rows = []
    for letter, pocket in zip(looked.letters, looked.holding.pockets, strict=True):
        parts = ", ".join(f"{name} {amount(volume, system)}" for name, volume in list(pocket.parts.items())[:3])
        rest = len(pocket.parts) - 3
        rows.append(
            {
                "": letter,
                "where": parts + (f" and {rest} more" if rest > 0 else ""),
                "stays": amount(pocket.volume, system),
                "smallest tip that frees it": tip_of(looked, pocket),
            }
        )
    return pd.DataFrame(rows)


def advice(looked: Looked, system: str = "metric") -> list[str]:
    """Return what would help, what is not known, and what at rest means."""
    what, best, out = looked.holding.what, looked.outlet, []
    if best is None:
        out.append("The opening was moved: press Find tips to look for a better one from there.")
    elif best.left < best.keeps - 1e-6:
        kind, place = ("bleed opening", "high") if what == AIR else ("drain", "low")
        out.append(
            f"One more {kind}, {place} on the {best.better}, would leave {amount(best.left, system)} of "
            f"{amount(best.keeps, system)} as it stands."
        )
    if what == LIQUID and not looked.passages.drains and looked.passages.vents:
        out.append("Without a drain all has to come out by the fill opening: it is open, and the tips bring it lowest.")
    out += looked.passages.missing
    end = (
        "a running pump carries much of the air on to the tank."
        if what == AIR
        else "with the fill opening open, so that air follows. A full tube may draw out more over a rise."
    )
    out.append(f"At rest means gravity only: {end}")
    return out


def choices(found: Tipping | None) -> list[tuple[str, Tip]]:
    """Return the tips that can be drawn, in words."""
    if found is None:
        return []
    singles = zip(LETTERS, found.single, strict=False)
    return [
        *((f"frees {letter}: {tip.words}", tip) for letter, tip in singles if tip is not None),
        *((f"step {n}: {tip.words}", tip) for n, tip in enumerate(found.sequence, 1)),
    ]


def steps(looked: Looked, system: str = "metric") -> list[str]:
    """Return how to tip, step by step; empty if it was not asked."""
    found = looked.tips
    if found is None:
        return []
    limit, stays = f"{np.degrees(found.limit):.0f}°", amount(found.stays, system)
    if not found.upright.exits:
        return ["No tip helps as long as nothing is open."]
    if not found.upright.pockets:
        return ["Nothing to free: leave it upright."]
    if not found.sequence:
        return [f"No tip up to {limit} lets more out: {stays} may stay. Move an opening, or add one."]
    first = (
        "Open the drain, and the fill opening so that air follows. "
        if looked.passages.drains
        else ("Open the fill opening over a vessel. ")
    )
    first = "" if found.what == AIR else first
    out = [
        f"Tip it {tip.words}, slowly, and wait until no more comes. Upright up to {amount(left, system)} would be left."
        for tip, left in zip(found.sequence, found.after, strict=True)
    ]
    out[0] = first + out[0]
    if found.freed:
        return [*out, "Set it upright: nothing stays. Top up, and do it once more." if found.what == AIR else
                "Set it upright: nothing stays but what clings to walls."]  # fmt: skip
    return [*out, f"Set it upright. Up to {stays} may stay: no row of up to {MOST_TIPS} tips to {limit} was found "
            "that frees all."]  # fmt: skip


def cautions(looked: Looked) -> list[str]:
    """Return what to take care of before the machine is tipped, and before it is drained."""
    first, spills, last = CAUTIONS
    if looked.holding.what == AIR:
        return CAUTIONS
    return [*DRAINING, first, *([spills] if looked.passages.drains else []), last]


def alt(looked: Looked, system: str = "metric") -> str:
    """Return the picture in words."""
    return f"The loop from the front and from the right side, {position(looked)}. {sentence(looked, system)}"

"""Page 11 in words and tables: what stays in the loop, where, and what would let it out."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from loopmath import pockets, tipping
from loopmath.passages import Passages, void_of
from loopmath.plan import Plan
from loopmath.pockets import AIR, LIQUID, Holding, Outlet
from loopmath.units import DISPLAY

BLEED, DRAIN = "air when it is filled", "coolant when it is drained"
VIEWS = {BLEED: AIR, DRAIN: LIQUID}
#: Pockets that are told.
MOST = 6
CAUTIONS = [
    "Machine switched off and unplugged, glass panels off, before it is tipped; two people for a heavy one.",
    "Close what is open before a tip takes it below the coolant; paper under it, and nothing with power near it.",
    "What the case, the parts and the coolant say of themselves goes first.",
]


@dataclass(frozen=True, eq=False)
class Looked:
    """What is drawn: the passages, what they hold in this position, how the opening stands, and the tips, if asked."""

    plan: Plan
    passages: Passages
    holding: Holding
    outlet: Outlet
    tips: Any = None


def tilted(aside: float, back: float) -> np.ndarray:
    """
    Return the direction against gravity once the right side went down by one angle, the rear by another [rad].

    Examples
    --------
    >>> tilted(0.0, 0.0).tolist()
    [-0.0, -0.0, 1.0]
    """
    return np.array([-np.sin(aside), -np.sin(back) * np.cos(aside), np.cos(aside) * np.cos(back)])


def look(plan: Plan, view: str, up: Any, extra: str = "", tips: Any = None) -> Looked:
    """Return what a view shows: `up` against gravity, `extra` a part or run with one more opening."""
    what, passages = VIEWS[view], void_of(plan)
    exits = pockets.open_for(passages, what) + ([pockets.opening_at(passages, extra, what)] if extra else [])
    return Looked(plan, passages, pockets.held(plan, what, up, exits), pockets.outlet(plan, what), tips)


def _amount(volume: float, system: str) -> str:
    return DISPLAY[system]["volume"].text(volume, unit=True)


def name_of(what: str) -> str:
    """Return what is held, as people call it."""
    return "air" if what == AIR else "coolant"


def sentence(looked: Looked, system: str) -> str:
    """Return the answer in a sentence."""
    held = looked.holding
    if not held.exits:
        missing = "fill or vent opening" if held.what == AIR else "drain, and no fill opening"
        return f"The plan has no {missing}, so all {_amount(held.volume, system)} stay. Say where one is."
    if not held.pockets:
        return f"At rest no {name_of(held.what)} stays in this position."
    most = held.pockets[0]
    words = f"At rest {_amount(held.volume, system)} of {name_of(held.what)} stay, most of it round the {most.place}"
    out, length = looked.outlet, DISPLAY[system]["length"]
    if out.short > pockets.LEAST:
        side = "below the highest" if held.what == AIR else "above the lowest"
        words += f"; {out.name} lies {length.text(out.short, unit=True)} {side} point of the loop"
    if held.what == LIQUID and not looked.passages.drains:
        words += "; no drain, so it is turned over its fill opening (rock it)"
    return words + "."


def rows(looked: Looked, system: str) -> list[str]:
    """Return the pockets, a line each."""
    held, out = looked.holding, []
    for letter, pocket in zip("ABCDEF", held.pockets, strict=False):
        parts = ", ".join(f"{name} {_amount(volume, system)}" for name, volume in list(pocket.parts.items())[:3])
        out.append(f"{letter}: {_amount(pocket.volume, system)} in {parts}")
    if len(held.pockets) > MOST:
        out.append(f"and {len(held.pockets) - MOST} smaller ones")
    return out


def advice(looked: Looked, system: str) -> list[str]:
    """Return what would help, in sentences."""
    what, best, out = looked.holding.what, looked.outlet, []
    if best.left < best.keeps - 1e-6:
        kind = "bleed opening" if what == AIR else "drain"
        place = "high" if what == AIR else "low"
        keeps, left = _amount(best.keeps, system), _amount(best.left, system)
        out.append(f"One more {kind}, {place} on the {best.better}, leaves {left} of {keeps} upright.")
    out += looked.passages.missing
    out.append("This is gravity alone: a running pump carries much of the air on to the tank.")
    return out


def tips(looked: Looked, system: str) -> list[str]:
    """Return how to tip, step by step; empty if it was not asked."""
    found: tipping.Tipping | None = looked.tips
    if found is None:
        return []
    if not found.upright.pockets:
        return ["Nothing to free: it stands right as it is."]
    out = [
        f"{_amount(pocket.volume, system)} round the {pocket.place}: {tip.words} frees it."
        for pocket, tip in zip(found.upright.pockets, found.single, strict=True)
        if tip is not None
    ]
    row = ", then ".join(tip.words for tip in found.sequence)
    most = f"{np.degrees(found.limit):.0f}°"
    if found.freed:
        out.append(f"In a row: {row}, then upright: all is free.")
    elif row:
        out.append(f"No row of {tipping.MOST_TIPS} tips up to {most} frees all. Best found: {row}, then upright.")
        out[-1] += f" Up to {_amount(found.stays, system)} may stay."
    else:
        out.append(f"No tip up to {most} helps; up to {_amount(found.stays, system)} stay. Move an opening instead.")
    return out


def alt(looked: Looked, system: str) -> str:
    """Return the picture in words."""
    return f"The loop from the front and from the right as it hangs. {sentence(looked, system)}"

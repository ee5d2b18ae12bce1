"""The fill in words and tables: what to have at hand, what to pour when, where bubbles stay, what to leave empty."""

from typing import NamedTuple

import numpy as np
import pandas as pd

from loopmath.filling import RISE, Descent, Filling
from loopmath.height_words import amount, known, spread
from loopmath.laws.bubbles import CARRIES, SLOWLY, STAYS
from loopmath.units import DISPLAY, ROUGH, rough, show

POUR, HOLDS, DOWN = "what is poured when", "what holds how much", "bubbles on the way down"
VIEWS = (POUR, HOLDS, DOWN)
CAUTIONS = [
    "Unplugged at the wall while it is filled. Only the pump has power, from a supply of its own; no board, no card, "
    "no drive.",
    "Cover mains parts and boards. Coolant that got on them is wiped off and left to dry through before there is "
    "power again.",
    "Gloves and glasses. What the coolant and the parts say of themselves decides.",
]


class Poured(NamedTuple):
    """A fill, and how far it has come: volume poured [m3], height of the coolant in each cell [m]."""

    found: Filling
    volume: float
    lines: np.ndarray


def poured(found: Filling, volume: float) -> Poured:
    """Return a fill when so much is poured. [m3]"""
    lines = np.zeros(0) if found.pour.fill is None else found.pour.poured(volume)
    return Poured(found, volume, lines)


def bottle_words(found: Filling, system: str = "metric") -> str:
    """Return the bottles in words, such as "2 x 1 L"."""

    def size(value: float) -> str:
        return f"{1e3 * value:.4g} L" if system == "metric" and value >= 1e-3 else amount(value, system)

    return ", ".join(f"{count} x {size(value)}" for value, count in found.bottles)


def sentence(seen: Poured, view: str, system: str = "metric") -> str:
    """Return the answer of a view in a sentence."""
    found, pour = seen.found, seen.found.pour
    if view == HOLDS:
        return (
            f"The loop holds {amount(found.total, system)}, give or take {amount(2 * found.sigma, system)}: have "
            f"{amount(found.buy, system)} at hand, {bottle_words(found, system)}."
        )
    if view == DOWN:
        return _bubbles(found)
    volume = amount(min(seen.volume, found.total), system)
    if np.isnan(pour.covered):
        return f"{volume} poured. The height of {_inlets(found)} is not known: watch it, not the volumes."
    if pour.dry:
        return f"{volume} poured. Gravity may not cover {_inlets(found)}: keep the pump off until you see it covered."
    if seen.volume < pour.covered - 1e-9:
        lacks = amount(pour.covered - seen.volume, system)
        more = f"{lacks} more cover it" if len(pour.pumps) == 1 else f"{lacks} more cover all"
        return f"{volume} poured: {_inlets(found)} is dry, {more}. Keep the pump off."
    if seen.volume < pour.most - 1e-9:
        return f"{volume} poured: {_inlets(found)} is covered. Keep the pump off, pour up to the fill opening."
    if not found.bursts:
        return f"{volume} poured."
    left, many = amount(found.total - pour.least, system), "1 burst" if found.bursts == 1 else f"{found.bursts} bursts"
    low = spread(pour.least, pour.most, system)
    return f"About {low} run in by gravity; the rest, up to {left}, by up to {many} of the pump."


def _bubbles(found: Filling) -> str:
    stay = [d.run for d in found.descents if d.words == STAYS]
    slow = [d.run for d in found.descents if d.words == SLOWLY]
    if not found.descents:
        return "No run with a way in the plan leads down by more than its bore."
    if stay:
        return f"Bubbles stay where {' and '.join(stay[:2])}{' and more' if len(stay) > 2 else ''} lead down."
    if slow:
        return f"The flow takes bubbles down every run, slowly in {len(slow)} of {len(found.descents)}."
    return "The flow takes bubbles down every run."


def figures(found: Filling, system: str = "metric") -> list[tuple[str, str]]:
    """Return the readouts."""
    pour = found.pour
    rows = [
        ("loop holds", f"{amount(found.total, system)} ± {show(2 * found.sigma, 'volume', system, unit=False)}"),
        ("have at hand", amount(found.buy, system)),
        ("bottles", bottle_words(found, system)),
        ("pump's inlet covered at", "to be seen" if pour.dry else known(pour.covered, system)),
        ("runs in by gravity", spread(pour.least, pour.most, system)),
    ]
    if found.bursts:
        rows.append(("tank spares a burst", amount(pour.burst, system)))
    if np.isfinite(found.growth):
        rows.append(("grows as it warms", amount(found.growth, system)))
    return rows


def stages(found: Filling, system: str = "metric") -> pd.DataFrame:
    """Return the stages of the fill."""
    unit, rows, before = DISPLAY[system]["volume"], [], (0.0, 0.0)
    for stage in found.stages:
        pours = sorted((stage.least - before[0], stage.most - before[1]))
        rows.append(
            {
                "stage": stage.what,
                f"pour [{unit.label}]": _plain(*pours, system),
                f"in all [{unit.label}]": _plain(stage.least, stage.most, system),
                "do": stage.do,
            }
        )
        before = (stage.least, stage.most)
    return pd.DataFrame(rows)


def _plain(least: float, most: float, system: str) -> str:
    """Return a range of volumes without its unit."""
    if not np.isfinite(least + most):
        return "not known"
    low, high = (show(value, "volume", system, unit=False) for value in (least, most))
    return low if low == high else f"{low} to {high}"


def volumes(found: Filling, system: str = "metric") -> pd.DataFrame:
    """Return the volume of every part and run with twice its standard uncertainty."""
    unit = DISPLAY[system]["volume"]
    whole = ("in all", "", found.total, found.sigma)
    columns = ["name", "kind", f"volume [{unit.label}]", f"± [{unit.label}]"]
    rows = [
        (name, kind, _plain(v, v, system), _plain(2 * s, 2 * s, system)) for name, kind, v, s in (*found.volumes, whole)
    ]
    return pd.DataFrame(rows, columns=columns)


def descents(found: Filling, system: str = "metric") -> pd.DataFrame:
    """Return the runs that lead down, and what becomes of bubbles in them."""
    long, fast = ROUGH[system], DISPLAY[system]["velocity"]

    def row(one: Descent) -> tuple:
        speeds = [fast.text(v, unit=False) if np.isfinite(v) else "not known" for v in (one.velocity, one.rise)]
        return one.run, long.text(one.drop, unit=False), *speeds, one.words

    columns = ["run", f"leads down by [{long.label}]", f"coolant [{fast.label}]", f"bubble rises [{fast.label}]",
               "bubbles"]  # fmt: skip
    return pd.DataFrame([row(one) for one in found.descents], columns=columns)


def table(seen: Poured, view: str, system: str = "metric") -> pd.DataFrame:
    """Return the table of a view."""
    return {POUR: stages, HOLDS: volumes, DOWN: descents}[view](seen.found, system)


def steps(found: Filling, system: str = "metric") -> list[str]:
    """Return how the loop is filled, step by step."""
    pour = found.pour
    out = [f"Have {amount(found.buy, system)} at hand: {bottle_words(found, system)}. Pass the leak test first."]
    if pour.fill is None:
        start = "Pour until the tank is full. Do not run the pump before you see coolant at its inlet;"
        return [*out, f"{start} then in bursts of seconds, and pour it full after each."]
    if not pour.dry:
        out.append(
            f"Pour {amount(pour.covered, system)} slowly: that covers {_inlets(found)}. The pump stays off for now."
        )
    out.append(f"Pour on to the fill opening: {spread(pour.least, pour.most, system)} in all.")
    if found.bursts:
        most = min(pour.burst, found.total - pour.least)
        tall = np.nan if pour.tank is None or pour.tank.size is None else pour.tank.size[2]
        down = f" ({rough(most / float(pour.tank.volume()) * tall, system)} of its height)" if tall > 0 else ""
        out.append(
            f"Now power the pump alone, in bursts. Stop it before the tank has lost {amount(most, system)}{down}, pour "
            f"it full again. About {found.bursts} time{'s' if found.bursts > 1 else ''}."
        )
    elif pour.dry or pour.burst <= 0:
        out.append(f"Do not run the pump before you see that coolant covers {_inlets(found)}.")
    out.append(
        "Bleed it: let the pump run, rock the machine gently, top up as the level falls, until it stands for an hour. "
        "Air that went into the coolant rises when the pump stops, and coolant runs back: a full open tank runs over, "
        "so stop below the brim, with a cloth under the opening. Then close it."
    )
    if found.growth > 0:
        span = f"From {show(found.cold, 'temperature', system)} to {show(found.warm, 'temperature', system)}"
        out.append(
            f"{span} the coolant grows by {amount(found.growth, system)}. {_closed(found, system)} The tank's own "
            "instructions decide."
        )
    return out


def _inlets(found: Filling) -> str:
    """Return the inlets that are to be covered, those gravity does not cover if there are any."""
    names = found.pour.dry or found.pour.pumps
    return " and ".join(f"{name}'s" for name in names) + (" inlets" if len(names) > 1 else " inlet")


def _closed(found: Filling, system: str) -> str:
    """Return how much air a tank that is closed tight needs."""
    rise, start = show(RISE, "pressure", system), "A tank with a vented cap needs that much air at least;"
    tank = found.pour.tank
    most = np.inf if tank is None else 0.5 * float(tank.volume())
    if not found.air <= most:
        return f"{start} closed tight, even half full its air and vapour add more than {rise} as they warm."
    high = f" ({rough(found.room, system)} of its height)" if np.isfinite(found.room) else ""
    return f"{start} closed tight, leave {amount(found.air, system)}{high}: that adds up to {rise}."


def notes(found: Filling, system: str = "metric") -> list[str]:
    """Return what is not known, and what the numbers mean."""
    out = list(found.cautions)
    if np.isfinite(found.column):
        out.append(f"Filled to its opening, {show(found.column, 'pressure', system)} rest on the lowest place.")
    if found.unlaid:
        out.append(f"Where bubbles stay is not known of runs with no way in the plan: {', '.join(found.unlaid)}.")
    return [
        *out,
        "By gravity is rough: the lower number if air stays wherever it can, the higher one if the coolant pushes it "
        "round the loop to the tank. A tube full of air that leads down can hold back more. Watch the tank.",
        f"Bubbles: carried from {show(CARRIES, 'velocity', system)} on; above the rise of a long bubble, slowly. Small "
        "bubbles rise slower. Radiators that are passed downwards are slower than tubes: air stays longer there.",
    ]


def alt(seen: Poured, view: str, system: str = "metric") -> str:
    """Return the picture of a view in words."""
    found = seen.found
    if view == HOLDS:
        most = sorted(found.volumes, key=lambda row: -row[2])[:3]
        words = ", ".join(f"{name} {amount(volume, system)}" for name, _, volume, _ in most)
        return f"Bars of the volume of every part and run. Most: {words}. {sentence(seen, view, system)}"
    if view == DOWN:
        words = ", ".join(f"{d.run} {show(d.velocity, 'velocity', system)}: {d.words}" for d in found.descents)
        return f"Coolant velocity against the rise of a bubble in every run that leads down. {words}. {_bubbles(found)}"
    return f"The loop from the front and from the right side with the coolant in it. {sentence(seen, view, system)}"

"""
The tools and consumables that the tubes of a plan need: which, of what size, how many, what for and what to heed.

Which tool suits which tube stands in data/tools.csv (common practice, no source); sizes and amounts follow from the
plan. What holds a tube is a fitting with O-rings: nothing is soldered or glued.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from loopmath import loop as tree
from loopmath import tables
from loopmath.checks import InputError, one_of, positive
from loopmath.designs import number_of_designs, one_design
from loopmath.parts import Tube
from loopmath.plan import Plan
from loopmath.rules import FITS, SIGNALS
from loopmath.units import DISPLAY

FILE = "tools.csv"
#: What tools tell apart: the materials of rigid tube, and all soft tube.
SOFT = "soft"
KINDS = ("PETG", "PMMA", "copper", SOFT)
#: What a row may be kept for: tubes that are bent.
BENDS = "bends"
#: What a bending insert stands out by at each end, to be held and pulled (common practice, no source). [m]
GRIP = 0.05
#: Teeth of a saw that are in the wall at any time, or it catches (common practice, no source).
TEETH = 2.0
#: What is said after all else.
FIRST = "The instructions of the tools and of the tube's maker come first, and so do local rules."


@dataclass(frozen=True, eq=False)
class Piece:
    """
    A piece of tube to be made.

    `kind` is one of `KINDS`, `length` along its middle [m], `radius` that of its bends [m], `joints` its ends that sit
    in a fitting, `spare` True if the plan cuts it twice.
    """

    run: str
    kind: str
    tube: Tube
    length: float
    bends: float
    radius: float
    joints: float
    spare: bool = False


#: What a size of data/tools.csv may name in braces: its kind of quantity, "" for words, and how it is found from a
#: piece, all pieces the tool is for, and the plan.
MEASURES: dict[str, tuple[str, Callable[[Piece, list[Piece], Plan], Any]]] = {
    "outside": ("length", lambda piece, pieces, plan: piece.tube.outside),
    "bore": ("length", lambda piece, pieces, plan: piece.tube.bore),
    "radius": ("length", lambda piece, pieces, plan: piece.radius),
    "rim": ("length", lambda piece, pieces, plan: piece.radius - piece.tube.outside / 2),
    "widest": ("length", lambda piece, pieces, plan: max(p.tube.outside for p in pieces)),
    "longest": ("length", lambda piece, pieces, plan: max(p.length for p in pieces)),
    "teeth": ("length", lambda piece, pieces, plan: min(p.tube.outside - p.tube.bore for p in pieces) / 2 / TEETH),
    "insert": (
        "length",
        lambda piece, pieces, plan: max(p.length for p in pieces if _level(p.tube.bore, piece.tube.bore)) + 2 * GRIP,
    ),
    "practice": ("length", lambda piece, pieces, plan: plan.practice_length),
    "section": ("section", lambda piece, pieces, plan: plan.ring_section),
    "coolant": ("volume", lambda piece, pieces, plan: sum(leaf.volume() for leaf in tree.leaves(plan.loop))),
    "seal": ("", lambda piece, pieces, plan: plan.seal),
    "material": ("", lambda piece, pieces, plan: label(piece.tube.material)),
    "run": ("", lambda piece, pieces, plan: piece.run),
}
#: What an amount of data/tools.csv is counted by -> how many there are among the pieces of one size.
PER: dict[str, Callable[[list[Piece], Plan], float]] = {
    "size": lambda pieces, plan: 1.0,
    "end": lambda pieces, plan: 2.0 * len(pieces),
    "ring": lambda pieces, plan: float(plan.rings) * sum(p.joints for p in pieces),
    "practice": lambda pieces, plan: float(plan.practice),
    "spare": lambda pieces, plan: float(sum(p.spare for p in pieces)),
}
_NAMED = re.compile(r"\{(.*?)\}")


class Size(NamedTuple):
    """One size of a tool: its measures by name, in SI or words, and how many of it."""

    measures: dict[str, Any]
    amount: int


@dataclass(frozen=True, eq=False)
class Row:
    """
    One line of the list.

    Attributes
    ----------
    item : str
    sizes : tuple of Size
        One for each size that differs; a tool without a size has one.
    pattern, unit : str
        Words of a size, its measures in braces; what it is counted in, empty for pieces.
    why : str
        What it is for.
    signal, caution : str
        Signal word, "warning" or "caution", and what to heed; both empty where there is nothing to heed.
    materials : tuple of str
        Materials of the plan's tubes it is for, in flow order.
    """

    item: str
    sizes: tuple[Size, ...]
    pattern: str
    unit: str
    why: str
    signal: str
    caution: str
    materials: tuple[str, ...]

    @property
    def amount(self) -> int:
        """How many, all sizes together."""
        return sum(size.amount for size in self.sizes)

    @property
    def amount_words(self) -> str:
        """How many, and of what: "2 sheets"."""
        return f"{self.amount} {self.unit}{'s' * (self.amount != 1)}" if self.unit else str(self.amount)

    def size(self, system: str = "metric") -> str:
        """Return its sizes in words, in "metric" or "us" units; how many of each where that is not one of each."""
        shown = [
            _NAMED.sub(lambda match, size=size: _text(match[1], size.measures[match[1]], system), self.pattern)
            for size in self.sizes
        ]
        if len(shown) > 1 and any(size.amount != 1 for size in self.sizes):
            shown = [f"{size.amount} {words}" for size, words in zip(self.sizes, shown, strict=True)]
        return "; ".join(shown)


@dataclass(frozen=True, eq=False)
class Tools:
    """What the tubes of a plan need, in the order of work."""

    plan: Plan
    rows: tuple[Row, ...]

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to heed, each once and the gravest first, in sentences that begin with their signal word."""
        told = dict.fromkeys((row.signal, row.caution) for row in self.rows if row.signal)
        worst = sorted(told, key=lambda pair: SIGNALS.index(pair[0]))
        return (*(f"{signal.capitalize()}: {words}" for signal, words in worst), *([FIRST] if self.rows else []))

    def table(self, system: str = "metric") -> pd.DataFrame:
        """Return a row for each tool, its size in "metric" or "us" units."""
        one_of("system", system, DISPLAY)
        rows = [
            {
                "item": row.item,
                "size": row.size(system),
                "amount": row.amount_words,
                "what for": row.why,
                "heed": f"{row.signal}: {row.caution}" if row.signal else "",
                "for": ", ".join(map(label, row.materials)),
            }
            for row in self.rows
        ]
        return pd.DataFrame(rows, columns=["item", "size", "amount", "what for", "heed", "for"])


def tools(plan: Plan) -> Tools:
    """
    List the tools and consumables for every tube of a plan.

    Parameters
    ----------
    plan : Plan
        One design.

    Returns
    -------
    tools : Tools
        In the order of work; nothing if the plan has no tube.

    Raises
    ------
    InputError
        If a rigid tube is of a material no tools are known for, data/tools.csv has a row that cannot be read, or the
        plan is N designs.

    Notes
    -----
    Runs laid in space have the radius of their bends from there, all others the least their tube may be bent to.
    O-rings are counted at the fittings of runs, and at both ends of a dead leg. An insert serves all bent pieces of
    its bore, one at a time. What is used on tube is listed only for materials of which data/contacts.csv tells no harm.
    """
    one_design("tools", number_of_designs(plan))
    listed, pieces = _listed(), _pieces(plan)
    return Tools(plan, tuple(row for each in listed if (row := _row(each, pieces, plan)).amount))


def label(material: str) -> str:
    """Return what a builder calls a material of tube."""
    row = tables.by_name("tube_kinds.csv").get(material)
    return material if row is None else row["label"]


def _pieces(plan: Plan) -> list[Piece]:
    paths, found = getattr(plan, "paths", {}) or {}, []
    for leaf in tree.leaves(plan.loop):
        if not isinstance(leaf, (tree.Run, tree.DeadLeg)):
            continue
        tube, laid = leaf.tube, paths.get(leaf.name, leaf)
        remedy = "Tools are known for rigid tube of these and for all soft tube: a soft tube is not rigid."
        kind = one_of(f"{leaf.name}, material", tube.material, KINDS[:-1], remedy) if tube.rigid else SOFT
        radius = tube.bend_radius if laid is leaf else laid.radius
        numbers = (laid.length, getattr(laid, "bends", 0.0), radius, getattr(leaf, "ends", 2.0))
        if laid.length > 0:
            found.append(Piece(leaf.name, kind, tube, *map(float, numbers)))
    twice = sorted(found, key=lambda piece: -piece.length)[: int(plan.spares)]
    return [replace(piece, spare=piece in twice) for piece in found]


def _row(row: dict, pieces: list[Piece], plan: Plan) -> Row:
    """Return a row of the table for a plan; its amount is 0 if the plan does not need it."""
    kinds = row["materials"].split("; ")
    harmed = {(c["agent"], c["material"]) for c in tables.read_table("contacts.csv") if c["signal"] != FITS}
    served = [p for p in pieces if p.kind in kinds and (row["needs"] != BENDS or p.bends > 0)]
    served = [p for p in served if (row["item"], p.tube.material) not in harmed]
    groups: dict[tuple, tuple[dict, list[Piece]]] = {}
    for piece in served:
        measures = {name: MEASURES[name][1](piece, served, plan) for name in _NAMED.findall(row["size"])}
        # Sizes that a builder cannot tell apart are one.
        alike = tuple(value if isinstance(value, str) else round(float(value), 4) for value in measures.values())
        groups.setdefault(alike, (measures, []))[1].append(piece)
    counted = [(Size(m, _whole(row["amount"] * PER[row["per"]](group, plan))), group) for m, group in groups.values()]
    sizes = tuple(size for size, _ in counted if size.amount)
    needed = {piece.tube.material for size, group in counted if size.amount for piece in group}
    materials = tuple(m for m in dict.fromkeys(piece.tube.material for piece in served) if m in needed)
    return Row(row["item"], sizes, *(row[c] for c in ("size", "unit", "why", "signal", "caution")), materials)


def _whole(amount: float) -> int:
    return int(np.ceil(amount - 1e-9))


def _level(one: float, other: float) -> bool:
    return round(float(one), 4) == round(float(other), 4)


def _text(name: str, value: Any, system: str) -> str:
    """Return a measure as it is shown; a section of a ring has one more digit, for 1.78 mm is not 1.8 mm."""
    kind = MEASURES[name][0]
    if not kind:
        return value
    shown = DISPLAY[system]["length" if kind == "section" else kind]
    return (replace(shown, digits=shown.digits + 1) if kind == "section" else shown).text(value)


def _listed() -> tuple[dict, ...]:
    """Return the rows of data/tools.csv, or refuse the first that cannot be read."""
    seen: set[str] = set()
    for line, row in enumerate(tables.read_table(FILE), start=2):

        def of(column: str, line: int = line) -> str:
            return f"{FILE} line {line} column {column}"

        for column in ("item", "why"):
            if not isinstance(row[column], str) or not row[column]:
                raise InputError(of(column), row[column], "words")
        if row["item"] in seen:
            raise InputError(of("item"), row["item"], "each item once")
        seen.add(row["item"])
        for kind in str(row["materials"]).split("; "):
            one_of(of("materials"), kind, KINDS, "Several are parted by a semicolon and a blank.")
        one_of(of("needs"), row["needs"], ("", BENDS))
        if not isinstance(row["size"], str):
            raise InputError(of("size"), row["size"], "words, their measures in braces")
        for name in _NAMED.findall(row["size"]):
            one_of(of("size"), name, MEASURES)
        positive(of("amount"), row["amount"])
        one_of(of("per"), row["per"], PER)
        one_of(of("signal"), row["signal"], ("", *SIGNALS))
        if bool(row["signal"]) != bool(row["caution"]):
            raise InputError(of("caution"), row["caution"], "a caution with its signal word, or neither")
    return tables.read_table(FILE)

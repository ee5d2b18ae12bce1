"""What the coolant touches in a plan: metals and how their pairs get on, plastics and seals, and what touches those."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from loopmath import loop as tree
from loopmath import rules, tables
from loopmath.checks import one_of
from loopmath.laws import materials
from loopmath.plan import Plan
from loopmath.rules import CONTACT, FITS, ON, Fact

#: Families of metal that eat light metals and zinc in one coolant (common practice and the anodic index agree).
COPPER_FAMILY = ("copper", "nickel", "silver", "gold", "rhodium")
#: The quantity by which a family is judged beside the copper family, whatever the coolant.
_REFUSED = {
    **dict.fromkeys(("aluminium", "magnesium"), "aluminium or magnesium with a copper-family metal"),
    **dict.fromkeys(("zinc", "cadmium"), "zinc or cadmium with a copper-family metal"),
}
#: The quantities a pair is judged by: those, and that of every other pair.
REFUSED, APART = tuple(dict.fromkeys(_REFUSED.values())), "difference of anodic index"
#: What usually lies under a plating whose base is not stated (common practice, no source).
USUAL_BASE = {"block": "copper", "": "brass"}
#: Where metals stand that are in no part of the plan; what of a radiator nobody can replace.
BESIDE, SOLDER = "beside the plan", "solder"


@dataclass(frozen=True, eq=False)
class Wetted:
    """
    A metal the coolant touches: in which part, what lies under it if it is a plating, its area [m2] if known.

    `piece` says which piece of the part it is where that is not the part itself: "fittings", "tube", "solder".
    """

    where: str
    surface: str
    base: str = ""
    assumed: bool = False
    area: Any = None
    piece: str = ""

    @property
    def metal(self) -> str:
        """The metal as a plan would have it."""
        return f"{self.surface}{materials.OVER}{self.base}" if self.base and not self.assumed else self.surface


@dataclass(frozen=True, eq=False)
class Pair:
    """
    Two metals of one coolant.

    `nobler` is the one the anodic index protects. `volts` is the difference of index; `sea_water` by how much the
    sea-water series has it the nobler one, both ends, None where it has no row for one of the two; `area_ratio` is the
    area of the nobler metal over that of the baser one, None where an area is not known.
    """

    nobler: str
    baser: str
    volts: float
    sea_water: tuple[float, float] | None
    area_ratio: Any
    nobler_parts: tuple[str, ...]
    baser_parts: tuple[str, ...]

    @property
    def turned(self) -> bool:
        """True if the sea-water series has the two the other way round."""
        return self.sea_water is not None and sum(self.sea_water) < 0

    @property
    def refused(self) -> bool:
        """True for aluminium, magnesium, zinc or cadmium with a metal of the copper family."""
        return family(self.baser) in _REFUSED and family(self.nobler) in COPPER_FAMILY

    @property
    def quantity(self) -> str:
        """The quantity it is judged by: one of `REFUSED`, or `APART`."""
        return _REFUSED[family(self.baser)] if self.refused else APART


def family(metal: str) -> str:
    """Return the family of a metal."""
    return tables.by_name("metals.csv")[metal]["family"]


def index(metal: str) -> float:
    """Return the anodic index of a metal. [V]"""
    return tables.by_name("metals.csv")[metal]["anodic_index_v"]


def wetted(plan: Plan) -> list[Wetted]:
    """
    Return every metal the coolant of a plan touches, part by part in flow order, then those beside the plan.

    Raises
    ------
    InputError
        If a name is unknown or a plating contradicts itself; part and metal are named.
    """
    out = []
    for leaf in tree.leaves(plan.loop):
        wets = leaf.wets()
        for number, (name, area) in enumerate(wets, start=1):
            surface, base = materials.layers(name, f"{leaf.name}, metal")
            assumed = surface.endswith(" plate") and not base
            if assumed:
                base = USUAL_BASE.get(leaf.kind, USUAL_BASE[""])
            out.append(Wetted(leaf.name, surface, base, assumed, area, _piece(leaf, name, number == len(wets))))
    for name in plan.also_wetted:
        out.append(Wetted(BESIDE, *materials.layers(name, "also wetted")))
    return out


def _piece(leaf: Any, name: str, last: bool) -> str:
    if isinstance(leaf, (tree.Run, tree.DeadLeg)):  # the tube comes after the fittings
        return "tube" if last and leaf.tube.material == "copper" else "fittings"
    return SOLDER if isinstance(leaf, tree.RadiatorUnit) and last and name == leaf.radiator.solder else ""


def pairs(found: Iterable[Wetted]) -> list[Pair]:
    """Return every pair of metals, the widest difference first."""
    by_metal: dict[str, list[Wetted]] = {}
    for one in found:
        by_metal.setdefault(one.surface, []).append(one)
    names = sorted(by_metal, key=index)
    areas = {name: _whole([one.area for one in by_metal[name]]) for name in names}
    places = {name: tuple(dict.fromkeys(one.where for one in by_metal[name])) for name in names}
    out = []
    for number, nobler in enumerate(names):
        for baser in names[number + 1 :]:
            known = areas[nobler] is not None and areas[baser] is not None and np.all(areas[baser] > 0)
            out.append(
                Pair(
                    nobler,
                    baser,
                    float(materials.pair_difference(index(nobler), index(baser))),
                    materials.sea_water_difference(nobler, baser),
                    areas[nobler] / areas[baser] if known else None,
                    places[nobler],
                    places[baser],
                )
            )
    return sorted(out, key=lambda pair: -pair.volts)


def _whole(areas: list) -> Any:
    return None if any(area is None for area in areas) else sum(areas)


def worn(found: list[Wetted]) -> list[tuple[Wetted, str, float]]:
    """
    Return what a plating that is worn through would bring: (the plated metal, what is nobler than its base, volts).

    The base counts as the anode; where nothing nobler touches the coolant, its own plating included, nothing is said.
    """
    out = []
    for one in found:
        if one.base:
            nobler = min((other.surface for other in found), key=index)
            volts = float(materials.pair_difference(index(nobler), index(one.base)))
            if index(nobler) < index(one.base):
                out.append((one, nobler, volts))
    return sorted(out, key=lambda item: -item[2])


@dataclass(frozen=True, eq=False)
class Seen:
    """
    The metals of a plan: every wetted one, every pair, whose limit holds, and whether there is an inhibitor.

    `signals` is what the rules say of a pair, by (nobler, baser); a pair they let pass is not in it.
    """

    wetted: list[Wetted]
    pairs: list[Pair]
    surroundings: str
    inhibitor: bool
    signals: dict[tuple[str, str], str]

    def table(self) -> pd.DataFrame:
        """Return every pair, the widest first."""
        rows = [
            (
                f"{pair.baser} with {pair.nobler}",
                pair.volts,
                "" if pair.sea_water is None else "{:+.2f} to {:+.2f}".format(*pair.sea_water),
                "not known" if pair.area_ratio is None else f"{float(pair.area_ratio):.2g}",
                self.signals.get((pair.nobler, pair.baser), "passes"),
                _listed(pair.baser_parts),
            )
            for pair in self.pairs
        ]
        columns = ["pair", "apart [V]", "in sea water [V]", "noble over base area", "judged", "what would be eaten"]
        return pd.DataFrame(rows, columns=columns)


def seen(plan: Plan) -> Seen:
    """
    Return the metals of a plan with what the rules say of each pair.

    Raises
    ------
    InputError
        As `wetted`.
    """
    found = wetted(plan)
    every, inhibitor = pairs(found), treatment(plan)["inhibitor"] == "yes"
    limit = materials.LIMITS[plan.surroundings]
    judged = [_pair_fact(pair.quantity, pair, found, pair.volts, limit) for pair in every]
    fired = rules.firings([*judged, *_coolant_facts(plan)], plan.house_rules)
    signals = {
        (fact.also["nobler"], fact.also["baser"]): rule.signal
        for rule, fact, _ in fired
        if rule.quantity in (*REFUSED, APART)
    }
    return Seen(found, every, plan.surroundings, inhibitor, signals)


# ------------------------------------------------------------------------------------------------ what fills it


def treatment(plan: Plan) -> dict:
    """
    Return the row of data/treatments.csv of a plan's coolant.

    Where the plan says nothing: water has a biocide in it, glycol measured by volume of its concentrate comes with
    inhibitor and biocide, pure glycol by mass with nothing (common practice, no source).
    """
    usual = {"none": "biocide", "volume": "inhibitor and biocide"}
    name = plan.treatment or usual.get(plan.coolant.fraction_basis, "none")
    return tables.by_name("treatments.csv")[name]


def contacts(plan: Plan) -> list[tuple[str, str, str]]:
    """Return (agent, material, where) of all that touches in a plan, as data/contacts.csv names them."""
    metals = _places((one.surface, one.where) for one in wetted(plan))
    tubes = [(e.tube.material, e.tube.name) for e in tree.leaves(plan.loop) if isinstance(e, (tree.Run, tree.DeadLeg))]
    tanks = [(tank.reservoir.material, tank.name) for tank in plan.units(tree.Tank)]
    plastics = _places(pair for pair in (*tubes, *tanks) if pair[0] != "copper")
    by_family = _places((family(metal), f"{metal}: {where}") for metal, where in metals.items())
    wet = by_family | plastics | {plan.seal: f"seals of {plan.seal}"}
    units = [*plan.units(tree.PumpUnit), *plan.units(tree.InlineUnit)]
    wet |= {u.kind: u.name for u in units if u.kind in ("pump", "filter")}
    outside = plastics | ({"copper": "copper tube"} if "copper" in dict(tubes) else {})
    touching = [(plan.coolant.base, wet), (treatment(plan)["colour"], wet), (plan.cleaner, outside)]
    touching += [(plan.assembly_aid, {plan.seal: f"seals of {plan.seal}"} | plastics)]
    touching += [("silver", by_family)] if "silver" in by_family else []
    return [(agent, material, where) for agent, places in touching for material, where in places.items()]


def _places(found: Iterable[tuple[str, str]]) -> dict[str, str]:
    """Return what is found, and where all in one line."""
    out: dict[str, list[str]] = {}
    for name, where in found:
        out.setdefault(name, []).append(where)
    return {name: _listed(places) for name, places in out.items()}


def known_contacts(inhibitor: bool | None = None) -> dict[tuple[str, str], dict]:
    """
    Return the rows of data/contacts.csv by what touches and what is touched.

    Where a row holds with or without an inhibitor only, that of a coolant with or without one; of None the row of what
    is usual, which stands first: none in water, one in glycol.
    """
    against = {None: "", True: "inhibitor is no", False: "inhibitor is yes"}[inhibitor]
    out: dict[tuple[str, str], dict] = {}
    for row in tables.read_table("contacts.csv"):
        if row["also"] == "" or row["also"] != against:
            out.setdefault((row["agent"], row["material"]), row)
    return out


# -------------------------------------------------------------------------------------------------------- facts


def facts(plan: Plan) -> list[Fact]:
    """Return what the rules judge of the materials of a plan, whatever it is solved to."""
    return _metal_facts(plan) + _coolant_facts(plan) + _joint_facts(plan)


def _metal_facts(plan: Plan) -> list[Fact]:
    found = wetted(plan)
    every, limit = pairs(found), materials.LIMITS[plan.surroundings]
    out = [Fact("metal is not stated", leaf.name, 1.0) for leaf in tree.leaves(plan.loop) if _unstated(leaf)]
    eaten, refused = set(), set()
    for pair in every:  # the widest pair of each metal that is eaten speaks for it, and the widest that is refused
        if pair.refused and pair.baser not in refused:
            refused.add(pair.baser)
            out.append(_pair_fact(pair.quantity, pair, found, pair.volts))
        if not pair.refused and pair.baser not in eaten:
            out.append(_pair_fact(APART, pair, found, pair.volts, limit))
            driven = [p for p in every if p.baser == pair.baser and p.volts > materials.LIMITS["harsh"]]
            # Where the sea-water series has two the other way round, which of them is the anode is not sure.
            ratios = [p.area_ratio for p in driven if p.area_ratio is not None and not p.turned]
            if ratios:  # what is known of the nobler metals adds up
                out.append(_pair_fact("cathode area over anode area", pair, found, sum(ratios)))
        eaten.add(pair.baser)
    out += _under_plating(found, refused)
    through, bases = worn(found), set()
    for worst, nobler, volts in through:
        if worst.base in bases:
            continue
        bases.add(worst.base)
        alike = [one for one, _, _ in through if (one.surface, one.base) == (worst.surface, worst.base)]
        parts = _listed(one.where for one in alike)
        also = {"part": _named(alike), "base": worst.base, "nobler": nobler}
        guess = " (base assumed)" if all(one.assumed for one in alike) else ""
        where = f"{parts}: {worst.surface} over {worst.base}{guess}, with {nobler}"
        out.append(Fact("difference where plating is worn through", where, volts, also=also))
    return out


def _under_plating(found: list[Wetted], refused: set[str]) -> list[Fact]:
    """Return light metals that meet a copper-family metal only through the pores and scratches of a plating."""
    light = {one.surface for one in found if family(one.surface) in _REFUSED} - refused
    under = [one for one in found if one.base and family(one.base) in COPPER_FAMILY]
    out = []
    for metal in sorted(light, key=index, reverse=True):
        for one in sorted(under, key=lambda one: index(one.base))[:1]:
            pair = Pair(
                one.base, metal, float(materials.pair_difference(index(metal), index(one.base))), None, None, (), ()
            )
            also = {"baser": metal, "nobler": one.base, "baser parts": _named(w for w in found if w.surface == metal)}
            also |= {"nobler parts": _named([one])}
            out.append(Fact(pair.quantity, f"{metal} with {one.base} under {one.surface}", pair.volts, also=also))
    return out


def _unstated(leaf: Any) -> bool:
    """Return True for a part that must have a metal and states none; a tank may well be all plastic."""
    return leaf.part is not None and not isinstance(leaf, tree.Tank) and not leaf.part.metal


def second_opinion(plan: Plan) -> list[Fact]:
    """Return the pair the index lets pass that lies furthest apart in sea water, none where no pair is known there."""
    found, limit = wetted(plan), materials.LIMITS[plan.surroundings]
    passing = [p for p in pairs(found) if p.volts <= limit and p.sea_water is not None and not p.refused]
    if not passing:
        return []
    pair = max(passing, key=lambda p: max(map(abs, p.sea_water)))
    end = max(pair.sea_water, key=abs)
    fact = _pair_fact("difference in the sea-water series", pair, found, abs(end), limit)
    nobler = pair.nobler if end > 0 else pair.baser
    words = f"{nobler} ({_named(one for one in found if one.surface == nobler)})"
    return [replace(fact, also={**fact.also, "nobler in sea water": words})]


def _pair_fact(quantity: str, pair: Pair, found: list[Wetted], value: Any, limit: Any = None) -> Fact:
    baser, nobler = ([one for one in found if one.surface == name] for name in (pair.baser, pair.nobler))
    either = " or ".join(filter(None, map(_replaced, (baser, nobler)))) or "take a coolant with an inhibitor"
    away = _replaced(baser)
    also = {
        "baser": pair.baser,
        "nobler": pair.nobler,
        "baser parts": _named(baser),
        "nobler parts": _named(nobler),
        "Replace baser": _sentence(away),
        "Replace either": _sentence(either),
        "Or else": f"Or {away}" if away else "Solder cannot be replaced: keep to the change interval of the coolant",
    }
    return Fact(quantity, f"{pair.baser} with {pair.nobler}", value, limit, also)


def _replaced(ones: list[Wetted]) -> str:
    """Return how parts are got rid of, "" if all of it is solder."""
    inside = [one for one in ones if one.where != BESIDE and one.piece != SOLDER]
    beside = _listed(f"the {one.metal}" for one in ones if one.where == BESIDE)
    steps = [f"replace {_named(inside)}"] if inside else []
    return " and ".join([*steps, f"take {beside} out of the loop"] if beside else steps)


def _named(ones: Iterable[Wetted]) -> str:
    """Return parts in one line, and which piece of them is meant."""
    places: dict[str, list[str]] = {}
    for one in ones:
        beside = one.where == BESIDE
        start = f"the {one.metal} " if beside else f"the {one.piece} of " if one.piece else ""
        places.setdefault(start, []).append(one.where)
    return " and ".join(start + _listed(places[start]) for start in sorted(places, key=bool))


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def _listed(places: Iterable[str], most: int = 3) -> str:
    """Return names in one line, each once, the first of many."""
    places = tuple(dict.fromkeys(places))
    more = len(places) - most
    return ", ".join(places[:most]) + (f" and {more} more" if more > 0 else "")


def _coolant_facts(plan: Plan) -> list[Fact]:
    row, where = treatment(plan), "coolant"
    out = [
        Fact("inhibitor", where, 1.0 if row["inhibitor"] == "yes" else 0.0),
        Fact("what is in the coolant is not stated", where, 0.0 if plan.treatment else 1.0),
        Fact("biocide", where, 1.0 if row["biocide"] == "yes" else 0.0),
        Fact("glycol in the coolant", where, plan.coolant.fraction),
        Fact("coolant base", where, plan.coolant.base),
        Fact("coolant colour", where, row["colour"]),
    ]
    out += [
        Fact("narrowest channel", unit.name, unit.block.channel)
        for unit in plan.units(tree.Source)
        if unit.block.channel is not None
    ]
    known = known_contacts(row["inhibitor"] == "yes")
    for agent, material, place in contacts(plan):
        if known.get((agent, material), {"signal": FITS})["signal"] != FITS:
            out.append(Fact(CONTACT, place, f"{agent}{ON}{material}"))
    return out


def _joint_facts(plan: Plan) -> list[Fact]:
    tubes = {e.tube.name: e.tube for e in tree.leaves(plan.loop) if isinstance(e, (tree.Run, tree.DeadLeg))}
    out = [Fact("tube material", name, tube.material) for name, tube in tubes.items()]
    if any(tube.rigid for tube in tubes.values()):  # a soft tube goes over a barb, without a ring
        out += [Fact("O-ring squeeze", "tube ends", plan.squeeze), Fact("tube edge", "tube ends", plan.tube_edge)]
    return out


# ---------------------------------------------------------------------------------------- where plastics get warm


def warm_facts(solution: Any) -> list[Fact]:
    """Return how far plastics and rubbers stay below what they bear in an answer (`solution.Solution`)."""
    out: list[Fact] = []
    unknown: set[str] = set()
    warmest: dict[tuple[str, float], Any] = {}
    for row in solution.walk:
        leaf = row["element"]
        if isinstance(leaf, tree.Tank):
            unknown |= {leaf.name} if _partly_known(leaf.reservoir.material) else set()
            if (soft := softening(leaf.reservoir.material)) is not None:
                out.append(Fact("tank below softening by", leaf.name, soft - row["in"]))
        if not isinstance(leaf, (tree.Run, tree.DeadLeg)) or leaf.tube.material == "copper":
            continue
        tube, wall = leaf.tube, row["in"]  # near the coolant; in a leg that stands, at the air of the case
        soft, service = softening(tube.material, tube.heat_deflection), _service(tube.material)
        if soft is not None:
            out.append(Fact("tube below softening by", leaf.name, soft - wall))
        unknown |= {tube.name} if _partly_known(tube.material, tube.heat_deflection) else set()
        if service is not None:
            warmest[tube.name, service] = np.maximum(wall, warmest.get((tube.name, service), wall))
    out += [Fact("softening temperature is not known", name, 1.0) for name in sorted(unknown)]
    out += [
        Fact("tube below its service temperature by", name, service - wall) for (name, service), wall in warmest.items()
    ]
    service = _service(solution.plan.seal)
    if service is not None:
        margin = service - solution.state["coolant_warmest"]
        out.append(Fact("seal below its service temperature by", f"seals of {solution.plan.seal}", margin))
    return out


def softening(material: str, deflection: float | None = None) -> float | None:
    """
    Return the temperature at which a material softens, None for one that does not or of which it is not known.

    Of a plastic whose deflection is known under the milder load only, it softens at that temperature at the latest.
    """
    if material in tables.by_name("metals.csv"):
        return None
    if _partly_known(material, deflection):  # under the full load it bends no later than under the milder one
        mild = materials.plastic(material)["hdt_mild_degc"]
        return None if mild == "" else mild - materials.SOFTENING_ALLOWANCE
    return materials.softening_temperature(material, deflection)


def _partly_known(material: str, deflection: float | None = None) -> bool:
    """Return True for a rigid plastic whose deflection under the full load is in no source, nor on a data sheet."""
    row = tables.by_name("plastics.csv").get(material, {"structure": "soft"})
    return row["structure"] not in ("soft", "rubber") and row["hdt_low_degc"] == "" and deflection is None


def _service(material: str) -> float | None:
    limit = materials.plastic(one_of("material", material, tables.by_name("plastics.csv")))["continuous_limit_degc"]
    return None if limit == "" else limit

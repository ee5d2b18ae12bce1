"""Which coolant: what every mix costs this loop against water, and how it gets on with what it touches."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from loopmath import loop as tree
from loopmath import rules, tables, wetted
from loopmath.checks import one_of
from loopmath.designs import number_of_designs, one_design
from loopmath.laws.coolant import Coolant, coolants
from loopmath.plan import AIDS, Plan
from loopmath.rules import CONTACT, FITS, ON, SIGNALS
from loopmath.solution import Solution, solved
from loopmath.units import DISPLAY

#: What rules judge besides materials: the mix whatever it touches, and channels a particle could stop up.
ITSELF, CHANNELS = "coolant itself", "fine channels"
#: Channels that stand in for those of a plan whose blocks are coarse, or do not say (the usual of the trade). [m]
CHANNEL = 0.3e-3
#: Quantities by which a rule judges what is in the coolant, or a pair that no coolant makes good.
JUDGED = {"inhibitor", "biocide", "glycol in the coolant", "coolant base", "coolant colour", CONTACT, *wetted.REFUSED}
#: Gravest first; what is not known ranks before what is known to get on.
RANKS = (*SIGNALS, "", FITS)
CLEAR = "clear"


@dataclass(frozen=True, eq=False)
class Mix:
    """
    A coolant and what is in it besides, in the loop of a plan.

    Attributes
    ----------
    coolant, treatment : Coolant, dict
        The coolant, and the row of data/treatments.csv that goes with it.
    label : str
        Both in words.
    flow, over_room : float
        Flow of the main line [m3/s], warmest coolant over room air [K].
    component, component_temperature : str, float
        What the loop cools that comes nearest to its limit, and how warm it is [degC].
    against_water : dict
        This mix less water: "flow" as a share of water's (-0.06 is 6 % less), "coolant" over room [K], "component":
        that component's temperature [K].
    mean, viscosity : float
        Mean temperature of the coolant [degC] and its viscosity there [Pa s].
    fits : (low, high)
        Range of its data. [degC]
    freezing : float
        Freezing point. [degC]
    life : (low, high)
        Months until it is changed: an estimate.
    care, disposal : str
        From data/treatments.csv.
    own : bool
        True for what the plan has.
    told, why : dict
        Of every material of the choice: the gravest signal word, "fits", or "" where nothing is known; and its reason.
    remark : str
        Why there is no answer (its numbers are then NaN), or whose numbers they are if not the mix's own.
    """

    coolant: Coolant
    treatment: dict
    label: str
    flow: float
    over_room: float
    component: str
    component_temperature: float
    against_water: dict[str, float]
    mean: float
    viscosity: float
    fits: tuple[float, float]
    freezing: float
    life: tuple[float, float]
    care: str
    disposal: str
    own: bool
    told: dict[str, str]
    why: dict[str, str]
    remark: str


@dataclass(frozen=True, eq=False)
class CoolantChoice:
    """
    Every coolant of data/coolants.csv in the loop of a plan, water first.

    `mixes` ends with the plan's coolant dyed and with particles. `materials` are the keys of `Mix.told`: the first
    `own_materials` of them are the plan's, the others common ones.
    """

    plan: Plan
    mixes: tuple[Mix, ...]
    materials: tuple[str, ...]
    own_materials: int

    def table(self, system: str = "metric") -> pd.DataFrame:
        """
        Return a row for each mix, units in the header, numbers rounded; NaN has no answer, and a remark says why.

        "changed by" and "warmer by" are against water. "nearest its limit" is what the loop cools that comes nearest.
        """
        units = DISPLAY[system]
        flow, difference, warm = (units[kind] for kind in ("flow", "difference", "temperature"))
        rows = [
            {
                "coolant": mix.label,
                "in it": mix.treatment["name"],
                f"flow [{flow.label}]": round(flow.convert(mix.flow), flow.digits),
                "flow changed by [%]": round(100 * mix.against_water["flow"], 1),
                f"over room [{difference.label}]": round(difference.convert(mix.over_room), 1),
                f"warmer by [{difference.label}]": round(difference.convert(mix.against_water["coolant"]), 2),
                "nearest its limit": mix.component or "none",
                f"it has [{warm.label}]": round(warm.convert(mix.component_temperature), 1),
                f"it is warmer by [{difference.label}]": round(difference.convert(mix.against_water["component"]), 2),
                "viscosity [mPa s]": round(1e3 * mix.viscosity, 2),
                f"freezes [{warm.label}]": round(warm.convert(mix.freezing), 1),
                "gravest here": self.gravest(mix) or "not all known",
                "remark": mix.remark,
            }
            for mix in self.mixes
        ]
        return pd.DataFrame(rows)

    def care(self) -> pd.DataFrame:
        """Return a row for each base and what is in it: months until it is changed, care, where it goes when old."""
        rows = {
            (mix.coolant.base, mix.treatment["name"]): {
                "coolant": mix.coolant.base,
                "in it": mix.treatment["name"].replace("none", "nothing"),
                "life [months]": "{:g} to {:g}".format(*mix.life),
                "care": mix.care,
                "disposal": mix.disposal,
            }
            for mix in self.mixes
        }
        return pd.DataFrame(rows.values())

    def gravest(self, mix: Mix) -> str:
        """Return the gravest signal word of a mix on the plan's own materials, "fits", or "" if not all are known."""
        return min((mix.told[material] for material in self.materials[: self.own_materials]), key=RANKS.index)


def coolant_choice(plan: Plan) -> CoolantChoice:
    """
    Solve a plan with every coolant, and judge each against what it touches.

    Parameters
    ----------
    plan : Plan
        One design; coolant and treatment are exchanged, everything else stays.

    Returns
    -------
    choice : CoolantChoice

    Raises
    ------
    InputError
        If the plan is N designs.

    Notes
    -----
    A coolant comes with what is usual for its base (`wetted.treatment`), the plan's own with what the plan says. What
    dye and particles do to flow and heat is not known: those mixes have the numbers of their base, and say so.
    Components on air are left out of "hottest": a coolant hardly reaches them.

    For the plan's own materials the rules speak, those on inhibitor and biocide too; what concerns no one material
    stands under `ITSELF`. For common others data/contacts.csv alone is asked.
    """
    one_design("coolant choice", number_of_designs(plan))
    answers = [_with(plan, coolant) for coolant in (coolants() | {plan.coolant.name: plan.coolant}).values()]
    base = next(answer for answer in answers if answer.plan.coolant is plan.coolant)
    answers += [
        replace(base, plan=replace(base.plan, treatment=name))
        for name, row in tables.by_name("treatments.csv").items()
        if row["colour"] != CLEAR
    ]
    materials, own = _materials(plan)
    mixes = tuple(_mix(answer, answers[0], plan, materials) for answer in answers)
    return CoolantChoice(plan, mixes, materials, own)


def _with(plan: Plan, coolant: Coolant) -> Solution:
    """Return the answer for a coolant without colour, its usual treatment or the plan's named."""
    named = plan.treatment if coolant is plan.coolant and wetted.treatment(plan)["colour"] == CLEAR else ""
    changed = replace(plan, coolant=coolant, treatment=named)
    return solved(replace(changed, treatment=wetted.treatment(changed)["name"]))


def _materials(plan: Plan) -> tuple[tuple[str, ...], int]:
    """Return what mixes are judged against, the plan's first, and how many of them are the plan's."""
    fine = max((r.limit for r in rules.rules() if r.quantity == "narrowest channel"), default=0.0)
    channels = [unit.block.channel for unit in plan.units(tree.Source) if unit.block.channel is not None]
    own = [ITSELF, *(m for agent, m, _ in wetted.contacts(plan) if agent == plan.coolant.base)]
    own += [CHANNELS] * any(channel < fine for channel in channels)
    mixed = {c.base for c in coolants().values()} | {row["colour"] for row in tables.read_table("treatments.csv")}
    common = [material for agent, material in wetted.known_contacts() if agent in mixed]
    own = list(dict.fromkeys(own))
    return tuple(dict.fromkeys([*own, CHANNELS, *common])), len(own)


def _mix(answer: Solution, water: Solution, plan: Plan, materials: tuple[str, ...]) -> Mix:
    coolant, row, s = answer.plan.coolant, wetted.treatment(answer.plan), answer.state
    coloured = row["colour"] != CLEAR
    nearest = min(plan.units(tree.Source), key=lambda unit: unit.limit - s[unit.name], default=None)
    name = nearest.name if nearest is not None and answer.known else ""
    warm, with_water = (float(state.get(name, np.nan)) for state in (s, water.state))
    # Of a loop too hot for its data not even the flow is known; of one that stands it is.
    flow, of_water = (float(a.state["flow"]) if a.known or not a.moving else np.nan for a in (answer, water))
    over_room = float(s["coolant_over_room"])
    mean = float(answer.settled.mean_temperature) if answer.known else np.nan
    told, why = _told(answer, materials)
    return Mix(
        coolant=coolant,
        treatment=row,
        label=f"{coolant.label}, with {row['colour']}" if coloured else coolant.label,
        flow=flow,
        over_room=over_room,
        component=name,
        component_temperature=warm,
        against_water={
            "flow": flow / of_water - 1.0 if of_water else np.nan,
            "coolant": over_room - float(water.state["coolant_over_room"]),
            "component": warm - with_water,
        },
        mean=mean,
        viscosity=float(coolant.properties(mean)[1]),
        fits=(coolant.low, coolant.high),
        freezing=float(coolant.freezing),
        life=(row["life_low_months"], row["life_high_months"]),
        care=row["care"],
        disposal=row["disposal"],
        own=coolant is plan.coolant and row["name"] == wetted.treatment(plan)["name"],
        told=told,
        why=why,
        remark=answer.plight or ("Numbers of its base: no data of the mix." if coloured else ""),
    )


def _told(answer: Solution, materials: tuple[str, ...]) -> tuple[dict[str, str], dict[str, str]]:
    """Return of every material what is said of the mix of an answer on it, and why."""
    plan = answer.plan
    mixed = [plan.coolant.base, *({wetted.treatment(plan)["colour"]} - {CLEAR})]
    said: dict[str, list[tuple[str, str]]] = {material: [] for material in materials}
    touched, inhibitor = [m for m in materials if m not in (ITSELF, CHANNELS)], wetted.treatment(plan)["inhibitor"]
    for (_, material), row in contact_matrix(mixed, touched, inhibitor == "yes").items():
        said[material].append((row["signal"], row["why"]) if row else ("", "Nothing known."))
    facts = [*answer.facts, rules.Fact("narrowest channel", CHANNELS, CHANNEL)]
    for rule, fact, _ in rules.firings(facts, plan.house_rules):
        material = _about(fact, mixed)
        if material in said and not JUDGED.isdisjoint(clause.quantity for clause in rule.clauses):
            said[material].append((rule.signal, rule.why))
    gravest = {
        material: min(found, key=lambda one: RANKS.index(one[0]), default=(FITS, "No rule speaks."))
        for material, found in said.items()
    }
    return {m: signal for m, (signal, _) in gravest.items()}, {m: why for m, (_, why) in gravest.items()}


def _about(fact: rules.Fact, mixed: list[str]) -> str:
    """Return what a fact is about: a material, `CHANNELS`, or the coolant itself; "" for what is not in the mix."""
    if fact.quantity == CONTACT:
        agent, _, material = fact.value.partition(ON)
        return material if agent in mixed else ""
    if "baser" in fact.also:
        return wetted.family(fact.also["baser"])
    return CHANNELS if fact.quantity == "narrowest channel" else ITSELF


# ----------------------------------------------------------------------------------------------- what touches what


def known_agents() -> list[str]:
    """Return what touches: what is in a coolant, what tubes and rings meet when they are put in, and silver."""
    bases = [coolant.base for coolant in coolants().values()]
    colours = [row["colour"] for row in tables.read_table("treatments.csv") if row["colour"] != CLEAR]
    return list(dict.fromkeys([*bases, *colours, *AIDS, "silver"]))


def known_materials() -> list[str]:
    """Return what is touched: families of metal, plastics and rubbers, pump and filter."""
    families = [row["family"] for row in tables.by_name("metals.csv").values()]
    return list(dict.fromkeys([*families, *tables.by_name("plastics.csv"), "pump", "filter"]))


def contact_matrix(
    agents: Iterable[str], materials: Iterable[str], inhibitor: bool | None = None
) -> dict[tuple[str, str], dict | None]:
    """
    Return what is known of everything that touches on everything that is touched.

    Parameters
    ----------
    agents : names
        Of `known_agents`, such as "soapy water".
    materials : names
        Of `known_materials`, such as "EPDM".
    inhibitor : bool, optional
        Whether a coolant has one; by default as is usual for its base.

    Returns
    -------
    rows : dict
        (agent, material) -> row of data/contacts.csv; None where nothing is known, which is not "fits".

    Raises
    ------
    InputError
        If a name is unknown; the nearest are listed.

    Examples
    --------
    >>> found = contact_matrix(["mineral oil"], ["EPDM", "copper"])
    >>> found["mineral oil", "EPDM"]["signal"], found["mineral oil", "copper"]
    ('danger', None)
    """
    known, materials = wetted.known_contacts(inhibitor), [one_of("material", m, known_materials()) for m in materials]
    return {(one_of("agent", a, known_agents()), m): known.get((a, m)) for a in agents for m in materials}

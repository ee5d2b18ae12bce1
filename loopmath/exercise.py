"""
Find the one part that ruins this loop: good plans, each with one thing changed, to be found and explained.

What the builders say is invented, as everything in the example plans. What is wrong is found by the rules, not
written here: the answer is whatever differs from the good plan, and the reason is what the rules then say.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, NamedTuple

from loopmath import loop as tree
from loopmath import tables, wetted
from loopmath.checks import InputError, one_of
from loopmath.laws import materials
from loopmath.plan import BALANCE, Plan
from loopmath.planfile import load_plan
from loopmath.rules import SIGNALS, Warned
from loopmath.solution import solved
from loopmath.units import show

#: Signal words graver than a caution: what ruins a loop.
GRAVE = SIGNALS[: SIGNALS.index("caution")]
BOOTH, SUITE, WORKSHOP, CUBE = "podcast_booth", "grading_suite", "quiet_workshop", "reading_cube"
#: Begins the name of a setting that every run gets.
EVERY_RUN = "every run."


class Case(NamedTuple):
    """
    One exercise as it is written down.

    `file` is an example plan, `ready` what is set in it before (the plan is still good), `change` what ruins it.
    `found` says what the rules found, with what the gravest warning has (`rules.Warned`) and `_numbers` in braces.
    """

    file: str
    ready: dict[str, Any]
    change: dict[str, Any]
    words: str
    hint: str
    found: str


_CASES = (
    Case(
        BOOTH,
        {},
        {"radiator": "3 x 120 mm, slim, medium fins, aluminium"},
        "A machine that stands in a podcast booth. Everything was bought new within a week, one piece of it on offer. "
        "After half a year the coolant is cloudy and grey mud sits in the fine fins of the blocks.",
        "Write down the metal of each part the coolant touches, and look for the one that is alone.",
        "{baser} and {nobler} lie {apart} apart, where {allowed}.",
    ),
    Case(
        WORKSHOP,
        {},
        {"assembly_aid": "mineral oil"},
        "A machine beside a workbench. Every joint went together at the first push, not one scratched. Weeks later a "
        "drop hangs under one of them, then under the next.",
        "What touches rubber for a moment can stay in it for good. Ask what these seals met before the coolant.",
        "{quantity}: {where} were wetted with it while the tubes went in.",
    ),
    Case(
        CUBE,
        {},
        {f"{EVERY_RUN}fitting_metal": "mild steel"},
        "A small cube beside an armchair. What was missing came from the hardware shop round the corner, at half the "
        "price. Since then the water turns brown within days of every change.",
        "Brown water comes from one metal only. Look which part is of it, and what is in this water to protect it.",
        "{quantity}: there is no inhibitor in this water, and the coolant touches this metal in every run.",
    ),
    Case(
        WORKSHOP,
        {},
        {"front radiator.fan_speed": 0.15},
        "The workshop machine again. At night one thing could still be heard, until it was turned down as far as the "
        "knob went. It is quiet now, and warmer than it should be.",
        "Something that is told to turn slowly may not turn at all. Compare each speed with the least it starts at.",
        "Its fans are asked for {asked}, and start at {least}: they stand.",
    ),
    Case(
        BOOTH,
        {},
        {"case_air_over_room": 27.0},
        "The booth machine, made quieter: felt over every opening. Processor and graphics card are as cool as before. "
        "Yet after the first warm week a puddle lies on the floor of the case.",
        "Coolant does not flow everywhere. Ask what warms the places it never passes.",
        "Where coolant stands, the tube is as warm as the case around it: {warm} at the {end}, and this tube softens "
        "from {soft}.",
    ),
    Case(
        SUITE,
        {"coolant": "propylene-glycol-20"},
        {f"{EVERY_RUN}fitting_metal": "nickel plate over zinc casting"},
        "Two graphics cards under one processor, for a room where film is graded. It ran well for a year. Then "
        "everything was taken apart and brushed; now the filter catches white specks.",
        "All that shines is plated. Ask of every surface what lies under it.",
        "Where the brush wore the plating through, the metal under it and {over} lie {through} apart, where {allowed}.",
    ),
    Case(
        BOOTH,
        {},
        {"coolant": "propylene-glycol-20-mass", "treatment": "none"},
        "The booth machine, filled at home: a bottle from the chemist's, clean and clear, and deionised water, weighed "
        "on the kitchen scale. Nothing in it that the builder does not know.",
        "Everything solid is as it should be. Ask what a bottle made for loops holds besides glycol and water.",
        "{glycol} of glycol, and neither inhibitor nor biocide with it.",
    ),
    Case(
        SUITE,
        {"coolant": "propylene-glycol-20"},
        {"cleaner": "isopropyl alcohol"},
        "The grading suite machine, clear tube from end to end. Before the photographs it was wiped until no finger "
        "mark was left. Next morning fine lines run round the bends.",
        "A bend keeps stress inside. Ask what has touched it since it was formed.",
        "{quantity}, which is under stress wherever it is bent or pushed tight: {where}.",
    ),
    Case(
        WORKSHOP,
        {},
        {"pump_speed": 0.35},
        "The workshop machine once more, quieter than ever and hardly warmer. Bubbles have sat in the block of the "
        "graphics card for a week and do not move.",
        "Bubbles go where they are carried. Ask what carries them, and how fast.",
        "The loop gets {value}, less than {limit}.",
    ),
    Case(
        WORKSHOP,
        {},
        {"treatment": "inhibitor, biocide and particles"},
        "For a film the workshop machine was made to shimmer like mother-of-pearl. It stays on the bench, and is to "
        "shimmer for years.",
        "Look for the narrowest way of this loop, and for what has to pass it.",
        "The narrowest channel of {where} measures {value}; below {limit} particles stop it up.",
    ),
    Case(
        WORKSHOP,
        {},
        {"tube_edge": "sharp"},
        "The first build of the workshop machine. The lengths were sawn to size, rinsed, and pushed home with soapy "
        "water, straight and to the stop. Two joints dripped at once, the others after the first warm day.",
        "Rings sit still and the wall slides past them. Ask what passes them first.",
        "{quantity}, so every ring was shaved as it was passed.",
    ),
    Case(
        SUITE,
        {"room_air": 35.0, "coolant": "propylene-glycol-20"},
        {"tube_material": "PETG"},
        "The grading suite machine moved under the roof, where summer afternoons are hot. It was plumbed anew for the "
        "move, of what was at hand. In the second week a joint behind the cards let go.",
        "Find the warmest coolant, and compare it with what each material there bears.",
        "The coolant reaches {warm} in the tube ({end}), which softens from {soft}.",
    ),
)
#: The exercises by their numbers.
EXERCISES: dict[int, Case] = dict(enumerate(_CASES, 1))


class Thing(NamedTuple):
    """One thing a plan is made of: a short name, its figures in words, what of it the coolant touches."""

    name: str
    figures: str
    touched: str = ""


@dataclass(frozen=True, eq=False)
class Exercise:
    """
    A plan with one thing that ruins it.

    Attributes
    ----------
    number : int
        A key of `EXERCISES`.
    plan, good : Plan
        The plan, and the same without the fault: the rules have nothing graver than a caution against that one.
    words : str
        What its builder says of it.
    things : tuple of Thing
        What it is made of: parts in flow order, then tube, coolant and joints.
    answer : str
        The name of the one that is at fault.
    why : str
        What the rules found, and what to do.
    hint : str
        What to look at next; it does not name the answer.
    """

    number: int
    plan: Plan
    good: Plan
    words: str
    things: tuple[Thing, ...]
    answer: str
    why: str
    hint: str

    @property
    def choices(self) -> tuple[str, ...]:
        """Their names: what could be at fault."""
        return tuple(thing.name for thing in self.things)

    def judge(self, choice: str) -> tuple[bool, str]:
        """
        Return whether a choice is the answer, and words: the reason if it is, a hint if not.

        Raises
        ------
        InputError
            If the choice is not one of `choices`.
        """
        one_of("choice", choice, self.choices, "Take one of the list as it is written there.")
        if choice == self.answer:
            return True, f"Yes, that is the one. {self.why}"
        return False, f"No, this one is sound. {self.hint}"


def exercise(number: int, system: str = "metric") -> Exercise:
    """
    Return an exercise.

    Parameters
    ----------
    number : int
        A key of `EXERCISES`: from 1.
    system : str
        "metric" or "us": the units of its words and figures.

    Raises
    ------
    InputError
        If there is no exercise of this number.
    """
    if number not in list(EXERCISES):
        raise InputError("exercise", number, f"a number from 1 to {len(EXERCISES)}", "Start with 1.")
    case = EXERCISES[number]
    good = _with(load_plan(tables.DATA / "plans" / f"{case.file}.toml"), case.ready)
    plan = _with(good, case.change)
    found, before = things(plan, system), things(good, system)
    (answer,) = [thing.name for thing in found if thing not in before]
    return Exercise(number, plan, good, case.words, tuple(found), answer, _why(plan, case, system), case.hint)


def _with(plan: Plan, settings: dict[str, Any]) -> Plan:
    for name, value in settings.items():
        if name.startswith(EVERY_RUN):
            field = name.removeprefix(EVERY_RUN)
            plan = plan.set(**{f"{run.name}.{field}": value for run in plan.units(tree.Run)})
        else:
            plan = plan.set(**{name: value})
    return plan


def grave(plan: Plan, system: str = "metric") -> list[Warned]:
    """Return the warnings of a plan that are graver than a caution, gravest first."""
    return [row for row in solved(plan).warned(system) if row.signal in GRAVE]


def _why(plan: Plan, case: Case, system: str) -> str:
    """Return what the rules found: the numbers of the gravest warning, the reasons of all that are as grave."""
    rows = grave(plan, system)
    first = [row for row in rows if row.signal == rows[0].signal]
    found = case.found.format(**first[0]._asdict(), **_numbers(plan, system))
    said = [found[0].upper() + found[1:], *(row.why for row in first), *(row.action for row in first)]
    return " ".join([*dict.fromkeys(said), f"The rules call it a {first[0].signal}."])


def _numbers(plan: Plan, system: str) -> dict[str, str]:
    """Return what a reason may name besides: glycol, metals furthest apart, slowest fans, tube next to softening."""
    limit = f"{materials.LIMITS[plan.surroundings]:.2f} V"
    out = {"glycol": show(plan.coolant.fraction, "share", system)}
    out["allowed"] = f"{plan.surroundings} surroundings allow {limit}"
    metals = wetted.wetted(plan)
    for pair in wetted.pairs(metals)[:1]:
        out |= {"nobler": pair.nobler, "baser": pair.baser, "apart": f"{pair.volts:.2f} V"}
    for _, over, volts in wetted.worn(metals)[:1]:
        out |= {"over": over, "through": f"{volts:.2f} V"}
    driven = [unit for unit in plan.units(tree.RadiatorUnit) if unit.fan is not None]
    if driven:
        slow = min(driven, key=lambda unit: unit.fan_speed - unit.fan.least_speed)
        out |= {"asked": show(slow.fan_speed, "share", system), "least": show(slow.fan.least_speed, "share", system)}
    ends = [(row["element"].name, row["in"], _softens(row["element"].tube)) for row in solved(plan).walk if _tube(row)]
    ends = [end for end in ends if end[2] is not None]
    if ends:
        name, warm, soft = min(ends, key=lambda end: float(end[2] - end[1]))
        out |= {"end": name, "warm": show(float(warm), "temperature", system)}
        out["soft"] = show(soft, "temperature", system)
    return out


def _tube(row: dict) -> bool:
    return isinstance(row["element"], (tree.Run, tree.DeadLeg))


def _softens(tube: Any) -> float | None:
    return wetted.softening(tube.material, tube.heat_deflection)


# -------------------------------------------------------------------------------------- what could be at fault


def things(plan: Plan, system: str = "metric") -> list[Thing]:
    """
    Return what a plan is made of: its parts in flow order, then tube, coolant and joints.

    Parts of one kind that are alike are one thing, and so are small parts, runs of tube, their fittings and legs: what
    differs among those is told with its place.
    """
    metals = _metals(plan)
    leaves = list(tree.leaves(plan.loop))
    small = [leaf for leaf in leaves if isinstance(leaf, (tree.Fittings, tree.InlineUnit))]
    alike: dict[tuple, list[str]] = {}
    for leaf in leaves:
        if leaf in small:
            alike.setdefault((tree.Fittings,), []).append(leaf.name)
        elif type(leaf) in _FIGURES:
            # What a tank is made of it says itself; its metal comes behind.
            touched = [leaf.part.material] if isinstance(leaf, tree.Tank) else []
            touched += [metals[leaf.name]] if leaf.name in metals else []
            key = type(leaf), _FIGURES[type(leaf)](leaf, system), ", ".join(touched)
            alike.setdefault(key, []).append(leaf.name)
    out = []
    for (kind, *said), names in alike.items():
        if kind is tree.Fittings:
            touched = _told((name, metals.get(name, "not stated")) for name in names)
            out.append(Thing("small parts in the line", ", ".join(names), touched))
        else:
            out.append(Thing(", ".join(names), *said))
    return out + _plumbing(plan, metals, system) + _joints(plan, system)


def _plumbing(plan: Plan, metals: dict[str, str], system: str) -> list[Thing]:
    """Return tube, its fittings, legs and coolant."""
    runs, legs = plan.units(tree.Run), plan.units(tree.DeadLeg)
    tubes = _told((run.name, _tube_words(run.tube, system)) for run in runs)
    out = [
        Thing("runs of tube", tubes, _told((run.name, run.tube.material) for run in runs)),
        Thing("fittings of the tube", "at both ends of every run", _told((r.name, metals[r.name]) for r in runs)),
    ]
    if legs:
        own = {leg.tube.name for leg in legs} - {run.tube.name for run in runs}
        given = f"at {show(plan.room_air + plan.case_air_over_room, 'temperature', system)}"
        air = "as warm as the drawing shows it" if plan.case_air_by == BALANCE else given
        of = _told((leg.name, _tube_words(leg.tube, system)) for leg in legs) if own else "the same tube"
        figures = f"{', '.join(leg.name for leg in legs)}: closed, of {of}, in the air of the case, {air}"
        out.append(Thing("legs where coolant stands", figures))
    besides = wetted.treatment(plan)["name"]
    in_it = "nothing else" if besides == "none" else besides
    return [*out, Thing("coolant", f"{plan.coolant.label}; in it: {in_it}")]


def _joints(plan: Plan, system: str) -> list[Thing]:
    """Return O-rings and ends of rigid tube, and what everything is wiped with."""
    wiped = Thing("cleaning from outside", plan.cleaner)
    if not any(run.tube.rigid for run in plan.units(tree.Run)):  # a soft tube goes over a barb, without a ring
        return [wiped]
    squeeze = show(plan.squeeze, "share", system)
    return [
        Thing("O-rings", f"squeezed by {squeeze}; wetted with {plan.assembly_aid} when the tubes went in", plan.seal),
        Thing("ends of the tube", plan.tube_edge),
        wiped,
    ]


def _told(said: Iterable[tuple[str, str]]) -> str:
    """Return what is said of places: once if it is the same of all, else each with its places."""
    places: dict[str, list[str]] = {}
    for place, words in said:
        places.setdefault(words, []).append(place)
    if len(places) == 1:
        return next(iter(places))
    return "; ".join(f"{words} ({', '.join(names)})" for words, names in places.items())


def _metals(plan: Plan) -> dict[str, str]:
    """Return the metals the coolant touches in each part, a plating with what lies under it."""
    out: dict[str, list[str]] = {}
    for one in wetted.wetted(plan):
        under = f" over {one.base}" if one.base else ""
        out.setdefault(one.where, []).append(f"{one.surface}{under}{' (assumed)' if one.assumed else ''}")
    return {where: ", ".join(dict.fromkeys(metals)) for where, metals in out.items()}


def _tube_words(tube: Any, system: str) -> str:
    soft = _softens(tube)
    words = f"{tube.name}, rated to {show(tube.coolant_limit, 'temperature', system)}"
    return words if soft is None else f"{words}, softens from {show(soft, 'temperature', system)}"


def _pump(unit: tree.PumpUnit, system: str) -> str:
    speed, least = (show(share, "share", system) for share in (unit.speed, unit.part.least_speed))
    return f"{unit.part.name}; asked for {speed}, starts at {least}"


def _block(unit: tree.Source, system: str) -> str:
    channel = unit.block.channel
    return unit.part.name if channel is None else f"{unit.part.name}; channels {show(channel, 'length', system)} wide"


def _radiator(unit: tree.RadiatorUnit, system: str) -> str:
    if unit.fan is None:
        return unit.part.name
    speed, least = (show(share, "share", system) for share in (unit.fan_speed, unit.fan.least_speed))
    return f"{unit.part.name}; {unit.fan.name}; asked for {speed}, start at {least}"


#: Figures of a part, by its class.
_FIGURES: dict[type, Callable[[Any, str], str]] = {
    tree.Tank: lambda unit, system: unit.part.name,
    tree.PumpUnit: _pump,
    tree.Source: _block,
    tree.RadiatorUnit: _radiator,
}

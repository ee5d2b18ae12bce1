"""
Find the one part that ruins this loop: good plans, each with one thing changed, to be found and explained.

What the builders say is invented, as everything in the example plans. What is wrong is found by the rules, not
written here: the answer is whatever differs from the good plan, and the reason is what the rules then say.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, NamedTuple

from loopmath import loop as tree
from loopmath import tables, wetted
from loopmath.checks import InputError, one_of
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
    `found` says what the rules found, with what the gravest warning has (`rules.Warned`) and the glycol in braces.
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
        "{where}: {value} apart, where {limit} is the most that passes.",
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
        "Against the least speed at which they turn, theirs is {value}: they stand.",
    ),
    Case(
        BOOTH,
        {},
        {"case_air_over_room": 27.0},
        "The booth machine, made quieter: felt over every opening. Processor and graphics card are as cool as before. "
        "Yet the leg that hangs down to the drain has begun to lean.",
        "Coolant does not flow everywhere. Ask what warms a leg in which it stands.",
        "Where coolant stands, the wall is as warm as what is around it. Left to softening at {where}: {value}.",
    ),
    Case(
        SUITE,
        {},
        {f"{EVERY_RUN}fitting_metal": "nickel plate over zinc casting"},
        "Two graphics cards under one processor, for a room where film is graded. It ran well for a year. Then "
        "everything was taken apart and brushed; now the filter catches white specks.",
        "All that shines is plated. Ask of every surface what lies under it.",
        "Where the brush wore the plating through, the metal under it and the plating lie {value} apart; {limit} is "
        "the most the index allows.",
    ),
    Case(
        BOOTH,
        {},
        {"coolant": "propylene-glycol-20-mass"},
        "The booth machine, filled at home: a bottle from the chemist's, clean and clear, and deionised water, weighed "
        "on the kitchen scale. Nothing in it that the builder does not know.",
        "Everything solid is as it should be. Ask what a bottle made for loops holds besides glycol and water.",
        "{glycol} of glycol, and neither inhibitor nor biocide with it.",
    ),
    Case(
        SUITE,
        {},
        {"cleaner": "isopropyl alcohol"},
        "The grading suite machine, clear tube from end to end. Before the photographs it was wiped until no finger "
        "mark was left. Next morning fine lines run round the bends.",
        "A bend keeps stress inside. Ask what has touched it since it was formed.",
        "{quantity}: every length of {where} is bent or pushed tight into its fittings.",
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
        {"room_air": 35.0},
        {"tube_material": "PETG"},
        "The grading suite machine moved under the roof, where summer afternoons are hot. It was plumbed anew for the "
        "move, of what was at hand. In the second week a joint behind the cards let go.",
        "Find the warmest coolant, and compare it with what each material there bears.",
        "Left to softening at {where}: {value}.",
    ),
)
#: The exercises by their numbers.
EXERCISES: dict[int, Case] = dict(enumerate(_CASES, 1))


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
    choices : tuple of str
        Parts in flow order, then decisions: what could be at fault.
    answer : str
        The one of them that is.
    why : str
        What the rules found, and what to do.
    hint : str
        What to look at next; it does not name the answer.
    """

    number: int
    plan: Plan
    good: Plan
    words: str
    choices: tuple[str, ...]
    answer: str
    why: str
    hint: str

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
        return False, f"This one could stay as it is, if one other thing were different. {self.hint}"


def exercise(number: int, system: str = "metric") -> Exercise:
    """
    Return an exercise.

    Parameters
    ----------
    number : int
        A key of `EXERCISES`: from 1.
    system : str
        "metric" or "us": the units of its words.

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
    choices, before = things(plan, system), things(good, system)
    (answer,) = [choice for choice in choices if choice not in before]
    return Exercise(number, plan, good, case.words, tuple(choices), answer, _why(plan, case, system), case.hint)


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
    glycol = show(plan.coolant.fraction, "share", system)
    found = case.found.format(glycol=glycol, **first[0]._asdict())
    said = [found[0].upper() + found[1:], *(row.why for row in first), *(row.action for row in first)]
    return " ".join([*dict.fromkeys(said), f"The rules call it a {first[0].signal}."])


# -------------------------------------------------------------------------------------- what could be at fault


def things(plan: Plan, system: str = "metric") -> list[str]:
    """
    Return what a plan is made of, a line each: its parts in flow order, then what was decided besides.

    Runs are one line, for their tube, and one for their fittings: what is wrong with one is wrong with all.
    """
    out = [line for leaf in tree.leaves(plan.loop) if type(leaf) in _SAYS for line in _lines(leaf, system)]
    runs = plan.units(tree.Run)
    tubes = dict.fromkeys(f"{r.tube.name}, rated to {show(r.tube.coolant_limit, 'temperature', system)}" for r in runs)
    given = f"{show(plan.case_air_over_room, 'difference', system)} over the room"
    besides = wetted.treatment(plan)["name"]
    out += [
        f"tube: {', '.join(tubes)}",
        f"fittings of the tube: {', '.join(dict.fromkeys(run.fitting_metal for run in runs))}",
        f"coolant: {plan.coolant.label}; in it: {'nothing else' if besides == 'none' else besides}",
        f"air of the room: {show(plan.room_air, 'temperature', system)}",
        f"air of the case: {'what fans and openings make of it' if plan.case_air_by == BALANCE else given}",
        f"cleaned from outside with: {plan.cleaner}",
    ]
    if any(run.tube.rigid for run in runs):  # a soft tube goes over a barb, without a ring
        out += [
            f"O-rings: {plan.seal}, squeezed by {show(plan.squeeze, 'share', system)}",
            f"ends of the tube: {plan.tube_edge}",
            f"O-rings wetted with: {plan.assembly_aid}",
        ]
    return out


#: What is said of an element, by its class; runs have no line of their own.
_SAYS: dict[type, Callable[[Any], str]] = {
    tree.Tank: lambda unit: f"{unit.part.name}, {unit.part.material}",
    tree.PumpUnit: lambda unit: unit.part.name,
    tree.Source: lambda unit: unit.part.name,
    tree.Fittings: lambda unit: f"{unit.count:g} x {unit.part.name}",
    tree.InlineUnit: lambda unit: unit.part.name,
    tree.RadiatorUnit: lambda unit: unit.part.name,
    tree.DeadLeg: lambda unit: "a closed leg in which coolant stands",
}


def _lines(leaf: tree.Element, system: str) -> list[str]:
    """Return the line of an element, and one for its fans."""
    line = f"{leaf.name}: {_SAYS[type(leaf)](leaf)}"
    if isinstance(leaf, tree.PumpUnit):
        line += f", at {show(leaf.speed, 'share', system)}"
    if isinstance(leaf, tree.Source) and leaf.block.channel is not None:
        line += f", channels of {show(leaf.block.channel, 'length', system)}"
    metals = ", ".join(dict.fromkeys(metal for metal, _ in leaf.wets()))
    out = [f"{line}; coolant touches {metals}" if metals else line]
    if isinstance(leaf, tree.RadiatorUnit) and leaf.fan is not None:
        out.append(f"fans of {leaf.name}: {leaf.fan.name}, at {show(leaf.fan_speed, 'share', system)}")
    return out

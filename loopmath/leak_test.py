"""The leak test of a loop: with which air pressure, how long, in which steps; `leak_verdict` judges its readings."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from loopmath import loop as tree
from loopmath import tables, units
from loopmath.checks import InputError, between
from loopmath.designs import number_of_designs, one_design
from loopmath.laws import coolant as coolants
from loopmath.laws import leak
from loopmath.loss import GRAVITY
from loopmath.plan import Plan
from loopmath.slips import shown
from loopmath.tube_ends import highest_pressure
from loopmath.units import DISPLAY

#: Test this much above what the loop will see, and at most at this share of the lowest rating (common practice, no
#: source); the pressure offered is rounded to this.
ABOVE, OF_RATING, ROUNDED = 1.1, 0.8, 1000.0
#: Scatter and step of a room thermometer [K]; how fast weather moves the room's pressure [Pa/s], and how far off it may
#: be from the standard one [Pa]. Common practice, no source.
SCATTER, WARM_STEP, WEATHER, UNKNOWN_ROOM = 0.1, 0.1, 100.0 / 3600, 3000.0
#: Hold that is reasonable, settling after pumping, time between readings (common practice, no source). [s]
REASONABLE, SETTLES, INTERVAL = 7200.0, 300.0, 60.0
KINDS = {
    tree.Tank: "reservoir", tree.PumpUnit: "pump", tree.Source: "block", tree.RadiatorUnit: "radiator",
    tree.Run: "tube", tree.DeadLeg: "tube", tree.Fittings: "fitting", tree.InlineUnit: "inline",
}  # fmt: skip


# -------------------------------------------------------------------------------------------- pressure and hold


@dataclass(frozen=True, eq=False)
class LeakPlan:
    """
    How a loop is tested.

    Attributes
    ----------
    plan : Plan
    ratings : dict of str to float
        Element -> what it is rated for, over the room. [Pa]
    sees, least, most : float
        Highest pressure the loop will see, and the ends of the window for the test, over the room. [Pa]
    pressure : float
        Of the test, over the room. [Pa]
    volume, hose : float
        Air in loop and hose together, and in the hose. [m3]
    step, smallest, room : float
        Of the gauge [Pa], smallest leak worth finding [m3/s at room conditions], absolute pressure of the room [Pa].
    measured_room : bool
        The room's pressure was given.
    fall : float
        What the smallest leak takes from the pressure. [Pa/s]
    hold : float
        After settling; infinite if a day is not enough. [s]
    """

    plan: Plan
    ratings: dict[str, float]
    sees: float
    least: float
    most: float
    pressure: float
    volume: float
    hose: float
    step: float
    smallest: float
    room: float
    measured_room: bool
    fall: float
    hold: float

    @property
    def lowest(self) -> tuple[str, float]:
        """The part that is rated lowest, and for how much. [Pa]"""
        name = min(self.ratings, key=self.ratings.get)
        return name, self.ratings[name]

    @property
    def energy(self) -> tuple[float, float]:
        """What the air gives when it is let go at once, and at most at the room's temperature. [J]"""
        state = (self.volume, self.room + self.pressure, self.room)
        return float(leak.isentropic_energy(*state)), float(leak.isothermal_energy(*state))

    def window(self, system: str = "metric") -> str:
        """Return the window for the test pressure in words, or that there is none."""
        show, (part, rating) = shown("pressure", system), self.lowest
        ends = f"{show(self.least)} (a tenth above the {show(self.sees)} the loop can see) to {show(self.most)} (a "
        ends += f"fifth below the {show(rating)} of {part}, the lowest rating)"
        if self.least > self.most:
            words = f"There is no window: it would be {ends}. Test {part} by itself as its maker says, "
            return words + "slow the pump for good, or take a part with a higher rating; a weaker test proves less."
        return f"Test at {ends}. The part's own instructions decide."

    def brief(self, system: str = "metric") -> str:
        """Return pressure and hold in words."""
        if self.least > self.most:
            return f"{self.window(system)} {self.advice(system)}"
        show = shown("pressure", system)
        if self.pressure > self.most:
            return f"Do not test at {show(self.pressure)}: {show(self.most)} is the most {self.lowest[0]} allows."
        return f"Test at {show(self.pressure)}. {self.advice(system)}"

    def advice(self, system: str = "metric") -> str:
        """Return the hold in words, and what would do if it is unreasonably long."""
        size = leak_text(self.smallest, system)
        if self.hold <= REASONABLE:
            first = f"Settle {SETTLES / 60:.0f} min, then hold {minutes(self.hold)}"
            return f"{first}: a leak of {size} of air shows in 99 of 100 tests."
        steps = [s for s in self.step / np.array([2.0, 5.0, 10.0, 20.0, 50.0]) if _hold(self, s) <= REASONABLE]
        finer = (
            f"a gauge that tells {shown('pressure', system)(steps[0])} would do" if steps else "a finer gauge alone "
        )
        finer += "" if steps else "would not do; note a barometer too"
        long = f"hold {minutes(self.hold)}" if np.isfinite(self.hold) else "even a day is not enough"
        up = "" if self.pressure >= self.most else "; more pressure within the window drives more through a hole"
        return f"{size} of air is too little for two hours: {long}, or {finer}{up}. Or look for a larger leak."

    def wet(self, system: str = "metric") -> str:
        """Return what the smallest leak of air would be in coolant, in words."""
        warm = float(self.plan.room_air)
        thick = float(self.plan.coolant.properties(warm)[1])
        through = leak.coolant_leak(
            self.smallest, self.pressure, self.sees, self.room, coolants.air_viscosity(warm), thick
        )
        day = DISPLAY[system]["volume"].text(86400 * float(through))
        return (
            f"A hole that lets {leak_text(self.smallest, system)} of air through would weep at most about {day} of "
            "coolant a day at the highest pressure the loop sees; a very fine one holds it back altogether."
        )

    def danger(self, system: str = "metric") -> str:
        """Return what the compressed air can do, in words."""
        at_once, _ = self.energy
        return (
            f"The air holds {at_once:.0f} J when let go at once: like {'1 kg' if system == 'metric' else '2.2 lb'} "
            f"falling from {DISPLAY[system]['head'].text(at_once / GRAVITY)}. A brittle acrylic part that bursts "
            "throws splinters: wear glasses, keep faces away."
        )


def leak_text(rate: float, system: str = "metric") -> str:
    """
    Return a leak [m3/s of air at room conditions] in words.

    Examples
    --------
    >>> leak_text(1e-6 / 60), leak_text(1e-6 / 60, "us")
    ('1 mL/min', '0.034 fl oz/min')
    """
    how = DISPLAY[system]["volume"]
    return f"{float(f'{how.convert(60 * rate):.2g}'):g} {how.label}/min".replace("-", "−")


def minutes(time: float) -> str:
    """Return a time [s] as whole minutes, rounded up, or hours."""
    return f"{np.ceil(time / 60 - 1e-6):.0f} min" if time < 3 * 3600 else f"{time / 3600:.1f} h"


def ratings(plan: Plan, own: Mapping[str, float] | None = None) -> dict[str, float]:
    """
    Return what each part of a plan is rated for over the room [Pa]: `own` by its name, else data/pressure_ratings.csv.

    Raises
    ------
    InputError
        If `own` names no part of the plan, or a rating is not above 0.
    """
    rows, own = tables.read_table("pressure_ratings.csv"), dict(own or {})
    names = [leaf.name for leaf in tree.leaves(plan.loop)]
    for name, value in own.items():
        if name not in names:
            raise InputError("rating", name, f"a part of the plan: {', '.join(names)}", "Write it as the plan does.")
        between(f"rating of {name}", value, 1000.0, 5e6, "Pa")
    out = {}
    for leaf in tree.leaves(plan.loop):
        material = getattr(getattr(leaf, "tube", None) or getattr(leaf, "reservoir", None), "material", "")
        kind = next((k for c, k in KINDS.items() if isinstance(leaf, c)), "inline")
        fitting = [row for row in rows if row["kind"] == kind and row["material"] in (material, "")]
        out[leaf.name] = own.get(leaf.name, 1000.0 * fitting[0]["rated_kpa"])
        if kind == "tube" and leaf.name not in own:  # it ends in fittings
            out[leaf.name] = min(out[leaf.name], *(1000.0 * r["rated_kpa"] for r in rows if r["kind"] == "fitting"))
    return out


def will_see(plan: Plan) -> float:
    """Return the highest pressure a loop will see: `highest_pressure`, and coolant above the middles it counts. [Pa]"""
    middles = [leaf.position[2] for leaf in tree.leaves(plan.loop) if leaf.position is not None]
    ends = [z for box in plan.bodies if box.of for z in (box.corner[2], box.corner[2] + box.size[2])]
    ends += [float(z) for path in plan.paths.values() for z in np.asarray(path.points)[..., 2].ravel()]
    density = float(plan.coolant.properties(float(plan.room_air))[0])
    more = max(0.0, np.ptp(ends) - np.ptp(middles)) if ends and len(middles) > 1 else 0.0
    return float(highest_pressure(plan)[0] + density * GRAVITY * more)


def planned(
    plan: Plan,
    pressure: float | None = None,
    hose: float = 0.0,
    step: float | None = None,
    smallest: float | None = None,
    room: float | None = None,
    own: Mapping[str, float] | None = None,
) -> LeakPlan:
    """
    Plan the dry leak test of a loop.

    Parameters
    ----------
    plan : Plan
        One design.
    pressure : float, optional
        Of the test over the room; by default in the middle of the window, or at its upper end if there is none. [Pa]
    hose : float
        Air beside the loop, in gauge and hose, 0 to 0.01. [m3]
    step, smallest : float, optional
        Of the gauge [Pa], and smallest leak worth finding, as air at room conditions [m3/s]; else the plan's.
    room : float, optional
        Absolute pressure of the room; by default the standard one at the plan's height. [Pa]
    own : dict of str to float, optional
        Ratings of the user's parts, by name. [Pa]

    Raises
    ------
    InputError
        If an input is outside or the plan is N designs.

    Examples
    --------
    >>> from loopmath.planfile import load_plan
    >>> test = planned(load_plan(tables.DATA / "plans" / "podcast_booth.toml"))
    >>> round(test.pressure), test.lowest[0]
    (55000, 'reservoir')
    """
    one_design("a leak test", number_of_designs(plan))
    measured = room is not None
    room = float(coolants.pressure_at_height(plan.height)) if room is None else room
    room = between("air pressure of the room", room, 4e4, 1.15e5, "Pa")
    step = between("step of the gauge", plan.gauge_step if step is None else step, 1.0, 5e4, "Pa")
    smallest = plan.least_leak if smallest is None else smallest
    smallest = between("smallest leak", smallest, 1e-10, 1e-4, "m3/s")
    volume = sum(float(leaf.volume()) for leaf in tree.leaves(plan.loop)) + between("hose", hose, 0.0, 0.01, "m3")
    held, sees = ratings(plan, own), will_see(plan)
    least, most = ABOVE * sees, OF_RATING * min(held.values())
    if pressure is None:
        pressure = min(most, ROUNDED * np.round((least + most) / 2 / ROUNDED)) if least <= most else most
    pressure = float(between("test pressure", pressure, 1000.0, 1e6, "Pa"))
    fall = room * smallest / volume
    test = LeakPlan(plan, held, sees, least, most, pressure, volume, hose, step, smallest, room, measured, fall, np.nan)
    return LeakPlan(**(vars(test) | {"hold": _hold(test, step)}))


def _hold(test: LeakPlan, step: Any) -> Any:
    """Return the hold with a gauge of a step, thermometer and weather as usual. [s]"""
    each = (test.room + test.pressure) / leak.kelvin(float(test.plan.room_air))
    return leak.hold_time(test.fall, step + each * WARM_STEP, each * SCATTER, WEATHER, INTERVAL)


def findable(test: LeakPlan, hold: Any) -> Any:
    """Return the smallest leak a hold [s] finds in 99 of 100 tests, as air at room conditions [m3/s]."""
    each = (test.room + test.pressure) / leak.kelvin(float(test.plan.room_air))
    count = np.maximum(np.floor(hold / INTERVAL) + 1, 5.0)
    doubt = leak.slope_doubt(hold, count, test.step + each * WARM_STEP, each * SCATTER, WEATHER)
    return 2 * doubt * test.volume / test.room


def own_ratings(text: str) -> dict[str, float]:
    """
    Return ratings written by a person, by part. [Pa]

    Examples
    --------
    >>> own_ratings("reservoir: 60 kPa; pump: 1 bar")
    {'reservoir': 60000.0, 'pump': 100000.0}
    """
    out = {}
    for item in filter(str.strip, text.split(";")):
        name, mark, value = item.partition(":")
        if not mark:
            raise InputError("ratings", item, "part: pressure; part: pressure", "Such as reservoir: 60 kPa.")
        out[name.strip()] = units.to_si(f"rating of {name.strip()}", value.strip(), "pressure")
    return out


def steps(test: LeakPlan, system: str = "metric") -> tuple[list[str], list[str]]:
    """Return the steps of the dry test and of the wet test."""
    show, (part, rating) = shown("pressure", system), test.lowest
    pump = f"Stop at {show(test.pressure)}; the lowest rating is {show(rating)} ({part}), and"
    if test.pressure > test.most:
        pump = (
            f"Do not go to {show(test.pressure)}: stop at {show(test.most)}, as {part} is rated for {show(rating)}, and"
        )
    dry = [
        "Only on a dry, empty loop, never on a filled one. Machine off and unplugged, battery out of a portable one.",
        "Close fill, vent and drain; fit the tester to the top fill port. Glasses on, faces away from acrylic.",
        f"Hand pump only, never a compressor or a can of gas. {pump} the part's own instructions decide.",
        f"Let it settle {SETTLES / 60:.0f} min: pumping warms the air. Shut the pump off from gauge and loop.",
        "Note time, pressure and temperature beside the loop once a minute; the thermometer away from hands and sun.",
        f"Hold {minutes(test.hold) if np.isfinite(test.hold) else 'longer than a day'}. Tighten and open nothing under "
        "pressure.",
        "Release all pressure at the valve, see the gauge at zero, then open.",
    ]
    wet = [
        "Only after a dry test that is tight. Feed the pump alone from a supply of its own; all other electronics "
        "unpowered, unplugged, boards covered.",
        "White paper under every joint, block and the pump; fill, top up as air leaves, never run the pump dry.",
        "Run 24 hours (common practice, no source; the part's instructions decide), tipping gently once air is out.",
        "Look after 10 minutes, an hour, at the end: drops at joints and caps, wet paper, a falling level.",
        "If anything is wet: pump off, drain, mend, dry test again. Power the machine only when all is dry.",
        "Mains and water: low voltage only, dry hands. The part's instructions, local codes, licensed practice decide.",
    ]
    return dry, wet

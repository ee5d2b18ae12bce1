"""A plan: the one frozen record everything follows from, and the settings that can be slid or swept."""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from datetime import date
from typing import Any

import numpy as np

from loopmath import catalogue, parts, tables
from loopmath import loop as tree
from loopmath.case import AirPart, CaseFans, Header, SpeedCurve
from loopmath.checks import Checked, InputError, between, one_of
from loopmath.files import Origin
from loopmath.laws import coolant as coolants
from loopmath.laws import materials
from loopmath.laws.coolant import Coolant
from loopmath.laws.seals import EDGES
from loopmath.radiator import Radiator
from loopmath.routes import Box, Port, Route, TubePath, with_port, with_standoff, without
from loopmath.rules import HouseRule
from loopmath.units import KIND_OF_UNIT, to_si

#: Where the temperature of the air in the case comes from.
GIVEN, BALANCE = "given", "balance"
#: What answers call figures of their own; no component can be called so, for it stands beside them.
FIGURES = (
    *("flow", "head", "coolant_supply", "coolant_return", "coolant_warmest", "coolant_over_room", "heat", "sound"),
    *("pump_power", "fan_power", "case_air", "volume", "coolant", "case", "pumps", "fans"),
    *("other heat in the case", "walls of the case"),
)
#: Fields of a plan that are one of some words, and where the words are.
WORDS: dict[str, Callable[[], list[str]]] = {
    "treatment": lambda: ["", *tables.by_name("treatments.csv")],
    "surroundings": lambda: list(materials.LIMITS),
    "seal": lambda: [n for n, row in tables.by_name("plastics.csv").items() if row["structure"] == "rubber"],
    "tube_edge": lambda: list(EDGES),
    "assembly_aid": lambda: AIDS,
    "cleaner": lambda: AIDS,
}
#: What rings and tubes may be wetted and wiped with; data/contacts.csv says what each does.
AIDS = [
    *("soapy water", "mineral oil", "petroleum jelly", "silicone grease", "isopropyl alcohol", "acetone", "vinegar"),
    "water",
]
#: What they call places and ways of air; nothing that air passes can be called so.
WAYS = (*tree.PLACES, "openings")


def own_name(part: Any) -> None:
    """
    Refuse a name of a part that an answer could not tell from its own words.

    Raises
    ------
    InputError
        For a component called as one of `FIGURES`, or a radiator or fans of the case called as one of `WAYS`.
    """
    for kinds, taken in (((tree.Source, AirPart), FIGURES), ((tree.RadiatorUnit, CaseFans), WAYS)):
        if isinstance(part, kinds) and part.name in taken:
            remedy = "Answers call something else so: give the part another name, or one more word."
            raise InputError("name", part.name, "a name of its own", remedy)


@dataclass(frozen=True, eq=False)
class Plan:
    """
    One loop plan: everything an answer follows from.

    Attributes
    ----------
    title, notes : str
        The builder's own words.
    loop : Series
        The loop in flow order.
    coolant : Coolant
        What flows.
    room_air : float or array
        Air of the room. [degC]
    height : float or array
        Height above sea level. [m]
    case_air_over_room : float or array
        Air inside the case over room air, the builder's estimate. [K]
    case_air_by : str
        "given": that estimate holds. "balance": the air of the case follows from fans, radiators, openings and heat.
    case_heat : float or array
        Heat of all that stays on air and is not in `on_air`. [W]
    case_vents : float or array
        Free area of all openings that are no fan's. [m2]
    case_wall_loss : float or array
        Heat through the walls for each kelvin over the room. [W/K]
    case_volume : float
        Air in the case; it counts while it warms up. [m3]
    case_fans : tuple of CaseFans
        Fans between case and room.
    on_air : tuple of AirPart
        Parts that are not in the loop.
    headers : tuple of Header
        What feeds fans and pumps.
    speed_curves : tuple of SpeedCurve
        Speeds that follow a temperature; answers at stated speeds leave them aside.
    listener : float or array
        Distance of the ear. [m]
    coolant_limit : float
        Warmest coolant the builder accepts. [degC]
    sound_limit : float
        Loudest level the builder accepts. [dB]
    budget : float, optional
        What the parts may cost, in `currency`.
    currency : str
        The builder's own, such as "EUR": every price of a plan is in it.
    coolant_price : float, optional
        Price of a litre of coolant.
    tube : Tube, optional
        What a run is made of unless it says otherwise.
    fitting_metal : str
        What the coolant touches in the fittings of runs unless a run says otherwise.
    also_wetted : tuple of str
        Metals the coolant touches in something that is no part of the plan, such as a coil in the tank.
    treatment : str
        What is in the coolant besides: a row of data/treatments.csv; empty is the usual one of its base.
    surroundings : str
        Whose limit of the anodic index holds: a key of `laws.materials.LIMITS`.
    seal : str
        Rubber of the O-rings.
    ring_section, squeeze, rings : float
        O-rings on the ends of rigid tube: diameter of their section [m], share they are squeezed by, number at an end.
    tube_edge : str
        How the ends of rigid tube are left: one of `EDGES`.
    assembly_aid, cleaner : str
        What wets the rings when a tube goes in, and what takes marks off it: agents of data/contacts.csv.
    hot_spot : float or array
        How much warmer than its mean the air of the case may be where a tube hangs. [K]
    house_rules : tuple of HouseRule
        Rules of the builder's own.
    ports, boxes, routes : tuples of Port, Box, Route
        The machine in space, as far as it was measured; a run that has a route takes its length and bends from there.
    case_size : tuple of 3 floats, optional
        Inside of the case: to the right, to the rear, up. [m]
    clearance : float
        Least gap between tubes, and between tubes and parts. [m]
    tube_fitting : str
        The fitting that holds a tube where its route names none.
    bend_radius : float or array, optional
        Radius of bends where a route has none of its own: that of the former at hand. [m]
    stock_lengths : tuple of float
        Lengths tube is sold in. [m]
    kerf, squaring : float
        What a saw takes, and what is left to square each end. [m]
    spares, practice, practice_length : float
        Runs that are cut twice (the longest first), and practice pieces and their length [m].
    stretch, over_bend : float, optional
        What a practice bend told: by which share of its arc a bend gets longer, and of its angle it springs back; by
        default what data/bending.csv says of the material.
    tip_limit : float
        How far the machine may be tipped to let air or coolant out. [rad]
    bottle_sizes : tuple of float
        Bottles the coolant is sold in. [m3]
    coolant_spare : float or array
        Share bought on top of what the loop takes. [-]
    hours_per_day : float or array
        How long the machine runs. [h]
    filled_on : str
        Day it was last filled, year-month-day; empty: not yet.
    gauge_step : float or array
        What the gauge of the leak tester can tell apart. [Pa]
    least_leak : float or array
        Smallest leak worth finding, as air of the room. [m3/s]
    before : tuple of (first, second) or (first, second, why)
        What the builder wants in before what, by name of part, tube, box or step.
    origin : Origin, optional
        The file it was read from.
    """

    title: str
    loop: tree.Series
    coolant: Coolant
    room_air: Any = 25.0
    height: Any = 0.0
    case_air_over_room: Any = 5.0
    listener: Any = 1.0
    coolant_limit: float = 45.0
    sound_limit: float = 40.0
    notes: str = ""
    budget: float | None = None
    currency: str = ""
    coolant_price: float | None = None
    tube: parts.Tube | None = None
    fitting_metal: str = "nickel plate"
    also_wetted: tuple[str, ...] = ()
    origin: Origin | None = None
    case_air_by: str = GIVEN
    case_heat: Any = 0.0
    case_vents: Any = 0.012
    case_wall_loss: Any = 4.0
    case_volume: float = 0.05
    case_fans: tuple[CaseFans, ...] = ()
    on_air: tuple[AirPart, ...] = ()
    headers: tuple[Header, ...] = ()
    speed_curves: tuple[SpeedCurve, ...] = ()
    treatment: str = ""
    surroundings: str = "normal"
    seal: str = "EPDM"
    ring_section: Any = 0.00178
    squeeze: Any = 0.2
    rings: Any = 2.0
    tube_edge: str = "chamfered"
    assembly_aid: str = "soapy water"
    cleaner: str = "soapy water"
    hot_spot: Any = 10.0
    house_rules: tuple[HouseRule, ...] = ()
    ports: tuple[Port, ...] = ()
    boxes: tuple[Box, ...] = ()
    routes: tuple[Route, ...] = ()
    case_size: tuple[float, float, float] | None = None
    clearance: Any = 0.003
    tube_fitting: str = ""
    bend_radius: Any = None
    stock_lengths: tuple[float, ...] = (0.5, 1.0)
    kerf: Any = 0.001
    squaring: Any = 0.001
    spares: Any = 0.0
    practice: Any = 1.0
    practice_length: Any = 0.15
    stretch: Any = None
    over_bend: Any = None
    tip_limit: Any = np.pi / 2
    bottle_sizes: tuple[float, ...] = (0.001,)
    coolant_spare: Any = 0.1
    hours_per_day: Any = 8.0
    filled_on: str = ""
    gauge_step: Any = 1000.0
    least_leak: Any = 1e-6 / 60
    before: tuple[tuple[str, ...], ...] = ()

    def __post_init__(self) -> None:
        tree.checked(self.loop)
        self._check_space()
        self._check_service()
        object.__setattr__(self, "loop", self._laid())
        one_of("case_air_by", self.case_air_by, (GIVEN, BALANCE))
        between("case_heat", self.case_heat, 0.0, 3000.0, "W")
        between("case_vents", self.case_vents, 0.0, 1.0, "m2")
        between("case_wall_loss", self.case_wall_loss, 0.0, 100.0, "W/K")
        between("case_volume", self.case_volume, 0.001, 2.0, "m3")
        names = {leaf.name for leaf in tree.leaves(self.loop)}
        for part in (*tree.leaves(self.loop), *self.case_fans, *self.on_air):
            own_name(part)
        for what in (*self.case_fans, *self.on_air):
            if what.name in names:
                raise InputError("plan", what.name, "each name once", "Give every part a name of its own.")
            names.add(what.name)
        for name, known in WORDS.items():
            one_of(name, getattr(self, name), known())
        between("ring_section", self.ring_section, 0.0005, 0.01, "m")
        between("squeeze", self.squeeze, 0.0, 0.45, "of its section")
        between("rings", self.rings, 0.0, 4.0)
        between("hot_spot", self.hot_spot, 0.0, 40.0, "K")
        between("room_air", self.room_air, 5.0, 45.0, "degC", "a room a person sits in")
        between("height", self.height, -400.0, 5000.0, "m")
        between("case_air_over_room", self.case_air_over_room, 0.0, 40.0, "K")
        between("listener", self.listener, 0.1, 20.0, "m")
        between("coolant_limit", self.coolant_limit, 5.0, 95.0, "degC")
        between("sound_limit", self.sound_limit, 0.0, 120.0, "dB")
        for name in ("budget", "coolant_price"):
            if getattr(self, name) is not None:
                between(name, getattr(self, name), 0.0, 1e7)

    def _check_space(self) -> None:
        """Look at the names and sizes of what stands in space."""
        for what in ("ports", "boxes", "routes"):
            seen = [item.name for item in getattr(self, what)]
            twice = next((name for n, name in enumerate(seen) if name in seen[:n]), None)
            if twice is not None:
                raise InputError(what, twice, "each name once", "Give each a name of its own.")
        between("clearance", self.clearance, 0.0, 0.1, "m")
        between("kerf", self.kerf, 0.0, 0.02, "m")
        between("squaring", self.squaring, 0.0, 0.05, "m")
        between("spares", self.spares, 0.0, 100.0)
        between("practice", self.practice, 0.0, 100.0)
        between("practice_length", self.practice_length, 0.02, 2.0, "m")
        if self.stretch is not None:
            between("stretch", self.stretch, -0.5, 0.5, "of the arc")
        if self.over_bend is not None:
            between("over_bend", self.over_bend, 0.0, 0.5, "of the angle")
        if self.bend_radius is not None:
            between("bend_radius", self.bend_radius, 0.001, 1.0, "m")
        if self.tube_fitting:
            catalogue.part("fitting", self.tube_fitting, "tube_fitting")
        if not self.stock_lengths:
            raise InputError("stock_lengths", "none", "one length or more")
        for length in self.stock_lengths:
            between("stock_lengths", length, 0.05, 10.0, "m")
        if self.case_size is not None:
            between("case_size", np.array(self.case_size), 0.05, 3.0, "m")

    def _check_service(self) -> None:
        """Look at what the plan says of filling, testing and upkeep."""
        between("tip_limit", self.tip_limit, 0.0, np.pi, "rad")
        between("coolant_spare", self.coolant_spare, 0.0, 1.0, "of the loop")
        between("hours_per_day", self.hours_per_day, 0.0, 24.0, "hours")
        between("gauge_step", self.gauge_step, 1.0, 1e5, "Pa")
        between("least_leak", self.least_leak, 1e-10, 1e-4, "m^3/s")
        if not self.bottle_sizes:
            raise InputError("bottle_sizes", "none", "one size or more")
        for size in self.bottle_sizes:
            between("bottle_sizes", size, 1e-5, 0.1, "m^3")
        for pair in self.before:
            if isinstance(pair, str) or len(pair) not in (2, 3) or pair[0] == pair[1]:
                accepted = "two different names, what goes in first and what after it, and why if you like"
                raise InputError("before", pair, accepted, 'Such as ["drain valve", "front radiator"].')
        if self.filled_on:
            try:
                date.fromisoformat(self.filled_on)
            except ValueError:
                remedy = "Such as 2026-05-31."
                raise InputError("filled_on", self.filled_on, "a day as year-month-day", remedy) from None

    def _laid(self) -> tree.Series:
        return tree.laid_out(self.loop, self.routes, self.ports, self.tube_fitting, self.bend_radius)

    @property
    def paths(self) -> dict[str, TubePath]:
        """The runs and dead legs that are laid in space, by name."""
        return {leaf.name: leaf.laid for leaf in tree.leaves(self.loop) if getattr(leaf, "laid", None) is not None}

    @property
    def bodies(self) -> tuple[Box, ...]:
        """All that takes room: the boxes, and the parts of the loop that have a position and a size."""
        own = []
        for leaf in tree.leaves(self.loop):
            if leaf.position is not None and leaf.size is not None:
                corner = tuple(p - s / 2 for p, s in zip(leaf.position, leaf.size, strict=True))
                own.append(Box(leaf.name, corner, leaf.size, of=leaf.name))
        return (*own, *self.boxes)

    def as_counts(self, *names: str) -> "Plan":
        """
        Return the plan with the runs of these names, by default all, as runs of the length and the number of bends that
        they were laid with: for tubes that go other ways.
        """
        return replace(self, routes=without(self.routes, names) if names else ())

    @property
    def case_air(self) -> Any:
        """Air inside the case as the builder estimates it. [degC]"""
        return self.room_air + self.case_air_over_room

    def at_peak(self) -> "Plan":
        """
        Return the plan with every source at its peak heat.

        It has no origin: it is for looking, and saving it would turn the peak into the usual heat.
        """

        def peak(leaf: Any) -> Any:
            at_most = isinstance(leaf, (tree.Source, AirPart)) and leaf.peak_heat is not None
            return replace(leaf, heat=np.maximum(leaf.heat, leaf.peak_heat)) if at_most else leaf

        return replace(self.with_loop(peak), on_air=tuple(map(peak, self.on_air)), origin=None)

    def units(self, kind: type) -> list:
        """Return the elements of one class, in flow order."""
        return tree.of_kind(self.loop, kind)

    @property
    def components(self) -> list:
        """All that has heat and a limit: what the loop cools, then the parts on air."""
        return [*self.units(tree.Source), *self.on_air]

    @property
    def fanned(self) -> list:
        """The radiators that have fans."""
        return [unit for unit in self.units(tree.RadiatorUnit) if unit.fan is not None]

    @property
    def turning(self) -> list:
        """All that turns: radiators with fans, fans of the case, pumps; each has a `machine` and a `speed`."""
        return [*self.fanned, *self.case_fans, *self.units(tree.PumpUnit)]

    def with_speeds(self, speeds: dict[str, Any]) -> "Plan":
        """Return the plan with some of `turning` at other speeds, by their names; all fans of a radiator follow."""

        def one(leaf: Any) -> Any:
            if leaf.name not in speeds:
                return leaf
            if isinstance(leaf, tree.RadiatorUnit):
                return replace(leaf, fan_speed=speeds[leaf.name], pull_speed=None, second_speed=None)
            return replace(leaf, speed=speeds[leaf.name])

        return replace(self.with_loop(one), case_fans=tuple(map(one, self.case_fans)))

    def with_loop(self, change: Callable) -> "Plan":
        """Return the plan with every element replaced by `change(element)`."""
        return replace(self, loop=tree.mapped(self.loop, change))

    def set(self, **settings: Any) -> "Plan":
        """Return the plan with settings changed; the names are those of `SETTINGS` or "element.field"."""
        plan = self
        for name, value in settings.items():
            plan = apply_setting(plan, name, value)
        return plan


# -------------------------------------------------------------------------------------------------- settings


def _each(kind: type, **new: Any) -> Callable:
    """Return a change that replaces fields of every element of one class."""
    return lambda leaf: replace(leaf, **new) if isinstance(leaf, kind) else leaf


def _set_tubes(plan: Plan, change: Callable[[parts.Tube], parts.Tube]) -> Plan:
    """Change every tube once, so that runs of one tube go on sharing one record."""
    changed: dict[int, parts.Tube] = {}

    def one(leaf: Any) -> Any:
        tube = getattr(leaf, "tube", None)
        if tube is None:
            return leaf
        return replace(leaf, tube=changed.setdefault(id(tube), change(tube)))

    plan = plan.with_loop(one)
    return plan if plan.tube is None else replace(plan, tube=changed.get(id(plan.tube)) or change(plan.tube))


def _set_bore(plan: Plan, value: Any) -> Plan:
    return _set_tubes(plan, lambda tube: replace(tube, bore=value, outside=value + (tube.outside - tube.bore)))


def _set_tube(plan: Plan, value: str) -> Plan:
    tube = catalogue.part("tube", value)
    return _set_tubes(plan, lambda _: tube)


def _set_tube_material(plan: Plan, value: str) -> Plan:
    """Take the tube of that material nearest in size for every tube of another one."""
    one_of("tube_material", value, catalogue.tube_materials())
    return _set_tubes(plan, lambda tube: tube if tube.material == value else catalogue.tube_like(tube, value))


def _set_also_wetted(plan: Plan, value: Any) -> Plan:
    """Take a list of metals, or the name of one."""
    value = (value,) if isinstance(value, str) else value
    if not isinstance(value, (tuple, list)):
        raise InputError("also_wetted", value, "a list of metals")
    for name in value:
        materials.layers(name, "also_wetted")
    return replace(plan, also_wetted=tuple(value))


def _listed(name: str) -> Callable:
    """Return a change of a field that is a list of numbers; a number alone is a list of one."""
    return lambda plan, value: replace(plan, **{name: tuple(np.ravel(value).tolist())})


def _plain(name: str) -> Callable:
    return lambda plan, value: replace(plan, **{name: value})


def _set_words(name: str) -> Callable:
    return lambda plan, value: replace(plan, **{name: one_of(name, value, WORDS[name]())})


def _set_coolant(plan: Plan, value: Any) -> Plan:
    return replace(plan, coolant=value if isinstance(value, Coolant) else coolants.coolant(value))


#: Layouts of the blocks; the first leaves the loop as the plan has it.
AS_PLANNED = "as planned"
LAYOUTS = (AS_PLANNED, "series", "parallel")


def _set_layout(plan: Plan, value: str) -> Plan:
    one_of("layout", value, LAYOUTS)
    if value == AS_PLANNED:
        return plan
    in_series = tree.blocks_in_series(plan.loop)
    loop = in_series if value == "series" else tree.blocks_in_parallel(in_series)
    # Tubes of another layout go other ways than those that were laid.
    return plan if tree.named(loop) == tree.named(plan.loop) else replace(plan, loop=loop, routes=())


def _set_load(plan: Plan, value: str) -> Plan:
    return plan.at_peak() if one_of("load", value, ("typical", "peak")) == "peak" else plan


def _fitted(unit: tree.RadiatorUnit, radiator: Any) -> tree.RadiatorUnit:
    """Put another radiator in place, with fans of its size."""
    fan = unit.fan
    if fan is not None and np.ndim(radiator.fan_size):
        raise InputError(f"{unit.name}.fan_size", "an array", "one size at a time", "Each size needs fans of its own.")
    if fan is not None and np.ndim(radiator.fan_size) == 0 and abs(fan.size - radiator.fan_size) > 1e-6:
        fan = catalogue.fan_of_size(fan, radiator.fan_size)
    return replace(unit, radiator=radiator, fan=fan)


def _first(plan: Plan, kind: type, what: str) -> Any:
    found = plan.units(kind)
    if not found:
        raise InputError(what, "none in the plan", f"a plan with a {what}")
    return found[0]


def _set_radiator(plan: Plan, value: str) -> Plan:
    first = _first(plan, tree.RadiatorUnit, "radiator")
    new = _fitted(first, catalogue.part("radiator", value))
    return plan.with_loop(lambda leaf: new if leaf is first else leaf)


def _set_pump(plan: Plan, value: str) -> Plan:
    return plan.with_loop(_each(tree.PumpUnit, pump=catalogue.part("pump", value)))


def _set_fan(plan: Plan, value: str) -> Plan:
    like = catalogue.part("fan", value)

    def one(leaf: Any) -> Any:
        if not isinstance(leaf, tree.RadiatorUnit) or leaf.fan is None:
            return leaf
        size = leaf.radiator.fan_size
        return replace(leaf, fan=like if abs(like.size - size) < 1e-6 else catalogue.fan_of_size(like, size))

    return plan.with_loop(one)


@dataclass(frozen=True)
class Setting:
    """A knob of a plan: what it is called, its kind of quantity, its range, what it does."""

    words: str
    kind: str
    low: float | None
    high: float | None
    apply: Callable[[Plan, Any], Plan]


#: Every named setting. Dotted names ("front radiator.depth") reach any field of any element besides.
SETTINGS: dict[str, Setting] = {
    "pump_speed": Setting(
        "pump speed",
        "share",
        0.0,
        1.0,
        lambda p, v: p.with_loop(_each(tree.PumpUnit, speed=v)),
    ),
    "fan_speed": Setting(
        "fan speed",
        "share",
        0.0,
        1.0,
        lambda p, v: p.with_loop(_each(tree.RadiatorUnit, fan_speed=v)),
    ),
    "case_fan_speed": Setting(
        "speed of the case fans",
        "share",
        0.0,
        1.0,
        lambda p, v: replace(p, case_fans=tuple(replace(f, speed=v) for f in p.case_fans)),
    ),
    "case_heat": Setting("other heat in the case", "power", 0.0, 3000.0, lambda p, v: replace(p, case_heat=v)),
    "case_vents": Setting("free area of openings", "area", 0.0, 1.0, lambda p, v: replace(p, case_vents=v)),
    "case_wall_loss": Setting(
        "heat through the walls of the case", "conductance", 0.0, 100.0, lambda p, v: replace(p, case_wall_loss=v)
    ),
    "case_air": Setting(
        "where case air comes from: given or balance", "name", None, None, lambda p, v: replace(p, case_air_by=v)
    ),
    "fittings": Setting(
        "90-degree fittings in the whole loop",
        "count",
        0,
        200,
        lambda p, v: replace(p, loop=tree.with_fittings(p.loop, v)),
    ),
    "room_air": Setting("room air", "temperature", 5.0, 45.0, lambda p, v: replace(p, room_air=v)),
    "case_air_over_room": Setting(
        "case air over room", "difference", 0.0, 40.0, lambda p, v: replace(p, case_air_over_room=v)
    ),
    "height": Setting("height above sea level", "length", -400.0, 5000.0, lambda p, v: replace(p, height=v)),
    "listener": Setting("distance of the ear", "length", 0.1, 20.0, lambda p, v: replace(p, listener=v)),
    "sound_limit": Setting("loudest you accept", "sound", 0.0, 120.0, lambda p, v: replace(p, sound_limit=v)),
    "coolant_limit": Setting(
        "warmest coolant you accept", "temperature", 5.0, 95.0, lambda p, v: replace(p, coolant_limit=v)
    ),
    "bore": Setting("bore of every tube", "length", 0.004, 0.02, _set_bore),
    "tube": Setting("tube", "name", None, None, _set_tube),
    "coolant": Setting("coolant", "name", None, None, _set_coolant),
    "layout": Setting("blocks in series or parallel", "name", None, None, _set_layout),
    "radiator": Setting("first radiator", "name", None, None, _set_radiator),
    "load": Setting("typical or peak heat", "name", None, None, _set_load),
    "pump": Setting("pump", "name", None, None, _set_pump),
    "fan": Setting("fan", "name", None, None, _set_fan),
    "tube_material": Setting("material of every tube", "name", None, None, _set_tube_material),
    "treatment": Setting("what is in the coolant besides", "name", None, None, _set_words("treatment")),
    "surroundings": Setting("limit of the anodic index", "name", None, None, _set_words("surroundings")),
    "seal": Setting("rubber of the O-rings", "name", None, None, _set_words("seal")),
    "tube_edge": Setting("how tube ends are left", "name", None, None, _set_words("tube_edge")),
    "assembly_aid": Setting("what wets the rings", "name", None, None, _set_words("assembly_aid")),
    "cleaner": Setting("what takes marks off tubes", "name", None, None, _set_words("cleaner")),
    "also_wetted": Setting("metals beside the plan", "name", None, None, _set_also_wetted),
    "squeeze": Setting("squeeze of the O-rings", "share", 0.0, 0.45, lambda p, v: replace(p, squeeze=v)),
    "ring_section": Setting("section of the O-rings", "length", 0.0005, 0.01, lambda p, v: replace(p, ring_section=v)),
    "rings": Setting("O-rings at an end", "count", 0, 4, lambda p, v: replace(p, rings=v)),
    "bend_radius": Setting(
        "radius of bends where a route has none of its own",
        "length",
        0.001,
        1.0,
        lambda p, v: replace(p, bend_radius=v),
    ),
    "clearance": Setting("least gap beside a tube", "length", 0.0, 0.1, lambda p, v: replace(p, clearance=v)),
    "kerf": Setting("what the saw takes", "length", 0.0, 0.02, lambda p, v: replace(p, kerf=v)),
    "squaring": Setting("left to square each end", "length", 0.0, 0.05, lambda p, v: replace(p, squaring=v)),
    "spares": Setting("runs that are cut twice", "count", 0, 100, lambda p, v: replace(p, spares=v)),
    "stretch": Setting("how much a bend stretches", "share", -0.5, 0.5, lambda p, v: replace(p, stretch=v)),
    "over_bend": Setting("how much a bend springs back", "share", 0.0, 0.5, lambda p, v: replace(p, over_bend=v)),
    "practice": Setting("practice pieces", "count", 0, 100, lambda p, v: replace(p, practice=v)),
    "stock_lengths": Setting("lengths tube is sold in", "length", 0.05, 10.0, _listed("stock_lengths")),
    "bottle_sizes": Setting("sizes coolant is sold in", "volume", 1e-5, 0.1, _listed("bottle_sizes")),
    "tip_limit": Setting("how far the machine may be tipped", "angle", 0.0, np.pi, _plain("tip_limit")),
    "coolant_spare": Setting("coolant bought on top", "share", 0.0, 1.0, _plain("coolant_spare")),
    "hours_per_day": Setting("hours it runs a day", "count", 0.0, 24.0, _plain("hours_per_day")),
    "gauge_step": Setting("what the gauge can tell", "pressure", 1.0, 1e5, _plain("gauge_step")),
    "least_leak": Setting("smallest leak worth finding", "flow", 1e-10, 1e-4, _plain("least_leak")),
    "hot_spot": Setting(
        "air of the case over its mean where a tube hangs", "difference", 0.0, 40.0, lambda p, v: replace(p, hot_spot=v)
    ),
}


#: Kind of quantity of the fields that dotted settings may give with a unit: what the records say of their ranges.
FIELD_KINDS = {
    name: KIND_OF_UNIT[unit]
    for record in (*Checked.__subclasses__(), *tree.Element.__subclasses__())
    for name, (_, _, unit) in record.RANGES.items()
    if unit in KIND_OF_UNIT
} | {"positions": "count", "passes": "count", "bends": "count", "fittings": "count"}


def kind_of(name: str) -> str:
    """Return the kind of quantity of a setting, "name" for a choice, "" for a plain number in SI."""
    if name in SETTINGS:
        return SETTINGS[name].kind
    attribute = name.rpartition(".")[2]
    if attribute in (*catalogue.CATALOGUE, *catalogue.MATERIALS, "fan_size", "air", "blows", *ONE_AT_A_TIME):
        return "name"  # another fan size needs other fans, so it is chosen one at a time
    return FIELD_KINDS.get(attribute, "")


def apply_setting(plan: Plan, name: str, value: Any) -> Plan:
    """
    Return the plan with one setting changed.

    Parameters
    ----------
    plan : Plan
        The plan; it is not changed.
    name : str
        A key of `SETTINGS`, or "element.field" with a field of the element or of its part, such as
        "processor.heat" or "front radiator.depth".
    value : float, array of N designs, str or pint quantity
        The new value; plain numbers in SI, degC, or share.

    Raises
    ------
    InputError
        If the name is unknown or the value outside the accepted range.
    """
    if name in SETTINGS:
        setting = SETTINGS[name]
        if setting.kind != "name":
            value = to_si(name, value, setting.kind)
            between(name, value, setting.low, setting.high, remedy=f"This is the {setting.words}.")
        return setting.apply(plan, value)
    if name.rpartition(".")[2] in IN_SPACE and (moved := _set_in_space(plan, name, value)) is not None:
        return moved
    beside = (*plan.case_fans, *plan.on_air)
    names = [thing.name for thing in (*tree.leaves(plan.loop), *beside)]
    if "." not in name:
        one_of("setting", name, [*SETTINGS, *(f"{thing}.…" for thing in names)])
    element, _, attribute = name.rpartition(".")
    one_of("element", element, names)

    def change(thing: Any) -> Any:
        return _set_field(thing, attribute, value, name) if thing.name == element else thing

    if attribute in COUNTED and element in plan.paths:  # what was laid says otherwise
        plan = plan.as_counts(element)
    if any(thing.name == element for thing in beside):
        return replace(plan, case_fans=tuple(map(change, plan.case_fans)), on_air=tuple(map(change, plan.on_air)))
    return plan.with_loop(change)


#: What a run that is laid takes from its way.
COUNTED = ("length", "bends")
#: What of a route or a port can be set, and which way a port then moves.
IN_SPACE = {
    **dict.fromkeys(("radius", "free_play", "standoff", "end_standoff", "corners")),
    **{"across": 0, "back": 1, "up": 2},
}
#: What of them cannot be an array of designs.
ONE_AT_A_TIME = IN_SPACE.keys() - {"radius"}


def _set_in_space(plan: Plan, name: str, value: Any) -> Plan | None:
    """Return the plan with a route or a port changed, the corners of its runs moved along; None if it names neither."""
    thing, _, attribute = name.rpartition(".")
    route = next((r for r in plan.routes if r.name == thing), None)
    port = next((p for p in plan.ports if p.name == thing), None)
    axis = IN_SPACE[attribute]
    if (route if axis is None else port) is None:
        return None
    new = value if attribute == "corners" else to_si(name, value, "length")
    if np.ndim(new) and attribute in ONE_AT_A_TIME and attribute != "corners":
        raise InputError(name, "an array", "one value", "Of what lies in space only radii may be arrays of designs.")
    if axis is not None:
        at = [new if n == axis else x for n, x in enumerate(port.position)]
        shift = np.array(at) - port.at
        changed = {
            n: with_port(p, thing, shift) for n, p in plan.paths.items() if thing in (p.route.start, p.route.end)
        }
        ports = tuple(replace(p, position=tuple(at)) if p is port else p for p in plan.ports)
        return replace(plan, ports=ports, routes=tuple(changed.get(r.name, r) for r in plan.routes))
    if attribute in ("radius", "free_play", "corners"):
        changed = replace(route, **{attribute: new})
    elif thing in plan.paths:
        changed = with_standoff(plan.paths[thing], "end" if attribute.startswith("end") else "start", new)
    else:
        raise InputError(name, value, "a run that is laid", "Give its route corners; soft tube finds its own way.")
    return replace(plan, routes=tuple(changed if r is route else r for r in plan.routes))


def _set_field(leaf: Any, attribute: str, value: Any, name: str) -> Any:
    """Replace a field of an element, or of the part inside it."""
    settable = [f for f in fields(leaf) if f.name not in NOT_SET]
    own = {f.name for f in settable}
    if attribute in catalogue.MATERIALS:
        if not isinstance(value, str):
            raise InputError(name, value, "the name of one material")
        catalogue.MATERIALS[attribute](value, name)
    if attribute in FIELD_KINDS and value is not None:
        value = to_si(name, value, FIELD_KINDS[attribute])
    if attribute in own:
        old = getattr(leaf, attribute)
        if attribute in catalogue.CATALOGUE and isinstance(value, str):
            value = catalogue.part(attribute, value, name)
        if hasattr(old, "__dataclass_fields__") and type(value) is not type(old):
            raise InputError(name, value, f"a {type(old).__name__.lower()} record", "Take one from the catalogue.")
        return _fitted(leaf, value) if attribute == "radiator" else replace(leaf, **{attribute: value})
    for f in settable:
        part = getattr(leaf, f.name)
        if hasattr(part, "__dataclass_fields__") and attribute in part.__dataclass_fields__ and attribute != "name":
            new = replace(part, **{attribute: value} | _forgotten(part, attribute))
            return _fitted(leaf, new) if f.name == "radiator" else replace(leaf, **{f.name: new})
    inner = [n for f in settable for n in getattr(getattr(leaf, f.name), "__dataclass_fields__", {})]
    one_of(f"field of {leaf.name}", attribute, [n for n in [*own, *inner] if n != "name"])
    raise AssertionError(name)


#: Fields of an element that are no setting: what it is called, and what its route made of it.
NOT_SET = ("name", "laid", "counted")
#: What makes a radiator another one.
_SHAPE = ("positions", "fan_size", "depth", "fins_per_inch", "tube_rows", "passes")
_SHAPE += ("frame", "tube_pitch", "tube_height", "tube_wall")


def _forgotten(part: Any, attribute: str) -> dict:
    """Return the fields a radiator loses when its shape is set: loss and range were another one's."""
    if attribute not in _SHAPE or not isinstance(part, Radiator):
        return {}
    ends = ("measured_from", "measured_to", "measured_air_from", "measured_air_to")
    return dict.fromkeys(("linear", "quadratic", *ends))

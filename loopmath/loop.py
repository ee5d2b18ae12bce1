"""
The loop as a tree of series and parallel groups whose leaves are elements, in flow order.

One tree, many readings: `losses` for the solver, `volume`, `heat`, `wets`, a parts list. Walks over the
tree are `leaves` (read) and `mapped` (rebuild); nothing else in the package knows how a group is stored.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import Any, ClassVar

import numpy as np

from loopmath import catalogue, parts
from loopmath.checks import Checked, InputError, OutOfRange, between, one_of
from loopmath.laws import pipeflow, sound
from loopmath.loss import PORT_BORE, Friction, Loss, area_of, minor_loss
from loopmath.radiator import AirSide
from loopmath.routes import Port, Route, TubePath, is_found, laid, point_of, size_of


@dataclass(frozen=True, eq=False)
class Element(Checked):
    """
    A leaf of the tree: something the coolant passes. `name` is unique in its loop.

    `position` is the middle of its body, (x, y, z) in the case, seen from the front: to the right, to the rear, up [m],
    and `size` how far the body goes each way [m]; `passage` holds points the coolant passes inside, from its inlet to
    its outlet [m]; `note` is the builder's own words.
    """

    name: str
    position: tuple[float, float, float] | None = field(default=None, kw_only=True)
    size: tuple[float, float, float] | None = field(default=None, kw_only=True)
    passage: tuple[tuple[float, float, float], ...] | None = field(default=None, kw_only=True)
    note: str = field(default="", kw_only=True)

    #: What a builder calls this kind of thing.
    kind = "element"
    #: The field that holds its part of the catalogue, by the catalogue's own word for it.
    slot: ClassVar[str] = ""

    def __post_init__(self) -> None:
        super().__post_init__()
        for key, made in (("position", point_of), ("size", size_of)):
            if getattr(self, key) is not None:
                object.__setattr__(self, key, made(f"{self.name}, {key}", getattr(self, key)))
        if self.passage is not None:
            inside = tuple(point_of(f"{self.name}, passage {n}", p) for n, p in enumerate(self.passage, start=1))
            object.__setattr__(self, "passage", inside or None)

    @property
    def part(self) -> Any:
        """The part of the catalogue it is, None for tube."""
        return getattr(self, self.slot) if self.slot else None

    def losses(self) -> dict[str, Loss]:
        """Return what it takes from the pressure, by cause."""
        return {}

    def volume(self) -> Any:
        """Return the coolant it holds. [m3]"""
        return 0.0

    def wets(self) -> tuple[tuple[str, Any], ...]:
        """Return the metals its coolant touches, each with its area [m2], None where that is not known."""
        return ()

    def loss(self) -> Loss:
        """Return the sum of `losses`."""
        return sum(self.losses().values(), Loss())


@dataclass(frozen=True, eq=False)
class PumpUnit(Element):
    """A pump running at a share of its full speed."""

    pump: parts.Pump
    speed: Any = 1.0
    kind = "pump"
    slot = "pump"

    RANGES: ClassVar[dict] = {
        "speed": (0.0, 1.0, "of full speed"),
    }

    @property
    def machine(self) -> parts.Pump:
        """What turns."""
        return self.pump

    def sound(self) -> Any:
        """Return its level 1 m away. [dB]"""
        return parts.sound_of(self.pump.sound_level, self.pump.turning(self.speed))

    def volume(self) -> Any:
        """Return the coolant in the pump. [m3]"""
        return self.pump.volume

    def wets(self) -> tuple[tuple[str, Any], ...]:
        """Return the pump's wetted metal."""
        return parts.wets(self.pump)


@dataclass(frozen=True, eq=False)
class Source(Element):
    """
    A block with the heat of what it cools: as it usually is, and at its peak.

    `heat_capacity` is that of the component itself [J/K], the metal of the block not counted; by default what
    data/candidates.csv says of the kind of component the block cools.
    """

    block: parts.Block
    heat: Any = 0.0
    limit: Any = 90.0
    peak_heat: Any = None
    heat_capacity: Any = None
    kind = "block"
    slot = "block"

    RANGES: ClassVar[dict] = {
        "heat": (0.0, 3000.0, "W"),
        "peak_heat": (0.0, 3000.0, "W"),
        "limit": (0.0, 200.0, "degC"),
        "heat_capacity": (0.1, 1e5, "J/K"),
    }

    def losses(self) -> dict[str, Loss]:
        """Return the block's loss."""
        return {self.name: sum(self.block.losses().values(), Loss())}

    def volume(self) -> Any:
        """Return the coolant in the block. [m3]"""
        return self.block.volume

    def wets(self) -> tuple[tuple[str, Any], ...]:
        """Return the block's wetted metal."""
        return parts.wets(self.block)


#: Where air comes from and goes to; on which side of the core a fan stands.
PLACES = ("room", "case")
PUSH, PULL = "push", "pull"


@dataclass(frozen=True, eq=False)
class RadiatorUnit(Element):
    """
    A radiator with its fans; with `fan` None the air flow of one position is given instead [m3/s].

    Attributes
    ----------
    fan_speed : float or array
        Of all its fans, as a share of full speed.
    fans_in_series : float or array
        Fans at each position: 2 stand before and behind the core (push and pull).
    fan_side : str
        Where a single fan of a position stands: "push" before the core, in the air that enters; "pull" behind
        it, in warmer and thinner air.
    pull_speed : float or array, optional
        Speed of the fans behind the core where it differs.
    second_fans, second_speed : float or array
        So many positions run their fans at another speed.
    air : str
        Where its air comes from: "room", "case", or the name of the radiator it stands close behind.
    blows : str
        Where its air goes: "room" or "case"; by default a radiator that draws room air blows into the case and one
        that draws case air blows out.
    filter_loss : float or array
        Velocity heads of a filter or grille, on the free area of the core.
    """

    radiator: Any
    fan: parts.Fan | None = None
    fan_speed: Any = 1.0
    fans_in_series: Any = 1
    air: str = "room"
    air_flow_each: Any = 0.0
    filter_loss: Any = 0.0
    blows: str = ""
    fan_side: str = PUSH
    pull_speed: Any = None
    second_fans: Any = 0.0
    second_speed: Any = None
    kind = "radiator"
    slot = "radiator"

    RANGES: ClassVar[dict] = {
        "fan_speed": (0.0, 1.0, "of full speed"),
        "fans_in_series": (1, 4, ""),
        "air_flow_each": (0.0, 1.0, "m^3/s of air"),
        "filter_loss": (0.0, 1000.0, "velocity heads"),
        "pull_speed": (0.0, 1.0, "of full speed"),
        "second_fans": (0, 8, ""),
        "second_speed": (0.0, 1.0, "of full speed"),
    }

    def __post_init__(self) -> None:
        super().__post_init__()
        one_of(f"{self.name}, blows", self.blows, ("", *PLACES))
        one_of(f"{self.name}, fan side", self.fan_side, (PUSH, PULL))
        if np.any(np.asarray(self.second_fans) > np.asarray(self.radiator.positions)):
            most = f"at most its {np.max(self.radiator.positions):.0f} fan positions"
            raise OutOfRange(f"{self.name}, second fans", float(np.max(self.second_fans)), most)

    @property
    def plain(self) -> bool:
        """True if one fan curve of one speed before each position is all there is to its air."""
        single = np.all(np.asarray(self.fans_in_series) == 1) and self.fan_side == PUSH and self.pull_speed is None
        return bool(single and np.all(np.asarray(self.second_fans) == 0)) and self.air in PLACES

    def asked(self) -> list[tuple[Any, list[tuple[Any, Any, bool]]]]:
        """
        Return (positions, [(fans in series, speed asked of them, behind the core or not)]) of fans of one speed.

        Two fans and more in series stand half before and half behind the core.
        """
        if self.fan is None:
            return [(self.radiator.positions, [])]
        series = np.asarray(self.fans_in_series, dtype=float)
        behind = np.where(series > 1, 0.5 * series, 1.0 if self.fan_side == PULL else 0.0)
        out = []
        second = np.any(np.asarray(self.second_fans) > 0)
        pairs = [(self.radiator.positions - self.second_fans, self.fan_speed)]
        pairs += [(self.second_fans, self.fan_speed if self.second_speed is None else self.second_speed)] * bool(second)
        for number, (positions, speed) in enumerate(pairs):
            pull = speed if self.pull_speed is None or number else self.pull_speed
            sides = [(series - behind, speed, False), (behind, pull, True)]
            out.append((positions, [side for side in sides if np.any(side[0] > 0)]))
        return out

    def banks(self) -> list[tuple[Any, list[tuple[Any, Any, bool]]]]:
        """Return `asked` with the speeds the fans turn at: below its least speed a fan stands."""
        return [(many, [(n, self.fan.turning(speed), at) for n, speed, at in sides]) for many, sides in self.asked()]

    def air_side(self, air_temperature: Any, density: Any) -> AirSide:
        """Return the air side where the fan curve meets the core."""
        if self.fan is None:
            return self.radiator.air_side(self.air_flow_each, air_temperature, density)
        linear, quadratic = self.radiator.air_resistance(air_temperature, density, self.filter_loss)
        each = self.fan.flow(self.fan_speed, linear, quadratic, density, self.fans_in_series)
        air = self.radiator.air_side(each, air_temperature, density)
        free = self.fan.free_flow * np.maximum(self.fan_speed, 1e-9)
        return replace(air, share_of_free_flow=each / free)

    @property
    def machine(self) -> parts.Fan | None:
        """What turns."""
        return self.fan

    @property
    def speed(self) -> Any:
        """Speed of its fans but for those that have one of their own, as a share of full speed."""
        return self.fan_speed

    @property
    def fans(self) -> Any:
        """Number of fans on it."""
        return self.radiator.positions * self.fans_in_series if self.fan is not None else 0

    def fan_power(self) -> Any:
        """Return the electrical power of its fans. [W]"""
        return sum(count * self.fan.power * speed**3 for count, speed in self._turning())

    def sound(self) -> Any:
        """Return the level of its fans 1 m away. [dB]"""
        levels = [
            np.where(
                np.asarray(count) > 0, parts.sound_of(self.fan.sound_level, speed, np.maximum(count, 1e-9)), -np.inf
            )
            for count, speed in self._turning()
        ]
        return sound.sum_levels(np.broadcast_arrays(*levels)) if levels else -np.inf

    def _turning(self) -> list[tuple[Any, Any]]:
        """Return (number of fans, speed they turn at)."""
        return [(positions * series, speed) for positions, sides in self.banks() for series, speed, _ in sides]

    def losses(self) -> dict[str, Loss]:
        """Return the liquid side's loss."""
        return {self.name: sum(self.radiator.losses().values(), Loss())}

    def volume(self) -> Any:
        """Return the coolant in the radiator. [m3]"""
        return self.radiator.volume()

    def wets(self) -> tuple[tuple[str, Any], ...]:
        """Return the metals of tubes, tanks and solder."""
        r = self.radiator
        return tuple((m, a) for m, a in ((r.metal, r.liquid_area()), (r.tank_metal, None), (r.solder, None)) if m)


#: Length of the metal passage of a fitting (common practice, no source); its area decides nothing but a ratio. [m]
PASSAGE = 0.02
#: The 90-degree fittings of a run; the trade's are drilled crosswise, hence the mitred constants.
SHARP_90 = "sharp 90 degree fitting"


@dataclass(frozen=True, eq=False)
class Run(Element):
    """
    A length of tube between two parts, a straight fitting at each end.

    Attributes
    ----------
    tube : Tube
        The tube.
    length : float or array
        Developed length, arcs included. [m]
    bends : float or array
        90-degree bends formed in the tube. [-]
    fittings : float or array
        90-degree fittings screwed in at its ends. Over a whole loop the total counts, so a run may carry
        a fraction while a total is swept. [-]
    ends : float
        Straight fittings, 2 of them; 0 for a bare tube.
    fitting_metal : str
        What the coolant touches in the fittings of its ends.
    laid : TubePath, optional
        The run as it lies in space; length and bends are then its own, and `counted` holds those that were stated.
    """

    tube: parts.Tube
    length: Any
    bends: Any = 0.0
    fittings: Any = 0.0
    ends: Any = 2.0
    fitting_metal: str = "nickel plate"
    laid: TubePath | None = field(default=None, kw_only=True)
    counted: dict | None = field(default=None, kw_only=True)
    kind = "run"

    RANGES: ClassVar[dict] = {
        "length": (0.0, 50.0, "m"),
        "bends": (0, 100, ""),
        "fittings": (0, 1000, ""),
        "ends": (0, 20, ""),
    }

    def losses(self) -> dict[str, Loss]:
        """Return wall friction, bends, 90-degree fittings and the changes of bore at its ends."""
        tube = self.tube
        bore, port = tube.bore, PORT_BORE
        out = {
            "tube friction": Loss(friction=(Friction(self.length, bore, area_of(bore), tube.roughness_height / bore),))
        }
        if np.any(np.asarray(self.bends) > 0):
            radius, angles = (
                (tube.bend_radius, None) if self.laid is None else (self.laid.radius, self.laid.turns.angles)
            )
            each = [pipeflow.bend_loss(angle, radius / bore) for angle in ((np.pi / 2,) if angles is None else angles)]
            turn = sum(each) / len(each)
            # Hooper's K1 = 800 of a smooth elbow carries the bend below Re of some thousands.
            out["tube bends"] = minor_loss(turn, 800.0, bore).times(self.bends)
        if np.any(np.asarray(self.fittings) > 0):
            out["90° fittings"] = catalogue.part("fitting", SHARP_90).loss().times(self.fittings)
        if np.any(np.asarray(self.ends) > 0):
            narrow, ratio = np.minimum(bore, port), np.minimum(bore, port) / np.maximum(bore, port)
            change = pipeflow.sudden_expansion(ratio) + pipeflow.sudden_contraction(ratio)
            out["straight fittings"] = minor_loss(change, 0.0, narrow).times(self.ends / 2)
        return out

    def volume(self) -> Any:
        """Return the coolant in the tube. [m3]"""
        return area_of(self.tube.bore) * self.length

    def wets(self) -> tuple[tuple[str, Any], ...]:
        """Return the metal of its fittings, and the tube's if it is one."""
        pieces = self.ends + self.fittings
        area = np.pi * PORT_BORE * PASSAGE * pieces
        wetted = ((self.fitting_metal, area),) if np.any(np.asarray(pieces) > 0) else ()
        return (*wetted, *_bare(self))


def _bare(leaf: Any) -> tuple[tuple[str, Any], ...]:
    """Return the metal of a tube and its area, nothing for plastic."""
    return (("copper", np.pi * leaf.tube.bore * leaf.length),) if leaf.tube.material == "copper" else ()


@dataclass(frozen=True, eq=False)
class Fittings(Element):
    """A number of equal fittings or valves in the line."""

    fitting: parts.Fitting
    count: Any = 1.0
    kind = "fitting"
    slot = "fitting"

    def wets(self) -> tuple[tuple[str, Any], ...]:
        """Return the fittings' wetted metal."""
        return parts.wets(self.fitting, self.count)

    RANGES: ClassVar[dict] = {"count": (0, 1000, "")}

    def losses(self) -> dict[str, Loss]:
        """Return the loss of all of them."""
        return {self.fitting.name: self.fitting.loss().times(self.count)}


@dataclass(frozen=True, eq=False)
class Tank(Element):
    """A reservoir in the line."""

    reservoir: parts.Reservoir
    kind = "reservoir"
    slot = "reservoir"

    def losses(self) -> dict[str, Loss]:
        """Return the loss of entering and leaving the tank."""
        return {self.name: sum(self.reservoir.losses().values(), Loss())}

    def volume(self) -> Any:
        """Return the coolant in the tank. [m3]"""
        return self.reservoir.volume

    def wets(self) -> tuple[tuple[str, Any], ...]:
        """Return the reservoir's wetted metal, or what it is made of if that is one."""
        walls = (("copper", None),) if self.reservoir.material == "copper" else ()
        return parts.wets(self.reservoir) + walls


@dataclass(frozen=True, eq=False)
class InlineUnit(Element):
    """A part in the line known by its loss: a filter, a flow meter, a quick-release pair."""

    inline: parts.Inline
    slot = "inline"

    @property
    def kind(self) -> str:
        """What a builder calls it."""
        return self.inline.kind_of_part or "in-line part"

    def losses(self) -> dict[str, Loss]:
        """Return the part's loss."""
        return {self.name: sum(self.inline.losses().values(), Loss())}

    def volume(self) -> Any:
        """Return the coolant in the part. [m3]"""
        return self.inline.volume

    def wets(self) -> tuple[tuple[str, Any], ...]:
        """Return the part's wetted metal."""
        return parts.wets(self.inline)


#: What a dead leg is there for.
PURPOSES = ("drain", "fill", "gauge", "other")


@dataclass(frozen=True, eq=False)
class DeadLeg(Element):
    """A branch nothing flows through: a drain leg, a fill tube. It holds coolant at case-air temperature."""

    tube: parts.Tube
    length: Any
    purpose: str = "other"
    laid: TubePath | None = field(default=None, kw_only=True)
    counted: dict | None = field(default=None, kw_only=True)
    kind = "dead leg"

    def __post_init__(self) -> None:
        super().__post_init__()
        one_of(f"{self.name}, purpose", self.purpose, PURPOSES)

    RANGES: ClassVar[dict] = {"length": (0.0, 50.0, "m")}

    def volume(self) -> Any:
        """Return the coolant standing in it. [m3]"""
        return area_of(self.tube.bore) * self.length

    def wets(self) -> tuple[tuple[str, Any], ...]:
        """Return the tube's metal if it is one."""
        return _bare(self)


@dataclass(frozen=True, eq=False)
class Series:
    """Items passed one after another."""

    items: tuple

    def __init__(self, *items: Any) -> None:
        object.__setattr__(self, "items", tuple(items))


@dataclass(frozen=True, eq=False)
class Parallel:
    """Branches between the same two junctions: equal loss, flows add."""

    branches: tuple

    def __init__(self, *branches: Any) -> None:
        if len(branches) < 2:
            raise InputError("parallel group", f"{len(branches)} branch(es)", "two branches or more")
        wrapped = tuple(b if isinstance(b, Series) else Series(b) for b in branches)
        if any(all(isinstance(leaf, DeadLeg) for leaf in leaves(b)) for b in wrapped):
            raise InputError("parallel group", "a branch nothing can flow through", "a branch with an element in it")
        object.__setattr__(self, "branches", wrapped)


def leaves(item: Any) -> Iterator[Element]:
    """Yield the elements of a tree in flow order."""
    if isinstance(item, Series):
        for child in item.items:
            yield from leaves(child)
    elif isinstance(item, Parallel):
        for branch in item.branches:
            yield from leaves(branch)
    else:
        yield item


def flat(series: Series) -> list:
    """Return the items of a series, a series within it opened up."""
    return [item for child in series.items for item in (flat(child) if isinstance(child, Series) else [child])]


def mapped(item: Any, change: Callable[[Element], Element]) -> Any:
    """Return the tree with every element replaced by `change(element)`."""
    if isinstance(item, Series):
        return Series(*(mapped(child, change) for child in item.items))
    if isinstance(item, Parallel):
        return Parallel(*(mapped(branch, change) for branch in item.branches))
    return change(item)


def named(item: Any) -> Any:
    """Return the tree as nested lists of names: what comes in which order."""
    inner = getattr(item, "items", getattr(item, "branches", None))
    return item.name if inner is None else [named(child) for child in inner]


def of_kind(item: Any, kind: type) -> list:
    """Return the elements of one class, in flow order."""
    return [leaf for leaf in leaves(item) if isinstance(leaf, kind)]


def laid_out(
    item: Any, routes: tuple[Route, ...], ports: tuple[Port, ...], usual_fitting: str = "", usual_radius: Any = None
) -> Any:
    """
    Return the tree with every run and dead leg of rigid tube that has a route laid along it; the others keep their
    counts. Soft tube finds a way of its own.

    Raises
    ------
    InputError
        If a route cannot be laid; see `routes.laid`.
    """
    ways, known = {route.name: route for route in routes}, {port.name: port for port in ports}

    def one(leaf: Element) -> Element:
        if not isinstance(leaf, (Run, DeadLeg)):
            return leaf
        route, old = ways.get(leaf.name), leaf.laid
        if route is None:  # a run that was made of a laid one keeps the length it had
            return leaf if old is None else replace(leaf, laid=None, counted=None)
        now = (route, leaf.tube, usual_fitting, usual_radius, known.get(route.start), known.get(route.end))
        if old is not None and all(a is b for a, b in zip(old.made_of, now, strict=True)):
            return leaf
        if not leaf.tube.rigid or not is_found(route, known, usual_fitting):
            return as_counted(leaf)
        path = laid(route, known, leaf.tube, usual_fitting, usual_radius)
        names = ("length", "bends") if isinstance(leaf, Run) else ("length",)
        counted = leaf.counted or {name: getattr(leaf, name) for name in names}
        new = {"length": path.length, "bends": float(path.bends)}
        return replace(leaf, laid=path, counted=counted, **{name: new[name] for name in names})

    return mapped(item, one) if routes or any(getattr(leaf, "laid", None) for leaf in leaves(item)) else item


def as_counted(leaf: Element) -> Element:
    """Return a run as its plan states it: by length and number of bends."""
    return leaf if getattr(leaf, "laid", None) is None else replace(leaf, laid=None, counted=None, **leaf.counted)


def total_fittings(item: Any) -> Any:
    """Return the number of 90-degree fittings in the whole loop."""
    return sum((run.fittings for run in of_kind(item, Run)), 0.0)


def with_fittings(item: Any, total: Any) -> Any:
    """Return the tree with `total` 90-degree fittings, shared among its runs as they are now."""
    between("fittings", total, 0, 200, because="90-degree fittings in the whole loop")
    runs = of_kind(item, Run)
    if not runs:
        raise InputError("fittings", total, "a loop with tube runs", "Fittings sit at the ends of runs.")
    now = total_fittings(item)
    even = bool(np.all(np.asarray(now) == 0))

    def change(leaf: Element) -> Element:
        if not isinstance(leaf, Run):
            return leaf
        share = 1 / len(runs) if even else leaf.fittings / now
        return replace(leaf, fittings=total * share)

    return mapped(item, change)


def blocks_in_parallel(item: Series) -> Series:
    """
    Return the loop with its blocks side by side between two tees.

    The stretch from the first block to the last becomes a parallel group, a branch to each block with the
    runs and fittings that followed it; the last branch repeats those before it, because every branch needs a
    tube. Anything else that stood between the blocks moves behind the group, on the main line.
    """
    places = [i for i, child in enumerate(item.items) if isinstance(child, Source)]
    if len(places) < 2:
        return item
    first, last = places[0], places[-1]
    tee = catalogue.part("fitting", "tee, into the branch")
    branches, link, others = [], (), []
    for start, stop in zip(places, [*places[1:], last + 1], strict=True):
        name, link_before = item.items[start].name, link
        link = tuple(e for e in item.items[start + 1 : stop] if isinstance(e, (Run, Fittings, DeadLeg)))
        others += [e for e in item.items[start + 1 : stop] if e not in link]
        if not link:
            link = tuple(replace(e, name=f"{name}: {e.name}") for e in link_before if not isinstance(e, DeadLeg))
        branches.append(Series(Fittings(f"tees of {name}", tee, 2.0), item.items[start], *link))
    return Series(*item.items[:first], Parallel(*branches), *others, *item.items[last + 1 :])


def blocks_in_series(item: Series) -> Series:
    """Return the loop with every parallel group of blocks laid out one after another, tees and repeated runs gone."""
    out, names = [], {leaf.name for leaf in leaves(item)}
    for child in item.items:
        if isinstance(child, Parallel) and of_kind(child, Source):
            own = [leaf for leaf in leaves(child) if leaf.name.partition(": ")[2] not in names]
            out += [leaf for leaf in own if not (isinstance(leaf, Fittings) and leaf.fitting.name.startswith("tee,"))]
        else:
            out.append(child)
    return Series(*out)


def checked(item: Series) -> Series:
    """
    Return a loop that can be solved, or say what is missing.

    Raises
    ------
    InputError
        Without a pump, with a name used twice, or a radiator that draws air from behind one that is not there.
    """
    if not isinstance(item, Series) or not item.items:
        raise InputError("loop", "nothing", "elements in flow order")
    if not of_kind(item, PumpUnit):
        raise InputError("loop", "no pump", "at least one pump", "Add a pump to the loop's order.")
    seen: set[str] = set()
    for leaf in leaves(item):
        if leaf.name in seen:
            raise InputError("loop", leaf.name, "each name once", "Give every element a name of its own.")
        seen.add(leaf.name)
    radiators = of_kind(item, RadiatorUnit)
    for unit in radiators:
        if unit.air not in PLACES:
            one_of(f"{unit.name}, air", unit.air, [*PLACES, *(u.name for u in radiators if u is not unit)])
    return item

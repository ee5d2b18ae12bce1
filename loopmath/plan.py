"""A user's plan: one TOML document to one frozen record, and the settings that can be slid or swept."""

import tomllib
from collections.abc import Callable
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any

import numpy as np

from loopmath import loop as tree
from loopmath import parts, tables
from loopmath.checks import InputError, between, one_of
from loopmath.laws import coolant as coolants
from loopmath.laws.coolant import Coolant
from loopmath.units import to_si

#: The version of plan files this package writes; an older one is brought forward when it is read.
FORMAT = 1


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
    listener : float or array
        Distance of the ear. [m]
    coolant_limit : float
        Warmest coolant the builder accepts. [degC]
    sound_limit : float
        Loudest level the builder accepts. [dB]
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
    extra: dict = field(default_factory=dict)

    def __post_init__(self) -> None:
        tree.checked(self.loop)
        between("room_air", self.room_air, 5.0, 45.0, "degC", "a room a person sits in")
        between("height", self.height, -400.0, 5000.0, "m")
        between("case_air_over_room", self.case_air_over_room, 0.0, 40.0, "K")
        between("listener", self.listener, 0.1, 20.0, "m")

    @property
    def case_air(self) -> Any:
        """Air inside the case. [degC]"""
        return self.room_air + self.case_air_over_room

    def units(self, kind: type) -> list:
        """Return the elements of one class, in flow order."""
        return tree.of_kind(self.loop, kind)

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


def _numbers(name: str, value: Any, low: float, high: float, unit: str) -> Any:
    return between(name, value, low, high, unit)


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

    return plan.with_loop(one)


def _set_bore(plan: Plan, value: Any) -> Plan:
    bore = _numbers("bore", value, 0.004, 0.02, "m")
    return _set_tubes(plan, lambda tube: replace(tube, bore=bore, outside=bore + (tube.outside - tube.bore)))


def _set_tube(plan: Plan, value: str) -> Plan:
    tube = parts.part("tube", value)
    return _set_tubes(plan, lambda _: tube)


def _set_coolant(plan: Plan, value: Any) -> Plan:
    return replace(plan, coolant=value if isinstance(value, Coolant) else coolants.coolant(value))


def _set_layout(plan: Plan, value: str) -> Plan:
    one_of("layout", value, ("series", "parallel"))
    in_series = tree.blocks_in_series(plan.loop)
    return replace(plan, loop=in_series if value == "series" else tree.blocks_in_parallel(in_series))


def _fitted(unit: tree.RadiatorUnit, radiator: Any) -> tree.RadiatorUnit:
    """Put another radiator in place, with fans of its size."""
    fan = unit.fan
    if fan is not None and np.ndim(radiator.fan_size) == 0 and abs(fan.size - radiator.fan_size) > 1e-6:
        fan = parts.fan_of_size(fan, radiator.fan_size)
    return replace(unit, radiator=radiator, fan=fan)


def _first(plan: Plan, kind: type, what: str) -> Any:
    found = plan.units(kind)
    if not found:
        raise InputError(what, "none in the plan", f"a plan with a {what}")
    return found[0]


def _set_radiator(plan: Plan, value: str) -> Plan:
    first = _first(plan, tree.RadiatorUnit, "radiator")
    new = _fitted(first, parts.part("radiator", value))
    return plan.with_loop(lambda leaf: new if leaf is first else leaf)


def _set_pump(plan: Plan, value: str) -> Plan:
    return plan.with_loop(_each(tree.PumpUnit, pump=parts.part("pump", value)))


def _set_fan(plan: Plan, value: str) -> Plan:
    like = parts.part("fan", value)

    def one(leaf: Any) -> Any:
        if not isinstance(leaf, tree.RadiatorUnit) or leaf.fan is None:
            return leaf
        size = leaf.radiator.fan_size
        return replace(leaf, fan=like if abs(like.size - size) < 1e-6 else parts.fan_of_size(like, size))

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
        lambda p, v: p.with_loop(_each(tree.PumpUnit, speed=_numbers("pump_speed", v, 0, 1, ""))),
    ),
    "fan_speed": Setting(
        "fan speed",
        "share",
        0.0,
        1.0,
        lambda p, v: p.with_loop(_each(tree.RadiatorUnit, fan_speed=_numbers("fan_speed", v, 0, 1, ""))),
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
    "bore": Setting("bore of every tube", "length", 0.004, 0.02, _set_bore),
    "tube": Setting("tube", "name", None, None, _set_tube),
    "coolant": Setting("coolant", "name", None, None, _set_coolant),
    "layout": Setting("blocks in series or parallel", "name", None, None, _set_layout),
    "radiator": Setting("first radiator", "name", None, None, _set_radiator),
    "pump": Setting("pump", "name", None, None, _set_pump),
    "fan": Setting("fan", "name", None, None, _set_fan),
}


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
    if "." not in name:
        known = [f"{leaf.name}.…" for leaf in tree.leaves(plan.loop)]
        one_of("setting", name, [*SETTINGS, *known])
    element, _, attribute = name.rpartition(".")
    one_of("element", element, [leaf.name for leaf in tree.leaves(plan.loop)])

    def change(leaf: Any) -> Any:
        return _set_field(leaf, attribute, value, name) if leaf.name == element else leaf

    return plan.with_loop(change)


def _set_field(leaf: Any, attribute: str, value: Any, name: str) -> Any:
    """Replace a field of an element, or of the part inside it."""
    own = {f.name for f in fields(leaf)}
    if attribute in own and attribute != "name":
        return replace(leaf, **{attribute: value})
    for f in fields(leaf):
        part = getattr(leaf, f.name)
        if hasattr(part, "__dataclass_fields__") and attribute in part.__dataclass_fields__ and attribute != "name":
            new = replace(part, **{attribute: value})
            return _fitted(leaf, new) if f.name == "radiator" else replace(leaf, **{f.name: new})
    inner = [n for f in fields(leaf) for n in getattr(getattr(leaf, f.name), "__dataclass_fields__", {})]
    one_of(f"field of {leaf.name}", attribute, [n for n in [*own, *inner] if n != "name"])
    raise AssertionError(name)


# ------------------------------------------------------------------------------------------------- plan files


def demo_plan() -> Plan:
    """Return the demo: a machine in a podcast booth, all parts invented."""
    return load_plan(tables.DATA / "plans" / "podcast_booth.toml")


class _Reader:
    """Reads fields of a TOML table and collects what is wrong, so that all of it is told at once."""

    def __init__(self) -> None:
        self.problems: list[InputError] = []

    def note(self, problem: InputError) -> None:
        self.problems.append(problem)

    def quantity(self, table: dict, place: str, key: str, kind: str, default: Any = None) -> Any:
        if key not in table:
            if default is None:
                self.note(InputError(f"{place}.{key}", "missing", "a value", "Add this line."))
            return default
        try:
            return to_si(f"{place}.{key}", table[key], kind)
        except InputError as problem:
            self.note(problem)
            return default

    def part(self, kind: str, table: dict, place: str, key: str = "part") -> Any:
        try:
            return parts.part(kind, table.get(key, ""), f"{place}.{key}")
        except InputError as problem:
            self.note(problem)
            return None

    def known(self, table: dict, place: str, allowed: tuple[str, ...]) -> None:
        for key in table:
            try:
                one_of(f"{place}.{key}" if place else key, key, allowed)
            except InputError as problem:
                self.note(problem)

    def built(self, make: Callable, **values: Any) -> Any:
        """Make a record unless something it needs is missing; a refusal becomes a problem."""
        if any(v is None for v in values.values()):
            return None
        try:
            return make(**values)
        except InputError as problem:
            self.note(problem)
            return None


def load_plan(path: str | Path) -> Plan:
    """
    Read a plan file.

    Parameters
    ----------
    path : str or Path
        A TOML file, UTF-8; data/plans/podcast_booth.toml is a commented example.

    Returns
    -------
    plan : Plan

    Raises
    ------
    InputError
        If the file cannot be read, or holds anything that is not accepted. The message lists every
        problem with its place in the file.
    """
    path = Path(path)
    try:
        text = path.read_bytes().decode("utf-8")
        document = tomllib.loads(text)
    except FileNotFoundError:
        raise InputError("plan file", str(path), "a file that exists") from None
    except IsADirectoryError:
        raise InputError("plan file", str(path), "a file, not a folder") from None
    except UnicodeDecodeError:
        raise InputError("plan file", str(path), "text in UTF-8", "Save it as UTF-8 and load it again.") from None
    except tomllib.TOMLDecodeError as fault:
        raise InputError("plan file", str(path), "a TOML document", f"The reader says: {fault}.") from None
    return read_plan(document)


def read_plan(document: dict) -> Plan:
    """Return the plan a TOML document describes; see `load_plan` for what is raised."""
    read = _Reader()
    read.known(document, "", ("format", "title", "notes", "room", "case", "coolant", "limits", "tube", "parts", "loop"))
    if document.get("format") != FORMAT:
        read.note(
            InputError(
                "format",
                document.get("format", "missing"),
                f"{FORMAT}",
                "This package reads that version of plan files.",
            )
        )
    room, case, limits = document.get("room", {}), document.get("case", {}), document.get("limits", {})
    read.known(room, "room", ("air", "height", "listener"))
    read.known(case, "case", ("air_over_room",))
    read.known(limits, "limits", ("coolant", "sound"))
    tube = read.part("tube", document.get("tube", {}), "tube")
    try:
        liquid = coolants.coolant(document.get("coolant", {}).get("kind", ""))
    except InputError as problem:
        read.note(problem)
        liquid = None
    elements = {name: _element(read, name, table) for name, table in document.get("parts", {}).items()}
    order = document.get("loop", {}).get("order", [])
    items = _items(read, order, "loop.order", elements, tube)
    for name in elements:
        if name not in _named(order):
            read.note(
                InputError(
                    f"parts.{name}",
                    "not in loop.order",
                    "a place in the flow order",
                    "Name it in loop.order or remove the part.",
                )
            )
    values = {
        "title": str(document.get("title", "Untitled plan")),
        "coolant": liquid,
        "room_air": read.quantity(room, "room", "air", "temperature"),
        "height": read.quantity(room, "room", "height", "length", 0.0),
        "listener": read.quantity(room, "room", "listener", "length", 1.0),
        "case_air_over_room": read.quantity(case, "case", "air_over_room", "difference", 5.0),
        "coolant_limit": read.quantity(limits, "limits", "coolant", "temperature", 45.0),
        "sound_limit": read.quantity(limits, "limits", "sound", "sound", 40.0),
        "notes": str(document.get("notes", "")),
    }
    whole = None
    if not read.problems:
        whole = read.built(Plan, loop=tree.Series(*items), **values)
    if read.problems:
        if len(read.problems) == 1:
            raise read.problems[0]
        words = "; ".join(f"({n}) {p}" for n, p in enumerate(read.problems, start=1))
        raise InputError("plan", f"{len(read.problems)} problems", "a plan without them", words)
    return whole


def _named(order: Any) -> set[str]:
    """Return every part named anywhere in a flow order."""
    if isinstance(order, str):
        return {order}
    if isinstance(order, dict):
        return _named(order.get("parallel", []))
    return set().union(*(_named(entry) for entry in order)) if order else set()


def _element(read: _Reader, name: str, table: dict) -> Any:
    """Return the element one [parts.NAME] table describes, or None with the problem noted."""
    place = f"parts.{name}"
    allowed = {
        "pump": ("kind", "part", "speed"),
        "block": ("kind", "part", "heat", "limit"),
        "radiator": ("kind", "part", "fan", "fan_speed", "fans_in_series", "air"),
        "reservoir": ("kind", "part"),
        "fitting": ("kind", "part", "count"),
    }
    kind = table.get("kind", "")
    if kind not in allowed:
        try:
            one_of(f"{place}.kind", kind, allowed)
        except InputError as problem:
            read.note(problem)
        return None
    read.known(table, place, allowed[kind])
    part = read.part(kind, table, place)
    if kind == "pump":
        speed = read.quantity(table, place, "speed", "share", 1.0)
        return read.built(tree.PumpUnit, name=name, pump=part, speed=speed)
    if kind == "block":
        heat = read.quantity(table, place, "heat", "power")
        limit = read.quantity(table, place, "limit", "temperature", 90.0)
        return read.built(tree.Source, name=name, block=part, heat=heat, limit=limit)
    if kind == "radiator":
        fan = read.part("fan", table, place, "fan")
        speed = read.quantity(table, place, "fan_speed", "share", 1.0)
        rows = read.quantity(table, place, "fans_in_series", "count", 1.0)
        if fan is not None and part is not None and abs(fan.size - part.fan_size) > 1e-6:
            read.note(InputError(f"{place}.fan", table["fan"], f"a fan of {1e3 * part.fan_size:.0f} mm"))
        return read.built(
            tree.RadiatorUnit,
            name=name,
            radiator=part,
            fan=fan,
            fan_speed=speed,
            fans_in_series=rows,
            air=table.get("air", "room"),
        )
    if kind == "reservoir":
        return read.built(tree.Tank, name=name, reservoir=part)
    count = read.quantity(table, place, "count", "count", 1.0)
    return read.built(tree.Fittings, name=name, fitting=part, count=count)


def _items(read: _Reader, order: Any, place: str, elements: dict, tube: Any) -> list:
    """Return the elements of a flow order; `place` is where it stands in the file."""
    if not isinstance(order, list) or not order:
        read.note(InputError(place, order, "a list of elements in flow order"))
        return []
    out = []
    for number, entry in enumerate(order):
        here = f"{place}[{number}]"
        if isinstance(entry, str):
            try:
                one_of(here, entry, elements, "Parts are described in [parts.NAME].")
                out.append(elements[entry])
            except InputError as problem:
                read.note(problem)
        elif isinstance(entry, dict) and "parallel" in entry:
            read.known(entry, here, ("parallel",))
            branches = entry["parallel"] if isinstance(entry["parallel"], list) else []
            inner = [_items(read, b, f"{here}.parallel[{i}]", elements, tube) for i, b in enumerate(branches)]
            try:
                out.append(tree.Parallel(*(tree.Series(*b) for b in inner)))
            except InputError as problem:
                read.note(InputError(f"{here}.parallel", problem.value, problem.accepted))
        elif isinstance(entry, dict) and ("run" in entry or "dead_leg" in entry):
            out.append(_tube_entry(read, entry, here, tube))
        else:
            read.note(InputError(here, entry, "a part's name, a run, a dead_leg or a parallel group"))
    return out


def _tube_entry(read: _Reader, entry: dict, here: str, tube: Any) -> Any:
    """Return the run or dead leg an entry describes."""
    dead = "dead_leg" in entry
    read.known(entry, here, ("dead_leg", "length", "part") if dead else ("run", "length", "bends", "fittings", "part"))
    own = read.part("tube", entry, here) if "part" in entry else tube
    length = read.quantity(entry, here, "length", "length")
    if dead:
        return read.built(tree.DeadLeg, name=str(entry["dead_leg"]), tube=own, length=length)
    bends = read.quantity(entry, here, "bends", "count", 0.0)
    fittings = read.quantity(entry, here, "fittings", "count", 0.0)
    return read.built(tree.Run, name=str(entry["run"]), tube=own, length=length, bends=bends, fittings=fittings)

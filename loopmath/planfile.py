"""A user's plan file: one TOML document in, one plan out, every problem told at once."""

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from loopmath import catalogue, tables
from loopmath import loop as tree
from loopmath.checks import InputError, one_of
from loopmath.laws import coolant as coolants
from loopmath.plan import Plan
from loopmath.units import to_si

#: The version of plan files this package reads; an older one will be brought forward here.
FORMAT = 1


def demo_plan() -> Plan:
    """Return the demo: a machine in a podcast booth, all parts invented."""
    return load_plan(tables.DATA / "plans" / "podcast_booth.toml")


class _Reader:
    """Reads fields of a TOML table and collects what is wrong, so that all of it is told at once."""

    def __init__(self) -> None:
        self.problems: list[InputError] = []

    def note(self, problem: InputError) -> None:
        self.problems.append(problem)

    def table(self, value: Any, place: str) -> dict:
        if isinstance(value, dict):
            return value
        self.note(InputError(place, value, "a table of lines KEY = VALUE"))
        return {}

    def text(self, table: dict, place: str, key: str, default: str = "") -> str | None:
        value = table.get(key, default)
        if isinstance(value, str):
            return value
        self.note(InputError(f"{place}.{key}" if place else key, value, "text in quotes"))
        return None

    def quantity(self, table: dict, place: str, key: str, kind: str, default: Any = None) -> Any:
        if key not in table:
            if default is None:
                self.note(InputError(f"{place}.{key}", "missing", "a value", "Add this line."))
            return default
        try:
            if isinstance(table[key], list):
                raise InputError(f"{place}.{key}", table[key], "one value")
            return to_si(f"{place}.{key}", table[key], kind)
        except InputError as problem:
            self.note(problem)
            return default

    def part(self, kind: str, table: dict, place: str, key: str = "part") -> Any:
        name = self.text(table, place, key)
        if name is None:
            return None
        try:
            return catalogue.part(kind, name, f"{place}.{key}")
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
        text = path.read_bytes().decode("utf-8-sig")
        document = tomllib.loads(text)
    except FileNotFoundError:
        raise InputError("plan file", str(path), "a file that exists") from None
    except IsADirectoryError:
        raise InputError("plan file", str(path), "a file, not a folder") from None
    except OSError as fault:
        raise InputError("plan file", str(path), "a file that can be read", f"The system says: {fault}.") from None
    except UnicodeDecodeError:
        raise InputError("plan file", str(path), "text in UTF-8", "Save it as UTF-8 and load it again.") from None
    except tomllib.TOMLDecodeError as fault:
        raise InputError("plan file", str(path), "a TOML document", f"The reader says: {fault}.") from None
    return read_plan(document)


def read_plan(document: dict) -> Plan:
    """Return the plan a TOML document describes; see `load_plan` for what is raised."""
    read = _Reader()
    read.known(document, "", ("format", "title", "notes", "room", "case", "coolant", "limits", "tube", "parts", "loop"))
    if document.get("format") != FORMAT or type(document["format"]) is not int:
        read.note(
            InputError(
                "format",
                document.get("format", "missing"),
                f"{FORMAT}",
                "This package reads that version of plan files.",
            )
        )
    keys = {
        "room": ("air", "height", "listener"),
        "case": ("air_over_room",),
        "limits": ("coolant", "sound"),
        "coolant": ("kind",),
        "tube": ("part",),
        "loop": ("order",),
    }
    tables_of = {place: read.table(document.get(place, {}), place) for place in keys}
    for place, allowed in keys.items():
        read.known(tables_of[place], place, allowed)
    room, case, limits = tables_of["room"], tables_of["case"], tables_of["limits"]
    tube = read.part("tube", tables_of["tube"], "tube")
    liquid = _liquid(read, tables_of["coolant"])
    described = read.table(document.get("parts", {}), "parts")
    elements = {name: _element(read, name, read.table(table, f"parts.{name}")) for name, table in described.items()}
    order = tables_of["loop"].get("order", [])
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
        "title": read.text(document, "", "title", "Untitled plan"),
        "coolant": liquid,
        "room_air": read.quantity(room, "room", "air", "temperature"),
        "height": read.quantity(room, "room", "height", "length", 0.0),
        "listener": read.quantity(room, "room", "listener", "length", 1.0),
        "case_air_over_room": read.quantity(case, "case", "air_over_room", "difference", 5.0),
        "coolant_limit": read.quantity(limits, "limits", "coolant", "temperature", 45.0),
        "sound_limit": read.quantity(limits, "limits", "sound", "sound", 40.0),
        "notes": read.text(document, "", "notes"),
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
        order = order.get("parallel")
    return set().union(*map(_named, order)) if isinstance(order, list) else set()


def _liquid(read: _Reader, table: dict) -> Any:
    """Return the coolant the [coolant] table names, or None with the problem noted."""
    kind = read.text(table, "coolant", "kind")
    if kind is None:
        return None
    try:
        one_of("coolant.kind", kind, coolants.coolants())
        return coolants.coolant(kind)
    except InputError as problem:
        read.note(problem)
        return None


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
    kind = read.text(table, place, "kind")
    if kind is None:
        return None
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
            air=read.text(table, place, "air", "room"),
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
    name = read.text(entry, here, "dead_leg" if dead else "run")
    own = read.part("tube", entry, here) if "part" in entry else tube
    length = read.quantity(entry, here, "length", "length")
    if dead:
        return read.built(tree.DeadLeg, name=name, tube=own, length=length)
    bends = read.quantity(entry, here, "bends", "count", 0.0)
    fittings = read.quantity(entry, here, "fittings", "count", 0.0)
    return read.built(tree.Run, name=name, tube=own, length=length, bends=bends, fittings=fittings)

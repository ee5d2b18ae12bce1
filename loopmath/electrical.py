"""
Currents of pumps and fans on the headers and hubs that feed them, against what each of those may carry.

Judged at full speed, whatever the speed now: a controller that fails or starts anew runs everything full.
"""

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from loopmath import loop as tree
from loopmath import rules, tables
from loopmath.case import Header
from loopmath.checks import InputError, one_of
from loopmath.designs import number_of_designs, one_design
from loopmath.plan import Plan
from loopmath.rules import Fact

#: Kinds of data/headers.csv on which a part is judged that the plan puts on none.
PUMP_HEADER, FAN_HEADER = "pump header", "fan header"
#: What the supply feeds pumps and fans with. [V]
SUPPLY = 12.0
#: Words of the table for a part that is on no header of the plan.
NOT_STATED = "not stated: judged on a header of its own"


class Motor(NamedTuple):
    """Equal motors that hang on one header: number, power of each at full speed, NaN where not known [W]."""

    words: str
    count: Any
    each: Any
    kind: str


@dataclass(frozen=True, eq=False)
class Load:
    """
    What hangs on one header, for one design or N.

    Attributes
    ----------
    header : Header
        Of the plan, or the one a part is judged on that is on none.
    motors : tuple of Motor
        What it feeds.
    stated : bool
        False if the plan does not say where the part is plugged in.
    """

    header: Header
    motors: tuple[Motor, ...]
    stated: bool

    @property
    def where(self) -> str:
        """The place as facts and table name it."""
        return self.header.name if self.stated else f"{self.motors[0].words} (header not stated)"

    @property
    def power(self) -> Any:
        """Electrical power at full speed, NaN where that of any part is not known. [W]"""
        return sum((motor.count * motor.each for motor in self.motors), 0.0)

    @property
    def at_least(self) -> Any:
        """Current at full speed of the parts whose power is known, NaN where none is. [A]"""
        known = sum((np.nan_to_num(motor.count * motor.each) for motor in self.motors), 0.0)
        return np.where(known > 0, known, np.nan) / self.header.volts

    @property
    def running(self) -> Any:
        """Current at full speed, I = P / U [IEC60050-131]_, NaN where the power of any part is not known. [A]"""
        return self.power / self.header.volts

    @property
    def starting(self) -> Any:
        """Current while all start together. [A]"""
        return self.header.start * self.running

    @property
    def share(self) -> Any:
        """Running current as a share of the rating. [-]"""
        return self.running / self.header.rating


# -------------------------------------------------------------------------------------- headers and what they feed


def header(name: str, kind: str = FAN_HEADER, feeds: tuple[str, ...] = (), **own: Any) -> Header:
    """
    Return a header or hub of a kind.

    Parameters
    ----------
    name : str
        Of its own in the plan.
    kind : str
        A row of data/headers.csv.
    feeds : sequence of str
        Elements of the plan it feeds.
    **own : float
        rating [A], volts [V], start [-] where they differ from those of the kind; None is left as it is.

    Raises
    ------
    InputError
        If the kind is unknown, or a number outside the range of `Header`.
    """
    known = tables.by_name("headers.csv")
    row = known[one_of(f"{name}, kind", kind, known)]
    usual = {"rating": row["rating_A"], "volts": row["volts_V"], "start": row["start"]}
    return Header(name, feeds=tuple(feeds), **usual | {key: value for key, value in own.items() if value is not None})


def _known(power: Any) -> Any:
    """Return a power, NaN where it is 0: no motor turns for nothing, so the data lack it. [W]"""
    return np.where(np.asarray(power) > 0, power, np.nan)


def _motors(plan: Plan) -> dict[str, Motor]:
    """Return what a header can feed, by the name of its element."""
    found = {}
    for unit in plan.units(tree.PumpUnit):
        # Straight between its ends, the power is greatest at one of them.
        most = np.maximum(unit.pump.power_shutoff, unit.pump.power_runout)
        found[unit.name] = Motor(unit.name, 1.0, _known(most), PUMP_HEADER)
    for unit in plan.fanned:
        found[unit.name] = Motor(f"fans of {unit.name}", unit.fans, _known(unit.fan.power), FAN_HEADER)
    for group in plan.case_fans:
        found[group.name] = Motor(group.name, group.count, _known(group.fan.power), FAN_HEADER)
    return found


def loads(plan: Plan) -> list[Load]:
    """
    Return what hangs on every header: those of the plan, then one for each part that is on none.

    Parameters
    ----------
    plan : Plan
        One design or N; every number may be an array.

    Raises
    ------
    InputError
        If a header feeds something that is no pump, radiator with fans or fans of the case, if something hangs on
        two headers, or if two headers bear one name.
    """
    motors, out = _motors(plan), []
    left = dict(motors)
    for place in plan.headers:
        if any(place.name == other.header.name for other in out):
            raise InputError("headers", place.name, "each name once", "Give every header a name of its own.")
        for name in place.feeds:
            what = "A header feeds pumps, radiators with fans and fans of the case, by their names in the plan."
            one_of(f"{place.name}, feeds", name, motors, what)
            if name not in left:
                raise InputError(f"{place.name}, feeds", name, "each part on one header", "Take it off the other.")
            del left[name]
        out.append(Load(place, tuple(motors[name] for name in place.feeds), True))
    return out + [Load(header(motor.kind, motor.kind), (motor,), False) for motor in left.values()]


# ----------------------------------------------------------------------------------------------- facts and table


def facts(plan: Plan) -> list[Fact]:
    """
    Return what the rules judge of every header: running current, its share of the rating, current while starting.

    A part without power in its data is left out of the sum, so that the rest can still be too much; where nothing is
    known the value is NaN. Above the rating only the running current speaks. InputError as from `loads`.
    """
    return [fact for load in loads(plan) for fact in _facts(load)]


def _facts(load: Load) -> list[Fact]:
    now, rating = load.at_least, load.header.rating
    share = np.where(now > rating, np.nan, now / rating)
    return [
        Fact("current on a header against its rating", load.where, now, rating),
        Fact("share of a header's rating", load.where, share),
        Fact("starting current as a share of a header's rating", load.where, load.header.start * share),
    ]


def _words(load: Load) -> str:
    """Return what the table says of one header of one design."""
    unknown = [motor.words for motor in load.motors if np.any(np.isnan(motor.each))]
    said = [] if load.stated else [NOT_STATED]
    said += [f"no power in its data: {', '.join(unknown)}"] if unknown else []
    said += [f"{rule.signal}: {rule.quantity}" for rule, _, _ in rules.firings(_facts(load))]
    return "; ".join(said)


def _fed(motor: Motor) -> str:
    count = float(motor.count)
    return motor.words if count == 1.0 else f"{motor.words} ({count:g})"


def table(plan: Plan) -> pd.DataFrame:
    """
    Return the headers of one design as a table, what the supply gives pumps and fans in all on its last line.

    Headers of another voltage have a sum of their own before it; a converter that makes their voltage of 12 V
    takes a little more than that from the supply.

    Raises
    ------
    InputError
        For N designs, and as from `loads`.
    """
    found = loads(plan)
    one_design("headers", number_of_designs(*found))
    rows = [
        (
            load.header.name,
            ", ".join(map(_fed, load.motors)),
            float(load.power),
            float(load.running),
            float(load.starting),
            float(load.header.rating),
            100 * float(load.share),
            _words(load),
        )
        for load in found
    ]
    others = sorted({float(load.header.volts) for load in found} - {SUPPLY})
    for volts in (*others, SUPPLY):
        mine = [load for load in found if load.header.volts == volts]
        power, running, starting = (
            float(sum((getattr(load, name) for load in mine), 0.0)) for name in ("power", "running", "starting")
        )
        lacks = "; not known: a part has no power in its data" if np.isnan(power) else ""
        rows.append((f"all on {volts:g} V", "", power, running, starting, np.nan, np.nan, f"sum at full speed{lacks}"))
    names = ["header", "feeds", "power [W]", "running [A]", "starting [A]", "rating [A]", "share of rating [%]"]
    return pd.DataFrame(rows, columns=[*names, "what it says"])

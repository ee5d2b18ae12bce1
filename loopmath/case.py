"""What stands in the case beside the loop: parts left on air, fans of the case, headers that feed fans and pumps."""

from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from loopmath import parts
from loopmath.checks import Checked, InputError, OutOfRange, between, one_of
from loopmath.loss import area_of

#: Which way the fans of a case blow.
IN, OUT = "in", "out"
#: What a speed curve may follow that is no component.
SENSORS = COOLANT, CASE = "coolant", "case"


@dataclass(frozen=True, eq=False)
class CaseFans(Checked):
    """
    Equal fans that blow room air into the case or case air out of it.

    `filter_loss` is what a filter and a grille take, in velocity heads on the round opening of the fan.
    """

    name: str
    fan: parts.Fan
    count: Any = 1.0
    speed: Any = 1.0
    blows: str = OUT
    filter_loss: Any = 0.0

    RANGES: ClassVar[dict] = {
        "count": (1, 20, ""),
        "speed": (0.0, 1.0, "of full speed"),
        "filter_loss": (0.0, 1000.0, "velocity heads"),
    }

    def __post_init__(self) -> None:
        super().__post_init__()
        one_of(f"{self.name}, blows", self.blows, (IN, OUT))

    @property
    def machine(self) -> parts.Fan:
        """What turns."""
        return self.fan

    def resistance(self, density: Any) -> Any:
        """Return the quadratic coefficient of one opening's loss, into or out of still air included. [Pa s2/m6]"""
        return (1.0 + self.filter_loss) * density / (2 * area_of(self.fan.size) ** 2)

    def fan_power(self) -> Any:
        """Return the electrical power of all of them. [W]"""
        return self.count * self.fan.power * self.fan.turning(self.speed) ** 3

    def sound(self) -> Any:
        """Return their level 1 m away. [dB]"""
        return parts.sound_of(self.fan.sound_level, self.fan.turning(self.speed), self.count)


@dataclass(frozen=True, eq=False)
class AirPart(Checked):
    """
    A part of the machine left on air: its heat warms the case.

    Attributes
    ----------
    name : str
        Of its own in the plan.
    cools : str
        What it is: a word of data/candidates.csv, such as "processor".
    heat, peak_heat : float or array
        As it usually is and at its peak. [W]
    limit : float
        Warmest it may get. [degC]
    resistance : float or array
        From the part to the air of the case, through the cooler it has on air. [K/W]
    block : str
        The block of the catalogue it would get in the loop; empty: it is no candidate.
    sound_level : float, optional
        Of its own cooler's fan as it usually runs, 1 m away; None has none. [dB]
    price : float, optional
        Of the cooler it has on air, saved when it goes into the loop.
    """

    name: str
    cools: str = "other"
    heat: Any = 0.0
    limit: Any = 90.0
    resistance: Any = 0.0
    peak_heat: Any = None
    block: str = ""
    sound_level: Any = None
    price: float | None = None

    RANGES: ClassVar[dict] = {
        "heat": (0.0, 3000.0, "W"),
        "limit": (0.0, 200.0, "degC"),
        "resistance": (0.0, 20.0, "K/W"),
        "peak_heat": (0.0, 3000.0, "W"),
        "sound_level": (0.0, 120.0, "dB"),
        "price": (0.0, 1e5, ""),
    }

    def sound(self) -> Any:
        """Return the level of its own cooler 1 m away. [dB]"""
        return -np.inf if self.sound_level is None else self.sound_level


@dataclass(frozen=True, eq=False)
class Header(Checked):
    """
    A header or hub: one electrical outlet, what it may carry [A] and at which voltage [V], and what hangs on it.

    `feeds` names elements of the plan: pumps, radiators (their fans), fans of the case. `start` is how many times
    its running current a motor may draw while it starts (as in data/headers.csv).
    """

    name: str
    rating: Any = 1.0
    volts: Any = 12.0
    start: Any = 1.5
    feeds: tuple[str, ...] = ()

    RANGES: ClassVar[dict] = {
        "rating": (0.01, 50.0, "A"),
        "volts": (1.0, 60.0, "V"),
        "start": (1.0, 10.0, ""),
    }

    def __post_init__(self) -> None:
        super().__post_init__()
        if len(set(self.feeds)) != len(self.feeds):
            raise InputError(f"{self.name}, feeds", list(self.feeds), "each name once")


@dataclass(frozen=True, eq=False)
class SpeedCurve:
    """
    Speed of fans and pumps by a temperature, straight between points and level beyond the first and the last.

    Attributes
    ----------
    name : str
        Of its own in the plan.
    drives : tuple of str
        Elements whose fans or pump it drives.
    sensor : str
        "coolant" (the warmest), "case", or the name of a component.
    temperatures, speeds : tuple of float
        The points: rising [degC], and never falling [share of full speed].
    hysteresis : float
        So much cooler than on the way up it gets before the speed falls again. [K]
    """

    name: str
    drives: tuple[str, ...]
    sensor: str = "coolant"
    temperatures: tuple[float, ...] = ()
    speeds: tuple[float, ...] = ()
    hysteresis: float = 0.0

    def __post_init__(self) -> None:
        if len(self.temperatures) != len(self.speeds) or len(self.speeds) < 2:
            given = f"{len(self.temperatures)} temperatures, {len(self.speeds)} speeds"
            raise InputError(f"{self.name}, points", given, "two points or more, a temperature and a speed each")
        between(f"{self.name}, temperatures", np.array(self.temperatures), -20.0, 150.0, "degC")
        between(f"{self.name}, speeds", np.array(self.speeds), 0.0, 1.0, "of full speed")
        between(f"{self.name}, hysteresis", self.hysteresis, 0.0, 30.0, "K")
        for what, values, least in (("temperatures", self.temperatures, 1e-6), ("speeds", self.speeds, 0.0)):
            steps = np.diff(values)
            if np.any(steps < least):
                at = int(np.argmax(steps < least))
                words = "each warmer than the one before" if least else "none slower than the one before"
                pair = f"{values[at]:g} then {values[at + 1]:g}"
                remedy = "A fan that slows while the coolant warms would run away."
                raise OutOfRange(f"{self.name}, {what}", pair, words, remedy if not least else "")

    def speed(self, temperature: Any) -> Any:
        """Return the speed at a temperature that rises. [share of full speed]"""
        return np.interp(temperature, self.temperatures, self.speeds)

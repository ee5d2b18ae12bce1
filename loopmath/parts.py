"""
The parts a loop is built from, as frozen records of numbers.

Every numeric field is SI (temperatures degC) and may be a float or an array of N designs: a record
then stands for N parts at once. Radiators have a module of their own.
"""

from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from loopmath.checks import Checked, OutOfRange
from loopmath.laws import pipeflow, sound, turbomachine
from loopmath.loss import PORT_BORE, Loss, measured_loss, minor_loss

# ------------------------------------------------------------------------------------------ tube, fittings


@dataclass(frozen=True, eq=False)
class Tube(Checked):
    """
    A tube by its trade size: material, outside diameter and bore [m].

    `bend_radius` is the least its centre line may be bent to; `heat_deflection` that of its data sheet at 1.8 MPa,
    instead of the material's [degC].
    """

    name: str
    material: str
    outside: Any
    bore: Any
    roughness_height: float = 1.5e-6
    bend_radius: float = 0.025
    coolant_limit: float = 60.0
    rigid: bool = True
    price_per_m: float | None = None
    heat_deflection: float | None = None

    RANGES: ClassVar[dict] = {
        "bore": (0.001, 0.05, "m"),
        "outside": (0.001, 0.08, "m"),
        "roughness_height": (0.0, 0.001, "m"),
        "bend_radius": (0.001, 1.0, "m"),
        "coolant_limit": (0.0, 200.0, "degC"),
        "price_per_m": (0.0, 1e5, ""),
        "heat_deflection": (20.0, 300.0, "degC"),
    }

    def __post_init__(self) -> None:
        super().__post_init__()
        if np.any(np.asarray(self.outside) <= np.asarray(self.bore)):
            raise OutOfRange(f"{self.name}, outside diameter", self.outside, "more than the bore, in m")


@dataclass(frozen=True, eq=False)
class Fitting(Checked):
    """
    A fitting or valve by the three constants of the 3-K form on its own bore, and its size where tubes are laid.

    Attributes
    ----------
    height : float
        From the face of the port to where the tube is seen; of an angled one to the axis it turns to. [m]
    reach : float
        Of an angled one, from the axis of the port to the face of what is screwed into it. [m]
    turn : float
        Angle it turns by. [degrees]
    insertion : float
        How deep a tube goes in, from its mouth to its stop. [m]
    ring_depth : float
        From its mouth to the far side of its last O-ring. [m]
    body : float
        Its outside diameter. [m]
    takes : float
        Outside diameter of the tube it holds; 0: not stated. [m]
    """

    name: str
    k1: Any
    ki: Any
    kd: Any
    bore: Any = PORT_BORE
    metal: str = ""
    price: float | None = None
    wetted_area: Any = None
    height: float = 0.0
    reach: float = 0.0
    turn: float = 0.0
    insertion: float = 0.0
    ring_depth: float = 0.0
    body: float = 0.0
    takes: float = 0.0

    RANGES: ClassVar[dict] = {
        "k1": (0.0, 1e5, ""),
        "ki": (0.0, 1e4, ""),
        "kd": (0.0, 100.0, "in^0.3"),
        "bore": (1e-3, 0.05, "m"),
        "price": (0.0, 1e5, ""),
        "wetted_area": (0.0, 1.0, "m^2"),
        "height": (0.0, 0.2, "m"),
        "reach": (0.0, 0.2, "m"),
        "turn": (0.0, 180.0, "degrees"),
        "insertion": (0.0, 0.1, "m"),
        "ring_depth": (0.0, 0.1, "m"),
        "body": (0.0, 0.1, "m"),
        "takes": (0.0, 0.1, "m"),
    }

    def loss(self) -> Loss:
        """Return the loss of one such fitting."""
        laminar, turbulent = pipeflow.three_k(self.k1, self.ki, self.kd, self.bore)
        return minor_loss(turbulent, laminar, self.bore)


def wets(part: Any, count: Any = 1.0) -> tuple[tuple[str, Any], ...]:
    """Return the metal the coolant touches in so many of a part and its area [m2], None where that is not known."""
    return ((part.metal, None if part.wetted_area is None else part.wetted_area * count),) if part.metal else ()


# -------------------------------------------------------------------------------------------- pump and fan


@dataclass(frozen=True, eq=False)
class Pump(Checked):
    """
    A pump at its full speed; other speeds follow from the affinity laws.

    Attributes
    ----------
    shutoff_head : float or array
        Head at no flow. [m of the liquid pumped]
    runout_flow : float or array
        Flow at no head. [m3/s]
    exponent : float or array
        Shape of the curve between, at least 1: 2 is a parabola.
    power_shutoff, power_runout : float or array
        Electrical power at no flow and at no head, straight between them. [W]
    heat_share : float or array
        Share of the electrical power that warms the coolant. [-]
    sound_level : float or array
        Level at full speed, 1 m away. [dB]
    least_speed : float
        Share of full speed below which the pump stands still. [-]
    coolant_limit : float
        Warmest coolant the pump may carry. [degC]
    measured_from, measured_to : float, optional
        Ends of the flow that was measured, carried to full speed; beyond them the curve is a guess. [m3/s]
    price : float, optional
        In the builder's own currency.
    """

    name: str
    shutoff_head: Any
    runout_flow: Any
    exponent: Any = 2.0
    power_shutoff: Any = 0.0
    power_runout: Any = 0.0
    heat_share: Any = 0.0
    sound_level: Any = 0.0
    least_speed: float = 0.0
    coolant_limit: float = 60.0
    volume: float = 0.0
    metal: str = ""
    measured_from: float | None = None
    measured_to: float | None = None
    price: float | None = None
    wetted_area: Any = None

    RANGES: ClassVar[dict] = {
        "shutoff_head": (0.0, 100.0, "m of head"),
        "runout_flow": (1e-07, 0.01, "m^3/s"),
        "exponent": (1.0, 6.0, ""),
        "power_shutoff": (0.0, 1000.0, "W"),
        "power_runout": (0.0, 1000.0, "W"),
        "heat_share": (0.0, 1.0, ""),
        "sound_level": (0.0, 120.0, "dB"),
        "least_speed": (0.0, 1.0, ""),
        "coolant_limit": (0.0, 200.0, "degC"),
        "volume": (0.0, 0.01, "m^3"),
        "measured_from": (0.0, 0.01, "m^3/s"),
        "measured_to": (0.0, 0.01, "m^3/s"),
        "price": (0.0, 1e5, ""),
        "wetted_area": (0.0, 1.0, "m^2"),
    }

    def turning(self, speed: Any) -> Any:
        """Return the speed it really turns at: 0 below the least speed. [share of full]"""
        if isinstance(self.least_speed, float) and self.least_speed == 0.0:
            return speed
        return speed * (np.asarray(speed) >= self.least_speed)

    def power(self, flow: Any, speed: Any) -> Any:
        """Return the electrical power at a flow [m3/s] and speed [share of full]. [W]"""
        straight = self.power_shutoff * speed**3
        slope = (self.power_runout - self.power_shutoff) / self.runout_flow
        return straight + slope * speed**2 * np.abs(flow)


@dataclass(frozen=True, eq=False)
class Fan(Checked):
    """
    A fan at its full speed, in air of 1.2 kg/m3; flow [m3/s], pressure [Pa], power [W], level [dB].

    `measured_from` and `measured_to` are the ends of the air flow that was measured, carried to full speed.
    """

    name: str
    size: Any
    free_flow: Any
    shutoff_pressure: Any
    exponent: Any = 2.0
    power: Any = 0.0
    sound_level: Any = 0.0
    least_speed: float = 0.2
    full_rpm: float = 0.0
    measured_from: float | None = None
    measured_to: float | None = None
    price: float | None = None

    RANGES: ClassVar[dict] = {
        "size": (0.04, 0.3, "m"),
        "free_flow": (0.0001, 1.0, "m^3/s of air"),
        "shutoff_pressure": (0.1, 1000.0, "Pa"),
        "exponent": (1.0, 6.0, ""),
        "power": (0.0, 100.0, "W"),
        "sound_level": (0.0, 120.0, "dB"),
        "least_speed": (0.0, 1.0, ""),
        "full_rpm": (0.0, 20000.0, ""),
        "measured_from": (0.0, 1.0, "m^3/s of air"),
        "measured_to": (0.0, 1.0, "m^3/s of air"),
        "price": (0.0, 1e5, ""),
    }

    def turning(self, speed: Any) -> Any:
        """Return the speed it really turns at: 0 below the least speed. [share of full]"""
        if isinstance(self.least_speed, float) and self.least_speed == 0.0:
            return speed
        return speed * (np.asarray(speed) >= self.least_speed)

    def flow(self, speed: Any, linear: Any, quadratic: Any, density: Any = 1.2, in_series: Any = 1) -> Any:
        """
        Return the flow at which the fan's pressure meets a resistance. [m3/s]

        The resistance is linear*V + quadratic*V². The curve falls and the resistance rises and both bend
        one way, so Newton from free flow walks down to the root without a step too far.
        """
        speed = self.turning(speed)
        pressure = self.shutoff_pressure * in_series * density / 1.2
        flow = self.free_flow * np.maximum(speed, 1e-9)
        for _ in range(60):
            given, slope = turbomachine.head_with_slope(flow, pressure, self.free_flow, self.exponent, speed)
            excess = flow * (linear + quadratic * flow) - given
            step = excess / (linear + 2 * quadratic * flow - slope)
            flow = np.maximum(flow - step, 0.0)
            if np.all(np.abs(step) <= 1e-10 * flow):
                break
        return flow * (speed > 0)


# -------------------------------------------------------------------------------------- block and reservoir


@dataclass(frozen=True, eq=False)
class Block(Checked):
    """
    A cold plate: its loss and its resistance from case to coolant.

    Attributes
    ----------
    linear, quadratic : float or array
        dp = linear*q + quadratic*q². [Pa s/m3], [Pa s2/m6]
    scaled : bool
        True if the points hold for water at 20 degC and are carried to other coolants by viscosity and
        density; False if they were taken in the loop's own coolant.
    resistance : float or array
        Resistance at endless flow, paste and base included. [K/W]
    flow_resistance : float or array
        What the coolant film adds at `reference_flow`. [K/W]
    exponent : float or array
        That part falls as flow^-exponent. [-]
    measured_from, measured_to : float, optional
        Ends of the flow at which loss and resistance were both measured. [m3/s]
    mass : float
        Of its metal, which stores heat; the usual weight of one stands where none is given (common practice, no
        source). [kg]
    wetted_area : float or array, optional
        Of its metal that the coolant touches, as of every part that has one. [m2]
    channel : float or array, optional
        Width of its narrowest channel. [m]
    """

    name: str
    cools: str
    linear: Any
    quadratic: Any
    resistance: Any
    flow_resistance: Any
    reference_flow: Any = 6e-5
    exponent: Any = 0.6
    scaled: bool = True
    metal: str = "copper"
    volume: float = 0.0
    measured_from: float | None = None
    measured_to: float | None = None
    price: float | None = None
    mass: float = 0.2
    wetted_area: Any = None
    channel: Any = None

    RANGES: ClassVar[dict] = {
        "linear": (0.0, 1000000000000.0, "Pa s/m3"),
        "quadratic": (0.0, 1e16, "Pa s2/m6"),
        "resistance": (0.0, 10.0, "K/W"),
        "flow_resistance": (0.0, 10.0, "K/W"),
        "reference_flow": (1e-07, 0.01, "m^3/s"),
        "exponent": (0.0, 2.0, ""),
        "volume": (0.0, 0.01, "m^3"),
        "measured_from": (0.0, 0.01, "m^3/s"),
        "measured_to": (0.0, 0.01, "m^3/s"),
        "price": (0.0, 1e5, ""),
        "wetted_area": (0.0, 1.0, "m^2"),
        "channel": (1e-05, 0.01, "m"),
        "mass": (0.0, 20.0, "kg"),
    }

    def losses(self) -> dict[str, Loss]:
        """Return the block's loss, by cause."""
        return {"block": measured_loss(self.linear, self.quadratic, self.scaled)}

    def thermal_resistance(self, flow: Any) -> Any:
        """Return case-to-coolant resistance at a flow [m3/s]. [K/W]"""
        return self.resistance + self.flow_resistance * (flow / self.reference_flow) ** -self.exponent


@dataclass(frozen=True, eq=False)
class Reservoir(Checked):
    """A tank: coolant held [m3] and the sudden entry and exit at its ports."""

    name: str
    volume: Any
    k1: Any = 160.0
    ki: Any = 1.5
    bore: Any = PORT_BORE
    material: str = "PMMA"
    metal: str = ""
    price: float | None = None
    wetted_area: Any = None

    RANGES: ClassVar[dict] = {
        "volume": (0.0, 0.1, "m^3"),
        "k1": (0.0, 1e5, ""),
        "ki": (0.0, 1e4, ""),
        "bore": (1e-3, 0.05, "m"),
        "price": (0.0, 1e5, ""),
        "wetted_area": (0.0, 1.0, "m^2"),
    }

    def losses(self) -> dict[str, Loss]:
        """Return the loss of entering and leaving the tank."""
        return {"reservoir": minor_loss(self.ki, self.k1, self.bore)}


@dataclass(frozen=True, eq=False)
class Inline(Checked):
    """
    A part in the line known by its loss alone: a filter, a flow meter, a quick-release pair.

    `linear`, `quadratic` and `scaled` are those of `Block`; `kind_of_part` says what it is.
    """

    name: str
    kind_of_part: str
    linear: Any = 0.0
    quadratic: Any = 0.0
    scaled: bool = True
    metal: str = ""
    volume: Any = 0.0
    price: float | None = None
    wetted_area: Any = None

    RANGES: ClassVar[dict] = {
        "linear": (0.0, 1e12, "Pa s/m3"),
        "quadratic": (0.0, 1e16, "Pa s2/m6"),
        "volume": (0.0, 0.1, "m^3"),
        "price": (0.0, 1e5, ""),
        "wetted_area": (0.0, 1.0, "m^2"),
    }

    def losses(self) -> dict[str, Loss]:
        """Return the part's loss."""
        return {self.name: measured_loss(self.linear, self.quadratic, self.scaled)}


def sound_of(level: Any, speed: Any, count: Any = 1) -> Any:
    """Return the level of `count` equal fans or pumps at a share of full speed, 1 m away. [dB]"""
    with np.errstate(divide="ignore"):
        return sound.level_at_speed(level, speed) + 10 * np.log10(count)

"""
The parts a loop is built from, as frozen records of numbers.

Every numeric field is SI (temperatures degC) and may be a float or an array of N designs: a record
then stands for N parts at once. What a part does to the flow is one record, `Loss`, whatever the part.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from functools import cache
from typing import Any

import numpy as np

from loopmath import tables
from loopmath.checks import between, one_of, positive
from loopmath.laws import convection, coolant, pipeflow, sound, turbomachine

#: Viscosity and density at which the loss points of a scaled part are taken: water at 20 degC (IAPWS).
REFERENCE_VISCOSITY, REFERENCE_DENSITY = 1.0016e-3, 998.2
#: Bore of a G 1/4 port and of the fittings screwed into it; common practice, no source (8 to 9 mm).
PORT_BORE = 0.009


@dataclass(frozen=True, eq=False)
class Friction:
    """A length of duct with wall friction: `count` equal ducts side by side share the flow."""

    length: Any
    diameter: Any
    area: Any
    roughness: Any = 0.0
    laminar_factor: Any = 1.0


@dataclass(frozen=True, eq=False)
class Loss:
    r"""
    What a part takes from the pressure, in the one form the solver knows.

    .. math:: \Delta p = (\mu a + a_0)\,q + (\rho b + b_0)\,q|q| + \text{wall friction}

    A constant K on an area A is b = K / 2A²; the K1/Re part of the 3-K form is exactly a = K1 / 2DA;
    measured points of a block are a and b, or the unscaled pair when they were taken in the loop's own
    coolant. Losses of parts in series therefore simply add.

    Attributes
    ----------
    linear : float or array
        a [1/m3], multiplied by viscosity.
    quadratic : float or array
        b [1/m4], multiplied by density.
    fixed_linear, fixed_quadratic : float or array
        a0 [Pa s/m3] and b0 [Pa s2/m6].
    friction : tuple of Friction
        Ducts whose friction factor follows the Reynolds number.
    """

    linear: Any = 0.0
    quadratic: Any = 0.0
    fixed_linear: Any = 0.0
    fixed_quadratic: Any = 0.0
    friction: tuple[Friction, ...] = ()

    def __add__(self, other: "Loss") -> "Loss":
        return Loss(
            self.linear + other.linear,
            self.quadratic + other.quadratic,
            self.fixed_linear + other.fixed_linear,
            self.fixed_quadratic + other.fixed_quadratic,
            self.friction + other.friction,
        )

    def times(self, count: Any) -> "Loss":
        """Return the loss of `count` such parts in a row (ducts get longer)."""
        ducts = tuple(replace(f, length=f.length * count) for f in self.friction)
        return Loss(
            self.linear * count, self.quadratic * count, self.fixed_linear * count, self.fixed_quadratic * count, ducts
        )


def area_of(bore: Any) -> Any:
    """Return the area of a round bore [m2]."""
    return 0.25 * np.pi * bore**2


def minor_loss(turbulent: Any, laminar: Any, bore: Any) -> Loss:
    """Return K = laminar/Re + turbulent on the velocity in `bore` as a `Loss`."""
    area = area_of(bore)
    return Loss(linear=laminar / (2 * bore * area), quadratic=turbulent / (2 * area**2))


# ------------------------------------------------------------------------------------------ tube, fittings


@dataclass(frozen=True, eq=False)
class Tube:
    """A tube by its trade size: material, outside diameter and bore [m]."""

    name: str
    material: str
    outside: Any
    bore: Any
    roughness_height: float = 1.5e-6
    bend_radius: float = 0.025
    coolant_limit: float = 60.0
    rigid: bool = True

    def __post_init__(self) -> None:
        between(f"tube {self.name}, bore", self.bore, 1e-3, 0.05, "m", "tube of a hand-built loop")
        positive(f"tube {self.name}, outside diameter", self.outside, "m")


@dataclass(frozen=True, eq=False)
class Fitting:
    """A fitting or valve by the three constants of the 3-K form on its own bore."""

    name: str
    k1: Any
    ki: Any
    kd: Any
    bore: Any = PORT_BORE

    def loss(self) -> Loss:
        """Return the loss of one such fitting."""
        laminar, turbulent = pipeflow.three_k(self.k1, self.ki, self.kd, self.bore)
        return minor_loss(turbulent, laminar, self.bore)


# -------------------------------------------------------------------------------------------- pump and fan


@dataclass(frozen=True, eq=False)
class Pump:
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
    voltage: float = 12.0

    def __post_init__(self) -> None:
        between(f"pump {self.name}, shut-off head", self.shutoff_head, 0.0, 100.0, "m")
        positive(f"pump {self.name}, flow at no head", self.runout_flow, "m^3/s")
        between(f"pump {self.name}, curve exponent", self.exponent, 1.0, 6.0)

    def turning(self, speed: Any) -> Any:
        """Return the speed it really turns at: 0 below the least speed. [share of full]"""
        return speed * (np.asarray(speed) >= self.least_speed)

    def power(self, flow: Any, speed: Any) -> Any:
        """Return the electrical power at a flow [m3/s] and speed [share of full]. [W]"""
        straight = self.power_shutoff * speed**3
        slope = (self.power_runout - self.power_shutoff) / self.runout_flow
        return straight + slope * speed**2 * np.abs(flow)


@dataclass(frozen=True, eq=False)
class Fan:
    """A fan at its full speed, in air of 1.2 kg/m3; flow [m3/s], pressure [Pa], power [W], level [dB]."""

    name: str
    size: Any
    free_flow: Any
    shutoff_pressure: Any
    exponent: Any = 2.0
    power: Any = 0.0
    sound_level: Any = 0.0
    least_speed: float = 0.2
    full_rpm: float = 0.0

    def __post_init__(self) -> None:
        positive(f"fan {self.name}, free flow", self.free_flow, "m^3/s")
        positive(f"fan {self.name}, static pressure at no flow", self.shutoff_pressure, "Pa")

    def turning(self, speed: Any) -> Any:
        """Return the speed it really turns at: 0 below the least speed. [share of full]"""
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
        for _ in range(6):
            given, slope = turbomachine.head_with_slope(flow, pressure, self.free_flow, self.exponent, speed)
            excess = flow * (linear + quadratic * flow) - given
            flow = np.maximum(flow - excess / (linear + 2 * quadratic * flow - slope), 0.0)
        return flow * (speed > 0)


# ------------------------------------------------------------------------------------------------ radiator


@dataclass(frozen=True, eq=False)
class AirSide:
    """A radiator's air at its own operating point: all the liquid side needs to know of it."""

    flow: Any
    capacity: Any
    conductance: Any
    share_of_free_flow: Any = np.nan


@dataclass(frozen=True, eq=False)
class Radiator:
    """
    A flat-tube radiator by what a builder can read off it.

    Attributes
    ----------
    positions : float or array
        Fan positions along its length. [-]
    fan_size : float or array
        Fan size. [m]
    depth : float or array
        Overall depth, frame included. [m]
    fins_per_inch : float or array
        Fin density. [1/inch]
    tube_rows, passes : float or array
        Rows of flat tubes over the depth; times the coolant crosses the core.
    louvre_heat, louvre_drag : float
        Factors of louvred over plain fins on film coefficient and friction; invented, chosen so that a
        position rejects about 100 W at 10 K with a quiet fan (common practice, no source).
    """

    name: str
    positions: Any
    fan_size: Any
    depth: Any
    fins_per_inch: Any
    tube_rows: Any = 1.0
    passes: Any = 2.0
    metal: str = "copper"
    solder: str = ""
    louvre_heat: float = 1.35
    louvre_drag: float = 1.25
    tank_volume_per_width: float = 3.6e-4
    # Invented but usual proportions of a core, in m: frame, tube pitch, tube height, walls and fin gauge.
    frame: float = 0.008
    tube_pitch: float = 0.0105
    tube_height: float = 0.002
    tube_wall: float = 0.0002
    fin_thickness: float = 0.00006
    fin_conductivity: float = 390.0

    def __post_init__(self) -> None:
        where = f"radiator {self.name}, "
        between(where + "fan positions", self.positions, 1, 8)
        between(where + "fan size", self.fan_size, 0.04, 0.3, "m")
        between(where + "depth", self.depth, 0.015, 0.12, "m")
        between(where + "fins per inch", self.fins_per_inch, 4, 40)

    @property
    def core_length(self) -> Any:
        """Length of the finned core. [m]"""
        return self.positions * self.fan_size

    @property
    def core_depth(self) -> Any:
        """Depth of the fins in the direction of the air. [m]"""
        return self.depth - self.frame

    @property
    def tubes(self) -> Any:
        """Flat tubes side by side over the width of one fan. [-]"""
        return self.fan_size / self.tube_pitch

    def _duct(self) -> tuple[Any, Any, Any]:
        """Return inner height and width of one flat tube and the number sharing the flow."""
        height = self.tube_height - 2 * self.tube_wall
        width = self.core_depth / self.tube_rows - 2 * self.tube_wall
        return height, width, self.tubes * self.tube_rows / self.passes

    def losses(self) -> dict[str, Loss]:
        """Return the liquid side's loss: tube friction and the turns in the tanks."""
        height, width, count = self._duct()
        duct = Friction(
            self.core_length * self.passes,
            2 * height * width / (height + width),
            height * width * count,
            0.0,
            pipeflow.laminar_equivalent_factor(height / width),
        )
        # Into and out of the flat tubes (0.5 + 1.0) at every pass, and the two ports (Crane TP-410, sharp).
        turns = 1.5 * self.passes / (2 * (height * width * count) ** 2)
        ports = minor_loss(1.5, 0.0, PORT_BORE)
        return {"radiator": Loss(quadratic=turns, friction=(duct,)) + ports}

    def volume(self) -> Any:
        """Return the coolant held. [m3]"""
        height, width, count = self._duct()
        return height * width * count * self.passes * self.core_length + self.tank_volume_per_width * self.fan_size

    def air_resistance(self, air_temperature: Any, density: Any, extra: Any = 0.0) -> tuple[Any, Any]:
        """Return (linear, quadratic) of one position's pressure loss in its air flow [Pa, m3/s]."""
        spacing, gap, area, diameter = self._air_passage()
        viscosity = coolant.air_viscosity(air_temperature)
        # Parallel plates f Re = 96 (Shah & London 1978); in and out of the core 0.4 + 0.6, developing
        # flow 0.67 (Shah & London's K(infinity) for plates is 0.674); `extra` for a filter or grille.
        linear = self.louvre_drag * 48 * viscosity * self.core_depth / (diameter**2 * area)
        return linear, (1.67 + extra) * density / (2 * area**2)

    def _air_passage(self) -> tuple[Any, Any, Any, Any]:
        """Return fin spacing, gap between tubes, free area of one position, hydraulic diameter."""
        pitch = 0.0254 / self.fins_per_inch
        spacing = pitch - self.fin_thickness
        gap = self.tube_pitch - self.tube_height
        area = self.tubes * gap * self.fan_size * spacing / pitch
        return spacing, gap, area, 2 * spacing * gap / (spacing + gap)

    def air_side(self, flow_each: Any, air_temperature: Any, density: Any) -> AirSide:
        """Return the air side at a flow through each position [m3/s]."""
        spacing, gap, area, diameter = self._air_passage()
        viscosity = coolant.air_viscosity(air_temperature)
        conductivity = coolant.air_conductivity(air_temperature)
        prandtl = viscosity * coolant.AIR_HEAT_CAPACITY / conductivity
        reynolds = density * flow_each / area * diameter / viscosity
        nusselt = convection.laminar_developing_nusselt(7.54, diameter / self.core_depth * reynolds * prandtl)
        film = self.louvre_heat * nusselt * conductivity / diameter
        fins = 2 * gap * self.core_depth * self.core_length / (spacing + self.fin_thickness) * self.tubes
        walls = 2 * self.core_depth * self.core_length * self.tubes * spacing / (spacing + self.fin_thickness)
        efficiency = convection.fin_efficiency(film, gap / 2, self.fin_thickness, self.fin_conductivity)
        flow = flow_each * self.positions
        return AirSide(flow, density * flow * coolant.AIR_HEAT_CAPACITY, film * (walls + efficiency * fins))

    def liquid_conductance(self) -> Callable:
        """Return a function (flow, density, viscosity, cp, conductivity) -> film conductance [W/K]."""
        height, width, count = self._duct()
        diameter = 2 * height * width / (height + width)
        reynolds_factor = diameter / (height * width * count)
        fully_developed = convection.rectangle_nusselt(height / width)
        area = 2 * (height + width) * self.core_length * count * self.passes
        return DuctConductance(reynolds_factor, fully_developed, diameter / self.core_length, area / diameter)


@dataclass(frozen=True, eq=False)
class DuctConductance:
    """The liquid film of a flat-tube core, ready to be evaluated in the solver."""

    reynolds_factor: Any
    fully_developed: Any
    diameter_over_length: Any
    area_over_diameter: Any

    def __call__(self, flow: Any, density: Any, viscosity: Any, heat_capacity: Any, conductivity: Any) -> Any:
        """Return film coefficient times area. [W/K]"""
        reynolds = flow * density / viscosity * self.reynolds_factor
        prandtl = viscosity * heat_capacity / conductivity
        nusselt = convection.duct_nusselt(reynolds, prandtl, self.fully_developed, self.diameter_over_length)
        return nusselt * conductivity * self.area_over_diameter


@dataclass(frozen=True, eq=False)
class PowerConductance:
    """A liquid film that grows as a power of the flow: reference [W/K] at reference flow [m3/s]."""

    reference: Any
    reference_flow: Any
    exponent: Any

    def __call__(self, flow: Any, *_: Any) -> Any:
        """Return film coefficient times area. [W/K]"""
        return self.reference * (flow / self.reference_flow) ** self.exponent


@dataclass(frozen=True, eq=False)
class MeasuredRadiator:
    """
    A radiator known only by its conductances, as power laws of air and coolant flow, and its loss.

    `air_heat_per_volume` [J/(m3 K)] is that of the air it was measured in; None takes the air at hand.
    """

    name: str
    air_conductance: Any
    air_reference: Any
    air_exponent: Any
    liquid_conductance_reference: Any
    liquid_reference: Any
    liquid_exponent: Any
    loss: Loss
    positions: Any = 1.0
    metal: str = "copper"
    solder: str = ""
    coolant_volume: Any = 0.0
    air_heat_per_volume: Any = None

    def losses(self) -> dict[str, Loss]:
        """Return the liquid side's loss."""
        return {"radiator": self.loss}

    def volume(self) -> Any:
        """Return the coolant held. [m3]"""
        return self.coolant_volume

    def air_side(self, flow_each: Any, air_temperature: Any, density: Any) -> AirSide:
        """Return the air side at a flow through each position [m3/s]."""
        flow = flow_each * self.positions
        conductance = self.air_conductance * (flow / self.air_reference) ** self.air_exponent
        per_volume = self.air_heat_per_volume
        if per_volume is None:
            per_volume = density * coolant.AIR_HEAT_CAPACITY
        return AirSide(flow, per_volume * flow, conductance)

    def liquid_conductance(self) -> PowerConductance:
        """Return the film conductance as a function of flow."""
        return PowerConductance(self.liquid_conductance_reference, self.liquid_reference, self.liquid_exponent)


# -------------------------------------------------------------------------------------- block and reservoir


@dataclass(frozen=True, eq=False)
class Block:
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

    def __post_init__(self) -> None:
        between(f"block {self.name}, linear loss", self.linear, 0.0)
        between(f"block {self.name}, quadratic loss", self.quadratic, 0.0)
        between(f"block {self.name}, resistance", self.resistance, 0.0, 10.0, "K/W")

    def losses(self) -> dict[str, Loss]:
        """Return the block's loss, by cause."""
        if self.scaled:
            return {"block": Loss(self.linear / REFERENCE_VISCOSITY, self.quadratic / REFERENCE_DENSITY)}
        return {"block": Loss(fixed_linear=self.linear, fixed_quadratic=self.quadratic)}

    def thermal_resistance(self, flow: Any) -> Any:
        """Return case-to-coolant resistance at a flow [m3/s]. [K/W]"""
        return self.resistance + self.flow_resistance * (flow / self.reference_flow) ** -self.exponent


@dataclass(frozen=True, eq=False)
class Reservoir:
    """A tank: coolant held [m3] and the sudden entry and exit at its ports."""

    name: str
    volume: Any
    k1: Any = 160.0
    ki: Any = 1.5
    bore: Any = PORT_BORE
    material: str = "PMMA"

    def losses(self) -> dict[str, Loss]:
        """Return the loss of entering and leaving the tank."""
        return {"reservoir": minor_loss(self.ki, self.k1, self.bore)}


# ------------------------------------------------------------------------------------------------ catalogue

#: Table of data/ and the record its rows become; a column `bore_mm` is the field `bore` in m, and so on.
CATALOGUE: dict[str, tuple[str, type]] = {
    "pump": ("pumps.csv", Pump),
    "fan": ("fans.csv", Fan),
    "radiator": ("radiators.csv", Radiator),
    "block": ("blocks.csv", Block),
    "tube": ("tubes.csv", Tube),
    "fitting": ("losses.csv", Fitting),
    "reservoir": ("reservoirs.csv", Reservoir),
}
_SUFFIXES = {
    "_mm": 1e-3,
    "_um": 1e-6,
    "_l_h": 1e-3 / 3600,
    "_l_min": 1e-3 / 60,
    "_m3_h": 1 / 3600,
    "_ml": 1e-6,
    "_m": 1.0,
    "_w": 1.0,
    "_pa": 1.0,
    "_db": 1.0,
    "_degc": 1.0,
    "_k_w": 1.0,
    "_percent": 0.01,
    "_kpa_per_l_min": 6e7,
    "_kpa_per_l_min2": 3.6e12,
    "_in03": 1.0,
}


def _from_row(row: dict, record: type) -> Any:
    """Turn a table row into a record: strip unit suffixes, scale to SI, ignore provenance."""
    known = {f.name for f in fields(record)}
    values = {}
    for column, value in row.items():
        if column in known:
            values[column] = value if column != "rigid" else value == 1.0
            continue
        for suffix in sorted(_SUFFIXES, key=len, reverse=True):
            if column.endswith(suffix) and column.removesuffix(suffix) in known:
                values[column.removesuffix(suffix)] = value * _SUFFIXES[suffix]
                break
    return record(**values)


def names(kind: str) -> list[str]:
    """Return the names in the catalogue of one kind of part."""
    return list(tables.by_name(CATALOGUE[one_of("kind of part", kind, CATALOGUE)][0]))


@cache
def part(kind: str, name: str, field_name: str = "") -> Any:
    """
    Return a part of the catalogue.

    Parameters
    ----------
    kind : str
        One of `CATALOGUE`: "pump", "fan", "radiator", "block", "tube", "fitting", "reservoir".
    name : str
        Its name there.
    field_name : str
        Where the name was written, for the message.

    Raises
    ------
    InputError
        If the name is not in the catalogue; the nearest names are listed.
    """
    rows = tables.by_name(CATALOGUE[kind][0])
    one_of(field_name or kind, name, rows, "The catalogue is in data/.")
    return _from_row(rows[name], CATALOGUE[kind][1])


def fan_of_size(like: Fan, size: float) -> Fan:
    """Return the catalogue fan of another size that is nearest in full speed to `like`."""
    rows = [part("fan", n) for n in names("fan")]
    fitting = [f for f in rows if abs(f.size - size) < 1e-6]
    if not fitting:
        one_of("fan size", f"{1e3 * size:.0f} mm", sorted({f"{1e3 * f.size:.0f} mm" for f in rows}))
    return min(fitting, key=lambda f: abs(f.sound_level - like.sound_level))


def sound_of(level: Any, speed: Any, count: Any = 1) -> Any:
    """Return the level of `count` equal fans or pumps at a share of full speed, 1 m away. [dB]"""
    with np.errstate(divide="ignore"):
        return sound.level_at_speed(level, speed) + 10 * np.log10(count)

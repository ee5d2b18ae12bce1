"""The made-up reference problems, stated with the package's own elements, and parts that no file can hold."""

from dataclasses import dataclass
from typing import Any

from outside import coupled_loop, reference_loop

from loopmath import loop, parts
from loopmath.case import AirPart, CaseFans
from loopmath.laws import coolant as coolants
from loopmath.laws.coolant import coolant
from loopmath.loss import Loss
from loopmath.plan import Plan
from loopmath.radiator import AirSide

COOLANTS = {"water": "water", "pg20": "propylene-glycol-20-mass"}


@dataclass(frozen=True, eq=False)
class Resistance(loop.Element):
    """A loss in the line given as such."""

    given: Loss
    kind = "part"

    def losses(self) -> dict[str, Loss]:
        return {self.name: self.given}


@dataclass(frozen=True, eq=False)
class PowerRadiator:
    """A radiator known by its conductances [W/K], as power laws of air and coolant flow [m3/s], and its loss."""

    name: str
    air_conductance: float
    air_reference: float
    air_exponent: float
    liquid_conductance_reference: float
    liquid_reference: float
    liquid_exponent: float
    loss: Loss
    air_heat_per_volume: float  # [J/(m3 K)]
    positions: float = 1.0
    metal: str = "copper"
    solder: str = ""
    price: float | None = None
    measured_from: float | None = None
    measured_to: float | None = None
    measured_air_from: float | None = None
    measured_air_to: float | None = None

    def losses(self) -> dict[str, Loss]:
        return {"radiator": self.loss}

    def volume(self) -> float:
        return 0.0

    def air_side(self, flow_each: Any, air_temperature: Any, density: Any) -> AirSide:
        flow = flow_each * self.positions
        conductance = self.air_conductance * (flow / self.air_reference) ** self.air_exponent
        return AirSide(flow, self.air_heat_per_volume * flow, conductance)

    def liquid_conductance(self) -> "PowerConductance":
        return PowerConductance(self.liquid_conductance_reference, self.liquid_reference, self.liquid_exponent)


@dataclass(frozen=True, eq=False)
class PowerCore(PowerRadiator):
    """A power radiator for fans on their curves: what one position takes is `air_linear` mu V + heads rho V2/2A2."""

    air_linear: float = 0.0  # [1/m3]
    air_heads: float = 0.0
    air_area: float = 1.0  # [m2]

    def air_resistance(self, air_temperature: Any, density: Any, extra: Any = 0.0) -> tuple[Any, Any]:
        viscosity = coolants.air_viscosity(air_temperature)
        return self.air_linear * viscosity, (self.air_heads + extra) * density / (2 * self.air_area**2)

    def air_side(self, flow_each: Any, air_temperature: Any, density: Any) -> AirSide:
        side = super().air_side(flow_each, air_temperature, density)
        return AirSide(side.flow, density * side.flow * coolants.AIR_HEAT_CAPACITY, side.conductance)


@dataclass(frozen=True, eq=False)
class PowerConductance:
    """A liquid film that grows as a power of the flow: reference [W/K] at reference flow [m3/s]."""

    reference: float
    reference_flow: float
    exponent: float

    def __call__(self, flow: Any, *_: Any) -> Any:
        return self.reference * (flow / self.reference_flow) ** self.exponent


def reference_plan(design: dict[str, Any], liquid: str = "water", layout: str = "series") -> Plan:
    """
    Return the reference loop as a plan; every value of `design` may be an array of N designs.

    Keys: speed, bore, length [m], fittings, air_flow [m3/s], power_cpu, power_gpu [W], room [degC].
    """
    bore = design["bore"]
    pump = parts.Pump("reference pump", shutoff_head=4.0, runout_flow=1.0 / 3600, exponent=2.0)
    tube = parts.Tube("smooth tube", "PETG", bore + 4e-3, bore, roughness_height=0.0)
    elbow = parts.Fitting("K 0.9 on the bore", 0.0, 0.9, 0.0, bore)
    tank = parts.Fitting("K 1.5 on the bore", 0.0, 1.5, 0.0, bore)
    core = PowerRadiator(
        "reference radiator",
        75.0,
        0.08,
        0.6,
        400.0,
        6e-5,
        0.8,
        Loss(fixed_linear=2.0e7, fixed_quadratic=0.8e12),
        air_heat_per_volume=1.19 * 1006,
    )
    cpu = parts.Block("cpu block", "processor", 4.0e7, 2.5e12, 0.040, 0.030, 6e-5, 0.6, scaled=False)
    gpu = parts.Block("gpu block", "graphics card", 3.0e7, 1.8e12, 0.030, 0.020, 6e-5, 0.6, scaled=False)
    blocks = [loop.Source("cpu", cpu, design["power_cpu"], 95.0), loop.Source("gpu", gpu, design["power_gpu"], 95.0)]
    middle = blocks if layout == "series" else [loop.Parallel(*blocks)]
    order = loop.Series(
        loop.PumpUnit("pump", pump, design["speed"]),
        loop.RadiatorUnit("radiator", core, fan=None, air_flow_each=design["air_flow"]),
        *middle,
        loop.Run("tube", tube, design["length"], ends=0.0),
        loop.Fittings("fittings", elbow, design["fittings"]),
        loop.Fittings("reservoir", tank, 1.0),
    )
    return Plan("reference problem", order, coolant(COOLANTS[liquid]), room_air=design["room"])


def coupled_plan(design: dict[str, Any], arrangement: str = "crossed", fan_side: str = "push") -> Plan:
    """
    Return the problem of `outside.coupled_loop` as a plan; every value of `design` may be an array of N designs.

    Keys, arrangements and numbers are those of that file.
    """
    plain = reference_plan(design | {"air_flow": 0.0, "room": 25.0})
    given = coupled_loop.FAN
    fan = parts.Fan("fan", given.size, given.free, given.shutoff, given.exponent, given.power, 30.0, least_speed=0.0)
    square, linear = coupled_loop.LIQUID_LOSS
    radiators = []
    for name, core in coupled_loop.CORES.items():
        record = PowerCore(
            name,
            core.film,
            core.film_flow,
            core.film_power,
            coupled_loop.LIQUID_FILM,
            reference_loop.COOLANT_FLOW,
            coupled_loop.LIQUID_POWER,
            Loss(fixed_linear=linear, fixed_quadratic=square),
            air_heat_per_volume=1.0,  # not asked for: `PowerCore` takes it from the density
            positions=coupled_loop.POSITIONS,
            air_linear=core.linear,
            air_heads=core.heads,
            air_area=core.area,
        )
        row, source, _ = next(row for row in coupled_loop.ARRANGEMENTS[arrangement] if name in row[0])
        air = source if row[0] == name else row[row.index(name) - 1]
        speed = design[f"{name}_speed"]
        radiators.append(loop.RadiatorUnit(name, record, fan, speed, air=air, fan_side=fan_side))
    pump, _, *rest = plain.loop.items
    case_fan = CaseFans("case fan", fan, 1.0, design["case_speed"], "out", coupled_loop.GRILLE_HEADS - 1.0)
    part = AirPart("part", heat=design["part_heat"], resistance=coupled_loop.PART_RESISTANCE)
    return Plan(
        "coupled reference problem",
        loop.Series(pump, *radiators, *rest),
        coolant("water"),
        room_air=design["room"],
        height=design["height"],
        case_air_by="balance",
        case_heat=design["case_heat"],
        case_vents=design["vents"],
        case_wall_loss=design["wall"],
        case_fans=(case_fan,),
        on_air=(part,),
    )

"""Radiators: the flat-tube core from what can be read off it."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from loopmath import tables
from loopmath.checks import Checked, InputError
from loopmath.laws import convection, coolant, materials, pipeflow
from loopmath.loss import PORT_BORE, Friction, Loss, measured_loss, minor_loss


def bulk(metal: str) -> str:
    """Return the metal most of a part is made of: what lies under a plating, copper where nothing is stated."""
    surface, base = materials.layers(metal or "copper")
    return base or ("copper" if surface.endswith(" plate") else surface)


@dataclass(frozen=True, eq=False)
class AirSide:
    """A radiator's air at its own operating point: all the liquid side needs to know of it."""

    flow: Any
    capacity: Any
    conductance: Any
    share_of_free_flow: Any = math.nan


@dataclass(frozen=True, eq=False)
class Radiator(Checked):
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
    louvre_pitch, louvre_heat, louvre_loss : float
        Length over which the air's boundary layer grows before a louvre starts it anew [m], factor on its
        film coefficient, and velocity heads lost at each louvre; invented, chosen so that a 120 mm position
        rejects about 100 W at 10 K with a quiet fan and about twice that with a fast one (common practice,
        no source).
    fin_conductivity : float, optional
        [W/(m K)]; by default that of the metal (handbook values from memory: copper 390, aluminium 200).
    liquid_heat : float
        Factor on the coolant's film; 1 unless a measurement says otherwise. [-]
    linear, quadratic : float, optional
        Measured loss of the coolant side in water at 20 degC, dp = linear*q + quadratic*q², one alone leaves the
        other 0; by default that of the core. [Pa s/m3], [Pa s2/m6]
    measured_from, measured_to, measured_air_from, measured_air_to : float, optional
        Ends of the coolant flow, and of the air flow through one position, that were measured. [m3/s]
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
    louvre_pitch: float = 0.001
    louvre_heat: float = 1.2
    louvre_loss: float = 0.24
    tank_volume_per_width: float = 3.6e-4
    # Invented but usual proportions of a core, in m: frame, tube pitch, tube height, walls and fin gauge.
    frame: float = 0.008
    tube_pitch: float = 0.0105
    tube_height: float = 0.0018
    tube_wall: float = 0.0002
    fin_thickness: float = 0.00006
    fin_conductivity: float | None = None
    liquid_heat: float = 1.0
    linear: float | None = None
    quadratic: float | None = None
    measured_from: float | None = None
    measured_to: float | None = None
    measured_air_from: float | None = None
    measured_air_to: float | None = None
    price: float | None = None
    tank_metal: str = ""

    RANGES: ClassVar[dict] = {
        "positions": (1, 8, ""),
        "fan_size": (0.04, 0.3, "m"),
        "depth": (0.015, 0.12, "m"),
        "fins_per_inch": (4, 40, ""),
        "tube_rows": (1, 6, ""),
        "passes": (1, 8, ""),
        "louvre_heat": (0.1, 10.0, ""),
        "louvre_loss": (0.0, 10.0, ""),
        "louvre_pitch": (1e-4, 0.1, "m"),
        "tank_volume_per_width": (0.0, 0.01, "m^2"),
        "frame": (0.0, 0.05, "m"),
        "tube_pitch": (0.004, 0.05, "m"),
        "tube_height": (0.001, 0.02, "m"),
        "tube_wall": (0.00005, 0.002, "m"),
        "fin_thickness": (0.00001, 0.001, "m"),
        "fin_conductivity": (1.0, 500.0, "W/(m K)"),
        "liquid_heat": (0.1, 10.0, ""),
        "linear": (0.0, 1e12, "Pa s/m3"),
        "quadratic": (0.0, 1e16, "Pa s2/m6"),
        "measured_from": (0.0, 0.01, "m^3/s"),
        "measured_to": (0.0, 0.01, "m^3/s"),
        "measured_air_from": (0.0, 1.0, "m^3/s of air"),
        "measured_air_to": (0.0, 1.0, "m^3/s of air"),
        "price": (0.0, 1e5, ""),
    }

    def __post_init__(self) -> None:
        super().__post_init__()
        if np.any(np.asarray(self.core_depth / self.tube_rows) < 0.006):
            raise InputError(
                f"{self.name}, tube rows",
                self.tube_rows,
                "rows at least 6 mm deep each",
                "Fewer rows, or a deeper core.",
            )

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
        """Return the liquid side's loss: as measured, or tube friction and the turns in the tanks."""
        if self.linear is not None or self.quadratic is not None:
            linear, quadratic = (0.0 if v is None else v for v in (self.linear, self.quadratic))
            return {"radiator": measured_loss(linear, quadratic, scaled=True)}
        height, width, count = self._duct()
        duct = Friction(
            self.core_length * self.passes,
            2 * height * width / (height + width),
            height * width * count,
            0.0,
            pipeflow.laminar_equivalent_factor(height / width),
        )
        # Into and out of the flat tubes (0.5 + 1.0) at every pass, and the two ports ([TP410]_, sharp).
        turns = 1.5 * self.passes / (2 * (height * width * count) ** 2)
        ports = minor_loss(1.5, 0.0, PORT_BORE)
        return {"radiator": Loss(quadratic=turns, friction=(duct,)) + ports}

    def volume(self) -> Any:
        """Return the coolant held. [m3]"""
        height, width, count = self._duct()
        return height * width * count * self.passes * self.core_length + self.tank_volume_per_width * self.fan_size

    def liquid_area(self) -> Any:
        """Return the inner surface of its flat tubes. [m2]"""
        height, width, count = self._duct()
        return 2 * (height + width) * self.core_length * count * self.passes

    def metal_mass(self) -> Any:
        """
        Return the mass of its metal. [kg]

        Flat tubes and fins follow from the core. Tanks, side plates and ports are an estimate: sheet of 1 mm round
        the core and round the tanks.
        """
        height, width, _ = self._duct()
        ducts = self.tubes * self.tube_rows * self.core_length
        tubes = ducts * 2 * (height + width + 2 * self.tube_wall) * self.tube_wall
        fins = self.tubes * self._gap * self.core_depth * self.fin_thickness
        fins = fins * self.core_length * self.fins_per_inch / 0.0254
        tank = self.tank_volume_per_width / (2 * self.depth)  # length of each of the two tanks
        sheet = 2 * self.core_length * self.depth + 2 * (
            2 * tank * (self.fan_size + self.depth) + self.fan_size * self.depth
        )
        density = tables.by_name("metals.csv")[bulk(self.metal)]["density_kg_m3"]
        return density * (tubes + fins + 0.001 * sheet)

    def air_resistance(self, air_temperature: Any, density: Any, extra: Any = 0.0) -> tuple[Any, Any]:
        """Return (linear, quadratic) of one position's pressure loss in its air flow [Pa, m3/s]."""
        _, area, diameter = self._air_passage()
        viscosity = coolant.air_viscosity(air_temperature)
        # Parallel plates f Re = 96 (Shah & London 1978); into and out of the core 0.4 + 0.6; a share of a
        # velocity head at every louvre; `extra` velocity heads for a filter or grille.
        linear = 48 * viscosity * self.core_depth / (diameter**2 * area)
        heads = 1.0 + self.louvre_loss * self.core_depth / self.louvre_pitch + extra
        return linear, heads * density / (2 * area**2)

    def _air_passage(self) -> tuple[Any, Any, Any]:
        """Return fin spacing, free area of one position, hydraulic diameter (of plates: twice the spacing)."""
        pitch = 0.0254 / self.fins_per_inch
        spacing = pitch - self.fin_thickness
        area = self.tubes * self._gap * self.fan_size * spacing / pitch
        return spacing, area, 2 * spacing

    @property
    def _fin_conductivity(self) -> Any:
        if self.fin_conductivity is not None:
            return self.fin_conductivity
        return 200.0 if bulk(self.metal).startswith("aluminium") else 390.0

    @property
    def _gap(self) -> Any:
        """Height of the fins between two tubes. [m]"""
        return self.tube_pitch - self.tube_height

    def air_side(self, flow_each: Any, air_temperature: Any, density: Any) -> AirSide:
        """Return the air side at a flow through each position [m3/s]."""
        spacing, area, diameter = self._air_passage()
        gap = self._gap
        viscosity = coolant.air_viscosity(air_temperature)
        conductivity = coolant.air_conductivity(air_temperature)
        prandtl = viscosity * coolant.AIR_HEAT_CAPACITY / conductivity
        reynolds = density * flow_each / area * diameter / viscosity
        nusselt = convection.laminar_developing_nusselt(
            convection.PLATES_NUSSELT, diameter / self.louvre_pitch * reynolds * prandtl
        )
        film = self.louvre_heat * nusselt * conductivity / diameter
        fins = 2 * gap * self.core_depth * self.core_length / (spacing + self.fin_thickness) * self.tubes
        walls = 2 * self.core_depth * self.core_length * self.tubes * spacing / (spacing + self.fin_thickness)
        efficiency = convection.fin_efficiency(film, gap / 2, self.fin_thickness, self._fin_conductivity)
        flow = flow_each * self.positions
        return AirSide(flow, density * flow * coolant.AIR_HEAT_CAPACITY, film * (walls + efficiency * fins))

    def liquid_conductance(self) -> Callable:
        """Return a function (flow, density, viscosity, cp, conductivity) -> film conductance [W/K]."""
        height, width, count = self._duct()
        diameter = 2 * height * width / (height + width)
        reynolds_factor = diameter / (height * width * count)
        fully_developed = convection.rectangle_nusselt(height / width)
        area = self.liquid_heat * self.liquid_area()
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

"""What any part takes from the pressure, in the one form the solver knows."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

#: Viscosity and density at which the loss points of a scaled part are taken: water at 20 degC (IAPWS).
REFERENCE_VISCOSITY, REFERENCE_DENSITY = 1.0016e-3, 998.2
#: Standard gravity. [m/s2]
GRAVITY = 9.80665
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


def measured_loss(linear: Any, quadratic: Any, scaled: bool) -> Loss:
    """Return dp = linear q + quadratic q² as a `Loss`; `scaled` carries it from water at 20 degC to any coolant."""
    if scaled:
        return Loss(linear / REFERENCE_VISCOSITY, quadratic / REFERENCE_DENSITY)
    return Loss(fixed_linear=linear, fixed_quadratic=quadratic)

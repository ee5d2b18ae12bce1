"""The made-up reference problem, stated with the package's own elements."""

from typing import Any

from loopmath import loop, parts, radiator
from loopmath.laws.coolant import coolant
from loopmath.loss import Loss
from loopmath.plan import Plan

COOLANTS = {"water": "water", "pg20": "propylene-glycol-20-mass"}


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
    core = radiator.MeasuredRadiator(
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

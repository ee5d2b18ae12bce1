"""
Closed loops solved by EPANET through wntr: hydraulics only, independent of every other solver here.

What EPANET does its own way, and what is done about it:

- Heads are metres of the fluid, so a pressure law of a block becomes a head-loss curve at one fixed density.
- A head-loss curve is straight between its points, so the curves here are dense.
- A pump curve of exactly three points that starts at zero flow becomes a power law through them, which is
  exact for a parabola. With any other number of points the pump curve is straight between points.
- Friction is 64/Re below Re 2000, Swamee-Jain above 4000 and a cubic between, never Colebrook.
- Gravity is 32.2 ft/s2 (9.81456 m/s2), so the velocity heads of tubes are 0.08 % low.
- A roughness of zero is refused, so a smooth tube gets 1e-9 m.
- A loop needs one fixed head, so a reservoir hangs on the pump inlet; the flow in its pipe must be zero.
- The default accuracy of 0.001 is too coarse for a comparison; 1e-8 is asked for.
- The solved flows come back as 32-bit numbers, good to about 1e-7.
- The input file keeps six decimals of a curve, so flows are written in L/min rather than m3/s.
"""

import warnings
from collections.abc import Sequence
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

import numpy as np
import wntr
from wntr.epanet.toolkit import ENepanet
from wntr.epanet.util import EN
from wntr.network.io import write_inpfile

from outside import reference_loop as reference

LITRES_PER_MINUTE = 6e4  # per m3/s
EPANET_VISCOSITY = 1.0219e-6  # m2/s, the kinematic viscosity EPANET calls 1.0
SMOOTH = 1e-9  # m, the smallest roughness used for a smooth tube
CURVE_POINTS = 1000


class Tube(NamedTuple):
    """A round tube with the sum of its minor-loss coefficients: m, m, none, m."""

    length: float
    bore: float
    minor_k: float = 0.0
    roughness: float = SMOOTH


class Block(NamedTuple):
    """A part with the pressure law dp = square Q^2 + linear Q, in Pa with Q in m3/s."""

    square: float
    linear: float


class Parallel(NamedTuple):
    """Branches between two ideal manifolds; each branch is a list of tubes and blocks in series."""

    branches: Sequence[Sequence[Tube | Block]]


def _empty_network(viscosity: float) -> wntr.network.WaterNetworkModel:
    network = wntr.network.WaterNetworkModel()
    options = network.options.hydraulic
    options.inpfile_units = "LPM"
    with warnings.catch_warnings():  # roughness is given in metres below, as this formula wants
        warnings.simplefilter("ignore", UserWarning)
        options.headloss = "D-W"
    options.viscosity = viscosity / EPANET_VISCOSITY
    options.accuracy = 1e-8
    options.trials = 500
    network.options.time.duration = 0
    return network


def _add_part(network, name: str, start: str, end: str, part: Tube | Block, density: float, highest: float) -> None:
    """Add one tube as a pipe, or one block as a general purpose valve with a dense head-loss curve."""
    if isinstance(part, Tube):
        network.add_pipe(
            name, start, end, length=part.length, diameter=part.bore, roughness=part.roughness, minor_loss=part.minor_k
        )
        return
    flows = np.linspace(0.0, highest, CURVE_POINTS)
    heads = (part.square * flows + part.linear) * flows / (density * reference.GRAVITY)
    network.add_curve(f"curve_{name}", "HEADLOSS", list(zip(flows.tolist(), heads.tolist(), strict=True)))
    network.add_valve(name, start, end, diameter=0.010, valve_type="GPV", initial_setting=f"curve_{name}")


def _add_branch(
    network, name: str, start: str, end: str, parts: Sequence[Tube | Block], density: float, highest: float
) -> str:
    """Add parts in series from start to end; return the name of the first link."""
    nodes = [start, *(f"{name}_{index}" for index in range(1, len(parts))), end]
    for node in nodes[1:-1]:
        network.add_junction(node)
    for index, part in enumerate(parts):
        _add_part(network, f"{name}_part{index}", nodes[index], nodes[index + 1], part, density, highest)
    return f"{name}_part0"


def build_loop(
    pump_points: Sequence[tuple[float, float]],
    stages: Sequence[Tube | Block | Parallel],
    density: float,
    viscosity: float,
    speed: float,
    head: float,
):
    """Return the network, and for each stage the names of the first link of every branch."""
    network = _empty_network(viscosity)
    highest = speed * max(flow for flow, _ in pump_points)
    for index in range(len(stages) + 1):
        network.add_junction(f"n{index}")
    network.add_reservoir("anchor", base_head=head)
    network.add_pipe("tie", "anchor", "n0", length=0.1, diameter=0.050, roughness=1.5e-6)
    network.add_curve("pump_curve", "HEAD", [tuple(point) for point in pump_points])
    network.add_pump("pump", "n0", "n1", "HEAD", "pump_curve", speed=speed)
    links = []
    for index, stage in enumerate(stages, start=1):
        end = f"n{index + 1}" if index < len(stages) else "n0"
        branches = stage.branches if isinstance(stage, Parallel) else [[stage]]
        links.append(
            [
                _add_branch(network, f"s{index}b{place}", f"n{index}", end, parts, density, highest)
                for place, parts in enumerate(branches)
            ]
        )
    return network, links


def epanet_flow(
    pump_points: Sequence[tuple[float, float]],
    stages: Sequence[Tube | Block | Parallel],
    density: float = 998.2,
    viscosity: float = EPANET_VISCOSITY,
    speed: float = 1.0,
    head: float = 0.5,
) -> dict:
    """
    Solve one closed loop: the pump, then the stages in order, back to the pump inlet.

    Parameters
    ----------
    pump_points : sequence of (flow, head)
        Pump curve at full speed, m3/s and m. Three points from zero flow make a power law through them.
    stages : sequence of Tube, Block or Parallel
        What the coolant passes after the pump, in order.
    density : float
        kg/m3, turns the pressure laws of blocks into heads; tubes alone do not need it.
    viscosity : float
        Kinematic viscosity, m2/s.
    speed : float
        Pump speed over full speed, by the affinity laws.
    head : float
        Fixed head at the pump inlet, m.

    Returns
    -------
    dict
        flow (m3/s); branch_flows, one list for each stage; heads (m) at the pump inlet, at the pump outlet
        and after each stage but the last; anchor_flow, which should be zero.
    """
    network, links = build_loop(pump_points, stages, density, viscosity, speed, head)
    with TemporaryDirectory() as folder:
        results = wntr.sim.EpanetSimulator(network).run_sim(file_prefix=str(Path(folder) / "loop"))
    flows = results.link["flowrate"].iloc[0]
    heads = results.node["head"].iloc[0]
    return {
        "flow": float(flows["pump"]),
        "branch_flows": [[float(flows[name]) for name in names] for names in links],
        "heads": [float(heads[f"n{index}"]) for index in range(len(stages) + 1)],
        "anchor_flow": float(flows["tie"]),
    }


def parabola_points(head: float, highest: float) -> list[tuple[float, float]]:
    """Return the three points from which EPANET recovers H = head (1 - (Q/highest)^2) exactly."""
    return [(0.0, head), (highest / 2.0, 0.75 * head), (highest, 0.0)]


def reference_pump() -> list[tuple[float, float]]:
    """Return the pump curve of the reference loop at full speed."""
    return parabola_points(reference.PUMP_HEAD, (reference.PUMP_HEAD / reference.PUMP_SQUARE) ** 0.5)


def reference_stages(design: dict, layout: str) -> list[Tube | Block | Parallel]:
    """Return the stages of the reference loop after its pump."""
    cpu, gpu = Block(*reference.CPU_BLOCK), Block(*reference.GPU_BLOCK)
    blocks = [cpu, gpu] if layout == "series" else [Parallel([[cpu], [gpu]])]
    minor_k = design["fittings"] * reference.FITTING_K + reference.RESERVOIR_K
    return [Block(*reference.RADIATOR), *blocks, Tube(design["length"], design["bore"], minor_k)]


def solve_epanet_reference(name: str) -> dict:
    """
    Solve the hydraulics of one published case with the coolant at its converged mean temperature.

    Parameters
    ----------
    name : str
        "A" to "E".

    Returns
    -------
    dict
        flow, flow_cpu, flow_gpu (m3/s) and anchor_flow.
    """
    case = reference.CASES[name]
    plain = reference.solve_plain(case["design"], case["coolant"], case["layout"])
    result = epanet_flow(
        reference_pump(),
        reference_stages(case["design"], case["layout"]),
        density=plain["density"],
        viscosity=plain["viscosity"] / plain["density"],
        speed=case["design"]["speed"],
    )
    blocks = [flow for stage in result["branch_flows"][1:-1] for flow in stage]
    # Stage order: radiator, blocks, tube. In series the blocks are two stages, in parallel one of two.
    return {"flow": result["flow"], "flow_cpu": blocks[0], "flow_gpu": blocks[1], "anchor_flow": result["anchor_flow"]}


#: Answers of the closed loop below, by EPANET 2.2 through wntr 1.5.0 and by an own Colebrook solver.
#: Flows in L/min, heads in m at the pump inlet, the pump outlet, before and after the parallel tubes.
CLOSED_LOOP_ANSWERS = {"flow": 6.8775, "branch_flows": (4.1482, 2.7293), "heads": (0.500, 3.7609, 2.8011, 1.4598)}


def solve_epanet_closed_loop() -> dict:
    """
    Solve the pumped closed loop with two tubes in parallel, after the method of EPANET 2.2 (Rossman 2020).

    Pump 4 m at no flow to 16 L/min at no head; tube, two tubes in parallel, tube; relative viscosity 1.0.

    Returns
    -------
    dict
        flow and branch_flows in L/min, heads in m, anchor_flow in L/min.
    """
    rough = 1.5e-6
    line = Tube(1.0, 0.010, 6.0, rough)
    pair = Parallel([[Tube(0.5, 0.008, 12.0, rough)], [Tube(0.5, 0.008, 30.0, rough)]])
    result = epanet_flow(parabola_points(4.0, 16.0 / LITRES_PER_MINUTE), [line, pair, line])
    return {
        "flow": result["flow"] * LITRES_PER_MINUTE,
        "branch_flows": tuple(flow * LITRES_PER_MINUTE for flow in result["branch_flows"][1]),
        "heads": tuple(result["heads"]),
        "anchor_flow": result["anchor_flow"] * LITRES_PER_MINUTE,
    }


@contextmanager
def open_reference(density: float, viscosity: float, layout: str = "series"):
    """
    Open the reference loop in the EPANET toolkit; yield a function from a design to its flow in m3/s.

    Only speed, bore, length and fittings of a design matter, as the properties stay fixed.

    Parameters
    ----------
    density : float
        kg/m3, for all designs.
    viscosity : float
        Dynamic viscosity, Pa s, for all designs.
    layout : str
        "series" or "parallel".
    """
    network, links = build_loop(
        reference_pump(), reference_stages(reference.DESIGN, layout), density, viscosity / density, 1.0, 0.5
    )
    with TemporaryDirectory() as folder:
        file = str(Path(folder) / "loop.inp")
        write_inpfile(network, file, units="LPM", version=2.2)
        toolkit = ENepanet(version=2.2)
        toolkit.ENopen(file, str(Path(folder) / "loop.rpt"), str(Path(folder) / "loop.bin"))
        toolkit.ENopenH()
        pump, tube = toolkit.ENgetlinkindex("pump"), toolkit.ENgetlinkindex(links[-1][0])

        def flow(design: dict) -> float:
            minor_k = design["fittings"] * reference.FITTING_K + reference.RESERVOIR_K
            toolkit.ENsetlinkvalue(pump, EN.INITSETTING, design["speed"])
            toolkit.ENsetlinkvalue(tube, EN.DIAMETER, design["bore"] * 1000.0)
            toolkit.ENsetlinkvalue(tube, EN.LENGTH, design["length"])
            toolkit.ENsetlinkvalue(tube, EN.MINORLOSS, minor_k)
            toolkit.ENinitH(10)  # 10: forget the flows of the design before
            toolkit.ENrunH()
            return toolkit.ENgetlinkvalue(pump, EN.FLOW) / LITRES_PER_MINUTE

        try:
            yield flow
        finally:
            toolkit.ENcloseH()
            toolkit.ENclose()

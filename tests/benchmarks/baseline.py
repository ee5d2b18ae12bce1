"""Time the plain loop and EPANET on the sweep of the reference loop, for the ratios of the benchmark."""

import sys
from collections.abc import Callable
from pathlib import Path
from statistics import median
from time import perf_counter

TESTS = str(Path(__file__).resolve().parent.parent)
if TESTS not in sys.path:
    sys.path.insert(0, TESTS)

from outside import coupled_loop, epanet_loop, reference_loop  # noqa: E402


def seconds_per_design(solve: Callable[[dict], object], designs: list[dict], repeats: int) -> float:
    """Return the median over the repeats of the time for all designs, divided by their number."""
    solve(designs[0])  # the first call also loads tables
    times = []
    for _ in range(repeats):
        start = perf_counter()
        for design in designs:
            solve(design)
        times.append(perf_counter() - start)
    return median(times) / len(designs)


def time_plain(count: int = 200, repeats: int = 3, low_level: bool = False) -> float:
    """
    Time the plain loop of scipy, fluids, ht and CoolProp, water in series, flow and temperatures.

    Parameters
    ----------
    count : int
        Number of designs of the sweep.
    repeats : int
        Times the whole sweep is run; the median counts.
    low_level : bool
        False for the general property call, the usual one; True for the faster low-level property object.

    Returns
    -------
    float
        Seconds per design.
    """
    designs = reference_loop.design_rows(reference_loop.sweep_designs(count))
    return seconds_per_design(lambda design: reference_loop.solve_plain(design, low_level=low_level), designs, repeats)


def time_coupled(count: int = 200, repeats: int = 3, low_level: bool = False) -> float:
    """
    Time the plain loop of the coupled problem: coolant, air and flow, crossed radiators, water.

    Parameters
    ----------
    count, repeats, low_level
        As in `time_plain`.

    Returns
    -------
    float
        Seconds per design.
    """
    designs = reference_loop.design_rows(coupled_loop.sweep_designs(count))
    laws = {}
    if low_level:
        laws = {"water": reference_loop.state_properties("water"), "air": coupled_loop.low_level_air}
    return seconds_per_design(lambda design: coupled_loop.solve(design, **laws), designs, repeats)


def time_epanet(count: int = 200, repeats: int = 3) -> float:
    """
    Time EPANET on the same designs: hydraulics only, properties of water fixed at 35 degC.

    The network is opened once, outside the timing; each design is then set and solved from a fresh start.

    Parameters
    ----------
    count, repeats
        As in `time_plain`.

    Returns
    -------
    float
        Seconds per design.
    """
    designs = reference_loop.design_rows(reference_loop.sweep_designs(count))
    density, viscosity, _ = reference_loop.coolant_properties("water")(35.0)
    with epanet_loop.open_reference(density, viscosity) as flow:
        return seconds_per_design(flow, designs, repeats)

"""
Print how fast the solver is, as ratios measured in one run on one core.

    python tests/benchmarks/speed.py [--designs 100000] [--million]

The reference problem is the loop of tests/outside/reference_loop.py, solved there one design at a time by
fluids, ht, CoolProp and brentq, and here with the package's own elements; EPANET does its hydraulics only.
The coupled problem is that of tests/outside/coupled_loop.py: two radiators, their fans on their curves, and a case
whose air, pressure and openings are balanced with them.
"""

import argparse
import os
import resource
import sys
from collections.abc import Callable
from pathlib import Path
from statistics import median
from time import perf_counter

for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[variable] = "1"  # one core, before NumPy is loaded

sys.path[:0] = [str(Path(__file__).resolve().parents[1]), str(Path(__file__).resolve().parent)]

import numpy as np  # noqa: E402
from baseline import time_coupled, time_epanet, time_plain  # noqa: E402
from outside import coupled_loop  # noqa: E402
from outside.reference_loop import DESIGN, design_rows, solve_tight, sweep_designs  # noqa: E402
from reference_case import coupled_plan, reference_plan  # noqa: E402

import loopmath  # noqa: E402
from loopmath.laws import coolant as coolants  # noqa: E402
from loopmath.laws.coolant import coolant  # noqa: E402

#: What the plain loop answers for each design; the package is timed until it has the same.
ANSWERS = ("flow", "coolant_return", "coolant_supply", "cpu", "gpu")


def seconds(work: Callable[[], object], repeats: int) -> float:
    """Return the median time of a piece of work after one warm-up."""
    work()
    times = []
    for _ in range(repeats):
        start = perf_counter()
        work()
        times.append(perf_counter() - start)
    return median(times)


def answers(plan: loopmath.Plan) -> list:
    """Solve a plan and return what the plain loop returns."""
    state = loopmath.solve(plan).state
    return [state[key] for key in ANSWERS]


def agreement(count: int) -> tuple[float, float]:
    """Return the largest differences from a tight scalar solve of the same model: of flow, and in K."""
    designs = sweep_designs(count)
    state, liquid = loopmath.solve(reference_plan(designs)).state, coolant("water")
    flow, warm = 0.0, 0.0
    for place, row in enumerate(design_rows(designs)):
        tight = solve_tight(row, lambda t: tuple(map(float, liquid.properties(t)[:3])))
        flow = max(flow, abs(state["flow"][place] / tight["flow"] - 1))
        pairs = (("coolant_return", "t_hot"), ("coolant_supply", "t_cold"), ("cpu", "t_cpu"), ("gpu", "t_gpu"))
        warm = max(warm, *(abs(state[ours][place] - tight[theirs]) for ours, theirs in pairs))
    return flow, warm


def coupled_agreement(count: int) -> tuple[float, float, float, float]:
    """
    Return the largest differences of the coupled answer from scalar solves: of flow and in K.

    First from a tight solve of the same laws, then from one with CoolProp's properties and none of our simplifications.
    """
    designs, liquid = coupled_loop.sweep_designs(count), coolant("water")
    state = loopmath.solution.solved(coupled_plan(designs)).state

    def air(temperature: float, height: float) -> tuple[float, float, float]:
        density = coolants.air_density(temperature, coolants.pressure_at_height(height))
        return float(density), float(coolants.air_viscosity(temperature)), coolants.AIR_HEAT_CAPACITY

    same = {"water": lambda t: tuple(map(float, liquid.properties(t)[:3])), "air": air, "simple": True}
    same |= {"tolerance": 1e-14, "temperature_tolerance": 1e-10}
    found = [0.0] * 4
    for place, row in enumerate(design_rows(designs)):
        for first, laws in ((0, same), (2, {})):
            theirs = coupled_loop.solve(row, friction="churchill", **laws)
            found[first] = max(found[first], abs(state["flow"][place] / theirs["flow"] - 1))
            warm = (abs(state[key][place] - theirs[key]) for key in (*ANSWERS[1:], "case_air", "part"))
            found[first + 1] = max(found[first + 1], *warm)
    return tuple(found)


def coupled(designs: int) -> None:
    """Measure and print the coupled problem."""
    plain, low = time_coupled(), time_coupled(low_level=True)
    print(f"\n{'coupled air, coolant and flow':58} {'us/design':>10} {'x plain':>9} {'x low-level':>12}")

    def row(name: str, each: float) -> None:
        print(f"{name:58} {1e6 * each:10.3f} {plain / each:9.1f} {low / each:12.1f}")

    row("plain loop: brentq + fluids + ht + CoolProp", plain)
    row("the same with CoolProp's low-level object", low)
    for many, repeats in ((None, 100), (1000, 15), (designs, 9)):
        plan = coupled_plan(coupled_loop.DESIGN if many is None else coupled_loop.sweep_designs(many))
        name = f"this package, {'one design' if many is None else f'{many} designs'}"
        row(name, seconds(lambda plan=plan: loopmath.solution.solved(plan), repeats) / (many or 1))
    headline = seconds(lambda: loopmath.solution.solved(plan).state, 5)
    print(f"{designs} designs with every headline figure: {headline:.2f} s")
    flow, warm, library_flow, library_warm = coupled_agreement(300)
    print(
        f"agreement with a tight solve of the same laws, 300 designs: flow {flow:.1e}, temperature {warm:.1e} K; "
        f"with CoolProp's properties and no simplification: flow {library_flow:.1e}, temperature {library_warm:.1e} K"
    )


def memory() -> float:
    """Return the peak memory of the process so far. [MB]"""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--designs", type=int, default=100_000)
    parser.add_argument("--million", action="store_true", help="also the full demo at a million designs")
    arguments = parser.parse_args()
    plain, low, epanet = time_plain(), time_plain(low_level=True), time_epanet()
    print(f"{'solver':58} {'us/design':>10} {'x plain':>9} {'x low-level':>12} {'x EPANET':>9}")

    def row(name: str, each: float) -> None:
        print(f"{name:58} {1e6 * each:10.3f} {plain / each:9.1f} {low / each:12.1f} {epanet / each:9.1f}")

    row("plain loop: brentq + fluids + ht + CoolProp", plain)
    row("the same with CoolProp's low-level object", low)
    row("EPANET through wntr, hydraulics only", epanet)
    row("this package, reference problem, one design", seconds(lambda: answers(reference_plan(DESIGN)), 200))
    for designs in (1000, arguments.designs):
        sample = sweep_designs(designs)
        row(
            f"this package, reference problem, {designs} designs",
            seconds(lambda sample=sample: answers(reference_plan(sample)), 15) / designs,
        )
    flow, warm = agreement(300)
    print(f"agreement with a tight scalar solve, 300 designs: flow {flow:.1e}, temperature {warm:.1e} K")
    coupled(arguments.designs)
    demo = loopmath.demo_plan()
    print(
        f"demo, full model, one solve: {1e3 * seconds(lambda: loopmath.solve(demo), 200):.2f} ms; "
        f"with every headline figure {1e3 * seconds(lambda: loopmath.solve(demo).state, 200):.2f} ms"
    )
    if arguments.million:
        before, axis = memory(), np.linspace(0.3, 1.0, 100)
        start = perf_counter()
        table = loopmath.sweep(demo, pump_speed=axis, fan_speed=axis, room_air=np.linspace(16.0, 32.0, 100))
        held = table.memory_usage().sum() / 2**20
        print(
            f"demo, full model with warnings, {len(table)} designs: {perf_counter() - start:.2f} s; "
            f"peak memory rose {memory() - before:.0f} MB, the table itself is {held:.0f} MB (twice while joined)"
        )


if __name__ == "__main__":
    main()

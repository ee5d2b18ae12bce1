"""
Plan a hand-built liquid-cooling loop before a part is ordered.

Inside the package every number is SI (temperatures degC, shares 0 to 1) and may be an array of N designs.
The face below is kept stable::

    plan = loopmath.demo_plan()                    # or loopmath.load_plan("my_loop.toml")
    answer = loopmath.solve(plan.set(pump_speed="60 %"))
    answer.flow.to("L/min"), answer.components, answer.warnings
    loopmath.sweep(plan, pump_speed=[0.5, 0.75, 1.0], fittings=[0, 6, 12])
    loopmath.save_plan(plan, "my_loop.toml")
"""

from loopmath.checks import InputError, OutOfRange
from loopmath.plan import Plan
from loopmath.planfile import demo_plan, load_plan
from loopmath.plansave import save_plan
from loopmath.solution import Solution, solve
from loopmath.sweep import sweep

__all__ = ["InputError", "OutOfRange", "Plan", "Solution", "demo_plan", "load_plan", "save_plan", "solve", "sweep"]

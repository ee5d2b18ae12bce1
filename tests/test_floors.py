"""The package as a house: a module imports only from floors below its own, and the table below is the house."""

import ast
import re
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parent.parent / "loopmath"

#: Module -> floor. A new module must be given its floor here; neighbours on a floor do not import each other.
FLOORS = {
    "checks": 0,
    "units": 1,
    "tables": 1,
    "files": 1.5,
    "toml_text": 2,
    "reader": 2.5,
    "readings": 2,
    "fit": 2,
    # The laws stand side by side: today none of them imports another.
    "laws": 2,
    "laws.bending": 2,
    "laws.distance": 2,
    "laws.convection": 2,
    "laws.coolant": 2,
    "laws.materials": 2,
    "laws.seals": 2,
    "laws.pipeflow": 2,
    "laws.sound": 2,
    "laws.turbomachine": 2,
    "laws.flooding": 2,
    "laws.leak": 2,
    "laws.bubbles": 2,
    "pour": 7.6,
    "filling": 9.2,
    "filling_words": 9.7,
    "filling_figures": 10.8,
    "panels.fill": 11.5,
    "passages": 7.2,
    "ways_out": 7.62,
    "build_order": 7.65,
    "height_words": 9.5,
    "height_figures": 10.7,
    "panels.heights": 11.5,
    "access": 7.7,
    "service_words": 9.75,
    "order_figures": 10.7,
    "panels.upkeep": 11.5,
    "pockets": 7.55,
    "tipping": 7.6,
    "leak_test": 9.25,
    "leak_verdict": 9.3,
    "leak_figures": 10.7,
    "panels.leak": 11.5,
    "service_log": 9.2,
    "upkeep": 9.4,
    "due_dates": 9.5,
    "drift": 9.6,
    "upkeep_words": 9.7,
    "upkeep_figures": 10.7,
    "routes": 5.5,
    "clear_space": 7.6,
    "router": 7.7,
    "cut_plan": 9.2,
    "run_words": 9.5,
    "template": 10.8,
    "panels.runs": 11.5,
    "cutting": 3,
    "bench_work": 7.6,
    "loss": 3,
    "rules": 3,
    "parts": 4,
    "radiator": 4,
    "catalogue": 5,
    "case": 5,
    "air": 7.2,
    "roots": 2,
    "limits": 8.5,
    "settle": 7.5,
    "electrical": 7.5,
    "wetted": 7.5,
    "run_gaps": 7.55,
    "run_checks": 7.6,
    "facts": 7.8,
    "ledger": 8.5,
    "regime": 8.5,
    "assembly": 8.8,
    "transient": 9,
    "course": 9.05,
    "scenarios": 9.1,
    "quiet": 9,
    "speed_curves": 9.1,
    "choices": 9.1,
    "lessons": 9.2,
    "tube_ends": 9.2,
    "tools": 9.2,
    "choice_words": 9.3,
    "coolant_choice": 9.3,
    "exercise": 9.4,
    "material_words": 9.4,
    "tube_choice": 9.3,
    "slips": 4,
    "measured.curves": 6,
    "measured.machines": 6.5,
    "measured.block": 6.5,
    "measured.radiator": 7.5,
    "measured": 7.8,
    "loop": 6,
    "designs": 6,
    "thermal": 6.5,
    "network": 7,
    "plan": 7,
    "parts_list": 7.5,
    "named": 7.5,
    "planfile": 8,
    "plansave": 8.5,
    "solution": 8,
    "sweep": 9,
    "compare": 9,
    "mine": 9,
    "draft": 9.2,
    # The face of the package: below the pictures, so that `import loopmath` needs no drawing library.
    "": 9.5,
    "style": 10,
    "layout": 10.2,
    "figures": 10.5,
    "fit_figures": 10.5,
    "schematic": 10.5,
    "sight": 10.2,
    "bench_figures": 10.65,
    "run_figures": 10.7,
    "air_figures": 10.7,
    "quiet_figures": 10.7,
    "sheet": 10.6,
    "choice_figures": 10.7,
    "material_figures": 10.7,
    "panels.quiet": 11.5,
    "panels.choice": 11.5,
    "panels.exercise": 11.5,
    "panels.materials": 11.5,
    "time_figures": 10.7,
    "panels.clock": 11.5,
    "panels.heat": 11.5,
    "panels": 11,
    "panels.canvas": 11,
    "panels.page": 11,
    "panels.live": 11.2,
    "panels.glance": 11.5,
    "panels.planner": 11.5,
    "panels.bench": 11.5,
}
PICTURES, PANELS = 10, 11
#: Library -> the modules or floors that may import it.
KEPT_TO = {
    "matplotlib": lambda module: FLOORS[module] >= PICTURES,
    "ipywidgets": lambda module: FLOORS[module] >= PANELS,
    "IPython": lambda module: FLOORS[module] >= PANELS,
    "pint": lambda module: module == "units",
    "icalendar": lambda module: module == "due_dates",
}


def name_of(path: Path) -> str:
    """Return a file as a dotted module of the package, "" for the package itself."""
    inside = path.relative_to(PACKAGE).with_suffix("").parts
    return ".".join(inside[:-1] if inside[-1] == "__init__" else inside)


MODULES = {name_of(path): path for path in sorted(PACKAGE.rglob("*.py"))}


def imports(source: str) -> tuple[set[str], set[str]]:
    """Return the modules of the package a source imports, anywhere in it, and the libraries."""
    own, libraries = set(), set()

    def note(dotted: str) -> None:
        first, _, rest = dotted.partition(".")
        own.add(rest) if first == "loopmath" else libraries.add(first)

    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            for alias in node.names:
                note(alias.name)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports name the package in full, so that this table can read them"
            for alias in node.names:
                whole = f"{node.module}.{alias.name}"
                note(whole if whole.removeprefix("loopmath.") in FLOORS else node.module)
    return own, libraries


READ = {module: imports(path.read_text(encoding="utf-8")) for module, path in MODULES.items()}


def test_every_module_has_its_floor_and_every_floor_its_module():
    assert set(FLOORS) == set(MODULES)


@pytest.mark.parametrize("module", FLOORS)
def test_a_module_imports_only_from_floors_below(module):
    assert {other for other in READ[module][0] if FLOORS[other] >= FLOORS[module]} == set()


@pytest.mark.parametrize("library", KEPT_TO)
def test_a_library_stays_where_it_belongs(library):
    users = {module for module, (_, libraries) in READ.items() if library in libraries}
    assert {module for module in users if not KEPT_TO[library](module)} == set()


@pytest.mark.parametrize("library", ["matplotlib", "ipywidgets", "pint"])
def test_a_library_that_is_kept_apart_is_used_at_all(library):
    assert any(library in libraries for _, libraries in READ.values())


def test_pyplot_and_its_hidden_state_are_used_nowhere():
    pyplot = re.compile(r"^\s*(import matplotlib\.pyplot|from matplotlib(\.pyplot| import .*\bpyplot))", re.MULTILINE)
    assert pyplot.search("x = 1\n    from matplotlib import cm, pyplot as plt")
    assert [module for module, path in MODULES.items() if pyplot.search(path.read_text(encoding="utf-8"))] == []


def test_the_reader_of_imports_sees_every_way_of_writing_one():
    source = """
import loopmath.units, numpy.linalg as la
from loopmath import tables, InputError
from loopmath.laws import coolant as c
from loopmath.plan import Plan
def late():
    import IPython.display
"""
    assert imports(source) == ({"units", "tables", "", "laws.coolant", "plan"}, {"numpy", "IPython"})

"""The notebooks: stored clean, short cells, no logic of their own, and readable where no kernel runs."""

import ast
import html
import json
import re
from pathlib import Path

import nbformat
import pytest
from examples import CUBE, EXAMPLES, SUITE
from nbconvert.exporters import HTMLExporter
from nbconvert.preprocessors import ExecutePreprocessor

from loopmath import demo_plan, load_plan, mine, schematic, solve
from loopmath import loop as tree
from loopmath.panels import page

WORKBOOK = Path(__file__).resolve().parent.parent / "workbook"
NOTEBOOKS = sorted(WORKBOOK.glob("*.ipynb"))
LONGEST = 15
#: A name that may be given a second time within one cell: a table that is reshaped before it is shown.
RESHAPED = {"table"}


def read(path: Path) -> dict:
    return json.loads(path.read_text(encoding="utf-8"))


def code_cells(notebook: dict) -> list[dict]:
    return [cell for cell in notebook["cells"] if cell["cell_type"] == "code"]


def source(cell: dict) -> str:
    return "".join(cell["source"])


# ----------------------------------------------------------------------- the checks, as functions of a notebook


def not_clean(notebook: dict) -> list[str]:
    """Return what a run or another machine left behind."""
    out = []
    for number, cell in enumerate(notebook["cells"]):
        if cell.get("outputs"):
            out.append(f"cell {number}: outputs")
        if cell.get("execution_count") is not None:
            out.append(f"cell {number}: execution count")
        if set(cell["metadata"]) - {"jupyter", "tags"}:
            out.append(f"cell {number}: metadata {sorted(cell['metadata'])}")
        if cell.get("attachments"):
            out.append(f"cell {number}: attachments")
    if set(notebook["metadata"]) - {"kernelspec", "language_info"}:
        out.append(f"metadata {sorted(notebook['metadata'])}")
    if notebook["metadata"]["kernelspec"]["name"] != "python3":
        out.append("kernel name")
    if set(notebook["metadata"]["language_info"]) != {"name"}:
        out.append("version of one machine's Python")
    return out


def assigned(tree: ast.AST) -> list[str]:
    """Return every name a cell gives, imports included, in order."""
    out = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            out.append(node.id)
        elif isinstance(node, (ast.Import, ast.ImportFrom)):
            out += [alias.asname or alias.name for alias in node.names]
    return out


def badly_written(notebook: dict) -> list[str]:
    """Return what makes a notebook hard to read or to run again."""
    out, given = [], set()
    for number, cell in enumerate(code_cells(notebook)):
        text, place = source(cell), f"code cell {number}"
        if len(text.splitlines()) > LONGEST:
            out.append(f"{place}: {len(text.splitlines())} lines")
        if not text.startswith("# "):
            out.append(f"{place}: begins without a comment")
        if re.search(r"^\s*[%!]", text, re.MULTILINE):
            out.append(f"{place}: a magic or a shell command")
            continue
        if cell["metadata"].get("jupyter", {}).get("source_hidden") is not True:
            out.append(f"{place}: code not folded away")
        tree = ast.parse(text)
        for node in ast.walk(tree):
            if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)):
                out.append(f"{place}: defines {node.name}")
            if isinstance(node, ast.Assign) and isinstance(node.value, ast.Lambda):
                out.append(f"{place}: names a lambda")
            if isinstance(node, ast.ImportFrom) and node.names[0].name == "*":
                out.append(f"{place}: star import")
            if isinstance(node, ast.Attribute) and ast.unparse(node) == "sys.path":
                out.append(f"{place}: sys.path")
        names = assigned(tree)
        twice = {name for name in names if names.count(name) > 1} - RESHAPED | set(names) & given
        if twice:
            out.append(f"{place}: gives again {sorted(twice)}")
        given |= set(names)
    return out


def test_there_is_a_notebook_and_their_numbers_follow_on():
    assert [path.name[:3] for path in NOTEBOOKS] == [f"{n:02d}_" for n in range(1, len(NOTEBOOKS) + 1)]
    assert NOTEBOOKS


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.name)
def test_a_notebook_is_stored_clean(path):
    assert not_clean(read(path)) == []


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.name)
def test_a_notebook_tells_the_story_and_leaves_the_logic_to_the_package(path):
    assert badly_written(read(path)) == []


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.name)
def test_the_first_cell_has_a_title_and_says_how_to_start(path):
    first = read(path)["cells"][0]
    assert first["cell_type"] == "markdown"
    assert source(first).startswith("# ")
    assert re.search(r"\*Run\*.*\*Run All Cells\*", source(first))


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.name)
def test_a_notebook_is_valid_and_its_cells_have_ids_of_their_own(path):
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    ids = [cell["id"] for cell in notebook.cells]
    assert len(set(ids)) == len(ids)


def good() -> dict:
    cell = {"cell_type": "code", "execution_count": None, "id": "a", "outputs": [], "source": "# Say\nplan = 1"}
    cell["metadata"] = {"jupyter": {"source_hidden": True}}
    return {"cells": [cell], "metadata": {"kernelspec": {"name": "python3"}, "language_info": {"name": "python"}}}


def test_a_clean_notebook_passes_the_checks():
    assert not_clean(good()) == badly_written(good()) == []


@pytest.mark.parametrize(
    ("where", "value"),
    [
        (("cells", 0, "outputs"), [{"output_type": "stream"}]),
        (("cells", 0, "execution_count"), 3),
        (("cells", 0, "metadata", "execution"), {"iopub.status.busy": "now"}),
        (("metadata", "widgets"), {}),
        (("metadata", "kernelspec", "name"), "my-kernel"),
        (("metadata", "language_info", "version"), "3.11.2"),
    ],
)
def test_what_a_run_leaves_behind_is_seen(where, value):
    notebook = good()
    *path, last = where
    inner = notebook
    for step in path:
        inner = inner[step]
    inner[last] = value
    assert len(not_clean(notebook)) == 1


@pytest.mark.parametrize(
    ("text", "seen"),
    [
        ("# Say\n" + "1\n" * 15, "16 lines"),
        ("plan = 1", "without a comment"),
        ("# Say\n%pip install x", "magic"),
        ("# Say\n!ls", "shell"),
        ("# Say\ndef f():\n    pass", "defines f"),
        ("# Say\nclass C:\n    pass", "defines C"),
        ("# Say\nf = lambda x: x", "lambda"),
        ("# Say\nfrom numpy import *", "star import"),
        ("# Say\nimport sys\nsys.path.append('..')", "sys.path"),
        ("# Say\nplan = 1\nplan = 2", "gives again ['plan']"),
    ],
)
def test_what_is_badly_written_is_seen(text, seen):
    notebook = good()
    notebook["cells"][0]["source"] = text
    assert seen in "; ".join(badly_written(notebook))


def test_a_name_given_in_two_cells_is_seen_even_if_it_may_be_reshaped_in_one():
    notebook = good()
    notebook["cells"][0]["source"] = "# Say\ntable = 1\ntable = 2"
    assert badly_written(notebook) == []
    notebook["cells"].append(notebook["cells"][0])
    assert badly_written(notebook) == ["code cell 1: gives again ['table']"]


def test_code_that_is_not_folded_away_is_seen():
    notebook = good()
    notebook["cells"][0]["metadata"] = {}
    assert badly_written(notebook) == ["code cell 0: code not folded away"]


# ------------------------------------------------------------------------------------- read without a kernel


@pytest.fixture(scope="module")
def printed(tmp_path_factory) -> str:
    """The first notebook as the HTML page a reader without Jupyter gets: run once, widgets not stored."""
    notebook = nbformat.read(WORKBOOK / "01_at_a_glance.ipynb", as_version=4)
    run = ExecutePreprocessor(timeout=120, kernel_name="python3", store_widget_state=False)
    run.preprocess(notebook, {"metadata": {"path": str(tmp_path_factory.mktemp("run"))}})
    assert "widgets" not in notebook.metadata
    return HTMLExporter().from_notebook_node(notebook)[0]


def test_the_page_without_a_kernel_shows_the_picture_with_its_words(printed):
    images = re.findall(r"<img\b[^>]*>", printed)
    alts = [html.unescape(re.search(r'alt="([^"]*)"', image)[1]) for image in images if "data:image/png" in image]
    assert alts == [page.alt_text(solve(demo_plan()))]


def test_the_page_without_a_kernel_states_the_answer(printed):
    words = html.unescape(re.sub(r"<[^>]+>", "", printed)).replace("\xa0", " ")
    assert page.headline(solve(demo_plan())) in words


def test_the_page_without_a_kernel_lists_every_warning_with_what_to_do(printed):
    (table,) = re.findall(r'aria-label="Warnings"[^>]*><table>(.*?)</table>', printed, re.DOTALL)
    warnings = solve(demo_plan()).warnings
    assert len(warnings) >= 1
    assert table.count("<tr>") == len(warnings)
    for row in warnings.itertuples():
        assert html.escape(row.action) in table
        assert row.signal in table


# ------------------------------------------------------------------------------------- the plan that was chosen


def run_page(name: str, folder: Path) -> nbformat.NotebookNode:
    """Run a page in a kernel of its own; what it opens stands in LOOPMATH_MINE."""
    notebook = nbformat.read(next(WORKBOOK.glob(f"{name}_*.ipynb")), as_version=4)
    run = ExecutePreprocessor(timeout=180, kernel_name="python3", store_widget_state=False)
    run.preprocess(notebook, {"metadata": {"path": str(folder)}})
    return notebook


def said_by(notebook: nbformat.NotebookNode) -> str:
    """Return every output of a page as HTML where it has any, else as text."""
    data = [o["data"] for c in notebook.cells for o in c.get("outputs", ()) if "data" in o]
    return "\n".join(d.get("text/html", d.get("text/plain", "")) for d in data)


@pytest.mark.parametrize(("number", "path"), [("01", SUITE), ("02", CUBE)], ids=["01", "02"])
def test_a_page_runs_with_the_plan_that_was_chosen_and_says_which_that_is(number, path, own, tmp_path):
    mine.choose(path)
    said = said_by(run_page(number, tmp_path))
    plan = load_plan(path)
    assert html.escape(mine.chosen().words) in said
    assert plan.title in said
    assert "this is the demo" not in said
    flow = f"{60e3 * float(solve(plan).state['flow']):.2f}"
    assert flow in said  # the answer is that plan's
    for block in plan.units(tree.Source):
        assert block.name in said


def test_a_page_with_a_broken_chosen_plan_shows_the_demo_and_says_so(own, tmp_path):
    broken = own / "plans" / "broken.toml"
    broken.parent.mkdir(parents=True)
    broken.write_text(EXAMPLES[0].read_text(encoding="utf-8").replace('"23 degC"', '"23 mm"'), encoding="utf-8")
    mine.choose(broken)
    said = said_by(run_page("02", tmp_path))
    assert "cannot be opened, so this is the demo" in said
    assert "room.air" in said
    assert f"{60e3 * float(solve(demo_plan()).state['flow']):.2f}" in said


def test_the_plan_page_without_a_kernel_shows_the_drawing_with_its_words(own, tmp_path):
    mine.choose(EXAMPLES[0])
    notebook = run_page("03", tmp_path)
    assert "widgets" not in notebook.metadata
    page_html = HTMLExporter().from_notebook_node(notebook)[0]
    images = re.findall(r"<img\b[^>]*>", page_html)
    alts = [html.unescape(re.search(r'alt="([^"]*)"', image)[1]) for image in images if "data:image/png" in image]
    plan = load_plan(EXAMPLES[0])
    assert alts == [schematic.words(plan, solve(plan), "metric")]
    words = html.unescape(re.sub(r"<[^>]+>", "", page_html)).replace("\xa0", " ")
    assert page.headline(solve(plan)) in words
    assert "At peak heat: " in words

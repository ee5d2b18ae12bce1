"""The checkout: what lies at its top, what it needs to run, and that it works wherever it is put."""

import re
import subprocess
import tomllib
from pathlib import Path

import pytest

import loopmath

ROOT = Path(__file__).resolve().parent.parent
TOP = {"README.md", "DEVELOPERS.md", "requirements.txt", "workbook", "loopmath", "tests", "data"}
ALLOWED = {
    "jupyterlab",
    "icalendar", "ipywidgets",
    "matplotlib",
    "numpy",
    "pandas",
    "pillow",
    "pint",
    "scipy",
    "tomlkit",
    "nbval",
    "pytest",
}  # fmt: skip


def tracked() -> list[str]:
    if not (ROOT / ".git").exists():
        pytest.skip("not a git checkout")
    listed = subprocess.run(["git", "-c", "core.quotepath=off", "ls-files", "-z"], cwd=ROOT, capture_output=True)
    assert listed.returncode == 0, listed.stderr
    return listed.stdout.decode("utf-8").split("\0")[:-1]


def requirements() -> list[str]:
    return (ROOT / "requirements.txt").read_text(encoding="utf-8").split("\n")


def library(line: str) -> str:
    return re.split(r"[<>=!~;\[ ]", line)[0].lower()


def test_the_package_imported_is_the_one_beside_the_tests():
    assert Path(loopmath.__file__).resolve() == ROOT / "loopmath" / "__init__.py"


def test_the_top_of_the_checkout_is_the_agreed_list():
    top = {path.split("/")[0] for path in tracked()}
    assert {name for name in top if not name.startswith(".")} == TOP


def test_the_last_requirement_is_the_package_itself():
    *libraries, own, end = requirements()
    assert (own, end) == ("-e ./loopmath", "")
    assert {library(line) for line in libraries} <= ALLOWED
    assert all(re.fullmatch(r"[a-z0-9-]+>=\d+(\.\d+)*", line) for line in libraries)


def test_what_the_package_declares_is_what_is_installed_with_it():
    with (ROOT / "loopmath" / "pyproject.toml").open("rb") as file:
        project = tomllib.load(file)
    declared = project["project"]["dependencies"]
    assert {library(line) for line in declared} <= ALLOWED
    assert set(declared) <= set(requirements())
    # Every folder with modules is listed, or a plain install would leave it behind.
    folders = {path.parent for path in (ROOT / "loopmath").rglob("__init__.py")}
    names = {".".join(folder.relative_to(ROOT).parts) for folder in folders}
    assert set(project["tool"]["setuptools"]["packages"]) == names


#: Places on one person's machine. Written so that this file does not hold one itself.
MACHINE = re.compile(rb"(?<![\w./:-])(?:/(?:work|root|home|Users|mnt|tmp)" + rb"/\w|[A-Z]:\\\\?Users)")


def test_the_search_for_machine_paths_finds_them():
    for folder in ("work", "root", "home", "Users", "tmp"):
        assert MACHINE.search(f'path = "/{folder}/somebody/x.csv"'.encode())
    assert MACHINE.search(rb"C:" + rb"\Users\me")
    assert not MACHINE.search(b"https://example.org/work/page and workbook/kept/")


def test_no_tracked_text_file_holds_a_path_of_one_machine():
    found = {}
    for path in tracked():
        raw = (ROOT / path).read_bytes() if (ROOT / path).exists() else b""
        if b"\0" not in raw and (hit := MACHINE.search(raw)):
            found[path] = hit[0]
    assert found == {}

"""The user's own plans, and which one was chosen last: the plan every page opens."""

import re
from dataclasses import dataclass, replace
from html import escape
from pathlib import Path

from loopmath import catalogue, tables
from loopmath.checks import InputError
from loopmath.files import Saved, is_example, own_folder, read_text, write_whole
from loopmath.plan import Plan
from loopmath.planfile import demo_plan, load_plan
from loopmath.plansave import save_plan
from loopmath.reader import parsed

#: The page where a plan is chosen, as the pages name it.
WHERE = "on the page Your plan (03)"


@dataclass(frozen=True)
class Chosen:
    """The plan a page opens, and in words which one that is."""

    plan: Plan
    words: str
    trouble: bool = False

    def _repr_html_(self) -> str:
        mark = "▲ " if self.trouble else ""
        return f'<p style="margin:4px 0" role="status">{mark}{escape(self.words)}</p>'

    def __str__(self) -> str:
        return self.words


def plans() -> list[tuple[str, Path]]:
    """Return (what to call it, file) of every plan there is to choose: the user's own, then the examples of data/."""
    own = sorted((own_folder() / "plans").glob("*.toml"))
    examples = sorted((tables.DATA / "plans").glob("*.toml"), key=lambda p: (p.stem != "podcast_booth", p.stem))
    return [(f"yours: {p.stem}{_title(p)}", p) for p in own] + [
        (f"example: {p.stem.replace('_', ' ')}", p) for p in examples
    ]


def _title(path: Path) -> str:
    """Return a plan's title behind a dash, empty while it cannot be read."""
    try:
        title = parsed(read_text(path, "plan file"), "plan file").get("title")
    except InputError:
        return " (needs putting right)"
    return f" – {title}" if isinstance(title, str) else ""


def choose(path: Path) -> None:
    """Remember a plan file as the one every page opens; InputError if that cannot be written down."""
    try:
        own_folder().mkdir(parents=True, exist_ok=True)
        write_whole(_note(), f"{path.resolve()}\n")
    except OSError as fault:
        place, said = str(own_folder()), f"The system says: {fault}."
        raise InputError("note of the chosen plan", place, "a folder that can be written to", said) from None


def chosen() -> Chosen:
    """Return the plan that was chosen last; the demo, saying so, if none was or it cannot be opened."""
    try:
        path = chosen_path()
        if path is None:
            plan = demo_plan()
            return _with_trouble(Chosen(plan, f"Plan: {plan.title}, the demo. Choose or make your own {WHERE}."))
        plan = load_plan(path)
    except InputError as problem:
        demo = demo_plan()
        words = (
            f"The plan you chose cannot be opened, so this is the demo, {demo.title}. Put it right {WHERE}. {problem}"
        )
        return _with_trouble(Chosen(demo, words, trouble=True))
    return _with_trouble(Chosen(plan, f"{called(plan.title, path)} Choose another {WHERE}."))


def _with_trouble(opened: Chosen) -> Chosen:
    """Say as well why the user's own parts are not offered, if they are not."""
    trouble = catalogue.own_trouble()
    return replace(opened, words=f"{opened.words} {trouble}", trouble=True) if trouble else opened


def called(title: str, path: Path) -> str:
    """Return in words which plan that is."""
    return f"Plan: {title}, {'an example' if is_example(path) else f'your file {path.name}'}."


def chosen_path() -> Path | None:
    """Return the file that was chosen last, whatever is in it, None if none was; InputError if the note is damaged."""
    if not _note().exists():
        return None
    said = read_text(_note(), "note of the chosen plan").text.strip()
    if not said or "\0" in said:
        raise InputError("note of the chosen plan", str(_note()), "the path of a plan file", "Choose the plan again.")
    return Path(said)


def _note() -> Path:
    return own_folder() / "chosen.txt"


def own_path(plan: Plan) -> Path:
    """Return where a plan of the user's belongs: its own file, or for an example a copy among the user's plans."""
    if plan.origin is not None and plan.origin.path.name and not is_example(plan.origin.path):
        return plan.origin.path
    stem = plan.origin.path.stem if plan.origin is not None else ""
    return own_folder() / "plans" / f"{stem or file_name(plan.title)}.toml"


def file_name(title: str) -> str:
    """Return a title as the name of a file that every system accepts."""
    return re.sub(r"[^a-z0-9]+", "_", title.lower()).strip("_")[:60] or "plan"


def save_mine(plan: Plan) -> Saved:
    """Save a plan into the user's own file; an example becomes a copy among the user's plans."""
    return save_plan(plan, own_path(plan))

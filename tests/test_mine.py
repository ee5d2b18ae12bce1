"""The plan every page opens: chosen, forgotten, damaged; and where a plan of the user's is saved."""

from dataclasses import replace

import pytest
from examples import CUBE, each_example

from loopmath import InputError, catalogue, demo_plan, files, load_plan, mine
from loopmath.planfile import plan_of_text

pytestmark = pytest.mark.usefixtures("own")


def own_copy(own, name="my machine.toml", text=None):
    path = own / "plans" / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(CUBE.read_text(encoding="utf-8") if text is None else text, encoding="utf-8")
    return path


def test_with_nothing_chosen_it_is_the_demo_and_says_so(own):
    opened = mine.chosen()
    assert opened.plan.title == demo_plan().title
    assert "the demo" in opened.words
    assert "Your plan (03)" in opened.words
    assert not opened.trouble
    assert not own.exists()  # looking writes nothing


@each_example
def test_a_chosen_example_is_opened(path):
    mine.choose(path)
    opened = mine.chosen()
    assert opened.plan.title == load_plan(path).title
    assert opened.words.startswith(f"Plan: {opened.plan.title}, an example.")
    assert opened.plan.origin.path == path


def test_a_chosen_file_of_the_user_is_opened_by_its_name(own):
    path = own_copy(own, "Büro & Kiste.toml")
    mine.choose(path)
    opened = mine.chosen()
    assert opened.plan.title == "Reading corner cube"
    assert "your file Büro & Kiste.toml" in str(opened)
    assert "Büro &amp; Kiste.toml" in opened._repr_html_()
    assert 'role="status"' in opened._repr_html_()


def test_what_is_chosen_last_holds(own):
    mine.choose(CUBE)
    mine.choose(own_copy(own))
    assert mine.chosen_path() == own_copy(own)


BROKEN = {
    "deleted": None,
    "no TOML": "title = [",
    "empty": "",
    "wrong unit": CUBE.read_text(encoding="utf-8").replace('"72 degF"', '"72 mm"'),
    "an unknown part": CUBE.read_text(encoding="utf-8").replace("compact pump, 2.4 m", "no such pump"),
}


@pytest.mark.parametrize("kind", BROKEN)
def test_a_chosen_file_that_cannot_be_opened_gives_the_demo_and_the_reason(own, kind):
    path = own_copy(own, text=BROKEN[kind] or "")
    mine.choose(path)
    if BROKEN[kind] is None:
        path.unlink()
    opened = mine.chosen()
    assert opened.trouble
    assert opened.plan.title == demo_plan().title
    assert "cannot be opened, so this is the demo" in opened.words
    assert {"deleted": "exists", "no TOML": "TOML", "wrong unit": "room.air"}.get(kind, "") in opened.words
    assert opened._repr_html_().startswith('<p style="margin:4px 0" role="status">▲ ')
    assert mine.chosen_path() == path  # the choice stays: the file may come back


def test_a_folder_or_bytes_that_are_no_text_give_the_demo(own):
    mine.choose(own)
    assert mine.chosen().trouble
    path = own_copy(own)
    path.write_bytes(b"\xff\xfe\x00")
    mine.choose(path)
    assert "UTF-8" in mine.chosen().words


@pytest.mark.parametrize(
    "note", [b"", b"\n", b"\x00", b"/a\x00b", b"\xff\xfe", b"no/such/file.toml", b"x" * 5000, b"one\ntwo\n"]
)
def test_a_damaged_note_gives_the_demo_and_says_why(own, note):
    own.mkdir()
    (own / "chosen.txt").write_bytes(note)
    opened = mine.chosen()
    assert opened.trouble
    assert opened.plan.title == demo_plan().title


def test_a_note_that_is_a_folder_is_told_of_and_stops_nothing(own):
    (own / "chosen.txt").mkdir(parents=True)
    assert mine.chosen().trouble
    with pytest.raises(InputError, match="folder that can be written to"):
        mine.choose(CUBE)


def test_a_folder_that_cannot_be_made_is_told_of(own, monkeypatch):
    own.parent.mkdir(exist_ok=True)
    own.write_text("a file stands where the folder should be")
    with pytest.raises(InputError, match="note of the chosen plan"):
        mine.choose(CUBE)
    assert mine.plans()  # the examples are still there


def test_the_users_own_plans_are_listed_first_and_the_demo_before_other_examples(own):
    own_copy(own, "b.toml")
    own_copy(own, "a.toml")
    words = [w for w, _ in mine.plans()]
    assert words == [
        "yours: a – Reading corner cube",
        "yours: b – Reading corner cube",
        "example: podcast booth",
        "example: grading suite",
        "example: quiet workshop",
        "example: reading cube",
    ]


@each_example
def test_an_example_is_never_written_to(own, path):
    before = path.read_bytes()
    plan = load_plan(path)
    assert files.is_example(path)
    assert mine.own_path(plan) == own / "plans" / path.name
    saved = mine.save_mine(replace(plan, room_air=30.0))
    assert saved.path == own / "plans" / path.name
    assert path.read_bytes() == before
    assert load_plan(saved.path).room_air == 30.0


def test_an_example_reached_by_a_roundabout_way_is_one_too(tmp_path):
    link = tmp_path / "link.toml"
    link.symlink_to(CUBE)
    assert files.is_example(link)
    assert files.is_example(CUBE.parent / ".." / "plans" / CUBE.name)
    plan = load_plan(link)
    before = CUBE.read_bytes()
    assert mine.save_mine(replace(plan, room_air=31.0)).path.parent.name == "plans"
    assert CUBE.read_bytes() == before


def test_a_file_of_the_users_goes_back_into_itself(own, tmp_path):
    elsewhere = tmp_path / "on a stick.toml"
    elsewhere.write_bytes(CUBE.read_bytes())
    plan = load_plan(elsewhere)
    assert mine.own_path(plan) == elsewhere
    mine.save_mine(replace(plan, room_air=29.0))
    assert load_plan(elsewhere).room_air == 29.0
    assert not files.is_example(elsewhere)


@pytest.mark.parametrize(
    ("title", "name"),
    [
        ("Podcast booth machine", "podcast_booth_machine"),
        ("  ../../etc/passwd ", "etc_passwd"),
        ("CON: <a|b>?*", "con_a_b"),
        ("水冷", "plan"),
        ("", "plan"),
        ("...", "plan"),
        ("a\nb\0c", "a_b_c"),
        ("x" * 300, "x" * 60),
    ],
)
def test_a_plan_that_never_was_a_file_is_named_by_its_title(own, title, name):
    plan = replace(demo_plan(), title=title, origin=None)
    assert mine.file_name(title) == name
    assert mine.own_path(plan) == own / "plans" / f"{name}.toml"
    saved = mine.save_mine(plan)
    assert saved.path == own / "plans" / f"{name}.toml"
    assert load_plan(saved.path).title == title


def test_two_plans_of_one_title_do_not_overwrite_each_other(own):
    plan = replace(demo_plan(), origin=None)
    first = mine.save_mine(plan)
    second = mine.save_mine(replace(plan, room_air=30.0))
    assert first.path != second.path
    assert (load_plan(first.path).room_air, load_plan(second.path).room_air) == (25.0, 30.0)


def test_a_text_without_a_file_is_named_by_its_title(own):
    from pathlib import Path

    plan = plan_of_text(CUBE.read_text(encoding="utf-8"), Path())
    assert mine.own_path(plan) == own / "plans" / "reading_corner_cube.toml"


def test_the_peak_of_a_plan_does_not_go_into_its_file(own):
    path = own_copy(own)
    assert mine.own_path(load_plan(path).at_peak()) != path


def test_own_parts_come_from_the_same_folder(own):
    catalogue.keep_part("pump", replace(catalogue.part("pump", "compact pump, 2.4 m"), name="bench pump"))
    assert catalogue.own_file().parent == own
    assert "bench pump" in catalogue.names("pump")

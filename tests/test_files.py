"""Files of the user: read whole or refused, written whole or not at all, and nobody's work is lost."""

import os
import stat
import threading
from pathlib import Path

import pytest

from loopmath import InputError, files, tables
from loopmath.files import Origin, digest, own_folder, read_text, save_over, second, write_whole


def litter(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


# ---------------------------------------------------------------------------------------------------- reading


def test_text_comes_back_with_its_fingerprint_and_without_a_byte_order_mark(tmp_path):
    file = tmp_path / "a.toml"
    for mark in (b"", b"\xef\xbb\xbf"):
        file.write_bytes(mark + "Küche\r\n".encode())
        origin = read_text(file, "plan file")
        assert (origin.path, origin.text) == (file, "Küche\r\n")
        assert origin.digest == digest(file.read_bytes())
        assert origin.marked is bool(mark)


def test_a_text_that_was_never_a_file_has_no_mark():
    assert Origin(Path("a"), "words").marked is False


def test_a_relative_path_is_kept_whole(tmp_path, monkeypatch):
    (tmp_path / "a.toml").write_text("x")
    monkeypatch.chdir(tmp_path)
    assert read_text("a.toml", "plan file").path == tmp_path / "a.toml"


@pytest.mark.parametrize(("size", "fine"), [(10, True), (11, False)])
def test_a_file_of_the_largest_size_is_read_and_one_byte_more_is_not(tmp_path, size, fine):
    file = tmp_path / "a.toml"
    file.write_bytes(b"x" * size)
    if fine:
        assert read_text(file, "plan file", 10).text == "x" * size
    else:
        with pytest.raises(InputError, match="Is it the right file"):
            read_text(file, "plan file", 10)


@pytest.mark.parametrize(
    ("raw", "words"), [(b"\xff\xfea\0", "text in UTF-8"), ("ü".encode("latin-1"), "text in UTF-8")]
)
def test_another_encoding_is_named(tmp_path, raw, words):
    (tmp_path / "a.toml").write_bytes(raw)
    with pytest.raises(InputError, match=words) as caught:
        read_text(tmp_path / "a.toml", "plan file")
    assert caught.value.field == "plan file"


def test_a_link_that_leads_nowhere_and_one_that_leads_to_itself_are_refused_in_words(tmp_path):
    (tmp_path / "gone").symlink_to(tmp_path / "nothing")
    (tmp_path / "round").symlink_to(tmp_path / "round")
    for name in ("gone", "round"):
        with pytest.raises(InputError, match="plan file"):
            read_text(tmp_path / name, "plan file")


# --------------------------------------------------------------------------------------------------- writing


def test_what_is_written_is_what_was_given_byte_for_byte(tmp_path):
    text = "Küche\r\n水 \u2028 \x00\n\r"
    assert write_whole(tmp_path / "a.toml", text) == tmp_path / "a.toml"
    assert (tmp_path / "a.toml").read_bytes() == text.encode()
    assert litter(tmp_path) == ["a.toml"]


@pytest.mark.parametrize("mode", [0o600, 0o640, 0o664, 0o444])
def test_permissions_are_kept(tmp_path, mode):
    file = tmp_path / "a.toml"
    file.write_text("old")
    file.chmod(mode)
    write_whole(file, "new")
    assert stat.S_IMODE(file.stat().st_mode) == mode
    assert file.read_text() == "new"


def test_a_new_file_has_the_permissions_any_new_file_has(tmp_path):
    write_whole(tmp_path / "a.toml", "new")
    (tmp_path / "b.toml").write_text("new")
    assert (tmp_path / "a.toml").stat().st_mode == (tmp_path / "b.toml").stat().st_mode


def test_a_link_stays_a_link_and_the_file_it_leads_to_is_written(tmp_path):
    (tmp_path / "far").mkdir()
    (tmp_path / "near").mkdir()
    real, link = tmp_path / "far" / "real.toml", tmp_path / "near" / "link.toml"
    real.write_text("old")
    link.symlink_to(Path("..") / "far" / "real.toml")
    origin = read_text(link, "plan file")
    saved = save_over(link, "new", origin, "plan file")
    assert saved.path == link
    assert link.is_symlink()
    assert real.read_text() == link.read_text() == "new"
    assert (litter(tmp_path / "far"), litter(tmp_path / "near")) == (["real.toml"], ["link.toml"])


def refuse(*_, **__):
    raise OSError(28, "No space left on device")


FDOPEN = os.fdopen


class Full:
    """A file on a full disk: it takes a few bytes, then no more."""

    def __init__(self, handle, mode):
        self.file = FDOPEN(handle, mode)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.file.close()

    def write(self, raw):
        self.file.write(raw[:3])
        refuse()


FAILURES = {
    "full disk": lambda m: m.setattr(files.os, "fdopen", Full),
    "no flush": lambda m: m.setattr(files.os, "fsync", refuse),
    "no rename": lambda m: m.setattr(files.os, "replace", refuse),
    "no permissions": lambda m: m.setattr(files.os, "chmod", refuse),
    "read-only folder": lambda m: m.setattr(files.tempfile, "mkstemp", refuse),
}


@pytest.mark.parametrize("fail", FAILURES.values(), ids=FAILURES)
def test_a_write_that_fails_leaves_the_old_file_whole_and_nothing_beside_it(tmp_path, monkeypatch, fail):
    file = tmp_path / "a.toml"
    file.write_text("old")
    origin = read_text(file, "plan file")
    fail(monkeypatch)
    with pytest.raises(InputError, match=r"a place that can be written to. The system says: .*No space left") as caught:
        save_over(file, "new", origin, "plan file")
    monkeypatch.undo()
    assert str(file) in str(caught.value)
    assert file.read_text() == "old"
    assert litter(tmp_path) == ["a.toml"]
    assert save_over(file, "new", origin, "plan file").path == file


def test_an_interrupt_while_writing_leaves_the_old_file_whole(tmp_path, monkeypatch):
    file = tmp_path / "a.toml"
    file.write_text("old")

    def interrupt(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(files.os, "fsync", interrupt)
    with pytest.raises(KeyboardInterrupt):
        write_whole(file, "new")
    assert file.read_text() == "old"
    assert litter(tmp_path) == ["a.toml"]


def test_half_a_sign_is_refused_in_words(tmp_path):
    (tmp_path / "a.toml").write_text("old")
    with pytest.raises(InputError, match="UTF-8 can hold"):
        save_over(tmp_path / "a.toml", "\ud800", read_text(tmp_path / "a.toml", "plan file"), "plan file")
    with pytest.raises(InputError, match="UTF-8 can hold"):
        save_over(tmp_path / "b.toml", "\ud800", None, "plan file")
    assert litter(tmp_path) == ["a.toml"]


def test_a_folder_in_the_way_and_a_path_through_a_file_are_refused_in_words(tmp_path):
    (tmp_path / "folder.toml").mkdir()
    (tmp_path / "file").write_text("old")
    for path in (tmp_path / "folder.toml", tmp_path / "file" / "inner.toml", tmp_path / ("x" * 300)):
        with pytest.raises(InputError, match="a place that can be written to"):
            save_over(path, "new", None, "plan file")
    assert litter(tmp_path) == ["file", "folder.toml"]


# ------------------------------------------------------------------------------------------- nobody's work is lost


def test_a_folder_that_is_not_there_is_made(tmp_path):
    saved = save_over(tmp_path / "a" / "b" / "c.toml", "new", None, "plan file")
    assert saved.path.read_text() == "new"
    assert saved.words == f"Saved to {saved.path}."


def test_the_file_it_came_from_is_written_over(tmp_path):
    file = tmp_path / "a.toml"
    file.write_text("old")
    assert save_over(file, "new", read_text(file, "plan file"), "plan file").path == file
    assert file.read_text() == "new"


def test_a_file_that_changed_since_is_left_alone(tmp_path):
    file = tmp_path / "a.toml"
    file.write_text("old")
    origin = read_text(file, "plan file")
    file.write_text("theirs")
    for number in (2, 3, 4):
        saved = save_over(file, f"new {number}", origin, "plan file")
        assert saved.path == tmp_path / f"a-{number}.toml"
        assert saved.path.read_text() == f"new {number}"
        assert "was changed on disk since it was read, so it was left alone" in saved.words
        assert str(saved.path) in saved.words
    assert file.read_text() == "theirs"


def test_a_file_that_was_never_read_is_left_alone(tmp_path):
    (tmp_path / "a.toml").write_text("theirs")
    saved = save_over(tmp_path / "a.toml", "new", None, "plan file")
    assert saved.path == tmp_path / "a-2.toml"
    assert saved.words.startswith("a.toml is there already, so it was left alone; yours is now in ")
    assert (tmp_path / "a.toml").read_text() == "theirs"


def test_a_file_that_holds_just_what_is_to_be_written_is_no_obstacle(tmp_path):
    (tmp_path / "a.toml").write_text("the same")
    assert save_over(tmp_path / "a.toml", "the same", None, "plan file").path == tmp_path / "a.toml"
    assert litter(tmp_path) == ["a.toml"]


def test_a_change_and_back_is_no_change(tmp_path):
    file = tmp_path / "a.toml"
    file.write_text("old")
    origin = read_text(file, "plan file")
    file.write_text("theirs")
    file.write_text("old")
    assert save_over(file, "new", origin, "plan file").path == file


@pytest.mark.parametrize(("name", "expected"), [("a.toml", "a-2.toml"), ("a.b.toml", "a.b-2.toml"), ("a", "a-2")])
def test_the_second_name_stands_beside_the_first(tmp_path, name, expected):
    assert second(tmp_path / name) == tmp_path / expected
    (tmp_path / expected).write_text("taken")
    assert second(tmp_path / name) == tmp_path / expected.replace("-2", "-3")


def test_writers_at_the_same_time_leave_one_whole_file(tmp_path):
    file = tmp_path / "a.toml"
    texts = [letter * 200_000 for letter in "abcdefgh"]
    writers = [threading.Thread(target=write_whole, args=(file, text)) for text in texts]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert file.read_text() in texts
    assert litter(tmp_path) == ["a.toml"]


# ------------------------------------------------------------------------------------------------ the user's folder


def test_the_users_folder_is_beside_the_notebooks_or_where_it_is_said_to_be(monkeypatch, tmp_path):
    monkeypatch.setenv("LOOPMATH_MINE", str(tmp_path / "x"))
    assert own_folder() == tmp_path / "x"
    for nothing in ("", None):
        monkeypatch.setenv("LOOPMATH_MINE", nothing) if nothing is not None else monkeypatch.delenv("LOOPMATH_MINE")
        assert own_folder() == tables.DATA.parent / "workbook" / "mine"


def test_the_tests_do_not_see_the_users_own_files():
    assert own_folder() != tables.DATA.parent / "workbook" / "mine"
    assert own_folder().is_dir()


def test_a_sign_left_by_a_page_that_broke_off_holds_a_file_for_a_moment_only(tmp_path, monkeypatch):
    monkeypatch.setattr(files, "HELD", 0.05)
    (tmp_path / ".plan.toml.held").touch()
    assert save_over(tmp_path / "plan.toml", "x = 1\n", None, "plan file").path.read_text() == "x = 1\n"
    assert [p.name for p in tmp_path.iterdir()] == ["plan.toml"]

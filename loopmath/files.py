"""The user's files: read whole and in words, written whole or not at all, never over somebody else's change."""

import codecs
import difflib
import hashlib
import os
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from loopmath import tables
from loopmath.checks import InputError

#: No file of a builder's is larger; a file that is was chosen by mistake. [bytes]
LARGEST = 1_000_000
#: Longest that a file is held by one page. [s]
HELD = 5.0


def own_folder() -> Path:
    """
    Return the folder of the user's own files: plans, parts, and which plan was chosen last.

    It lies beside the notebooks; the environment variable LOOPMATH_MINE names another.
    """
    return Path(os.environ.get("LOOPMATH_MINE") or tables.DATA.parent / "workbook" / "mine")


def is_example(path: Path) -> bool:
    """Return True for a plan of data/: it is read, and never written."""
    return os.path.dirname(os.path.realpath(path)) == os.path.realpath(tables.DATA / "plans")


@dataclass(frozen=True)
class Origin:
    """The file something was read from, and what it held then."""

    path: Path = Path()
    text: str = ""
    digest: str = ""

    @property
    def marked(self) -> bool:
        """True if the file began with a byte order mark, which `text` leaves out."""
        return digest(codecs.BOM_UTF8 + self.text.encode("utf-8")) == self.digest


def digest(raw: bytes) -> str:
    """Return a fingerprint of a file's bytes."""
    return hashlib.sha256(raw).hexdigest()


def read_text(path: str | Path, what: str, largest: int = LARGEST, sixteen: bool = False) -> Origin:
    """
    Read a text file in UTF-8; a byte order mark is left out.

    Parameters
    ----------
    path : str or Path
        The file.
    what : str
        What it is, for the message: "plan file".
    largest : int
        Largest file that is read. [bytes]
    sixteen : bool
        Read UTF-16 as well, as some spreadsheets write it.

    Raises
    ------
    InputError
        If it is missing, a folder, too large, not to be read, or not in UTF-8.
    """
    path = Path(path).absolute()  # so that it goes back there wherever the session has moved to
    try:
        if path.is_dir():
            raise InputError(what, str(path), "a file, not a folder")
        _check_size(path.stat().st_size, what, str(path), largest)
        raw = path.read_bytes()
    except FileNotFoundError:
        beside = [p.name for p in path.parent.glob("*")] if path.parent.is_dir() else []
        near = ", ".join(difflib.get_close_matches(path.name, beside))
        raise InputError(what, str(path), "a file that exists", f"Near it: {near}." if near else "") from None
    except (OSError, ValueError) as fault:
        if isinstance(fault, InputError):
            raise
        raise InputError(what, str(path), "a file that can be read", f"The system says: {fault}.") from None
    return Origin(path, decoded(raw, what, str(path), largest, sixteen), digest(raw))


def decoded(raw: bytes, what: str, name: str, largest: int = LARGEST, sixteen: bool = False) -> str:
    """Return the text of a file's bytes; InputError as `read_text`."""
    _check_size(len(raw), what, name, largest)
    wide = sixteen and raw[:2] in (b"\xff\xfe", b"\xfe\xff")
    try:
        return raw.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(what, name, "text in UTF-8", "Save it as UTF-8 and load it again.") from None


def _check_size(size: int, what: str, name: str, largest: int) -> None:
    if size > largest:
        accepted = f"a file of at most {largest / 1e6:g} MB"
        raise InputError(what, f"{name}, {size / 1e6:.1f} MB", accepted, "Is it the right file?")


def write_whole(path: Path, content: str | bytes) -> Path:
    """
    Write a file so that it is there whole or not at all: temporary file, flush, replace.

    Its permissions are kept; where a link stands, the file it leads to is written and the link stays.
    """
    given, path = path, Path(os.path.realpath(path))
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=path.name, suffix=".tmp")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content.encode("utf-8") if isinstance(content, str) else content)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(name, path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~_umask())
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    return given


def _umask() -> int:
    now = os.umask(0)
    os.umask(now)
    return now


@dataclass(frozen=True)
class Saved:
    """Where something was written, and in words what the user should know about it."""

    path: Path
    words: str


@contextmanager
def held(path: Path) -> Iterator[None]:
    """
    Hold a file while it is read, changed and written, so that two pages open at once do not undo each other.

    A small file beside it, `.NAME.held`, is the sign; one older than some seconds is from a page that broke off.
    """
    sign, until = path.with_name(f".{path.name}.held"), time.monotonic() + HELD
    while True:
        try:
            os.close(os.open(sign, os.O_CREAT | os.O_EXCL))
            break
        except FileExistsError:
            with suppress(OSError):
                if time.time() - sign.stat().st_mtime > HELD or time.monotonic() > until:
                    sign.unlink(missing_ok=True)
            time.sleep(0.01)
    try:
        yield
    finally:
        sign.unlink(missing_ok=True)


def save_over(path: Path, text: str, origin: Origin | None, what: str) -> Saved:
    """
    Write text to a file unless that would undo a change made since it was read.

    Parameters
    ----------
    path : Path
        Where it should go; its folder is made if it is not there.
    text : str
        The whole file.
    origin : Origin, optional
        What this very file held when it was read. If it no longer holds that, or was never read, a second file
        beside it takes the text.
    what : str
        What it is, for the message.

    Raises
    ------
    InputError
        If the folder cannot be written to; nothing is left half written.
    """
    target, words = path, f"Saved to {path}."
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with held(path):
            if path.exists():
                raw = path.read_bytes()
                known = origin is not None and digest(raw) == origin.digest
                if not known and raw != text.encode("utf-8"):
                    target = second(path)
                    reason = "is there already" if origin is None else "was changed on disk since it was read"
                    words = f"{path.name} {reason}, so it was left alone; yours is now in {target}."
            return Saved(write_whole(target, text), words)
    except UnicodeEncodeError:
        raise InputError(what, str(path), "text that UTF-8 can hold", "Half a sign stands in a name or note.") from None
    except (OSError, RuntimeError) as fault:  # RuntimeError: a link that leads to itself
        raise InputError(what, str(path), "a place that can be written to", f"The system says: {fault}.") from None


def second(path: Path) -> Path:
    """Return the next free name beside a file: plan-2.toml, plan-3.toml."""
    number = 2
    while (free := path.with_name(f"{path.stem}-{number}{path.suffix}")).exists():
        number += 1
    return free

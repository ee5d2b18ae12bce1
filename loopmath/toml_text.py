"""The text of a TOML file as its writer left it: where a field stands, and changes that leave the rest alone."""

import difflib
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AbstractTable, Array, InlineTable

from loopmath.units import to_si, written

#: Where a field stands: keys of tables, numbers of list entries.
Path = tuple[str | int, ...]


def dotted(path: Path) -> str:
    """Return a place as people write it: loop.order[4].length."""
    out = ""
    for step in path:
        out += f"[{step}]" if isinstance(step, int) else f".{step}" if out else step
    return out


@dataclass(frozen=True)
class Leaf:
    """One value of a document in the inside unit, how it is written, and what leaving it out would mean."""

    value: Any
    kind: str = "text"
    default: Any = None

    def text(self, like: Any = None) -> Any:
        """Return the value as it stands in a file; `like` is what stands there now, whose unit is kept."""
        if self.kind == "position":
            old = like if isinstance(like, list) and len(like) == 3 else (None,) * 3
            return [written(v, "length", o) for v, o in zip(self.value, old, strict=True)]
        if self.kind in ("text", "truth", "texts"):
            return list(self.value) if self.kind == "texts" else self.value
        return written(self.value, self.kind, like)

    def stands(self, now: Any) -> bool:
        """Return True if what stands in a file already says this."""
        if self.kind in ("text", "truth", "texts", "position"):
            return now == self.text(now)
        try:
            return to_si("", now, self.kind) == self.value
        except ValueError:
            return False


# --------------------------------------------------------------------------------------------------- finding


def line_of(text: str, path: Path) -> int | None:
    """
    Return the line, counted from 1, on which a field of a TOML document stands.

    A field that is not there is looked for where it belongs: its table, or the table around that.
    """
    while path:
        try:
            document = tomlkit.parse(text)
            holder: Any = document
            for step in path[:-1]:
                holder = holder[step]
            if not isinstance(holder[path[-1]], AbstractTable) or isinstance(holder[path[-1]], InlineTable):
                # Put something there that is nowhere else, and look on which line it comes out.
                holder[path[-1]] = mark = "\u0091place\u0091"
                before = tomlkit.dumps(document).partition(_escaped(mark))
                return before[0].count("\n") + 1 if before[1] else None
            return next((n for n, steps in _headers(text) if steps[: len(path)] == path), None)
        except (KeyError, IndexError, TypeError, AttributeError, ValueError, TOMLKitError):
            path = path[:-1]
    return None


def _escaped(mark: str) -> str:
    return tomlkit.item(mark).as_string()


def _headers(text: str) -> Iterator[tuple[int, Path]]:
    """Yield (line, path) of every table header."""
    for number, line in enumerate(text.splitlines(), start=1):
        if line.lstrip().startswith("["):
            try:
                table = tomllib.loads(line)
            except tomllib.TOMLDecodeError:
                continue  # a line of an array or of a text
            steps = []
            while isinstance(table, dict) and table:
                ((key, table),) = table.items()
                steps.append(key)
            yield number, tuple(steps)


# -------------------------------------------------------------------------------------------------- changing


def changed(text: str, old: dict, new: dict) -> str:
    """
    Return the text of a document with only those fields changed that differ between two descriptions of it.

    Parameters
    ----------
    text : str
        The document as it stands; empty for a new one.
    old, new : dict
        What the document says and what it is to say: tables as dicts, lists as lists, values as `Leaf` or text.
        A leaf that is at its default is not added.

    Returns
    -------
    text : str
        Comments, order, blank lines and units stay as they were wherever nothing changed.
    """
    windows = "\r\n" in text and "\n" not in text.replace("\r\n", "")
    document = tomlkit.parse(text.replace("\r\n", "\n") if windows else text)
    _change(document, old, new, ())
    out = tomlkit.dumps(document)
    return out.replace("\n", "\r\n") if windows else out


def _change(table: Any, old: dict, new: dict, path: Path) -> None:
    for key in old:
        if key not in new and key in table:
            del table[key]
    for key, value in new.items():
        before = old.get(key)
        if key in old and before == value:
            continue
        here = (*path, key)
        if isinstance(value, dict):
            if not isinstance(table.get(key), Mapping):
                if not _says(value):
                    continue
                table[key] = tomlkit.inline_table() if isinstance(table, InlineTable) else tomlkit.table()
                before = {}
            _change(table[key], before if isinstance(before, dict) else {}, value, here)
        elif isinstance(value, list):
            if isinstance(table.get(key), Array) and isinstance(before, list):
                _change_list(table[key], before, value, here)
            else:
                table[key] = _listed(value)
        else:
            _set(table, key, value)


def _says(value: Any) -> bool:
    """Return True unless a table would stand empty."""
    return (
        any(map(_says, value.values()))
        if isinstance(value, dict)
        else value != Leaf(None) and (not isinstance(value, Leaf) or value.value != value.default)
    )


def _set(table: Any, key: Any, leaf: Any) -> None:
    leaf = leaf if isinstance(leaf, Leaf) else Leaf(leaf)
    now = table.get(key) if isinstance(table, Mapping) else table[key]
    if now is None and leaf.value == leaf.default:
        return
    now = now.unwrap() if hasattr(now, "unwrap") else now
    if leaf.value is None:
        del table[key]
    elif now is None or not leaf.stands(now):
        table[key] = leaf.text(now)


def _change_list(array: Array, old: list, new: list, path: Path) -> None:
    """Change a list entry by entry; entries are known again by their name, so that comments stay with them."""
    match = difflib.SequenceMatcher(a=[_name(e) for e in old], b=[_name(e) for e in new], autojunk=False)
    shift = 0
    for tag, i1, i2, j1, j2 in match.get_opcodes():
        if tag == "equal":
            for i, j in zip(range(i1, i2), range(j1, j2), strict=True):
                if old[i] == new[j]:
                    continue
                if isinstance(new[j], dict):
                    _change(array[i + shift], old[i], new[j], (*path, j))
                elif isinstance(new[j], list):
                    _change_list(array[i + shift], old[i], new[j], (*path, j))
                else:
                    _set(array, i + shift, new[j])
            continue
        for _ in range(i2 - i1):
            del array[i1 + shift]
        for offset, j in enumerate(range(j1, j2)):
            array.insert(i1 + shift + offset, _entry(new[j]))
        shift += (j2 - j1) - (i2 - i1)


def _name(entry: Any) -> str:
    """Return what an entry of a list is known by: itself, or the first value of its table."""
    if isinstance(entry, dict):
        key, value = next(iter(entry.items()))
        return f"{key}: {value.value if isinstance(value, Leaf) else len(value)}"
    return f"list of {len(entry)}" if isinstance(entry, list) else str(entry)


def _entry(value: Any, indent: str = "  ") -> Any:
    """Return a new entry of a list as TOML, laid out as a person would."""
    return tomlkit.parse(f"x = {_entry_text(value, indent)}")["x"]


def _entry_text(value: Any, indent: str) -> str:
    if isinstance(value, dict):
        given = {k: v for k, v in value.items() if not isinstance(v, Leaf) or v.value != v.default}
        inner = ", ".join(f"{_key(k)} = {_entry_text(v, indent)}" for k, v in given.items())
        return f"{{ {inner} }}"
    if isinstance(value, list) and any(isinstance(v, (list, dict)) for v in value):
        deep = any(isinstance(v, list) for v in value)
        between = f"\n{indent}  " if deep else " "
        entries = f",{between}".join(_entry_text(v, indent + "  ") for v in value)
        return f"[{between}{entries},\n{indent}]" if deep else f"[{entries}]"
    if isinstance(value, list):
        return f"[{', '.join(_entry_text(v, indent) for v in value)}]"
    return tomlkit.item(value.text() if isinstance(value, Leaf) else value).as_string()


def _key(name: str) -> str:
    return tomlkit.item({name: 0}).as_string().partition(" = ")[0].strip()


def _listed(value: list) -> Array:
    """Return a new list as TOML, an entry a line."""
    entries = "".join(f"  {_entry_text(v, '  ')},\n" for v in value)
    return tomlkit.parse(f"x = [\n{entries}]")["x"] if value else tomlkit.array()

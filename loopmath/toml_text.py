"""The text of a TOML file as its writer left it: where a field stands, and changes that leave the rest alone."""

import difflib
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import tomlkit
from tomlkit.items import Array, InlineTable

from loopmath.units import to_si, written

#: Kind of a row of quantities -> the kind of each; kind of a list -> the kind of its rows.
ROWS = {"position": ("length",) * 3, "point": ("temperature", "share")}
LISTS = {"points": "point", "positions": "position", "lengths": "length", "volumes": "volume", "rows": "texts"}
#: How a file says that a number is not there, where the part it starts from has one.
NONE = "none"
#: Name of an entry of a list -> its text as it stands, and what that says.
Kept = dict[str, tuple[str, dict]]
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
        if like is not None and self.stands(like):
            return like
        if self.value is None:
            return NONE
        if self.kind in ROWS or self.kind in LISTS:
            old, inner = like if isinstance(like, list) else [], self._inner()
            # A row of a list is known again wherever it stands, so that one more before it leaves it as it was typed.
            same = [next(filter(leaf.stands, old), None) if self.kind in LISTS else None for leaf in inner]
            beside = [*old, *[None] * len(inner)]
            return [leaf.text(beside[n] if same[n] is None else same[n]) for n, leaf in enumerate(inner)]
        if self.kind in ("text", "truth", "texts"):
            return list(self.value) if self.kind == "texts" else self.value
        if isinstance(like, (int, float)) and not isinstance(like, bool):  # a plain number stays one
            return written(self.value, "count")
        try:
            return written(self.value, self.kind, like)
        except Exception:  # pint raises several unrelated types for a unit it does not know, such as dBA
            return written(self.value, self.kind)

    def stands(self, now: Any) -> bool:
        """Return True if what stands in a file already says this."""
        if self.value is None or self.kind in ("text", "truth", "texts"):
            return type(now) is type(self.text()) and now == self.text()
        if self.kind in ROWS or self.kind in LISTS:
            inner = self._inner()
            fine = isinstance(now, list) and len(now) == len(inner)
            return fine and all(leaf.stands(n) for leaf, n in zip(inner, now, strict=True))
        try:
            return bool(to_si("", now, self.kind) == self.value)
        except ValueError:
            return False

    def _inner(self) -> list["Leaf"]:
        """Return the quantities of a row, or the rows of a list."""
        kinds = ROWS[self.kind] if self.kind in ROWS else [LISTS[self.kind]] * len(self.value)
        return [Leaf(value, kind) for value, kind in zip(self.value, kinds, strict=True)]


# --------------------------------------------------------------------------------------------------- finding

_TOKEN = re.compile(
    r"""(?P<skip>[ \t\r]+|\#[^\n]*)
      | (?P<line>\n)
      | (?P<text>\"{3}(?:\\.|[^\\])*?\"{3}\"{0,2} | '{3}.*?'{3}'{0,2} | "(?:\\.|[^"\\\n])*" | '[^'\n]*')
      | (?P<mark>[\[\]{},=.])
      | (?P<bare>[^\s\[\]{},="'\#.]+)""",
    re.VERBOSE | re.DOTALL,
)


class _Finder:
    """Walks through the text of a document that TOML accepts and notes where each key and list entry stands."""

    def __init__(self, text: str) -> None:
        tokens = list(_TOKEN.finditer(text))
        self.tokens = [m for m in tokens if m.lastgroup != "skip"]
        self.comments = {m.start() for m in tokens if m.lastgroup == "skip" and m[0].startswith("#")}
        #: Where the heads of tables begin.
        self.heads: list[int] = []
        self.found: dict[Path, tuple[int, int]] = {}
        self.at = 0

    def sign(self) -> str:
        """Return the next token if it is a mark or the end of a line, "" for anything else."""
        token = self.tokens[self.at]
        return token[0] if token.lastgroup in ("mark", "line") else ""

    def walk(self) -> dict[Path, tuple[int, int]]:
        here: Path = ()
        tables: dict[Path, int] = {}
        while self.at < len(self.tokens):
            if self.sign() == "\n":
                self.at += 1
            elif self.sign() == "[":
                self.heads.append(self.tokens[self.at].start())
                self.at += 1
                listed = self.sign() == "["
                self.at += listed
                here = self.key((), "]")
                self.at += listed
                if listed:
                    tables[here] = tables.get(here, -1) + 1
                    here = (*here, tables[here])
            else:
                self.value(self.key(here, "="))
        return self.found

    def key(self, path: Path, end: str) -> Path:
        """Pass a key and the mark after it; return its path."""
        while self.sign() != end:
            token = self.tokens[self.at]
            if token[0] != ".":
                quoted = token.lastgroup == "text"
                path = (*path, next(iter(tomllib.loads(f"{token[0]} = 0"))) if quoted else token[0])
                self.found.setdefault(path, token.span())
            self.at += 1
        self.at += 1
        return path

    def value(self, path: Path) -> None:
        """Pass a value."""
        sign, number = self.sign(), 0
        if sign not in ("[", "{"):
            while self.at < len(self.tokens) and self.sign() not in ("\n", ",", "]", "}"):
                self.at += 1
            return
        self.at += 1
        while self.sign() not in ("]", "}"):
            if self.sign() in ("\n", ","):
                self.at += 1
            elif sign == "{":
                self.value(self.key(path, "="))
            else:
                self.found[*path, number] = self.tokens[self.at].span()
                self.value((*path, number))
                number += 1
        self.at += 1


def places(text: str) -> dict[Path, tuple[int, int]]:
    """Return where every key and every list entry of a TOML document stands: start and end of its first sign."""
    return _Finder(text).walk()


def line_of(text: str, path: Path, where: dict[Path, tuple[int, int]] | None = None) -> int | None:
    """
    Return the line, counted from 1, on which a field of a TOML document stands.

    A field that is not there is looked for where it belongs: its table, or the table around that. Give `where`,
    the `places` of the text, to look for many.
    """
    where = places(text) if where is None else where
    while path and path not in where:
        path = path[:-1]
    return text.count("\n", 0, where[path][0]) + 1 if path else None


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
    document = tomlkit.parse(_under_heads(text.replace("\r\n", "\n") if windows else text))
    _change(document, old, new)
    out = _over_heads(tomlkit.dumps(document))
    return out.replace("\n", "\r\n") if windows else out


#: Marks a comment that stands over the head of its table and is held under it meanwhile.
_HELD = "#\ue000"


def _under_heads(text: str) -> str:
    """
    Return a text with the comments right over the head of a table held right under it.

    To the parser they end the table before: what is added to that one would come between them and their own, and they
    would go with it.
    """
    found = _Finder(text)
    found.walk()
    for head in reversed(found.heads):
        first = start = text.rfind("\n", 0, head) + 1
        while first and (line := text.rfind("\n", 0, first - 1) + 1) + _indent(text, line) in found.comments:
            first = line
        end = text.find("\n", head) + 1
        if first < start and end:
            held = re.sub("(?m)^([ \\t]*)#", rf"\1{_HELD}", text[first:start])
            text = text[:first] + text[start:end] + held + text[end:]
    return text


def _indent(text: str, start: int) -> int:
    return len(re.compile("[ \\t]*").match(text, start)[0])


def _over_heads(text: str) -> str:
    """Return the text with those comments back where they stood."""
    out, head = [], 0
    for line in text.split("\n"):
        if line.lstrip(" \t").startswith(_HELD):
            out.insert(head, line.replace(_HELD, "#", 1))
            head += 1
        else:
            head = len(out)
            out.append(line)
    return "\n".join(out)


def _change(table: Any, old: dict, new: dict, kept: Kept | None = None) -> None:
    for key in old:
        if key not in new and key in table:
            del table[key]
    for key, value in new.items():
        before = old.get(key)
        if key in old and before == value:
            continue
        now = table.get(key)
        if isinstance(value, dict):
            if not isinstance(now, Mapping):
                if not _says(value):
                    continue
                if now is not None or isinstance(table, InlineTable):
                    # In the place of a value it stays on its line, or the lines after it would belong to it.
                    table[key] = _entry(value)
                    continue
                table[key] = tomlkit.table(is_super_table=any(isinstance(inner, dict) for inner in value.values()))
            _change(table[key], before if isinstance(before, dict) else {}, value)
        elif isinstance(value, list):
            if isinstance(now, Array) and isinstance(before, list):
                _change_list(now, before, value, kept)
            else:
                table[key] = _listed(value)
        else:
            _set(table, key, value)


def _says(value: Any) -> bool:
    """Return True unless a table would stand empty."""
    return any(map(_says, value.values())) if isinstance(value, dict) else value != Leaf(None) and _is_said(value)


def _is_said(value: Any) -> bool:
    return not isinstance(value, Leaf) or value.value != value.default


def _set(table: Any, key: Any, leaf: Leaf) -> None:
    """Set a value of a table."""
    now = table.get(key)
    if now is None:
        if _is_said(leaf):
            spaced = isinstance(table, InlineTable) and table.as_string().endswith(" }")
            table[key] = leaf.text()
            if spaced:
                table.item(key).trivia.trail = " "
        return
    listed, now = isinstance(now, Array), now.unwrap() if hasattr(now, "unwrap") else now
    if leaf.value is None and leaf.default is None:
        del table[key]
    elif not leaf.stands(now):
        text = leaf.text(now)
        if listed and isinstance(text, list):
            _mend(table[key], text)
        else:
            table[key] = text


def _mend(array: Array, new: list) -> None:
    """Make a list of plain values say something else; what is in both keeps its line and its comment."""
    old = array.unwrap()
    match = difflib.SequenceMatcher(a=[repr(e) for e in old], b=[repr(e) for e in new], autojunk=False)
    for tag, i1, i2, j1, j2 in reversed(match.get_opcodes()):
        if tag == "equal":
            continue
        both = min(i2 - i1, j2 - j1)
        for n in range(both):
            if isinstance(old[i1 + n], list) and isinstance(new[j1 + n], list):
                _mend(array[i1 + n], new[j1 + n])
            else:
                array[i1 + n] = new[j1 + n]
        for _ in range(i1 + both, i2):
            del array[i1 + both]
        for n in range(both, j2 - j1):
            array.insert(i1 + n, new[j1 + n])


def _change_list(array: Array, old: list, new: list, kept: Kept | None) -> None:
    """
    Change a list entry by entry; entries are known again by their name, so that comments stay with them.

    `kept` holds what stands now for every named entry, so that one that moves goes as it was typed.
    """
    kept = _kept(array, old) if kept is None else kept
    match = difflib.SequenceMatcher(a=[_name(e) for e in old], b=[_name(e) for e in new], autojunk=False)
    shift = 0
    for tag, i1, i2, j1, j2 in match.get_opcodes():
        pairs = list(zip(range(i1, i2), range(j1, j2), strict=False))
        for i, j in pairs:
            if old[i] == new[j]:
                continue
            renamed = tag == "equal" or _name(new[j]) not in kept
            if renamed and isinstance(new[j], dict) and isinstance(old[i], dict) and [*new[j]][0] == [*old[i]][0]:
                _change(array[i + shift], old[i], new[j], kept)
            elif isinstance(new[j], list) and isinstance(old[i], list):
                _change_list(array[i + shift], old[i], new[j], kept)
            else:
                array[i + shift] = _entry(new[j], kept)
        if tag == "equal":
            continue
        for _ in range(i1 + len(pairs), i2):
            del array[i1 + len(pairs) + shift]
        for j in range(j1 + len(pairs), j2):
            array.insert(i1 + shift + j - j1, _entry(new[j], kept))
        shift += (j2 - j1) - (i2 - i1)


def _kept(item: Any, entry: Any) -> Kept:
    """Return the text and the description of every table in a list, also in lists inside of it."""
    out: Kept = {}
    if isinstance(entry, dict):
        out[_name(entry)] = item.as_string(), entry
        inner = [(item[key], value) for key, value in entry.items() if isinstance(value, list)]
    else:
        inner = zip(item, entry, strict=True) if isinstance(entry, list) else ()
    for pair in inner:
        out |= _kept(*pair)
    return out


def _name(entry: Any) -> str:
    """Return what an entry of a list is known by: itself, its first value, the first entry of its own."""
    if isinstance(entry, dict):
        key, value = next(iter(entry.items()))
        return f"{key}: {value.value if isinstance(value, Leaf) else _name(value)}"
    return f"list of {_name(entry[0]) if entry else ''}" if isinstance(entry, list) else f"entry {entry}"


def _entry(value: Any, kept: Kept | None = None) -> Any:
    """Return a new entry of a list as TOML, laid out as a person would."""
    return tomlkit.parse(f"x = {_entry_text(value, '  ', kept or {})}")["x"]


def _entry_text(value: Any, indent: str, kept: Kept) -> str:
    if isinstance(value, dict) and value and _name(value) in kept:
        text, old = kept[_name(value)]
        table = tomlkit.parse(f"x = {text}")["x"]
        _change(table, old, value)
        return table.as_string()
    if isinstance(value, dict):
        given = {k: v for k, v in value.items() if _is_said(v)}
        return f"{{ {', '.join(f'{k} = {_entry_text(v, indent, kept)}' for k, v in given.items())} }}"
    if isinstance(value, list) and any(isinstance(v, (list, dict)) for v in value):
        deep = any(isinstance(v, list) for v in value)
        between = f"\n{indent}  " if deep else " "
        entries = f",{between}".join(_entry_text(v, indent + "  ", kept) for v in value)
        return f"[{between}{entries},\n{indent}]" if deep else f"[{entries}]"
    if isinstance(value, list):
        return f"[{', '.join(_entry_text(v, indent, kept) for v in value)}]"
    return tomlkit.item(value.text() if isinstance(value, Leaf) else value).as_string()


def _listed(value: list) -> Array:
    """Return a new list as TOML, an entry a line."""
    entries = "".join(f"  {_entry_text(v, '  ', {})},\n" for v in value)
    return tomlkit.parse(f"x = [\n{entries}]")["x"] if value else tomlkit.array()

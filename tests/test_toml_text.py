"""Places in a TOML text, and changes that leave the rest of it alone, on documents written in every manner."""

import tomllib

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from random_plans import plans

from loopmath.plansave import text_of
from loopmath.toml_text import Leaf, changed, dotted, line_of, places

#: Every line is marked with the path that stands on it first.
AWKWARD = r"""
a.b . c = 1                                          #! a.b.c
"q.x"."y\"z" = 'it'                                  #! q.x.y"z
"" = { "" = [ { x.y = 1 } ] }                        #! [""]
text = QQQ                                           #! text
[a]
a.b.c = 2
\QQQ # "not the end" QQQ
other = 'QQQ'                                        #! other
raw = SSS
[raw]
SSS'
list = [1, # ]                                       #! list
  [2, 3], { k = "]" },                               #! list[1]
  "#, [",                                            #! list[3]
  { deep = [ [], [
     { z = 1979-05-27 07:32:00, w = +1.5e-3 } ] ] }, #! list[4].deep[1][0]
]
  [ t . "u v" ]                                      #! t.u v
x = inf                                              #! t.u v.x
y = 1.5                                              #! t.u v.y
[t]                                          
n = [                                                #! t.n
] # empty
[[many]]                                             #! many
x = 1                                                #! many[0].x
[[many]]
x = 2                                                #! many[1].x
[many.sub]                                   
k = 2                                                #! many[1].sub.k""".replace("QQQ", '"""').replace("SSS", "'''")

PATHS = {
    "a.b.c": ("a", "b", "c"),
    'q.x.y"z': ("q.x", 'y"z'),
    '[""]': ("",),
    "list[4].deep[1][0]": ("list", 4, "deep", 1, 0),
    "t.u v": ("t", "u v"),
    "t.u v.x": ("t", "u v", "x"),
    "t.u v.y": ("t", "u v", "y"),
    "t.n": ("t", "n"),
    "many[0].x": ("many", 0, "x"),
    "many[1].x": ("many", 1, "x"),
    "many[1].sub.k": ("many", "sub", "k"),
    "list[1]": ("list", 1),
    "list[3]": ("list", 3),
}
MARKED = [(n, line.partition("#! ")[2].strip()) for n, line in enumerate(AWKWARD.split("\n"), start=1) if "#! " in line]


def test_the_document_is_one():
    assert tomllib.loads(AWKWARD)["q.x"]['y"z'] == "it"
    assert len(MARKED) == 17


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
@pytest.mark.parametrize(("line", "place"), MARKED, ids=[place for _, place in MARKED])
def test_a_place_is_found_on_its_line(line, place, ends):
    path = PATHS.get(place, (place,))
    assert path in places(AWKWARD)
    assert line_of(AWKWARD.replace("\n", ends), path) == line


@pytest.mark.parametrize(
    ("path", "near"),
    [
        (("t", "u v", "gone"), ("t", "u v")),
        (("list", 4, "deep", 1, 0, "gone", "more"), ("list", 4, "deep", 1, 0)),
        (("list", 17), ("list",)),
        (("a", "b", "gone"), ("a", "b")),
        (("text", "inside"), ("text",)),
    ],
)
def test_what_is_not_there_is_looked_for_where_it_belongs(path, near):
    assert line_of(AWKWARD, path) == line_of(AWKWARD, near)


def test_what_belongs_nowhere_has_no_line():
    assert line_of(AWKWARD, ("gone",)) is None
    assert line_of("", ("gone",)) is None
    assert line_of(AWKWARD, ()) is None


def walk(value, path=()):
    """Yield the path of everything in a document."""
    if path:
        yield path
    for step, inner in (
        value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    ):
        yield from walk(inner, (*path, step))


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(plans())
def test_everything_in_any_plans_file_has_a_place_and_nothing_else_has(plan):
    text = text_of(plan)
    assert set(places(text)) == set(walk(tomllib.loads(text)))


@pytest.mark.parametrize(
    ("path", "words"),
    [((), ""), (("loop", "order", 4, "length"), "loop.order[4].length"), ((0, "a"), "[0].a"), (("a", 1, 2), "a[1][2]")],
)
def test_a_place_is_written_as_people_do(path, words):
    assert dotted(path) == words


# --------------------------------------------------------------------------------------------------- changes


def leaves(value):
    """Return a description as `changed` takes it of plain numbers and words."""
    if isinstance(value, dict):
        return {k: leaves(v) for k, v in value.items()}
    if isinstance(value, list):
        return [leaves(v) if isinstance(v, (dict, list)) else v for v in value]
    return Leaf(value, "text" if isinstance(value, str) else "count")


#: Text, what it is to say (the rest stays), and the text that comes of it.
CASES = {
    "dotted key": ("a.b = 1 # one\na.c = 2\n", {"a": {"b": 3}}, "a.b = 3 # one\na.c = 2\n"),
    "dotted key added": ("a.b = 1 # one\n\n[t]\nx = 1\n", {"a": {"c": 3}}, "a.b = 1 # one\na.c = 3\n\n[t]\nx = 1\n"),
    "inline table": ("a = { b=1,c = 2 } # x\n", {"a": {"c": 3}}, "a = { b=1,c = 3 } # x\n"),
    "inline table added": ("a = { b=1 } # x\n", {"a": {"c": 3}}, "a = { b=1, c = 3 } # x\n"),
    "empty inline table": ("a = {} # x\n", {"a": {"c": 3}}, "a = {c = 3} # x\n"),
    "super table": ("[a.b.c]\nx = 1 # one\n", {"a": {"b": {"c": {"x": 2}}}}, "[a.b.c]\nx = 2 # one\n"),
    "beside a super table": (
        "[a.b]\nx = 1 # one\n\n[z]\n",
        {"a": {"d": {"x": 2}}},
        "[a.b]\nx = 1 # one\n\n[a.d]\nx = 2\n[z]\n",
    ),
    "tables out of order": (
        "[a.b]\nx = 1\n[z]\ny = 1\n[a.c]\nx = 1 # c\n",
        {"a": {"c": {"x": 2}, "b": {"x": 3}}},
        "[a.b]\nx = 3\n[z]\ny = 1\n[a.c]\nx = 2 # c\n",
    ),
    "top before tables": ("x = 1\n\n[t]\ny = 2\n", {"w": 3}, "x = 1\nw = 3\n\n[t]\ny = 2\n"),
    "a value becomes a table": ("[t]\na = 1 # x\nb = 2\n", {"t": {"a": {"c": 3}}}, "[t]\na = { c = 3 } # x\nb = 2\n"),
    "a table becomes a value": ("[t]\na = { c = 3 } # x\nb = 2\n", {"t": {"a": 1}}, "[t]\na = 1 # x\nb = 2\n"),
    "comments in an array": (
        "a = [ # first\n  # above\n  { n = 'x', v = 1 }, # x\n  { n = 'y' , v = 2 } # y\n] # last\n",
        {"a": [{"n": "x", "v": 1}, {"n": "y", "v": 3}]},
        "a = [ # first\n  # above\n  { n = 'x', v = 1 }, # x\n  { n = 'y' , v = 3 } # y\n] # last\n",
    ),
    "array of words": ("a = ['x', 'y'] # z\n", {"a": ["x", "w", "y"]}, "a = ['x', \"w\", 'y'] # z\n"),
    "nested arrays": (
        "a = [\n  [ 'x' ], # one\n  [ 'y', { n = 'z', v = 1 } ], # two\n]\n",
        {"a": [["x"], ["y", {"n": "z", "v": 2}]]},
        "a = [\n  [ 'x' ], # one\n  [ 'y', { n = 'z', v = 2 } ], # two\n]\n",
    ),
    "quoted keys": (
        '\'a.b\' = 1 # x\n["c \\" d"]\nx = 1\n',
        {"a.b": 2, 'c " d': {"x": 3}},
        '\'a.b\' = 2 # x\n["c \\" d"]\nx = 3\n',
    ),
}


def merged(old, new):
    """Return a description with another laid over it."""
    if not (isinstance(old, dict) and isinstance(new, dict)):
        return new
    return old | {k: merged(old.get(k), v) for k, v in new.items()}


@pytest.mark.parametrize("windows", [False, True], ids=["LF", "CRLF"])
@pytest.mark.parametrize(("text", "new", "expected"), CASES.values(), ids=CASES)
def test_a_change_is_that_change_and_no_other(text, new, expected, windows):
    old = leaves(tomllib.loads(text))
    if windows:
        text, expected = text.replace("\n", "\r\n"), expected.replace("\n", "\r\n")
    out = changed(text, old, merged(old, leaves(new)))
    assert leaves(tomllib.loads(out)) == merged(old, leaves(new))
    assert out == expected


@pytest.mark.parametrize("text", [AWKWARD, AWKWARD.replace("\n", "\r\n"), "", "# only words\n"])
def test_nothing_to_change_changes_nothing(text):
    assert changed(text, {"x": Leaf(1)}, {"x": Leaf(1)}) == text


def test_a_value_at_its_default_is_not_added_but_is_set_where_it_stands():
    leaf = Leaf(1.0, "count", 1.0)
    assert changed("a = 2\n", {"a": Leaf(2.0, "count", 1.0)}, {"a": leaf}) == "a = 1\n"
    assert changed("b = 2\n", {}, {"a": leaf}) == "b = 2\n"
    assert changed("b = 2\n", {}, {"t": {"a": leaf}}) == "b = 2\n"


def test_a_value_that_is_no_more_goes_with_its_line():
    assert changed("a = 1 # x\nb = 2 # y\n", {"a": Leaf(1.0, "count")}, {"a": Leaf(None, "count")}) == "b = 2 # y\n"
    assert changed("a = 1 # x\nb = 2 # y\n", {"a": Leaf(1.0, "count")}, {}) == "b = 2 # y\n"


@pytest.mark.parametrize(
    ("leaf", "now", "text"),
    [
        (Leaf(0.3, "length"), "12 cm", "30 cm"),
        (Leaf(0.3, "length"), 0.2, 0.3),
        (Leaf(3.0, "length"), 2, 3),
        (Leaf(33.0, "sound"), "32 dBA", "33 dB"),
        (Leaf((0.1, 0.2, 0.3), "position"), ["1 in", 0.1, "5 cm"], ["100 mm", 0.2, "30 cm"]),
        (Leaf((0.1, 0.2, 0.3), "position"), "nonsense", ["100 mm", "200 mm", "300 mm"]),
        (Leaf((0.0254, 0.2, 0.3), "position"), ["1.0 in", 0.1, "5 cm"], ["1.0 in", 0.2, "30 cm"]),
        (Leaf(((30.0, 0.3), (40.0, 0.8)), "points"), [["86.0 degF", 0.3]], [["86.0 degF", 0.3], ["40 degC", "80 %"]]),
        (
            Leaf(((20.0, 0.2), (30.0, 0.3), (41.0, 0.9)), "points"),
            [["86.0 degF", 0.3], [40, "80%"]],
            [["68 degF", 0.2], ["86.0 degF", 0.3], ["41 degC", "90 %"]],
        ),
        (
            Leaf(((30.0, 0.3), (41.0, 0.8)), "points"),
            [["86.0 degF", 0.3], [40, "80%"]],
            [["86.0 degF", 0.3], [41, "80%"]],
        ),
        (Leaf(((30.0, 0.3),), "points"), "nonsense", [["30 degC", "30 %"]]),
        (Leaf(("a", "b"), "texts"), ["a"], ["a", "b"]),
        (Leaf(True, "truth"), False, True),
        (Leaf(None, "count", 3.0), 3, "none"),
    ],
)
def test_a_value_takes_the_unit_of_what_stands_there(leaf, now, text):
    assert leaf.text(now) == text
    assert leaf.stands(text)
    assert not leaf.stands(now)


LISTED = """x = [
  "a",   # first
  "b",   # second
  # alone
  "c",
]   # end
"""


@pytest.mark.parametrize(
    ("names", "expected"),
    [
        (("a", "c"), LISTED.replace('  "b",   # second\n', "")),
        (("b", "c"), LISTED.replace('  "a",   # first\n', "")),
        (("a", "b"), LISTED.replace('  "c",\n', "")),
        (("a", "b", "c", "d"), LISTED.replace('"c",\n', '"c",\n  "d",\n')),
        (("a", "q", "b", "c"), LISTED.replace('  "b"', '  "q",\n  "b"')),
        (("z", "a", "b", "c"), LISTED.replace('  "a"', '  "z",\n  "a"')),
        (("a", "q", "c"), LISTED.replace('"b"', '"q"')),
        ((), "x = [\n  # alone\n]   # end\n"),
    ],
    ids=lambda v: " ".join(v) or "none" if isinstance(v, tuple) else "",
)
@pytest.mark.parametrize("ends", ["\n", "\r\n"], ids=["LF", "CRLF"])
def test_a_list_of_words_that_changes_keeps_the_lines_and_comments_of_what_stays(names, expected, ends):
    old, new = {"x": Leaf(("a", "b", "c"), "texts")}, {"x": Leaf(names, "texts")}
    assert changed(LISTED.replace("\n", ends), old, new) == expected.replace("\n", ends)


@settings(max_examples=200, deadline=None)
@given(old=st.lists(st.sampled_from("abcd")), new=st.lists(st.sampled_from("abcd")), lines=st.booleans())
def test_any_list_of_words_becomes_any_other(old, new, lines):
    entries = "".join(f'\n  "{e}",  # {n}' for n, e in enumerate(old)) + "\n" if lines else ", ".join(map(repr, old))
    after = changed(f"x = [{entries}] # end\n", {"x": Leaf(tuple(old), "texts")}, {"x": Leaf(tuple(new), "texts")})
    assert tomllib.loads(after) == {"x": new}
    assert after.endswith("] # end\n")


#: Comments right over heads, and some that only look like that.
OVER = '''# the file
[a]   # a
x = 1

  # of b
\t# and its lines
[b]
y = 1
words = """
# no comment"""
[c]   # c
#of d
[[d]]
#of the second

[[d]]
z = 2
# last
[e]'''


@pytest.mark.parametrize("ends", ["\n", "\r\n"], ids=["LF", "CRLF"])
@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ({}, {}, OVER),
        ({"a": {"x": Leaf(1.0, "count")}}, {"a": {"x": Leaf(2.0, "count")}}, OVER.replace("x = 1", "x = 2")),
        ({}, {"a": {"w": Leaf("new")}}, OVER.replace("x = 1\n\n", 'x = 1\nw = "new"\n\n')),
        ({}, {"c": {"w": Leaf("new")}}, OVER.replace("# c\n", '# c\nw = "new"\n')),
        ({"b": {}}, {}, OVER[: OVER.index("  # of b")] + OVER[OVER.index("[c]") :]),
        ({"a": {}}, {}, OVER[OVER.index("  # of b") :]),
    ],
    ids=["nothing", "a value", "a key more", "a key more in an empty table", "a table less", "the first table"],
)
def test_comments_right_over_the_head_of_a_table_belong_to_it(old, new, expected, ends):
    assert changed(OVER.replace("\n", ends), old, new) == expected.replace("\n", ends)

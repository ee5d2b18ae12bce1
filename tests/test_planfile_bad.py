"""Files that are no plan: each is told in words, on its line, all at once, and the file is left as it was."""

import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loopmath import InputError, load_plan
from loopmath.planfile import plan_of_text
from loopmath.plansave import described, text_of
from loopmath.reader import MOST_PROBLEMS, Problem, Problems
from loopmath.solution import solved

pytestmark = pytest.mark.usefixtures("each_text_once")

#: A small plan that is accepted; the faults are planted into it.
GOOD = """# A plan to plant faults in.
format = 2
title = "Small"

[room]
air = "22 degC"
height = "120 m"

[case]
air_over_room = "5 K"

[coolant]
kind = "water"

[tube]
part = "PETG 14/10 mm"

[parts.tank]
kind = "reservoir"
part = "tube reservoir, 250 mL"

[parts.pump]
kind = "pump"
part = "standard pump, 3.7 m"
speed = "70 %"

[parts.processor]
kind = "block"
part = "processor block, fine fins"
typical_heat = "140 W"
position = ["10 mm", "20 mm", "30 mm"]

[parts."front. radiator"]
kind = "radiator"
part = "3 x 120 mm, slim, medium fins"
fan = "quiet fan 120 mm, 1300 rpm"
fan_speed = "60 %"

[parts.meter]
kind = "inline"
part = "my meter"

[part_data.inline."my meter"]
kind_of_part = "flow meter"
quadratic = "0.4 kPa/(L/min)^2"

[loop]
order = [
  "tank",
  { dead_leg = "drain", length = "90 mm", purpose = "drain" },
  "pump",
  { run = "up", length = "380 mm", bends = 2, fittings = 1 },
  "meter",
  { parallel = [
    ["processor", { run = "left", length = "20 cm" }],
    [{ run = "right", length = "20 cm" }],
  ] },
  "front. radiator",
  { run = "down", length = "300 mm" },
]
"""
ORDER = GOOD[GOOD.index("order = [") :]


def load(tmp_path, raw: bytes | str):
    """Load a file of these bytes and make sure that nothing was written."""
    file = tmp_path / "mine.toml"
    file.write_bytes(raw.encode("utf-8") if isinstance(raw, str) else raw)
    before = file.read_bytes(), file.stat().st_mtime_ns
    try:
        return load_plan(file)
    finally:
        assert (file.read_bytes(), file.stat().st_mtime_ns) == before
        assert [p.name for p in tmp_path.iterdir()] == ["mine.toml"]


def refusal(tmp_path, raw) -> InputError:
    with pytest.raises(InputError) as caught:
        load(tmp_path, raw)
    return caught.value


def put(old: str, new: str) -> str:
    """Return the good plan with one stretch of its text replaced."""
    assert GOOD.count(old) == 1, (GOOD.count(old), old)
    return GOOD.replace(old, new)


def under(header: str, line: str) -> str:
    """Return the good plan with a line added below a table's header."""
    return put(f"[{header}]\n", f"[{header}]\n{line}\n")


def test_the_plan_the_faults_are_planted_in_is_accepted(tmp_path):
    assert load(tmp_path, GOOD).title == "Small"


# ----------------------------------------------------------------------------------------------- not a plan at all

RAW = {
    "no TOML": (GOOD.replace("[room]", "[room"), r"mine\.toml.*a TOML document.*line 5"),
    "a value without quotes": (put('"22 degC"', "22 degC"), r"a TOML document.*line 6"),
    "a quote that is not closed": (put('"22 degC"', '"22 degC'), r"a TOML document.*line 6"),
    "a list that is not closed": (GOOD[:-2], r"a TOML document"),
    "a key twice": (
        put('height = "120 m"', 'height = "120 m"\nheight = "130 m"'),
        r"a TOML document.*overwrite.*line 8",
    ),
    "a table twice": (put("[coolant]", "[room]"), r"a TOML document.*line 12"),
    "a part twice": (put("[parts.pump]", "[parts.tank]"), r"a TOML document.*line 22"),
    "latin-1": (put("Small", "Küche").encode("latin-1"), r"text in UTF-8.*Save it as UTF-8"),
    "utf-16": (GOOD.encode("utf-16"), r"text in UTF-8"),
    "utf-16 without a mark": (GOOD.encode("utf-16-le"), r"a TOML document"),
    "half a sign": (GOOD.encode() + b"# \xe2\x82", r"text in UTF-8"),
    "empty": (b"", r"format = 'missing'"),
    "only a comment": (b"# nothing yet\n", r"format = 'missing'"),
    "only a byte order mark": (b"\xef\xbb\xbf", r"format = 'missing'"),
    "a NUL byte": (GOOD.replace("Small", "Sm\0all"), r"a TOML document"),
    "10 MB": (GOOD + "#" + 10_000_000 * "x", r"10\.0 MB.*at most 1 MB.*Is it the right file"),
    "a picture": (b"\x89PNG\r\n\x1a\n" + bytes(range(256)), r"text in UTF-8"),
    "lists nested without end": (GOOD + "x = " + 5000 * "[" + 5000 * "]", r"nested too deeply"),
    "a number without end": (put('"22 degC"', 6000 * "1"), r"a TOML document.*number.*too long"),
    "a date that is none": (put('"22 degC"', "2026-02-31"), r"a TOML document.*line 6"),
}


@pytest.mark.parametrize(("raw", "words"), RAW.values(), ids=RAW)
def test_a_file_that_is_no_plan_is_refused_in_words_and_left_alone(tmp_path, raw, words):
    assert re.search(words, str(refusal(tmp_path, raw)), re.DOTALL)


def test_a_folder_a_missing_file_and_one_without_leave_to_read_are_told_apart(tmp_path, monkeypatch):
    for path, words in ((tmp_path, "a file, not a folder"), (tmp_path / "no.toml", "a file that exists")):
        with pytest.raises(InputError, match=words):
            load_plan(path)
    file = tmp_path / "closed.toml"
    file.write_text(GOOD)

    def refuse(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(type(file), "read_bytes", refuse)
    with pytest.raises(InputError, match=r"a file that can be read. The system says: .*Permission denied"):
        load_plan(file)


# ------------------------------------------------------------------------------------------------ one fault a file

UP = '{ run = "up", length = "380 mm", bends = 2, fittings = 1 }'
DRAIN = '{ dead_leg = "drain", length = "90 mm", purpose = "drain" }'
LEFT = '["processor", { run = "left", length = "20 cm" }]'
RIGHT = '[{ run = "right", length = "20 cm" }]'
DOWN = '{ run = "down", length = "300 mm" }'
METER = 'part = "my meter"\n'
GROUP = ORDER[ORDER.index("  { parallel") : ORDER.index('  "front. radiator"')]


def deep(levels: int) -> str:
    """Return a group inside of a group inside of a group."""
    inner = '{ run = "in0", length = "1 m" }'
    for n in range(1, levels):
        inner = f'{{ parallel = [[{inner}], [{{ run = "in{n}", length = "1 m" }}]] }}'
    return put('{ run = "right", length = "20 cm" }', inner)


#: Without its own [part_data]: the meter is one of the catalogue, DATA stands where other tables may stand.
DATA = put(GOOD[GOOD.index("[part_data") : GOOD.index("[loop]")], "DATA\n").replace(
    METER, 'part = "flow meter, wheel"\n'
)


RADIATOR = 'parts."front. radiator"'
REAR = '[case_fans.rear]\nfan = "quiet fan 120 mm, 1300 rpm"\n'
CHIPS = '[on_air.chips]\ncools = "drive"\ntypical_heat = "9 W"\n'
HUB = '[headers.hub]\nfeeds = ["pump", "rear"]\n'
CURVE = '[speed_curves.quiet]\ndrives = ["pump", "front. radiator"]\n'
TWO_POINTS = 'points = [["30 degC", "40 %"], ["40 degC", "80 %"]]\n'


def beside(text: str, of: str = GOOD) -> str:
    """Return the good plan with tables added beside its loop."""
    return of.replace("[loop]\n", f"{text}\n[loop]\n")


def two(first: str, second: str = "", third: str = "") -> str:
    """Return the good plan with two radiators more, "back" and "top", each of the three with its lines."""
    tables_ = ""
    for name, line in (("back", second), ("top", third)):
        tables_ += f'[parts.{name}]\nkind = "radiator"\npart = "3 x 120 mm, slim, medium fins"\n'
        tables_ += f'fan = "quiet fan 120 mm, 1300 rpm"\n{line}\n'
    return beside(tables_, under(RADIATOR, first)).replace(DOWN, f'"back", "top", {DOWN}')


#: What -> (the file, place that is named, words that follow).
FAULTS = {
    # versions
    "a version to come": (
        put("format = 2", "format = 3"),
        "format",
        "3 is not accepted. Accepted: 2, or an older one: 1",
    ),
    "version 0": (put("format = 2", "format = 0"), "format", "0"),
    "a version in words": (put("format = 2", 'format = "2"'), "format", "'2'"),
    "true for a version": (put("format = 2", "format = true"), "format", "True"),
    "a version with a point": (put("format = 2", "format = 2.0"), "format", "2.0"),
    "no version": (put("format = 2\n", ""), "format", "'missing'"),
    # unknown keys, each level
    "key of the top": (put('title = "Small"', 'titel = "Small"'), "titel", "'title'"),
    "table of the top": (put("[case]", "[cases]"), "cases", "'case'"),
    "key of the room": (under("room", 'heigth = "1 m"'), "room.heigth", "'height'"),
    "key of the case": (under("case", 'air_over_rom = "1 K"'), "case.air_over_rom", "air_over_room"),
    "key of the coolant": (
        under("coolant", "price_per_liter = 3"),
        "coolant.price_per_liter",
        "'price_per_litre'",
    ),
    "key of the tube": (under("tube", 'bor = "9 mm"'), "tube.bor", "'bore'"),
    "key of a part": (under("parts.pump", 'sped = "9 %"'), "parts.pump.sped", "'speed'"),
    "field of a part": (under("parts.pump", 'shutof_head = "3 m"'), "parts.pump.shutof_head", "'shutoff_head'"),
    "heat of version 1": (under("parts.processor", 'heat = "9 W"'), "parts.processor.heat", "typical_heat"),
    "field of another kind": (under("parts.tank", 'typical_heat = "9 W"'), "parts.tank.typical_heat", "Accepted:"),
    "key of the loop": (under("loop", "ordre = []"), "loop.ordre", "one of: 'order'"),
    "key of a run": (put(UP, UP.replace("bends", "bend")), "loop.order[3].bend", "'bends'"),
    "key of a dead leg": (put(DRAIN, DRAIN.replace("purpose", "purpos")), "loop.order[1].purpos", "'purpose'"),
    "fittings on a dead leg": (
        put(DRAIN, DRAIN.replace('purpose = "drain"', "fittings = 1")),
        "loop.order[1].fittings",
        "",
    ),
    "key of a group": (put("  ] },", "  ], lenght = 1 },"), "loop.order[5].lenght", "one of: 'parallel'"),
    "key of a fan's table": (
        put('fan = "quiet fan 120 mm, 1300 rpm"', 'fan = { part = "quiet fan 120 mm, 1300 rpm", fulrpm = 1 }'),
        "parts.front. radiator.fan.fulrpm",
        "'full_rpm'",
    ),
    "a note that is no text": (under("room", "note = 3"), "room.note", "text in quotes"),
    "kind in part_data": (DATA.replace("DATA", '[part_data.inlin."x"]'), "part_data.inlin", "inline"),
    "field in part_data": (put("quadratic", "linaer = 0\nquadratic"), "part_data.inline.my meter.linaer", "linear"),
    "text for part_data": (
        DATA.replace("DATA", "[part_data]\ninline = 3"),
        "part_data.inline",
        "3 is not accepted. Accepted: a table",
    ),
    "a part of part_data that is text": (
        DATA.replace("DATA", '[part_data.inline]\n"my meter" = 3'),
        "part_data.inline.my meter",
        "a table",
    ),
    # missing keys
    "no air": (
        put('air = "22 degC"\n', ""),
        "room.air",
        "'missing' is not accepted. Accepted: a value. Add this line.",
    ),
    "no coolant": (put('kind = "water"\n', ""), "coolant.kind", "'missing'"),
    "an empty coolant": (put('"water"', '""'), "coolant.kind", "''"),
    "no tube": (put('[tube]\npart = "PETG 14/10 mm"\n', ""), "tube.part", "'missing'"),
    "no kind": (put('kind = "reservoir"\n', ""), "parts.tank.kind", "'missing'"),
    "no part": (put('part = "standard pump, 3.7 m"\n', ""), "parts.pump.part", "'missing'"),
    "no heat": (put('typical_heat = "140 W"\n', ""), "parts.processor.typical_heat", "'missing'"),
    "no fan and no air flow": (
        put('fan = "quiet fan 120 mm, 1300 rpm"\n', ""),
        "parts.front. radiator.fan",
        "'missing'",
    ),
    "no length of a run": (put(DOWN, '{ run = "down" }'), "loop.order[7].length", "'missing'"),
    "no length of a dead leg": (put(DRAIN, '{ dead_leg = "drain" }'), "loop.order[1].length", "'missing'"),
    "no order": (GOOD.replace(ORDER, ""), "loop.order", "[]"),
    "an empty order": (GOOD.replace(ORDER, "order = []"), "loop.order", "[]"),
    "a field of part_data": (
        put('kind_of_part = "flow meter"\n', ""),
        "part_data.inline.my meter.kind_of_part",
        "'missing' is not accepted. Accepted: a value. A part of this kind needs: kind_of_part.",
    ),
    "a field of a part on the spot": (
        put('part = "standard pump, 3.7 m"', 'shutoff_head = "3 m"'),
        "parts.pump.runout_flow",
        "'missing'",
    ),
    # names
    "a part that is not in the catalogue": (
        put('"standard pump, 3.7 m"', '"standard pump, 3.8 m"'),
        "parts.pump.part",
        "'standard pump, 3.7 m'",
    ),
    "a name of another kind": (put('"standard pump, 3.7 m"', '"PETG 14/10 mm"'), "parts.pump.part", "'PETG 14/10 mm'"),
    "nearly the name of part_data": (put(METER, 'part = "my metre"\n'), "parts.meter.part", "my meter"),
    "an unknown tube": (put('part = "PETG 14/10 mm"', 'part = "PETG 14/10"'), "tube.part", "'PETG 14/10 mm'"),
    "an unknown tube of a run": (put(DOWN, DOWN.replace(" }", ', part = "glas" }')), "loop.order[7].part", "'glas'"),
    "an unknown fan": (put("1300 rpm", "1310 rpm"), "parts.front. radiator.fan", "quiet fan 120 mm, 1300 rpm"),
    "an unknown coolant": (put('"water"', '"watr"'), "coolant.kind", "water"),
    "an unknown kind": (put('kind = "pump"', 'kind = "pmup"'), "parts.pump.kind", "pump"),
    "the kind of a tube": (put('kind = "pump"', 'kind = "tube"'), "parts.pump.kind", "'tube'"),
    "an unknown name in the order": (put('  "tank"', '  "tnak"'), "loop.order[0]", "'tank'"),
    "an unknown name in a branch": (put(LEFT, '["procesor"]'), "loop.order[5].parallel[0][0]", "'processor'"),
    "a part that is not in the order": (
        under("room", "") + '[parts.spare]\nkind = "reservoir"\npart = "tube reservoir, 250 mL"',
        "parts.spare",
        "'not in loop.order'",
    ),
    "a part twice in the order": (
        put(DOWN, '"tank"'),
        "loop.order[7]",
        "'tank' is not accepted. Accepted: each name once",
    ),
    "a part in two branches": (put(RIGHT, '["processor"]'), "loop.order[5].parallel[1][0]", "each name once"),
    "a run's name twice": (
        put('"down"', '"up"'),
        "loop.order[7].run",
        "'up' is not accepted. Accepted: each name once",
    ),
    "a run's and a dead leg's name": (put('"down"', '"drain"'), "loop.order[7].run", "each name once"),
    "a run's name in two branches": (put('run = "right"', 'run = "left"'), "loop.order[5].parallel[1][0].run", "once"),
    "a run named as a part": (put('"down"', '"meter"'), "loop.order[7].run", "A part of [parts] is called that."),
    "air from elsewhere": (
        put('fan_speed = "60 %"', 'air = "outdoors"'),
        "parts.front. radiator.air",
        "one of: room, case",
    ),
    "an unknown purpose": (
        put('"drain" },', '"wash" },'),
        "loop.order[1].purpose",
        "one of: 'drain', 'fill', 'gauge', 'other'",
    ),
    "an unknown metal of fittings": (under("tube", 'fitting_metal = "bras"'), "tube.fitting_metal", "brass"),
    "an unknown metal of a run": (
        put(DOWN, DOWN.replace(" }", ', fitting_metal = "bras" }')),
        "loop.order[7].fitting_metal",
        "brass",
    ),
    "an unknown metal beside": (
        under("coolant", 'also_wetted = ["copper", "coper"]'),
        "coolant.also_wetted[1]",
        "copper",
    ),
    "an unknown metal of a part": (under("parts.pump", 'metal = "coper"'), "parts.pump.metal", "copper"),
    "an unknown metal in part_data": (
        put("quadratic", 'metal = "coper"\nquadratic'),
        "part_data.inline.my meter.metal",
        "copper",
    ),
    "an unknown metal of tanks": (under(RADIATOR, 'tank_metal = "bras"'), "parts.front. radiator.tank_metal", "brass"),
    "an unknown plating": (
        under("tube", 'fitting_metal = "nikel plate over brass"'),
        "tube.fitting_metal",
        "'nikel plate' is not accepted. Accepted: a known name; nearest: 'nickel plate'",
    ),
    "an unknown metal under a plating": (
        under("coolant", 'also_wetted = ["nickel plate over bras"]'),
        "coolant.also_wetted[0]",
        "'bras' is not accepted. Accepted: a known name; nearest: 'brass'",
    ),
    "a plating on a plating": (
        under("tube", 'fitting_metal = "nickel plate over tin plate"'),
        "tube.fitting_metal",
        "a solid metal under the plating; tin plate is a plating itself. Write what the coolant touches, then",
    ),
    "a metal that is no plating on another": (
        under("coolant", 'also_wetted = ["silver", "copper over brass"]'),
        "coolant.also_wetted[1]",
        "a plating on top; copper is none",
    ),
    "a metal plated with itself": (
        put("quadratic", 'metal = "zinc plate over zinc casting"\nquadratic'),
        "part_data.inline.my meter.metal",
        "two metals; zinc plate and zinc casting are one",
    ),
    "a plating the wrong way round": (
        under("parts.pump", 'metal = "brass over nickel plate"'),
        "parts.pump.metal",
        "a plating on top; brass is none",
    ),
    "no metal of fittings": (under("tube", 'fitting_metal = ""'), "tube.fitting_metal", "'' is not accepted"),
    "an unknown plastic": (under("tube", 'material = "petg2"'), "tube.material", "'PETG'"),
    "no plastic": (under("tube", 'material = ""'), "tube.material", "'' is not accepted. Accepted: one of: 'PETG'"),
    "an unknown plastic of a tank": (under("parts.tank", 'material = "PMMMA"'), "parts.tank.material", "PMMA"),
    "a softening temperature that is a difference": (
        under("tube", 'heat_deflection = "70 delta_degC"'),
        "tube.heat_deflection",
        "a temperature, such as",
    ),
    "a channel as wide as a bottle": (
        under("parts.processor", 'channel = "3 cm"'),
        "parts.processor.channel",
        "0.03 is not accepted. Accepted: 1e-05 to 0.01 m",
    ),
    "a wetted length": (under("parts.pump", 'wetted_area = "3 cm"'), "parts.pump.wetted_area", "'360 mm^2'"),
    # treatment, joints, house rules
    "an unknown treatment": (
        under("coolant", 'treatment = "inhibitor"'),
        "coolant.treatment",
        "'inhibitor and biocide'",
    ),
    "a treatment like nothing else": (
        under("coolant", 'treatment = "zzz"'),
        "coolant.treatment",
        "one of: 'none', 'biocide', 'inhibitor and biocide'",
    ),
    "unknown surroundings": (
        under("coolant", 'surroundings = "salty"'),
        "coolant.surroundings",
        "one of: 'controlled', 'normal', 'harsh'",
    ),
    "an unknown seal": (beside('[joints]\nseal = "EPMD"'), "joints.seal", "'EPDM'"),
    "a seal that is no rubber": (beside('[joints]\nseal = "PMMA"'), "joints.seal", "'PMMA' is not accepted"),
    "an unknown edge": (
        beside('[joints]\nedge = "not yet"'),
        "joints.edge",
        "'not yet' is not accepted. Accepted: one of: 'sharp', 'deburred', 'chamfered'.",
    ),
    "an unknown aid": (beside('[joints]\naid = "butter"'), "joints.aid", "'butter'"),
    "an unknown cleaner": (beside('[joints]\ncleaner = "aceton"'), "joints.cleaner", "'acetone'"),
    "a ring squeezed flat": (
        beside('[joints]\nsqueeze = "60 %"'),
        "joints.squeeze",
        "0.6 is not accepted. Accepted: 0 to 0.45 of its section",
    ),
    "a squeeze in millimetres": (beside('[joints]\nsqueeze = "0.3 mm"'), "joints.squeeze", "'55 %' or 0.55"),
    "a ring as thick as a thumb": (
        beside('[joints]\nsection = "2 cm"'),
        "joints.section",
        "0.02 is not accepted. Accepted: 0.0005 to 0.01 m",
    ),
    "more rings than an end holds": (
        beside("[joints]\nrings = 5"),
        "joints.rings",
        "5.0 is not accepted. Accepted: 0 to 4",
    ),
    "a hot spot that is a temperature": (
        under("case", 'hot_spot = "10 degC"'),
        "case.hot_spot",
        "a difference is not a temperature",
    ),
    "a key of the joints": (beside('[joints]\nring = "2 mm"'), "joints.ring", "'rings'"),
    "a house rule without a condition": (
        beside('[house_rules.mine]\nsignal = "danger"'),
        "house_rules.mine.when",
        "'missing' is not accepted. Accepted: a value. Add this line.",
    ),
    "a condition that is no text": (
        beside("[house_rules.mine]\nwhen = 3"),
        "house_rules.mine.when",
        "3 is not accepted. Accepted: text in quotes",
    ),
    "a key of a house rule": (
        beside('[house_rules.mine]\nwhen = "loop flow below 1 L/min"\nsignl = "danger"'),
        "house_rules.mine.signl",
        "'signal'",
    ),
    "a house rule that is a word": (
        beside('[house_rules]\nmine = "loop flow below 1 L/min"'),
        "house_rules.mine",
        "a table of lines",
    ),
    # numbers
    "negative heat": (
        put('"140 W"', '"-140 W"'),
        "parts.processor.typical_heat",
        "-140.0 is not accepted. Accepted: 0 to 3000 W",
    ),
    "absurd heat": (put('"140 W"', '"140 MW"'), "parts.processor.typical_heat", "140000000.0"),
    "peak heat below nothing": (under("parts.processor", "peak_heat = -1"), "parts.processor.peak_heat", "-1.0"),
    "NaN": (put('"140 W"', "nan"), "parts.processor.typical_heat", "nan"),
    "infinite": (put('"140 W"', "inf"), "parts.processor.typical_heat", "inf"),
    "NaN in words": (put('"140 W"', '"nan W"'), "parts.processor.typical_heat", "'nan W'"),
    "too large for a float": (put('"140 W"', '"1e999 W"'), "parts.processor.typical_heat", "finite"),
    "a number of 400 digits": (put('"140 W"', 400 * "9"), "parts.processor.typical_heat", "99999"),
    "a number of 8000 digits in hex": (
        put('"140 W"', "0x" + 8000 * "f"),
        "parts.processor.typical_heat",
        "not so long",
    ),
    "hot room": (put('"22 degC"', '"60 degC"'), "room.air", "60.0 is not accepted. Accepted: 5 to 45 degC"),
    "height in space": (put('"120 m"', '"120 km"'), "room.height", "120000.0"),
    "negative length": (
        put('"380 mm"', '"-380 mm"'),
        "loop.order[3].length",
        "-0.38 is not accepted. Accepted: 0 to 50 m",
    ),
    "speed over all": (put('"70 %"', '"170 %"'), "parts.pump.speed", "1.7"),
    "negative bends": (put("bends = 2", "bends = -2"), "loop.order[3].bends", "-2.0"),
    "a field out of range": (
        under("parts.pump", 'shutoff_head = "900 m"'),
        "parts.pump.shutoff_head",
        "0 to 100 m of head",
    ),
    "a bore wider than the tube": (under("tube", 'bore = "20 mm"'), "tube.outside", "more than the bore"),
    "a bore of a run wider than it": (
        put(DOWN, DOWN.replace(" }", ', bore = "20 mm" }')),
        "loop.order[7].outside",
        "more than the bore",
    ),
    "out of range in part_data": (put('"0.4 kPa', '"-0.4 kPa'), "part_data.inline.my meter.quadratic", "0 to 1e+16"),
    "a budget below nothing": (put("[tube]", "[limits]\nbudget = -1\n[tube]"), "limits.budget", "-1.0"),
    # units
    "no unit": (put('"22 degC"', '"22"'), "room.air", "'25 degC' or '77 degF'"),
    "watts for a temperature": (put('"22 degC"', '"22 W"'), "room.air", "degF"),
    "a difference for a temperature": (put('"22 degC"', '"22 delta_degC"'), "room.air", "a temperature"),
    "a temperature for a difference": (
        put('"5 K"', '"5 degC"'),
        "case.air_over_room",
        "a difference is not a temperature",
    ),
    "Fahrenheit for a difference": (put('"5 K"', '"9 degF"'), "case.air_over_room", "Write K or delta_degF"),
    "an area for a length": (put('"380 mm"', '"380 mm^2"'), "loop.order[3].length", "'12 mm' or '1/2 in'"),
    "an unknown unit": (put('"380 mm"', '"380 furlongish"'), "loop.order[3].length", "a unit that is known"),
    "a unit for a count": (put("bends = 2", 'bends = "2 m"'), "loop.order[3].bends", "a plain number"),
    "pressure for a head": (under("parts.pump", 'shutoff_head = "3 kPa"'), "parts.pump.shutoff_head", "'3.2 m'"),
    "one power of flow too few": (
        put("kPa/(L/min)^2", "kPa/(L/min)"),
        "part_data.inline.my meter.quadratic",
        "(L/min)^2",
    ),
    # types
    "a number for a title": (put('"Small"', "3"), "title", "3 is not accepted. Accepted: text in quotes"),
    "a list for a heat": (put('"140 W"', '["140 W"]'), "parts.processor.typical_heat", "one value"),
    "a table for a heat": (put('"140 W"', "{ w = 140 }"), "parts.processor.typical_heat", "one value"),
    "true for a heat": (put('"140 W"', "true"), "parts.processor.typical_heat", "True"),
    "a date for a heat": (put('"140 W"', "2026-01-02"), "parts.processor.typical_heat", "a number"),
    "text for a table": (put('[room]\nair = "22 degC"\nheight = "120 m"\n', 'room = "warm"\n'), "room", "a table"),
    "text for a part": (
        GOOD.replace('[parts.tank]\nkind = "reservoir"\npart = "tube reservoir, 250 mL"', '[parts]\ntank = "x"'),
        "parts.tank",
        "a table",
    ),
    "text for the order": (GOOD.replace(ORDER, 'order = "tank"'), "loop.order", "a list of elements"),
    "a number in the order": (put(DOWN, "3"), "loop.order[7]", "3 is not accepted. Accepted: a part's name, or one of"),
    "a list in the order": (put(DOWN, '["tank"]'), "loop.order[7]", "a part's name, or one of"),
    "an empty table in the order": (put(DOWN, "{ }"), "loop.order[7]", "a part's name, or one of"),
    "text for a branch": (put(RIGHT, '"x"'), "loop.order[5].parallel[1]", "a list of elements"),
    "a number for a run's name": (put('run = "down"', "run = 3"), "loop.order[7].run", "text in quotes"),
    "yes for true": (under("tube", 'rigid = "yes"'), "tube.rigid", "true or false"),
    "text for a list": (under("coolant", 'also_wetted = "copper"'), "coolant.also_wetted", "a list of texts"),
    "a position in words": (put('["10 mm", "20 mm", "30 mm"]', '"left"'), "parts.processor.position", "three lengths"),
    "a position of two numbers": (
        put('["10 mm", "20 mm", "30 mm"]', '["10 mm", "20 mm"]'),
        "parts.processor.position",
        "three",
    ),
    "a position with a watt": (put('"20 mm", "30', '"20 W", "30'), "parts.processor.position[1]", "'12 mm'"),
    "a position with a list": (put('"20 mm", "30', '[0.02], "30'), "parts.processor.position[1]", "one value"),
    "a very long value": (put('"140 W"', '"' + 3000 * "x" + '"'), "parts.processor.typical_heat", "…"),
    # the tree
    "no pump": (
        put('[parts.pump]\nkind = "pump"\npart = "standard pump, 3.7 m"\nspeed = "70 %"\n', "").replace(
            '  "pump",\n', ""
        ),
        "loop.order",
        "'no pump' is not accepted. Accepted: at least one pump.",
    ),
    "an empty group": (put(DOWN, "{ parallel = [] }"), "loop.order[7].parallel", "two branches or more"),
    "text for branches": (put(DOWN, '{ parallel = "x" }'), "loop.order[7].parallel", "two branches or more"),
    "one branch only": (
        put(f"    {RIGHT},\n", ""),
        "loop.order[5].parallel",
        "'1 branch(es)' is not accepted. Accepted: two",
    ),
    "an empty branch": (
        put(RIGHT, "[]"),
        "loop.order[5].parallel[1]",
        "[] is not accepted. Accepted: a list of elements",
    ),
    "a dead leg alone in a branch": (
        put(RIGHT, '[{ dead_leg = "right", length = "1 m" }]'),
        "loop.order[5].parallel",
        "a branch with an element in it",
    ),
    "a dead leg that holds elements": (
        put(DRAIN, DRAIN.replace(" }", ', order = ["tank"] }')),
        "loop.order[1].order",
        "Nothing flows through a dead leg.",
    ),
    "both run and dead leg": (
        put(DOWN, DOWN.replace(" }", ', dead_leg = "x" }')),
        "loop.order[7]",
        "one of: a run, a dead_leg",
    ),
    "groups eleven deep": (
        deep(12),
        "loop.order[5].parallel[1][0]" + 9 * ".parallel[0][0]" + ".parallel",
        "10 deep at most",
    ),
    # fans
    "a fan of another size": (
        put("quiet fan 120 mm, 1300 rpm", "quiet fan 140 mm, 1100 rpm"),
        "parts.front. radiator.fan",
        "a fan of 120 mm",
    ),
    "a fan's table without a part": (
        put('fan = "quiet fan 120 mm, 1300 rpm"', "fan = {}"),
        "parts.front. radiator.fan.part",
        "'missing'",
    ),
    "a fan out of range": (
        put('"quiet fan 120 mm, 1300 rpm"', '{ part = "quiet fan 120 mm, 1300 rpm", exponent = 9 }'),
        "parts.front. radiator.fan.exponent",
        "1 to 6",
    ),
    # the case
    "case air by a word unknown": (under("case", 'air = "guessed"'), "case.air", "one of: 'given', 'balance'"),
    "negative openings": (
        under("case", 'vents = "-1 cm^2"'),
        "case.vents",
        "-0.0001 is not accepted. Accepted: 0 to 1 m2",
    ),
    "openings as a length": (under("case", 'vents = "3 cm"'), "case.vents", "'360 mm^2'"),
    "no air in the case": (
        under("case", 'volume = "0 L"'),
        "case.volume",
        "0.0 is not accepted. Accepted: 0.001 to 2 m3",
    ),
    "negative heat in the case": (under("case", 'other_heat = "-1 W"'), "case.other_heat", "0 to 3000 W"),
    "walls that take watts": (under("case", 'wall_loss = "4 W"'), "case.wall_loss", "'12 W/K'"),
    # fans of the case
    "a word for the table of case fans": (put("[room]\n", "case_fans = 3\n[room]\n"), "case_fans", "a table of lines"),
    "a word for a case fan": (put("[room]\n", "case_fans.rear = 3\n[room]\n"), "case_fans.rear", "a table of lines"),
    "a case fan that blows aside": (
        beside(REAR + 'blows = "left"'),
        "case_fans.rear.blows",
        "'left' is not accepted. Accepted: one of: 'in', 'out'",
    ),
    "no case fan": (
        beside(REAR + "count = 0"),
        "case_fans.rear.count",
        "0.0 is not accepted. Accepted: 1 to 20.",
    ),
    "a case fan faster than it can": (
        beside(REAR + 'speed = "140 %"'),
        "case_fans.rear.speed",
        "1.4 is not accepted. Accepted: 0 to 1 of full speed",
    ),
    "a case fan without a fan": (beside("[case_fans.rear]"), "case_fans.rear.fan", "'missing'"),
    "an unknown case fan": (beside(REAR.replace("1300", "1310")), "case_fans.rear.fan", "quiet fan 120 mm, 1300 rpm"),
    "a key of a case fan": (beside(REAR + 'sped = "9 %"'), "case_fans.rear.sped", "'speed'"),
    "a key of a case fan's fan": (
        beside('[case_fans.rear]\nfan = { part = "quiet fan 120 mm, 1300 rpm", powr = "1 W" }'),
        "case_fans.rear.fan.powr",
        "'power'",
    ),
    "a case fan called as a part": (
        beside(REAR.replace("rear", "pump")),
        "case_fans.pump",
        "each name once. Give every part a name of its own.",
    ),
    "a case fan called as a run": (beside(REAR.replace("rear", "left")), "case_fans.left", "each name once"),
    "a case fan called as an opening": (beside(REAR.replace("rear", "openings")), "case_fans.openings", "of its own"),
    "an air flow of its own behind another radiator": (
        two("", 'air = "front. radiator"').replace(
            'fan = "quiet fan 120 mm, 1300 rpm"\nair =', 'air_flow_each = "40 m^3/h"\nair ='
        ),
        "parts.back.air_flow_each",
        "Accepted: 0. It stands close to others: the air the fans of front. radiator move passes it, too.",
    ),
    # parts on air
    "a part on air called as a figure of the answer": (
        beside(CHIPS.replace("chips", "sound")),
        "on_air.sound",
        "'sound' is not accepted. Accepted: a name of its own. Answers call something else so",
    ),
    "a block called as a figure of the answer": (
        GOOD.replace("parts.processor", "parts.heat").replace('"processor"', '"heat"'),
        "parts.heat",
        "'heat' is not accepted. Accepted: a name of its own.",
    ),
    "a part on air called as a case fan": (beside(REAR + CHIPS.replace("chips", "rear")), "on_air.rear", "each name"),
    "a part on air called as a part": (beside(CHIPS.replace("chips", "processor")), "on_air.processor", "each name"),
    "an unknown thing on air": (
        beside(CHIPS.replace('"drive"', '"drives"')),
        "on_air.chips.cools",
        "'drive'",
    ),
    "a part on air without heat": (beside("[on_air.chips]"), "on_air.chips.typical_heat", "'missing'"),
    "a part on air of negative heat": (
        beside(CHIPS.replace("9 W", "-9 W")),
        "on_air.chips.typical_heat",
        "0 to 3000 W",
    ),
    "a part on air that cools itself": (
        beside(CHIPS + "resistance = -1"),
        "on_air.chips.resistance",
        "0 to 20 K/W",
    ),
    "a resistance in watts": (beside(CHIPS + 'resistance = "3 W"'), "on_air.chips.resistance", "'0.05 K/W'"),
    "an unknown block for a part on air": (
        beside(CHIPS + 'block = "drive block, one flat"'),
        "on_air.chips.block",
        "'drive block, one flat drive'",
    ),
    "a key of a part on air": (beside(CHIPS + 'heat = "9 W"'), "on_air.chips.heat", "typical_heat"),
    # headers
    "two headers for one pump": (
        beside(REAR + HUB + '[headers.board]\nfeeds = ["pump"]'),
        "headers.board.feeds[0]",
        "'pump' is not accepted. Accepted: each on one header; hub feeds it too. Take it off one of the two.",
    ),
    "one header for a pump twice": (
        beside(REAR + HUB.replace('"rear"', '"pump"')),
        "headers.hub.feeds",
        "each name once",
    ),
    "a header that feeds a run": (
        beside(HUB.replace('"rear"', '"left"')),
        "headers.hub.feeds[1]",
        "A header feeds pumps, radiators with fans and fans of the case.",
    ),
    "a header that feeds a name misspelled": (
        beside(REAR + HUB.replace('"pump"', '"front radiator"')),
        "headers.hub.feeds[0]",
        "'front. radiator'",
    ),
    "a header that feeds a radiator without fans": (
        beside(HUB.replace('"rear"', '"front. radiator"')).replace(
            'fan = "quiet fan 120 mm, 1300 rpm"', 'air_flow_each = "40 m^3/h"'
        ),
        "headers.hub.feeds[1]",
        "radiators with fans",
    ),
    "a header that feeds a word": (beside('[headers.hub]\nfeeds = "pump"'), "headers.hub.feeds", "a list of texts"),
    "a header that feeds a number": (beside("[headers.hub]\nfeeds = [3]"), "headers.hub.feeds", "a list of texts"),
    "a header that says nothing": (beside("[headers.hub]"), "headers.hub.feeds", "'missing'"),
    "a rating in watts": (beside(REAR + HUB + 'rating = "3 W"'), "headers.hub.rating", "'1 A' or '850 mA'"),
    "a header of mains voltage": (
        beside(REAR + HUB + 'volts = "230 V"'),
        "headers.hub.volts",
        "230.0 is not accepted. Accepted: 1 to 60 V",
    ),
    # speed curves
    "a curve without points": (beside(CURVE), "speed_curves.quiet.points", "'missing'"),
    "a curve of a word": (beside(CURVE + 'points = "steep"'), "speed_curves.quiet.points", "a list; each entry is a"),
    "a curve of no points": (beside(CURVE + "points = []"), "speed_curves.quiet.points", "two points or more"),
    "a curve of one point": (
        beside(CURVE + 'points = [["30 degC", "40 %"]]'),
        "speed_curves.quiet.points",
        "two points or more",
    ),
    "a point that is no pair": (
        beside(CURVE + TWO_POINTS.replace('"30 degC", ', "")),
        "speed_curves.quiet.points[0]",
        "['40 %'] is not accepted. Accepted: a temperature and a speed, such as",
    ),
    "a point of three": (
        beside(CURVE + TWO_POINTS.replace('"80 %"', '"80 %", "9 %"')),
        "speed_curves.quiet.points[1]",
        "a temperature and a speed",
    ),
    "a point that is one value": (
        beside(CURVE + TWO_POINTS.replace('["40 degC", "80 %"]', '"40 degC"')),
        "speed_curves.quiet.points[1]",
        "'40 degC' is not accepted. Accepted: a temperature and a speed",
    ),
    "a point the other way round": (
        beside(CURVE + TWO_POINTS.replace('"40 degC", "80 %"', '"80 degC", "40 degC"')),
        "speed_curves.quiet.points[1][1]",
        "'55 %' or 0.55",
    ),
    "a difference for the temperature of a point": (
        beside(CURVE + TWO_POINTS.replace("40 degC", "40 delta_degC")),
        "speed_curves.quiet.points[1][0]",
        "a temperature, such as",
    ),
    "a speed that falls": (
        beside(CURVE + TWO_POINTS.replace("80 %", "30 %")),
        "speed_curves.quiet.points[1][1]",
        "'0.4 then 0.3' is not accepted. Accepted: none slower than the one before. A fan that slows",
    ),
    "a point that is cooler than the one before": (
        beside(CURVE + TWO_POINTS.replace("40 degC", "29 degC")),
        "speed_curves.quiet.points[1][0]",
        "'30 then 29' is not accepted. Accepted: each warmer than the one before.",
    ),
    "one point too warm amid points that rise": (
        beside(CURVE + TWO_POINTS.replace("]]", '], ["90 degC", "85 %"], ["42 degC", "90 %"], ["45 degC", "95 %"]]')),
        "speed_curves.quiet.points[3][0]",
        "'90 then 42'",
    ),
    "two points at one temperature": (
        beside(CURVE + TWO_POINTS.replace("40 degC", "30 degC")),
        "speed_curves.quiet.points[1][0]",
        "each warmer",
    ),
    "the first point beyond its range": (
        beside(CURVE + TWO_POINTS.replace("30 degC", "-30 degC")),
        "speed_curves.quiet.points[0][0]",
        "-30.0 is not accepted. Accepted: -20 to 150 degC",
    ),
    "the last point faster than full speed": (
        beside(CURVE + TWO_POINTS.replace("80 %", "180 %")),
        "speed_curves.quiet.points[1][1]",
        "1.8 is not accepted. Accepted: 0 to 1 of full speed",
    ),
    "a curve that drives a name misspelled": (
        beside(CURVE.replace("pump", "pumpe") + TWO_POINTS),
        "speed_curves.quiet.drives[0]",
        "'pumpe' is not accepted. Accepted: one of: 'pump', 'front. radiator'.",
    ),
    "a curve that drives a block": (
        beside(CURVE.replace("pump", "processor") + TWO_POINTS),
        "speed_curves.quiet.drives[0]",
        "A curve drives pumps, radiators with fans and fans of the case.",
    ),
    "a curve that drives a radiator without fans": (
        beside(CURVE + TWO_POINTS).replace('fan = "quiet fan 120 mm, 1300 rpm"', 'air_flow_each = "40 m^3/h"'),
        "speed_curves.quiet.drives[1]",
        "radiators with fans",
    ),
    "a curve that drives nothing": (
        beside("[speed_curves.quiet]\ndrives = []\n" + TWO_POINTS),
        "speed_curves.quiet.drives",
        "one name or more",
    ),
    "a curve that does not say what it drives": (
        beside("[speed_curves.quiet]\n" + TWO_POINTS),
        "speed_curves.quiet.drives",
        "'missing'",
    ),
    "a curve that drives a pump twice": (
        beside(CURVE.replace('"front. radiator"', '"pump"') + TWO_POINTS),
        "speed_curves.quiet.drives[1]",
        "Take it off once.",
    ),
    "two curves for one pump": (
        beside(CURVE + TWO_POINTS + '[speed_curves.loud]\ndrives = ["pump"]\n' + TWO_POINTS),
        "speed_curves.loud.drives[0]",
        "'pump' is not accepted. Accepted: each on one curve; quiet drives it too. Take it off one of the two.",
    ),
    "a curve that follows a name misspelled": (
        beside(CURVE + TWO_POINTS + 'sensor = "procesor"'),
        "speed_curves.quiet.sensor",
        "'processor'",
    ),
    "a curve that follows a pump": (
        beside(CURVE + TWO_POINTS + 'sensor = "pump"'),
        "speed_curves.quiet.sensor",
        "'coolant', 'case', 'processor'",
    ),
    "a curve that follows a number": (
        beside(CURVE + TWO_POINTS + "sensor = 3"),
        "speed_curves.quiet.sensor",
        "text in quotes",
    ),
    "a hysteresis that is a temperature": (
        beside(CURVE + TWO_POINTS + 'hysteresis = "2 degC"'),
        "speed_curves.quiet.hysteresis",
        "a difference is not a temperature",
    ),
    "a hysteresis below nothing": (
        beside(CURVE + TWO_POINTS + 'hysteresis = "-2 K"'),
        "speed_curves.quiet.hysteresis",
        "-2.0 is not accepted. Accepted: 0 to 30 K",
    ),
    "a key of a curve": (beside(CURVE + TWO_POINTS + "point = 3"), "speed_curves.quiet.point", "'points'"),
    "a curve that is a list": (
        beside('[speed_curves]\nquiet = ["pump"]'),
        "speed_curves.quiet",
        "a table of lines",
    ),
    "a heat capacity in joules": (
        under("parts.processor", 'heat_capacity = "90 J"'),
        "parts.processor.heat_capacity",
        "'60 J/K'",
    ),
    "a heat capacity of nothing": (
        under("parts.processor", 'heat_capacity = "0 J/K"'),
        "parts.processor.heat_capacity",
        "0.0 is not accepted. Accepted: 0.1 to 100000 J/K",
    ),
    # what blows where
    "a radiator that blows up": (
        under(RADIATOR, 'blows = "up"'),
        "parts.front. radiator.blows",
        "'up' is not accepted. Accepted: one of: 'room', 'case'",
    ),
    "fans on a side unknown": (
        under(RADIATOR, 'fan_side = "left"'),
        "parts.front. radiator.fan_side",
        "'push', 'pull'",
    ),
    "air from itself": (
        under(RADIATOR, 'air = "front. radiator"'),
        "parts.front. radiator.air",
        "'front. radiator' is not accepted. Accepted: one of: room, case.",
    ),
    "air from a radiator misspelled": (
        two('air = "bakc"'),
        "parts.front. radiator.air",
        "one of: room, case, back, top. The name of a radiator means close behind it.",
    ),
    "air from a pump": (two('air = "pump"'), "parts.front. radiator.air", "one of: room, case, back, top"),
    "radiators that stand behind each other": (
        two('air = "back"', 'air = "front. radiator"'),
        "parts.front. radiator.air",
        "a ring",
    ),
    "two radiators behind one": (
        two('air = "top"', 'air = "top"'),
        "parts.back.air",
        "front. radiator",
    ),
    "more fans of another speed than positions": (
        under(RADIATOR, "second_fans = 4"),
        "parts.front. radiator.second_fans",
        "4.0 is not accepted. Accepted: at most its 3 fan positions",
    ),
    "two speeds in a row of radiators": (
        two("second_fans = 1", 'air = "front. radiator"'),
        "parts.front. radiator.second_fans",
        "Run all fans of a radiator in a row at one speed.",
    ),
    "fans behind the core faster than they can": (
        under(RADIATOR, 'pull_speed = "140 %"'),
        "parts.front. radiator.pull_speed",
        "1.4",
    ),
}


@pytest.mark.parametrize(("raw", "place", "words"), FAULTS.values(), ids=FAULTS)
def test_one_fault_is_one_problem_told_with_its_place_and_line(tmp_path, raw, place, words):
    problem = refusal(tmp_path, raw)
    assert isinstance(problem, Problem), str(problem)
    told = str(problem)
    assert re.match(rf"(line \d+: )?{re.escape(place)} = ", told), told
    assert words in told


OPEN_RULES = {
    "a bad signal word": (
        'signal = "shout"\nwhen = "loop flow below 90 L/min"',
        "signal",
        "one of: 'danger', 'warning'",
    ),
    "an unknown quantity": ('when = "lop flow below 90 L/min"', "quantity", "'loop flow'"),
    "a wrong unit": ('when = "loop flow below 90 degC"', "limit", "'3.5 L/min'"),
    "no comparison": ('when = "loop flow 90 L/min"', "comparison", "one of: 'above'"),
    "a second clause that is wrong": (
        'when = "loop flow below 90 L/min and inhibitor is 3"',
        "limit",
        "one of: 'yes', 'no'",
    ),
    "nothing at all": ('when = ""', "quantity", "Such as: loop flow below 1 L/min"),
}


@pytest.mark.parametrize(("lines", "what", "words"), OPEN_RULES.values(), ids=OPEN_RULES)
def test_a_house_rule_that_cannot_be_judged_is_told_and_all_others_are_judged(tmp_path, lines, what, words):
    fine = '[house_rules.fine]\nwhen = "loop flow below 90 L/min"\nsignal = "notice"\n'
    plan = load(tmp_path, beside(f"[house_rules.odd]\n{lines}\n{fine}"))
    without = solved(plan_of_text(GOOD, Path("a.toml"))).warned()
    said = [row for row in solved(plan).warned() if row not in without]
    assert sorted(row.signal for row in said) == ["notice", "warning"]
    (told,), (judged,) = ([row for row in said if row.signal == s] for s in ("warning", "notice"))
    assert told.quantity == f"house rule odd, {what} cannot be judged"
    assert words in told.why
    assert (judged.quantity, judged.where) == ("loop flow (your rule: fine)", "loop")


def test_a_house_rule_without_a_condition_is_told_on_the_line_of_its_table(tmp_path):
    text = beside('[house_rules.mine]\nsignal = "danger"')
    problem = refusal(tmp_path, text)
    assert problem.line == text[: text.index("[house_rules.mine]")].count("\n") + 1


def test_a_very_long_value_is_told_by_its_beginning(tmp_path):
    for value in (f'"{3000 * "x"}"', f"[{3000 * '1,'}]", "0x" + 9000 * "f", f"[0x{9000 * 'f'}]"):
        assert len(str(refusal(tmp_path, put('"140 W"', value)))) < 400


def test_ten_groups_inside_of_each_other_are_accepted(tmp_path):
    assert load(tmp_path, deep(10)).title == "Small"


# ------------------------------------------------------------------------------------------- all of them, with lines

#: "#! place" ends each line that has a fault in it, and names the place the problem is told at.
PLANTED = r"""# Faults on marked lines only.
format = 2
notes = QQQ
[parts.pump]
speed = "900 %"   this is a text, not a table
  [room]
QQQ
title = 3                                            #! title

[room]
air = "60 degC"                                      #! room.air
height = "99 km"                                     #! room.height
"lis tener" = "1 m"                                  #! room.lis tener
note = SSS
[limits]
air = "60 degC"
SSS

[case]
air_over_room = "5 degC"                             #! case.air_over_room
[coolant]
kind = "watr"                                        #! coolant.kind
also_wetted = [ # a list
  "copper",
  "coper",                                           #! coolant.also_wetted[1]
]
limits.sound = "3 m"                                 #! coolant.limits
treatment = "biocides"                               #! coolant.treatment
surroundings = 3                                     #! coolant.surroundings

[tube]
part = "PETG 14/10 mm"
bore = "60 mm"                                       #! tube.bore

fitting_metal = "nickel plate over tin plate"        #! tube.fitting_metal

[joints] # all wrong but one
seal = "EPMD"                                        #! joints.seal
section = "9 kg"                                     #! joints.section
squeeze = "60 %"                                     #! joints.squeeze
rings = 2
edge = "sawn"                                        #! joints.edge

[house_rules]
silent.signal = "notice"                             #! house_rules.silent.when
[house_rules.'a # b']
when = "no such thing" # told beside an answer
why = ["hot"]                                        #! house_rules.a # b.why

[parts]
tank = { kind = "reservoir", part = "no tank" }      #! parts.tank.part
pump.kind = "pump"
pump.part = "standard pump, 3.7 m"
pump.speed = "170 %"                                 #! parts.pump.speed

[parts."front. \"radiator\""]
kind = "radiator"
part = "3 x 120 mm, slim, medium fins"
fan_speed = "700 %"                                  #! parts.front. "radiator".fan_speed
air = "outdoors"                                     #! parts.front. "radiator".air

[parts."front. \"radiator\"".fan]
part = "quiet fan 120 mm, 1300 rpm"
exponent = 0.5                                       #! parts.front. "radiator".fan.exponent

[parts.'it']
kind = "inline"
part = "meter"

[case_fans]
"tank" = { fan = "quiet fan 120 mm, 1300 rpm" }      #! case_fans.tank
rear.fan.part = "quiet fan 120 mm, 1300 rpm"
rear.fan.size = "9 m"                                #! case_fans.rear.fan.size
rear.count = 0                                       #! case_fans.rear.count
[on_air."[headers.x]"]
typical_heat = "5 W"
block = "drive blok"                                 #! on_air.[headers.x].block
[headers.'a b']
feeds = [ "pump", # on both
  "rear", "left",                                    #! headers.a b.feeds[2]
]
[headers.second]
feeds = ["pump"]                                     #! headers.second.feeds[0]
volts = "1 A"                                        #! headers.second.volts
[speed_curves]
fast.hysteresis = "99 K"                             #! speed_curves.fast.hysteresis
fast.sensor = "rear"                                 #! speed_curves.fast.sensor
fast.drives = [ "rear",
  "rear fan",                                        #! speed_curves.fast.drives[1]
]
fast.points = [ # a ] in a comment
  ["-40 degC", "10 %"],                              #! speed_curves.fast.points[0][0]
  ["30 degC", "30 %"], [ "35 degC",
    "20 %" ],                                        #! speed_curves.fast.points[2][1]
  ["34 degC", "40 %"],                               #! speed_curves.fast.points[3][0]
  "35 degC", # no pair                               #! speed_curves.fast.points[4]
  [ "36 K/W",                                        #! speed_curves.fast.points[5][0]
    "50 W" ],                                        #! speed_curves.fast.points[5][1]
  ["38 degC", "140 %"],                              #! speed_curves.fast.points[6][1]
  ["39 degC", "60 %"],
]

[loop]
order = [ "tank", # [ a bracket in a comment
  { dead_leg = "drain ]", length = "90 mm" },
  "pump", { run = "a", length = "1 m" },
  { run = "up", length = "-380 mm", bends = 2 },     #! loop.order[4].length
  { run = "out", length = "380 mm", bends = -2 },    #! loop.order[5].bends
  { parallel = [
    [ { run = "left", length = "20 cm" },
      { run = "left", length = "20 cm" } ],          #! loop.order[6].parallel[0][1].run
    [],                                              #! loop.order[6].parallel[1]
  ] },
  QQQfront. "radiator"\
  QQQ, "it",
  { run = "down", lenght = "300 mm", length = 1 }    #! loop.order[9].lenght
]

[part_data.inline.meter]                             #! part_data.inline.meter.kind_of_part
quadratic = "0.4 kPa/(L/min)"                        #! part_data.inline.meter.quadratic
""".replace("QQQ", '"""').replace("SSS", "'''")


def marked(text: str) -> list[tuple[int, str]]:
    lines = enumerate(text.replace("\r\n", "\n").split("\n"), start=1)
    return [(number, line.partition("#! ")[2]) for number, line in lines if "#! " in line]


VARIANTS = {
    "as it is": PLANTED.encode(),
    "CRLF": PLANTED.replace("\n", "\r\n").encode(),
    "byte order mark": b"\xef\xbb\xbf" + PLANTED.encode(),
    "both": b"\xef\xbb\xbf" + PLANTED.replace("\n", "\r\n").encode(),
    "lines that only Python sees": PLANTED.replace('"drain ]"', '"drain \u2028\u0085 ]"').encode(),
    "more above": ("#\n" * 50 + PLANTED).encode(),
}


@pytest.mark.parametrize("raw", VARIANTS.values(), ids=VARIANTS)
def test_every_fault_is_told_at_once_on_its_line_and_in_the_order_of_the_file(tmp_path, raw):
    problems = refusal(tmp_path, raw)
    assert isinstance(problems, Problems)
    expected = marked(raw.decode("utf-8-sig"))
    assert [(p.line, p.field) for p in problems.problems] == expected
    assert f"{len(expected)} problems" in str(problems)
    assert f"and {len(expected) - MOST_PROBLEMS} more" in str(problems)
    for number, (line, place) in enumerate(expected[:MOST_PROBLEMS], start=1):
        assert f"({number}) line {line}: {place} = " in str(problems)


EIGHT = [
    ("format = 2", "format = 3", "format"),
    ('"22 degC"', '"99 degC"', "room.air"),
    ('"5 K"', '"5 degC"', "case.air_over_room"),
    ('"70 %"', '"-70 %"', "parts.pump.speed"),
    ('"140 W"', '"140 J"', "parts.processor.typical_heat"),
    ("fan_speed", "fan_sped", "parts.front. radiator.fan_sped"),
    ('"0.4 kPa/(L/min)^2"', '"lots"', "part_data.inline.my meter.quadratic"),
    ('"300 mm"', '"300 m"', "loop.order[7].length"),
]


def test_eight_planted_are_eight_told_in_file_order(tmp_path):
    text = GOOD
    for old, new, _ in EIGHT:
        assert text.count(old) == 1
        text = text.replace(old, new)
    problems = refusal(tmp_path, text).problems
    assert [p.field for p in problems] == [place for _, _, place in EIGHT]
    assert [p.line for p in problems] == sorted(p.line for p in problems)
    shown = text.split("\n")
    assert all(new in shown[p.line - 1] for p, (_, new, _) in zip(problems, EIGHT, strict=True))


@pytest.mark.parametrize("left_out", range(8))
def test_any_seven_of_them_are_seven(tmp_path, left_out):
    text, kept = GOOD, [e for n, e in enumerate(EIGHT) if n != left_out]
    for old, new, _ in kept:
        text = text.replace(old, new)
    assert [p.field for p in refusal(tmp_path, text).problems] == [place for _, _, place in kept]


def test_more_problems_than_a_page_holds_are_counted_and_the_first_of_the_file_are_told(tmp_path):
    unknown = "".join(f"unknown_{n} = {n}\n" for n in range(60))
    problems = refusal(tmp_path, put("[tube]\n", f"[tube]\n{unknown}").replace('"300 mm"', '"-300 mm"'))
    assert len(problems.problems) == 61
    assert [p.line for p in problems.problems[:60]] == list(range(16, 76))
    assert "(40) line 55: tube.unknown_39 = " in str(problems)
    assert "(41)" not in str(problems)
    assert "and 21 more" in str(problems)


def test_a_bad_part_of_ones_own_is_told_once_and_not_at_every_use(tmp_path):
    text = put('"0.4 kPa/(L/min)^2"', '"-0.4 kPa/(L/min)^2"')
    text = text.replace("[loop]", '[parts.second]\nkind = "inline"\npart = "my meter"\n[loop]').replace(
        '"meter",', '"meter", "second",'
    )
    assert refusal(tmp_path, text).field == "part_data.inline.my meter.quadratic"


# ------------------------------------------------------------------------------------------------ slips of the hand

PIECES = [line + "\n" for line in GOOD.split("\n")] + [
    "[",
    "]",
    "{",
    "}",
    '"',
    "'",
    '"""',
    "=",
    ".",
    ",",
    "#",
    "\\",
    "-",
    "0",
]


@settings(max_examples=400, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_any_slip_of_the_hand_ends_in_words_or_in_a_plan_that_can_be_saved(data):
    text = GOOD
    for _ in range(data.draw(st.integers(1, 3))):
        start = data.draw(st.integers(0, len(text)))
        stop = data.draw(st.sampled_from([start, start, start + 1, start + 7, text.find("\n", start) + 1]))
        text = text[:start] + data.draw(st.sampled_from(PIECES) | st.text(max_size=4)) + text[max(start, stop) :]
    plan, refusal = None, None
    try:
        plan = plan_of_text(text, Path("a.toml"))
    except InputError as caught:
        refusal = caught
    if plan is None:
        lines = text.count("\n") + 1
        assert all(p.line is None or 1 <= p.line <= lines for p in getattr(refusal, "problems", []))
        return
    assert text_of(plan) == text
    again = plan_of_text(text_of(plan.set(room_air=17.5)), Path("a.toml"))
    assert described(again) == described(plan.set(room_air=17.5))

"""
Currents on headers, by hand: power is voltage times current, so I = P / U.

The definition is that of the International Electrotechnical Vocabulary (IEC 60050-131, from memory). Powers are those
of data/pumps.csv and data/fans.csv, ratings those of data/headers.csv (common practice, no source, except where a test
says otherwise).
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopmath import InputError, catalogue, demo_plan, electrical, rules, tables
from loopmath import loop as tree
from loopmath.case import CaseFans, Header

DEMO = demo_plan()
HUB = Header("hub", rating=4.5, volts=12.0, start=1.5, feeds=("front radiator", "top radiator"))
REAR = CaseFans("rear fans", catalogue.part("fan", "radiator fan 140 mm, 1700 rpm"), count=2.0)


def fact(plan, where: str, words: str):
    (value,) = (f for f in electrical.facts(plan) if f.where == where and f.quantity.startswith(words))
    return value


def on_hub(plan):
    return next(load for load in electrical.loads(plan) if load.header.name == "hub")


def fired(plan) -> list[tuple[str, str]]:
    return [(rule.id, f.where) for rule, f, _ in rules.firings(electrical.facts(plan))]


# ------------------------------------------------------------------------------------------------------- by hand


def test_the_powers_used_by_hand_are_those_of_the_demo_and_its_tables():
    pump, front, top = tables.by_name("pumps.csv"), *(u.fan for u in DEMO.units(tree.RadiatorUnit))
    row = pump[DEMO.units(tree.PumpUnit)[0].pump.name]
    assert (row["power_shutoff_w"], row["power_runout_w"]) == (11.0, 18.0)
    assert (front.power, top.power, REAR.fan.power) == (1.1, 1.2, 2.9)
    assert [int(u.fans) for u in DEMO.units(tree.RadiatorUnit)] == [3, 2]
    usual = tables.by_name("headers.csv")
    assert [(usual[k]["rating_A"], usual[k]["volts_V"], usual[k]["start"]) for k in ("fan header", "pump header")] == [
        (1.0, 12.0, 1.5),
        (2.0, 12.0, 1.5),
    ]


def test_a_part_on_no_header_is_judged_on_one_of_its_own_and_the_table_says_so():
    table = electrical.table(replace(DEMO, case_fans=(REAR,)))
    assert list(table.columns) == [
        "header",
        "feeds",
        "power [W]",
        "running [A]",
        "starting [A]",
        "rating [A]",
        "share of rating [%]",
        "what it says",
    ]
    # By hand: 18 W / 12 V; 3 x 1.1 W / 12 V; 2 x 1.2 W / 12 V; 2 x 2.9 W / 12 V; half as much again while starting.
    by_hand = [
        ("pump header", "pump", 18.0, 1.5, 2.25, 2.0, 75.0),
        ("fan header", "fans of front radiator (3)", 3.3, 0.275, 0.4125, 1.0, 27.5),
        ("fan header", "fans of top radiator (2)", 2.4, 0.2, 0.3, 1.0, 20.0),
        ("fan header", "rear fans (2)", 5.8, 0.48333333333333, 0.725, 1.0, 48.333333333333),
    ]
    assert len(table) == len(by_hand) + 1
    for row, hand in zip(table.itertuples(index=False), by_hand, strict=False):
        assert tuple(row[:2]) == hand[:2]
        assert list(row[2:7]) == pytest.approx(hand[2:], rel=1e-12)
        assert row[7] == "not stated: judged on a header of its own"
    last = table.iloc[-1]
    assert last["header"] == "all on 12 V"
    # 18 + 3.3 + 2.4 + 5.8 W, and that over 12 V.
    assert last["power [W]"] == pytest.approx(29.5, rel=1e-12)
    assert last["running [A]"] == pytest.approx(29.5 / 12, rel=1e-12)
    assert last["starting [A]"] == pytest.approx(1.5 * 29.5 / 12, rel=1e-12)
    assert np.isnan(last["rating [A]"])
    assert last["what it says"] == "sum at full speed"


def test_a_header_carries_all_that_hangs_on_it():
    plan = replace(DEMO, headers=(HUB,))
    load = on_hub(plan)
    # 3 x 1.1 W + 2 x 1.2 W = 5.7 W on 12 V.
    assert float(load.power) == pytest.approx(5.7, rel=1e-12)
    assert float(load.running) == pytest.approx(0.475, rel=1e-12)
    assert float(load.share) == pytest.approx(0.475 / 4.5, rel=1e-12)
    table = electrical.table(plan)
    assert table["header"].tolist() == ["hub", "pump header", "all on 12 V"]
    assert table["feeds"][0] == "fans of front radiator (3), fans of top radiator (2)"
    assert table["what it says"][0] == ""


def test_sharing_out_changes_no_sum():
    alone, together = (electrical.table(p).iloc[-1] for p in (DEMO, replace(DEMO, headers=(HUB,))))
    assert alone["power [W]"] == pytest.approx(together["power [W]"], rel=1e-12)
    assert alone["running [A]"] == pytest.approx(together["running [A]"], rel=1e-12)


@pytest.mark.parametrize(("ends", "most"), [((11.0, 18.0), 18.0), ((18.0, 11.0), 18.0), ((9.0, 9.0), 9.0)])
def test_a_pump_counts_with_the_greatest_power_of_its_curve(ends, most):
    plan = DEMO.set(**{"pump.power_shutoff": ends[0], "pump.power_runout": ends[1]})
    (unit,) = plan.units(tree.PumpUnit)
    assert float(electrical.loads(plan)[0].power) == most
    # The curve itself, at full speed, seen at a hundred places from no flow to run-out.
    assert np.max(unit.pump.power(np.linspace(0, unit.pump.runout_flow, 100), 1.0)) == pytest.approx(most, rel=1e-12)


def test_full_speed_counts_whatever_the_speed_now():
    slow = replace(DEMO.set(pump_speed=0.3, fan_speed=0.0), headers=(HUB,))
    fast = replace(DEMO.set(pump_speed=1.0, fan_speed=1.0), headers=(HUB,))
    assert electrical.table(slow).equals(electrical.table(fast))
    (unit,) = (u for u in fast.units(tree.RadiatorUnit) if u.name == "front radiator")
    assert float(unit.fan_power()) == pytest.approx(3.3, rel=1e-12)  # the element's own word for it at full speed


def test_fans_before_and_behind_the_core_are_all_on_the_header():
    plan = DEMO.set(**{"front radiator.fans_in_series": 2})
    assert electrical.table(plan)["feeds"][1] == "fans of front radiator (6)"
    assert electrical.table(plan)["running [A]"][1] == pytest.approx(6 * 1.1 / 12, rel=1e-12)


def test_the_start_factor_multiplies_the_running_current():
    for start in (1.0, 2.0, 3.5):
        load = on_hub(replace(DEMO, headers=(replace(HUB, start=start),)))
        assert float(load.starting) == pytest.approx(start * 0.475, rel=1e-12)
        assert float(load.running) == pytest.approx(0.475, rel=1e-12)


def test_a_hub_on_a_power_plug_carries_three_contacts_of_one_and_a_half_ampere():
    # Serial ATA, revision 3: 1.5 A a contact, three contacts at 12 V (from memory).
    assert electrical.header("h", "hub on a drive power plug").rating == pytest.approx(3 * 1.5, rel=1e-12)


def test_a_hub_on_a_fan_header_has_no_more_than_the_header():
    assert electrical.header("h", "hub on a fan header").rating == electrical.header("h", "fan header").rating == 1.0


def test_a_headers_own_numbers_win_over_those_of_its_kind():
    mine = electrical.header("left", "fan header", ["front radiator"], rating=3.0, start=None)
    assert (mine.name, mine.rating, mine.volts, mine.start, mine.feeds) == ("left", 3.0, 12.0, 1.5, ("front radiator",))


def test_other_voltages_have_a_sum_of_their_own():
    pump = electrical.header("converter", "step-up converter to 24 V", ["pump"])
    table = electrical.table(replace(DEMO, headers=(pump,)))
    assert table["header"].tolist()[-2:] == ["all on 24 V", "all on 12 V"]
    assert table["running [A]"][0] == pytest.approx(18 / 24, rel=1e-12)
    assert table["power [W]"].tolist()[-2:] == pytest.approx([18.0, 5.7], rel=1e-12)


# ------------------------------------------------------------------------------------------------- what is not known


def test_a_part_without_power_in_its_data_has_no_current():
    plan = DEMO.set(**{"front radiator.power": 0.0, "pump.power_shutoff": 0.0, "pump.power_runout": 0.0})
    table = electrical.table(plan)
    for line, name in ((0, "pump"), (1, "fans of front radiator")):
        assert table.iloc[line][["power [W]", "running [A]", "starting [A]", "share of rating [%]"]].isna().all()
        said = f"not stated: judged on a header of its own; no power in its data: {name}"
        assert table["what it says"][line] == said
    assert np.isnan(table["power [W]"].iloc[-1])
    assert table["what it says"].iloc[-1] == "sum at full speed; not known: a part has no power in its data"
    assert np.isnan(fact(plan, "pump (header not stated)", "current").value)
    assert fired(plan) == []


def test_what_is_known_can_be_too_much_without_the_rest():
    # 2 x 1.2 W / 12 V = 0.2 A of the top radiator; the front one's fans are not known.
    plan = DEMO.set(**{"front radiator.power": 0.0})
    for rating, rule in ((0.19, ["header-over"]), (0.24, ["header-near"]), (0.3, [])):
        tight = replace(plan, headers=(replace(HUB, rating=rating),))
        assert np.isnan(on_hub(tight).running)
        assert [name for name, where in fired(tight) if where == "hub"] == rule


def test_a_radiator_whose_air_flow_is_given_has_no_fans_to_feed():
    plan = DEMO.with_loop(lambda e: replace(e, fan=None) if e.name == "top radiator" else e)
    assert electrical.table(plan)["header"].tolist() == ["pump header", "fan header", "all on 12 V"]
    with pytest.raises(InputError, match="top radiator"):
        electrical.loads(replace(plan, headers=(HUB,)))


# ------------------------------------------------------------------------------------------------------- many designs


def test_designs_of_an_array_are_those_of_each_alone():
    counts = np.array([1.0, 2.0, 3.0, 8.0])
    powers = np.array([0.0, 2.0, 5.0, 7.0])
    pumps = np.array([10.0, 20.0, 24.0, 48.0])
    ratings = np.array([0.5, 1.0, 2.0, 4.5])

    def made(count, power, pump, rating):
        group = CaseFans("rear fans", replace(REAR.fan, power=power), count=count)
        hub = Header("hub", rating=rating, start=1.5, feeds=("rear fans", "front radiator"))
        return replace(DEMO.set(**{"pump.power_runout": pump}), case_fans=(group,), headers=(hub,))

    together = electrical.loads(made(counts, powers, pumps, ratings))
    many = electrical.facts(made(counts, powers, pumps, ratings))
    for n, design in enumerate(zip(counts, powers, pumps, ratings, strict=True)):
        alone = electrical.loads(made(*map(float, design)))
        assert [load.where for load in alone] == [load.where for load in together]
        for one, all_ in zip(alone, together, strict=True):
            for name in ("power", "running", "starting", "share", "at_least"):
                value = np.broadcast_to(getattr(all_, name), 4)[n]
                assert value == pytest.approx(float(getattr(one, name)), rel=1e-12, nan_ok=True), (name, n)
        for one, all_ in zip(electrical.facts(made(*map(float, design))), many, strict=True):
            assert (one.quantity, one.where) == (all_.quantity, all_.where)
            assert np.broadcast_to(all_.value, 4)[n] == pytest.approx(float(one.value), rel=1e-12, nan_ok=True)
    # By hand: 18 W becomes the greater of 11 W at shut-off and what is set at run-out, over 12 V.
    pump = next(load for load in together if load.where == "pump (header not stated)")
    assert pump.running.tolist() == pytest.approx([11 / 12, 20 / 12, 2.0, 4.0], rel=1e-12)


def test_warnings_are_counted_design_by_design():
    # A fan of 6 W takes half an ampere: one is half a fan header's rating, two all of it, three and four too much.
    group = CaseFans("rear fans", replace(REAR.fan, power=6.0), count=np.array([1.0, 2.0, 3.0, 4.0]))
    counts = rules.counts(electrical.facts(replace(DEMO, case_fans=(group,))), 4)
    assert counts["warning"].tolist() == [0, 0, 1, 1]
    assert counts["caution"].tolist() == [0, 1, 0, 0]


def test_a_table_is_of_one_design():
    for plan in (
        replace(DEMO, case_fans=(replace(REAR, count=np.array([1.0, 2.0])),)),
        replace(DEMO, headers=(replace(HUB, rating=np.array([1.0, 2.0])),)),
    ):
        with pytest.raises(InputError, match="one design"):
            electrical.table(plan)


@given(
    st.lists(st.tuples(st.integers(1, 12), st.floats(0.1, 10.0)), min_size=1, max_size=4),
    st.integers(0, 3),
    st.floats(0.1, 10.0),
    st.floats(5.0, 24.0),
)
def test_adding_a_fan_never_lowers_a_headers_share(groups, which, rating, volts):
    fans = [CaseFans(f"fans {n}", replace(REAR.fan, power=p), count=float(c)) for n, (c, p) in enumerate(groups)]
    hub = Header("hub", rating, volts, 1.5, tuple(f.name for f in fans))
    plan = replace(DEMO, case_fans=tuple(fans), headers=(hub,))
    more = [replace(f, count=f.count + 1) if n == which % len(fans) else f for n, f in enumerate(fans)]
    before, after = on_hub(plan), on_hub(replace(plan, case_fans=tuple(more)))
    assert after.share > before.share
    assert after.starting > before.starting
    # Another group plugged in, whatever it is.
    new = replace(plan, case_fans=(*fans, REAR), headers=(replace(hub, feeds=(*hub.feeds, "rear fans")),))
    assert on_hub(new).share > before.share
    # Unplugged, it is on a header of its own, and the hub has what it had.
    assert on_hub(replace(plan, case_fans=(*fans, REAR))).share == before.share


# ------------------------------------------------------------------------------------------------------------- rules


@pytest.mark.parametrize(
    ("rating", "start", "found"),
    [
        # 0.475 A run; each limit from either side. 80 % of 0.59375 A is 0.475 A; 1.5 x 0.475 / 0.475 is 150 %.
        (0.47, 1.5, ["header-over"]),
        (0.47, 9.0, ["header-over"]),
        (0.59, 1.5, ["header-near"]),
        (0.60, 1.5, []),
        (0.60, 1.89, []),
        (0.60, 1.90, ["header-start"]),
        (0.59, 1.90, ["header-near", "header-start"]),
        (4.5, 1.5, []),
    ],
)
def test_the_rules_speak_where_a_header_carries_too_much_and_only_there(rating, start, found):
    plan = replace(DEMO, headers=(replace(HUB, rating=rating, start=start),))
    assert fired(plan) == [(name, "hub") for name in found]
    said = electrical.table(plan)["what it says"][0]
    words = {"header-over": "warning: current", "header-near": "caution: share", "header-start": "caution: starting"}
    assert [name for name, start_of in words.items() if start_of in said] == found


def test_an_overloaded_header_is_a_warning_with_its_amperes():
    plan = replace(DEMO, headers=(replace(HUB, rating=0.4),))
    value = fact(plan, "hub", "current on a header against its rating")
    assert (float(value.value), value.limit) == (pytest.approx(0.475, rel=1e-12), 0.4)
    ((rule, _, _),) = rules.firings([value])
    assert rule.signal == "warning"
    for word in ("unplug", "board", "decides"):
        assert word in rule.action


def test_a_part_whose_header_is_not_stated_warns_under_its_own_name():
    # 27 W / 12 V = 2.25 A on a pump header of 2 A.
    plan = DEMO.set(pump="strong pump, 5.1 m")
    assert fired(plan) == [("header-over", "pump (header not stated)")]
    plug = electrical.header("plug", "drive power plug", ["pump"])
    assert fired(replace(plan, headers=(plug,))) == []


def test_the_demo_has_nothing_to_be_said_of_its_headers():
    assert fired(DEMO) == []


# --------------------------------------------------------------------------------------------------------- bad input


@pytest.mark.parametrize("name", ["processor", "frnt radiator", "reservoir", ""])
def test_what_a_header_cannot_feed_is_refused_by_its_name(name):
    with pytest.raises(InputError, match="hub, feeds") as caught:
        electrical.loads(replace(DEMO, headers=(replace(HUB, feeds=("pump", name)),)))
    assert caught.value.value == name


def test_a_part_hangs_on_one_header():
    other = Header("other", feeds=("pump", "top radiator"))
    with pytest.raises(InputError, match="other, feeds") as caught:
        electrical.loads(replace(DEMO, headers=(HUB, other)))
    assert caught.value.value == "top radiator"


def test_two_headers_bear_two_names():
    with pytest.raises(InputError, match="each name once"):
        electrical.loads(replace(DEMO, headers=(HUB, replace(HUB, feeds=("pump",)))))


@pytest.mark.parametrize(("kind", "own"), [("fan socket", {}), ("fan header", {"rating": -1.0})])
def test_an_unknown_kind_and_a_number_out_of_range_are_refused(kind, own):
    with pytest.raises(InputError):
        electrical.header("left", kind, **own)


def test_every_kind_of_the_table_is_a_header():
    for kind, row in tables.by_name("headers.csv").items():
        made = electrical.header("mine", kind)
        assert (made.rating, made.volts, made.start) == (row["rating_A"], row["volts_V"], row["start"])
    assert {electrical.PUMP_HEADER, electrical.FAN_HEADER} <= set(tables.by_name("headers.csv"))

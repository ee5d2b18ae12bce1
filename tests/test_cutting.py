"""Plans of cuts: what a saw can do, as few bars as brute force finds, what is proven and what is not."""

import inspect
import itertools
import math
import re
from functools import cache

import numpy as np
import pytest
from scipy.optimize import OptimizeResult

from loopmath import cutting as module
from loopmath.checks import InputError
from loopmath.cutting import Piece, Stock, cutting, patterns
from loopmath.tables import by_name

#: How patterns come about: listed at once, made one by one, or made and then listed.
WAYS = {"listed": (400, 10_000), "made": (0, 0), "made, then listed": (0, 10_000)}


@pytest.fixture(params=WAYS)
def way(request, monkeypatch):
    few, most = WAYS[request.param]
    monkeypatch.setattr(module, "FEW_PATTERNS", few)
    monkeypatch.setattr(module, "MOST_PATTERNS", most)
    return request.param


def pieces_of(lengths, count=1):
    """Return pieces of so many mm, called a, b, c, ..."""
    return [Piece(chr(97 + n) if n < 26 else f"p{n}", length / 1e3, count) for n, length in enumerate(lengths)]


def obeys(plan, pieces, stocks, kerf):
    """Assert that a saw can do it: every piece once, within its bar, a kerf from the next; what is left is right."""
    assert sorted(name for bar in plan.bars for name, *_ in bar.cuts) == sorted(
        piece.name for piece in pieces for _ in range(piece.count)
    )
    length = {piece.name: piece.length for piece in pieces}
    for stock, *cuts in [(bar.stock, *bar.cuts) for bar in plan.bars]:
        assert stock in stocks
        assert cuts
        assert cuts[0][1] == 0.0
        assert cuts[-1][2] <= stock.length
        assert all(stop - start == pytest.approx(length[name], abs=2e-9) for name, start, stop in cuts)
        assert all(b[1] - a[2] == pytest.approx(kerf, abs=2e-9) for a, b in itertools.pairwise(cuts))
        assert all(length[a[0]] >= length[b[0]] for a, b in itertools.pairwise(cuts))
    for bar in plan.bars:
        assert bar.offcut == pytest.approx(max(0.0, bar.stock.length - bar.cuts[-1][2] - kerf), abs=2e-9)
    for stock in stocks:
        if stock.available is not None:
            assert sum(bar.stock == stock for bar in plan.bars) <= sum(s.available for s in stocks if s == stock)


def brute(lengths, stocks, kerf):
    """
    Return (fewest bars, least stock, longest offcut) in mm by trying every split of the pieces; None if none can be.

    `stocks` are (length, how many). One bar after the other takes any set of pieces that holds the first one left.
    """

    def needs(group):
        return sum(lengths[n] for n in group) + kerf * (len(group) - 1)

    @cache
    def best(left, there):
        """Return every (bars, stock) -> longest offcut with which the pieces left can be cut."""
        if not left:
            return {(0, 0): 0}
        first, *others = left
        found = {}
        for k in range(len(others) + 1):
            for more in itertools.combinations(others, k):
                need = needs((first, *more))
                for s, (length, _) in enumerate(stocks):
                    if there[s] and need <= length:
                        rest = best(
                            tuple(n for n in others if n not in more), (*there[:s], there[s] - 1, *there[s + 1 :])
                        )
                        for (bars, stock), offcut in rest.items():
                            key, value = (bars + 1, stock + length), max(offcut, length - need - kerf, 0)
                            found[key] = max(found.get(key, 0), value)
        return found

    found = best(tuple(range(len(lengths))), tuple(n for _, n in stocks))
    return (*min(found), found[min(found)]) if found else None


def instance(seed):
    """Return whole lengths of up to seven pieces, stocks (length, how many), and a kerf, all in mm."""
    rng = np.random.default_rng(seed)
    lengths = rng.integers(90, 421, rng.integers(3, 8)).tolist()
    stocks = [(500, 9), (1000, 9)] if seed % 3 else [(430, int(rng.integers(0, 4))), (700, int(rng.integers(1, 4)))]
    return lengths, stocks[: 1 + seed % 2] if seed % 3 else stocks, int(rng.integers(0, 4))


def cut(lengths, stocks, kerf, **how):
    given = [Stock(length / 1e3, available=n) for length, n in stocks]
    return cutting(pieces_of(lengths), given, kerf / 1e3, **how)


# ---------------------------------------------------------------------------------------------------- optimal


@pytest.mark.parametrize("seed", range(50))
def test_small_plans_are_as_good_as_brute_force(seed, way):
    lengths, stocks, kerf = instance(seed)
    truth = brute(lengths, stocks, kerf)
    if truth is None:
        with pytest.raises(InputError, match=r"stock, available|too long"):
            cut(lengths, stocks, kerf)
        return
    plan = cut(lengths, stocks, kerf)
    obeys(plan, pieces_of(lengths), [Stock(length / 1e3, available=n) for length, n in stocks], kerf / 1e3)
    bars, stock, offcut = truth
    assert plan.bound <= bars <= len(plan.bars)
    if way != "made":
        assert (plan.bound, plan.proven) == (bars, True)
    if plan.proven:
        assert (len(plan.bars), round(1e3 * plan.stock, 6)) == (bars, stock)
    if way == "listed":
        assert max(bar.offcut for bar in plan.bars) == pytest.approx(offcut / 1e3, abs=1e-9)
    assert math.isclose(plan.offcut, sum(bar.offcut for bar in plan.bars))


def test_brute_force_is_split_as_by_hand():
    """240 + 155 + 90 with two kerfs are 491, 175 + 110 + 100 + 80 with three 474, a kerf more of 500: 23 left."""
    assert brute([240, 175, 155, 110, 100, 90, 80], [(500, 9)], 3) == (2, 1000, 23)
    assert brute([300, 300], [(500, 9), (1000, 9)], 3) == (1, 1000, 394)
    assert brute([300, 300], [(500, 1), (1000, 0)], 3) is None


def test_of_the_instances_some_need_each_stage():
    """The fifty hold plans that first-fit misses, some of two lengths, and some that cannot be cut at all."""
    truths = [brute(*instance(seed)) for seed in range(50)]
    assert any(truth is None for truth in truths)
    mixed = [t for t, (_, stocks, _) in zip(truths, map(instance, range(50)), strict=True) if t and len(stocks) > 1]
    assert len({stock % 1000 for _, stock, _ in mixed}) > 1
    assert sum(t is not None and t[2] > 0 for t in truths) > 30


@pytest.mark.parametrize("seed", range(50))
def test_plans_of_a_loop_are_proven_and_can_be_cut(seed):
    rng = np.random.default_rng(100 + seed)
    pieces = pieces_of(np.round(rng.uniform(90, 420, rng.integers(6, 13)), 3))
    stocks = [[Stock(0.5)], [Stock(1.0)], [Stock(0.5, 3.0), Stock(1.0, 5.0)]][seed % 3]
    kerf = float(rng.uniform(1e-3, 3e-3))
    plan = cutting(pieces, stocks, kerf)
    obeys(plan, pieces, stocks, kerf)
    assert plan.proven
    assert plan.bound == len(plan.bars)
    # Material alone needs no more than the bound, each bar a kerf longer.
    longest = max(stock.length for stock in stocks)
    assert sum(p.length + kerf for p in pieces) / (longest + kerf) <= plan.bound
    # One more piece never needs fewer bars, longer bars never more.
    assert len(cutting([*pieces, Piece("more", 0.2)], stocks, kerf).bars) >= len(plan.bars)
    assert len(cutting(pieces, [Stock(s.length + 0.05) for s in stocks], kerf).bars) <= len(plan.bars)
    assert len(cutting(pieces, stocks, kerf + 1e-3).bars) >= len(plan.bars)


@pytest.mark.parametrize("seed", range(4))
def test_many_pieces_are_planned_with_an_honest_bound(seed):
    """Forty lengths have far over ten thousand patterns, so they are made; no bound is below what material needs."""
    rng = np.random.default_rng(seed)
    pieces = pieces_of(np.round(rng.uniform(90, 420, 40), 1))
    stocks = [Stock(1.0)] if seed % 2 else [Stock(0.5), Stock(1.0)]
    plan = cutting(pieces, stocks, 0.002, time_limit=60.0)
    obeys(plan, pieces, stocks, 0.002)
    assert math.ceil(sum(p.length + 0.002 for p in pieces) / 1.002) <= plan.bound <= len(plan.bars) <= plan.bound + 1
    assert plan.proven <= (plan.bound == len(plan.bars))


def test_patterns_are_those_of_brute_force():
    rng = np.random.default_rng(3)
    for _ in range(30):
        sizes = sorted(set(rng.integers(3, 20, 5).tolist()), reverse=True)
        most, width = rng.integers(1, 4, len(sizes)).tolist(), int(rng.integers(15, 50))
        fit = [p for p in itertools.product(*(range(n + 1) for n in most)) if np.dot(p, sizes) <= width]
        more = [[tuple(np.add(p, row)) for row in np.eye(len(sizes), dtype=int)] for p in fit]
        full = [p for p, grown in zip(fit, more, strict=True) if not set(grown) & set(fit)]
        found = list(patterns(width, sizes, most))
        assert sorted(found) == sorted(full)


# ---------------------------------------------------------------------------------------------------- not proven


def test_a_search_that_found_nothing_in_time_is_not_called_proven(monkeypatch):
    """First-fit takes three bars where two do (`published`): without the solver's plan two is a bound, no plan."""
    monkeypatch.setattr(module, "milp", lambda *_, **__: OptimizeResult(x=None, mip_dual_bound=None))
    pieces = pieces_of((240, 175, 155, 110, 100, 90, 80))
    plan = cutting(pieces, [Stock(0.5)], 0.003)
    obeys(plan, pieces, [Stock(0.5)], 0.003)
    assert (len(plan.bars), plan.bound, plan.proven) == (3, 2, False)


def test_shorter_stock_that_was_not_settled_is_not_called_proven(monkeypatch):
    """Two pieces, two bars; first-fit takes the long ones, and whether short ones do is the solver's to find."""
    pieces, stocks = pieces_of((600, 600, 400)), [Stock(0.65), Stock(0.45), Stock(1.0)]
    assert [bar.stock.length for bar in cutting(pieces, stocks, 0.0).bars] == [1.0, 0.65]
    monkeypatch.setattr(module, "milp", lambda *_, **__: OptimizeResult(x=None, mip_dual_bound=None))
    plan = cutting(pieces, stocks, 0.0)
    assert (len(plan.bars), plan.bound, plan.stock, plan.proven) == (2, 2, 2.0, False)


def test_time_ends_a_search_that_has_far_to_go():
    pieces = pieces_of(np.linspace(90, 420, 300))
    plan = cutting(pieces, [Stock(1.0)], 0.002, time_limit=0.01)
    obeys(plan, pieces, [Stock(1.0)], 0.002)
    assert plan.bound < len(plan.bars)
    assert not plan.proven


# ---------------------------------------------------------------------------------------------------- bars


def test_positions_by_hand():
    """Longest first, a kerf of 2 between; 240 + 2 + 155 = 397, 500 - 397 - 2 = 101 left."""
    plan = cutting([Piece("short", 0.155), Piece("long", 0.24), Piece("alone", 0.45)], [Stock(0.5)], 0.002)
    first, second = plan.bars
    assert first == (Stock(0.5), [("alone", 0.0, 0.45)], pytest.approx(0.048))
    assert second == (Stock(0.5), [("long", 0.0, 0.24), ("short", 0.242, 0.397)], pytest.approx(0.101))


def test_the_last_piece_may_end_with_the_bar_or_within_a_kerf_of_it():
    exact = cutting(pieces_of((248.5, 248.5)), [Stock(0.5)], 0.003)
    assert [(bar.cuts[-1][2], bar.offcut) for bar in exact.bars] == [(0.5, 0.0)]
    near = cutting(pieces_of((248, 248)), [Stock(0.5)], 0.003)
    assert [(bar.cuts[-1][2], bar.offcut) for bar in near.bars] == [(0.499, 0.0)]
    assert len(cutting(pieces_of((248.5, 248.501)), [Stock(0.5)], 0.003).bars) == 2
    assert cutting(pieces_of((500,)), [Stock(0.5)], 0.003).offcut == 0.0
    # Tenths and inches are no binary fractions, and still fit to the end.
    assert len(cutting([Piece("tenth", 0.1, 3)], [Stock(0.1 + 0.2)], 0.0).bars) == 1
    assert len(cutting([Piece("seventh", 0.143, 7)], [Stock(1.001)], 0.0).bars) == 1
    assert len(cutting([Piece("inch", 0.0254 * 3 / 64, 64)], [Stock(0.0254 * 3)], 0.0).bars) == 1


def test_equal_bars_are_listed_each_and_equal_pieces_keep_their_order():
    plan = cutting([Piece("b", 0.3, 2), Piece("a", 0.3), Piece("c", 0.15, 3)], [Stock(0.5)], 0.001)
    assert [[name for name, *_ in bar.cuts] for bar in plan.bars] == [["b", "c"], ["b", "c"], ["a", "c"]]
    again = cutting([Piece("b", 0.3, 2), Piece("a", 0.3), Piece("c", 0.15, 3)], [Stock(0.5)], 0.001)
    assert again == plan


def test_the_fullest_bar_comes_first_and_the_longest_offcut_is_kept_whole():
    """420 + 420 and 420 + 90 would leave 2 x 160; 420 + 420 + 90 and 420 leave one of 578."""
    plan = cutting(pieces_of((420, 420, 420, 90)), [Stock(1.0)], 0.002)
    assert [bar.offcut for bar in plan.bars] == [pytest.approx(0.064), pytest.approx(0.578)]


def test_fewer_bars_come_before_less_stock_and_less_stock_before_the_price():
    pieces = pieces_of((300, 300))
    assert [bar.stock.length for bar in cutting(pieces, [Stock(0.3, 1.0), Stock(1.0, 9.0)], 0.0).bars] == [1.0]
    dear = [Stock(0.7, 9.0), Stock(1.0, 5.0)]
    assert cutting(pieces, dear, 0.0).cost == 9.0


def test_of_one_length_the_cheaper_goes_first_and_no_more_than_there_is():
    stocks = [Stock(0.5), Stock(0.5, 4.0, 9), Stock(0.5, 3.0, 2)]
    plan = cutting(pieces_of((400, 400, 400)), stocks, 0.001)
    assert sorted(bar.stock.price for bar in plan.bars) == [3.0, 3.0, 4.0]
    assert plan.cost == 10.0
    obeys(plan, pieces_of((400, 400, 400)), stocks, 0.001)


def test_cost_is_not_known_if_a_price_is_not():
    pieces = pieces_of((400, 900))
    assert cutting(pieces, [Stock(0.5, 3.0), Stock(1.0, 5.0)], 0.001).cost == 8.0
    assert cutting(pieces, [Stock(0.5), Stock(1.0, 5.0)], 0.001).cost is None
    assert cutting(pieces[:1], [Stock(0.5, 3.0), Stock(1.0)], 0.001).cost == 3.0  # what is not used may lack one


def test_stock_balances_pieces_cuts_and_offcuts():
    pieces = pieces_of((310, 205, 150, 120))
    plan = cutting(pieces, [Stock(0.5)], 0.002)
    cuts = sum(len(bar.cuts) for bar in plan.bars)  # no piece ends at the end of its bar here
    assert plan.stock == pytest.approx(sum(p.length for p in pieces) + 0.002 * cuts + plan.offcut)


def test_table_shows_where_to_cut():
    plan = cutting([Piece("top", 0.24), Piece("rear", 0.155), Piece("front", 0.45)], [Stock(0.5, 3.5)], 0.002)
    table = plan.table()
    assert list(table) == ["bar", "stock [mm]", "piece", "from [mm]", "to [mm]", "offcut [mm]", "price"]
    assert table.to_numpy().tolist() == [
        [1, 500.0, "front", 0.0, 450.0, 48.0, 3.5],
        [2, 500.0, "top", 0.0, 240.0, 101.0, 3.5],
        [2, 500.0, "rear", 242.0, 397.0, "", ""],
    ]
    inches = plan.table("us")
    assert list(inches)[1] == "stock [in]"
    assert inches["to [in]"].tolist() == [17.717, 9.449, 15.63]
    assert cutting([Piece("a", 0.1)], [Stock(0.5)], 0.0).table()["price"].tolist() == [""]
    with pytest.raises(InputError, match="imperial"):
        plan.table("imperial")


# ---------------------------------------------------------------------------------------------------- refused


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Piece("top", 0.0), "top, length = 0.0 is not accepted. Accepted: 0.001 to 20 m. Give the length"),
        (lambda: Piece("top", -0.2), "top, length = -0.2"),
        (lambda: Piece("top", math.nan), "top, length = nan"),
        (lambda: Piece("top", "0.2"), "top, length = '0.2'"),
        (lambda: Piece("top", np.array([0.2, 0.3])), "one design at a time"),
        (lambda: Piece("top", 0.2, 1.5), "top, count = 1.5 is not accepted. Accepted: a whole number. Leave out"),
        (lambda: Piece("top", 0.2, 0), "top, count = 0"),
        (lambda: Piece("top", 0.2, True), "top, count = True"),
        (lambda: Piece("top", 0.2, 5000), "top, count = 5000"),
        (lambda: Piece(" ", 0.2), "piece, name = ' ' is not accepted. Accepted: a name. Call it by its run."),
        (lambda: Stock(0.0), "stock, length = 0.0 is not accepted. Accepted: 0.001 to 20 m. Give the length"),
        (lambda: Stock(0.5, -1.0), "stock, price = -1.0 is not accepted. Accepted: at least 0. Leave it out"),
        (lambda: Stock(0.5, None, 1.5), "stock, available = 1.5 is not accepted. Accepted: a whole number. Leave it"),
        (lambda: Stock(0.5, None, -1), "stock, available = -1"),
    ],
)
def test_what_is_no_piece_and_no_stock_is_refused(make, words):
    with pytest.raises(InputError, match=re.escape(words)):
        make()


@pytest.mark.parametrize(
    ("pieces", "stocks", "kerf", "words"),
    [
        ([], [Stock(0.5)], 0.0, "pieces = 0 is not accepted. Accepted: 1 to 2000 in all. Add what is to be cut."),
        ([Piece("a", 0.1, 1500), Piece("b", 0.1, 501)], [Stock(0.5)], 0.0, "pieces = 2001"),
        (
            [Piece("a", 0.1), Piece("a", 0.2)],
            [Stock(0.5)],
            0.0,
            "pieces = 'a' is not accepted. Accepted: each name once.",
        ),
        ([Piece("a", 0.1)], [], 0.0, "stock = 'none' is not accepted. Accepted: one length or more. Say in which"),
        ([Piece("a", 0.1)], [Stock(0.5, None, 0)], 0.0, "stock = 'none'"),
        ([Piece("a", 0.1)], [Stock(0.5)], -0.001, "kerf = -0.001 is not accepted. Accepted: 0 to 0.02 m. Measure what"),
        ([Piece("a", 0.1)], [Stock(0.5)], 0.021, "kerf = 0.021"),
        (
            [Piece("a", 0.52), Piece("b", 0.5125), Piece("c", 0.1)],
            [Stock(0.5), Stock(1.0, None, 0)],
            0.001,
            "a, length = '520.0 mm' is not accepted. Accepted: at most 500.0 mm, the longest stock. It is 20 mm "
            "too long. Too long as well: b. Take longer stock, or make it of two pieces with a fitting in the middle.",
        ),
        (
            [Piece("a", 0.3, 3)],
            [Stock(0.5, None, 1), Stock(0.4, None, 1)],
            0.001,
            "stock, available = '1 of 500.0 mm, 1 of 400.0 mm' is not accepted. Accepted: bars enough for 3 pieces, "
            "903.0 mm with their cuts. Get more bars, or longer ones.",
        ),
    ],
)
def test_what_cannot_be_cut_is_refused_in_words(pieces, stocks, kerf, words, way):
    with pytest.raises(InputError, match=re.escape(words)):
        cutting(pieces, stocks, kerf)


@pytest.mark.parametrize("limit", [0.0, -1.0, math.inf])
def test_a_time_limit_is_refused_that_is_none(limit):
    with pytest.raises(InputError, match="time_limit"):
        cutting(pieces_of((100,)), [Stock(0.5)], 0.0, time_limit=limit)


def test_bars_that_are_just_enough_are_enough(way):
    """First-fit puts 300 into the bar of 500 and has none left for 480; the solver has."""
    plan = cut((480, 300, 190), [(490, 1), (500, 1)], 2)
    assert sorted([name for name, *_ in bar.cuts] for bar in plan.bars) == [["a"], ["b", "c"]]


def test_the_bound_counts_the_bars_there_are(way):
    """Of nine pieces of 240 one bar of 1000 holds four, the other five need three of 500. Else three do."""
    plan = cut([240] * 9, [(1000, 1), (500, 9)], 0)
    assert (len(plan.bars), plan.bound, plan.proven) == (4, 4, True)
    assert len(cut([240] * 9, [(1000, 9), (500, 9)], 0).bars) == 3


def test_as_many_lengths_as_can_be_are_planned():
    pieces = pieces_of(np.linspace(1, 2, 2000))
    assert len(cutting(pieces, [Stock(20.0)], 0.0, time_limit=1.0).bars) == 1


def test_every_source_cited_is_listed():
    keys = set(re.findall(r"\[(\w+)\]_", inspect.getsource(module)))
    assert keys == {"GilmoreGomory1961", "Farley1990"}
    assert keys <= set(by_name("sources.csv", "key"))

"""Storerooms along futures: against an event simulation, Palm's theorem, and orders by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from storepaths import paths_of, renewed_paths, run_storerooms, steady_paths

from seallife.errors import InputError
from seallife.spares.advice import order_advice
from seallife.spares.paths import DemandPaths
from seallife.spares.restock import read_restock
from seallife.spares.shortfall import MONTH_D, shortfalls
from seallife.spares.steps import store_steps
from seallife.spares.stock import seals_away, stock_level, stock_service
from seallife.spares.stocklevels import PATH_MEASURES, choose_levels
from seallife.spares.stockpaths import stores_ahead


def _stores(pools: int, **columns: object) -> pd.DataFrame:
    """Stores that hold 3, order one for one and wait 120 d."""
    usual = {
        "on_hand": 3.0,
        "on_order": 0.0,
        "stock_low": 2.0,
        "stock_high": 3.0,
        "unit_cost": 1_000.0,
        "lead_time_d": 120.0,
        "repairable": False,
        "repair_time_d": np.nan,
        "reject_share": np.nan,
    }
    names = [f"item {i}" for i in range(pools)]
    return pd.DataFrame({"pool": names} | {k: columns.get(k, v) for k, v in usual.items()})


# ---- published


def test_failures_after_a_mass_renewal() -> None:
    """40 positions renewed together, shape 4, scale 4 y: the table of the literature of the trade
    (own calculation in the domain notes, section 6.4)."""
    paths = renewed_paths(4.0, 4.0, 40, 2_000, 8.0)
    per_year = np.bincount((np.ceil(paths.day / 365.25) - 1).astype(int)) / paths.runs
    expected = [0.2, 2.2, 8.4, 14.8, 13.3, 8.6, 10.0, 12.2]
    np.testing.assert_allclose(per_year, expected, atol=0.25)


@pytest.mark.parametrize("spread", [0.0, 0.25, 1.5])
def test_number_in_repair_is_poisson_whatever_the_law_of_the_time(spread: float) -> None:
    """Palm's theorem, and its form for a shop that starts empty: Poisson at any time, with the
    mean rate * E[min(time, t)] after t days. In the steady state only the mean time counts."""
    rate, mean = np.array([4.8, 12.0]), 60.0
    paths = steady_paths(rate.tolist(), 3_000, seed=3)
    stores = _stores(2, repairable=True, repair_time_d=mean, reject_share=0.0)
    restock = read_restock(stores, paths.pools, spread=spread)
    short = shortfalls(store_steps(paths, restock), paths, restock.protection_d)
    t = np.arange(1, 37) * MONTH_D
    if spread:
        sigma = np.sqrt(np.log1p(spread**2))
        z = np.log(t / mean) / sigma
        began = mean * stats.norm.cdf(z - sigma / 2) + t * stats.norm.sf(z + sigma / 2)
    else:
        began = np.minimum(mean, t)
    want = stats.poisson.cdf(short.missing, (rate[:, None] / 365.25 * began)[..., None])
    np.testing.assert_allclose(short.month_end[:, :1], want[:, :1], atol=0.03)
    np.testing.assert_allclose(short.month_end.mean(axis=1), want.mean(axis=1), atol=0.008)
    steady = stats.poisson.cdf(short.missing, seals_away(rate, mean)[:, None])
    np.testing.assert_allclose(want[:, -1], steady, atol=0.004)


def test_steady_demand_gives_the_service_of_the_formula() -> None:
    """24 positions, 4.8 a year, 4 months: the worked table, by choosing along futures."""
    paths = steady_paths([4.8], 3_000, days=3_652.5, seed=4)
    got = choose_levels(paths, _stores(1, lead_time_d=365.25 / 3), share=0.9, measure="fill rate")
    curve = got.curve.set_index("stock")
    formula = stock_service(np.arange(1, 6), np.full(5, 1.6))
    np.testing.assert_allclose(curve.loc[1:5, "fill_rate"], formula.fill_rate, atol=0.02)
    np.testing.assert_allclose(curve.loc[1:5, "backorders"], formula.backorders, atol=0.03)
    assert got["item 0"]["stock"] == stock_level([1.6], 0.9, measure="fill rate")[0]["stock"] == 4


# ---- second program


REFEREE = _stores(
    6,
    on_hand=[3.0, 1.0, 2.0, 2.0, 0.0, 5.0],
    on_order=[0.0, 2.0, 0.0, 1.0, 1.0, 0.0],
    stock_low=[2.0, 2.0, 1.0, 1.0, 0.0, 2.0],
    stock_high=[3.0, 3.0, 4.0, 2.0, 2.0, 4.0],
    lead_time_d=[120.0, 150.0, 90.0, 200.0, 60.0, 100.0],
    repairable=[False, False, False, True, True, True],
    repair_time_d=[np.nan, np.nan, np.nan, 50.0, 40.0, 70.0],
    reject_share=[np.nan, np.nan, np.nan, 0.2, 0.0, 0.5],
)
"""Base stock, short at the start, lots; rotables with rejects, without, and with lots."""


@pytest.mark.parametrize("spread", [0.0, 0.6])
def test_service_agrees_with_an_event_simulation(spread: float) -> None:
    paths = steady_paths([4.8, 3.0, 6.0, 5.0, 4.0, 9.0], 400, seed=6)
    got = stores_ahead(paths, REFEREE, spread=spread).table.set_index("pool")
    seen = run_storerooms(paths, REFEREE, spread)
    by = seen.drop(columns="clear").astype({"no_shortage": float}).groupby("pool")
    mean = by.mean()
    two_points = {"atol": 0.02, "rtol": 0.0}
    np.testing.assert_allclose(got["months_without_shortage"], mean["months"], **two_points)
    np.testing.assert_allclose(got["fill_rate"], mean["found"] / mean["needed"], **two_points)
    np.testing.assert_allclose(got["no_shortage"], mean["no_shortage"], atol=0.05)
    np.testing.assert_allclose(got["backorders"], mean["backorders"], atol=0.04)
    np.testing.assert_allclose(got["on_shelf"], mean["on_shelf"], atol=0.05)
    off = got["bought_per_year"] * 3 - mean["bought"]
    chance = by["bought"].std() * np.sqrt(2 / paths.runs)  # which seals are beyond repair
    fixed = REFEREE["repairable"].to_numpy()
    assert np.all(off.abs()[fixed] <= 4 * chance[fixed])
    np.testing.assert_allclose(off[~fixed], 0.0, atol=1e-9)
    if not spread:  # without chance in times the two are the same
        exact = ["item 0", "item 2"]
        np.testing.assert_allclose(
            got.loc[exact, "months_without_shortage"], mean.loc[exact, "months"], atol=1e-12
        )
        np.testing.assert_allclose(
            got.loc[exact, "backorders"], mean.loc[exact, "backorders"], atol=1e-9
        )


def test_after_a_mass_renewal_paths_are_right_and_the_steady_formula_is_not() -> None:
    """40 seals renewed today, shape 4, scale 4 y, lead time 4 months, 4 in the store."""
    paths = renewed_paths(4.0, 4.0, 40, 500, 8.0)
    stores = _stores(
        1, on_hand=4.0, stock_low=3.0, stock_high=4.0, lead_time_d=365.25 / 3, reject_share=0.0
    )
    got = stores_ahead(paths, stores)
    paths_say = got.monthly["no_shortage"].to_numpy().reshape(8, 12).mean(axis=1)
    clear = np.array(run_storerooms(paths, stores, 0.25)["clear"].tolist())
    truth = clear.mean(axis=0).reshape(8, 12).mean(axis=1)
    np.testing.assert_allclose(paths_say, truth, atol=0.02)
    # At a time, which is what the formula gives; over a month it would look worse still.
    at_end = got.monthly["no_shortage_at_end"].to_numpy().reshape(8, 12).mean(axis=1)
    formula = stock_service([4], [11.0 / 3]).no_shortage[0]
    assert at_end[0] > 0.999
    assert formula < at_end[0] - 0.25
    assert formula > at_end[3] + 0.15
    # Initial stock is not steady stock: one seal does in the first year what takes 7 later.
    steady = stock_level([11.0 / 3], 0.95).table["stock"][0]
    first = choose_levels(
        DemandPaths(
            paths.pools, paths.runs, 365.25, *(c[paths.day <= 365.25] for c in _columns(paths)), 0
        ),
        stores,
        measure="no shortage through the horizon",
    )
    assert (first["item 0"]["stock"], steady) == (1, 7)


def _columns(paths: DemandPaths) -> tuple[np.ndarray, ...]:
    return paths.run, paths.pool, paths.day, paths.kind


def test_chosen_levels_give_the_service_asked_in_other_futures() -> None:
    """Levels chosen on some futures, then run by the event simulation on others."""
    rates = [1.0, 4.8, 12.0, 6.0]
    rules = {"repairable": [False, False, False, True], "repair_time_d": 45.0, "reject_share": 0.3}
    lots = _stores(4, stock_low=[2.0, 2.0, 2.0, 2.0], stock_high=[3.0, 4.0, 3.0, 3.0], **rules)
    chosen = choose_levels(steady_paths(rates, 600, seed=11), lots, share=0.9).table
    at = lots.assign(
        on_hand=chosen["stock"], stock_low=chosen["reorder"], stock_high=chosen["stock"]
    )
    seen = run_storerooms(steady_paths(rates, 300, seed=12), at, 0.25)
    months = seen.groupby("pool")["months"].mean()
    np.testing.assert_allclose(months, chosen["months_without_shortage"], atol=0.02)
    assert np.all(months > 0.88)


# ---- properties


@settings(max_examples=25, deadline=None)
@given(
    rate=st.floats(0.2, 15),
    stock=st.integers(0, 8),
    lot=st.integers(1, 3),
    repairable=st.booleans(),
    seed=st.integers(0, 99),
)
def test_a_level_read_off_is_what_following_that_level_gives(
    rate: float, stock: int, lot: int, repairable: bool, seed: int
) -> None:
    """All levels are read from one pass; each must be what a store with that level does."""
    paths = steady_paths([rate], 40, seed=seed)
    rule = {"repairable": repairable, "repair_time_d": 50.0, "reject_share": 0.3}
    curve = choose_levels(
        paths, _stores(1, stock_low=9.0, stock_high=9.0 + lot, **rule), seed=seed
    ).curve.set_index("stock")
    stock = int(np.clip(stock, curve.index.min(), curve.index.max()))
    # A reorder level below 0 cannot be written in a table of stores.
    restock = read_restock(_stores(1, stock_low=9.0, stock_high=9.0 + lot, **rule), paths.pools)
    held = np.array([stock])
    own = replace(restock, on_hand=held, up_to=held, reorder=held - lot)
    short = shortfalls(store_steps(paths, own, seed=seed), paths, own.protection_d)
    row = curve.loc[stock]
    assert row["months_without_shortage"] == pytest.approx(
        float(short.at(short.month, held).mean())
    )
    assert row["fill_rate"] == pytest.approx(float(short.at(short.served, held)[0]))
    assert row["backorders"] == pytest.approx(float(short.at(short.backorders, held)[0]))
    assert row["on_shelf"] == pytest.approx(float(short.on_shelf(held)[0]))


@pytest.mark.parametrize("measure", PATH_MEASURES)
def test_smallest_level_gives_the_service_and_one_less_does_not(measure: str) -> None:
    paths = steady_paths([1.0, 4.8, 20.0], 300, seed=8)
    stores = _stores(3, repairable=[False, False, True], repair_time_d=60.0, reject_share=0.1)
    got = choose_levels(paths, stores, share=0.9, measure=measure)
    column = {
        "months without shortage": "months_without_shortage",
        "no shortage through the protection time": "no_shortage_protection",
        "no shortage through the horizon": "no_shortage_horizon",
        "fill rate": "fill_rate",
    }[measure]
    curve = got.curve.set_index(["pool", "stock"])[column]
    assert got.table["measure"].eq(measure).all()
    for row in got.table.itertuples():
        assert getattr(row, column) == curve[row.pool, row.stock] >= 0.9
        assert curve[row.pool, row.stock - 1] < 0.9


def test_all_seals_are_accounted_for() -> None:
    """On the shelf less waited for is what was there and came, less what was needed."""
    paths = steady_paths([5.0, 9.0], 50, seed=2)
    stores = _stores(2, on_order=2.0, repairable=[False, True], repair_time_d=40.0)
    restock = read_restock(stores, paths.pools)
    steps = store_steps(paths, restock)
    last = steps.offsets[1:] - 1
    needed = paths.needed(np.full(2, paths.days)).ravel()
    came = -np.add.reduceat(np.minimum(steps.change, 0), steps.offsets[:-1])
    np.testing.assert_array_equal(steps.missing[last], needed - came)
    assert np.all(np.diff(steps.day)[np.diff(steps.lane) == 0] >= 0)
    few = needed.reshape(2, -1)[0] + 2  # what was lost, and up to the level
    assert np.all(steps.ordered[0] <= few)


def test_a_seal_that_arrives_on_the_day_is_there() -> None:
    """One in the store, needed every 10 d, a new one takes 10 d: nobody ever waits."""
    runs, days = 300, np.arange(1, 31) * 10.0
    paths = paths_of(np.repeat(np.arange(runs), 30), np.tile(days, runs), 1, runs, 305.0)
    stores = _stores(1, on_hand=1.0, stock_low=0.0, stock_high=1.0, lead_time_d=10.0)
    row = stores_ahead(paths, stores, spread=0.0)["item 0"]
    assert (row["fill_rate"], row["no_shortage"], row["backorders"]) == (1, 1, 0)
    later = stores_ahead(paths, stores.assign(lead_time_d=10.5), spread=0.0)["item 0"]
    assert later["no_shortage"] == 0


def test_protection_time_of_rotables_counts_rejects() -> None:
    stores = _stores(2, repairable=[False, True], repair_time_d=50.0, reject_share=0.3)
    restock = read_restock(stores, pd.Index(stores["pool"]))
    np.testing.assert_allclose(restock.protection_d, [120.0, 50.0 + 0.3 * 120.0])


# ---- words and costs


def test_first_shortage_in_months_and_words() -> None:
    """Ten futures; the second seal is needed on day 31, 62, …, and no other comes in time."""
    lane = np.repeat(np.arange(10), 2)
    day = np.ravel([[1.0, 31.0 * (i + 1)] for i in range(10)])
    paths = paths_of(lane, day, 1, 10, 400.0)
    stores = _stores(1, on_hand=1.0, stock_low=0.0, stock_high=1.0, lead_time_d=900.0)
    row = stores_ahead(paths, stores, spread=0.0)["item 0"]
    assert row["short_within"] == 1
    assert row["first_short_months"] == pytest.approx(5 * 31 / 30.4375)
    assert row["first_shortage"] == "in month 6 (2 to 11)"
    row = stores_ahead(paths, stores.assign(on_hand=2.0), spread=0.0)["item 0"]
    assert np.isinf(row["first_short_months"])
    assert row["first_shortage"] == "less than half of futures run short within 13 months"


def test_spend_is_what_is_bought_at_its_price() -> None:
    paths = steady_paths([4.8], 200, days=3_652.5)
    row = stores_ahead(paths, _stores(1, unit_cost=2_500.0))["item 0"]
    assert row["bought_per_year"] == pytest.approx(4.8, rel=0.03)
    assert row["spend_per_year"] == pytest.approx(2_500 * row["bought_per_year"])
    low, high = stats.poisson.ppf([0.05, 0.95], 48) * 250
    assert (row["spend_low"], row["spend_high"]) == pytest.approx((low, high), abs=750)
    rotable = _stores(1, repairable=True, repair_time_d=40.0, reject_share=0.25)
    assert stores_ahead(paths, rotable)["item 0"]["bought_per_year"] == pytest.approx(1.2, rel=0.1)


def test_cheapest_level_balances_holding_and_waiting() -> None:
    paths = steady_paths([4.8], 400)
    cheap = choose_levels(paths, _stores(1), shortage_cost_per_day=0.01)["item 0"]
    dear = choose_levels(paths, _stores(1), shortage_cost_per_day=1_000.0)["item 0"]
    assert cheap["cheapest"] == 0 < dear["cheapest"]
    curve = choose_levels(paths, _stores(1), shortage_cost_per_day=5.0).curve.set_index("stock")
    two = curve.loc[2]
    assert two["holding_per_year"] == pytest.approx(0.2 * 1_000 * two["on_shelf"])
    assert two["shortage_per_year"] == pytest.approx(5 * 365.25 * two["backorders"])
    assert choose_levels(paths, _stores(1))["item 0"]["status"] == "shortage cost not given"


def test_what_is_not_known_is_said_and_nothing_is_dropped() -> None:
    paths = steady_paths([4.0] * 5, 50)
    stores = _stores(
        6,
        on_hand=[np.nan, 3.0, 3.0, 3.0, 3.0, 2.0],
        lead_time_d=[90.0, np.nan, 90.0, 90.0, 90.0, 90.0],
        unit_cost=[1.0, 1.0, 1.0, np.nan, 1.0, 1.0],
        repairable=[False, False, True, False, True, False],
        repair_time_d=[np.nan, np.nan, np.nan, np.nan, 30.0, np.nan],
    )
    want = ["stock not given", "lead time not given", "repair time not given", "price not given"]
    for table in (stores_ahead(paths, stores).table, order_advice(paths, stores).table):
        assert table["pool"].tolist() == stores["pool"].tolist()
        assert table["status"].tolist()[:4] == want
        assert "beyond repair taken as 20%" in table["message"][4]
    table = stores_ahead(paths, stores).table
    assert table["status"][5] == "no demand"
    assert table["fill_rate"].isna().tolist() == [True] * 3 + [False] * 3
    assert table["spend_per_year"].isna().tolist() == [True] * 4 + [False] * 2
    advice = order_advice(paths, stores.drop(index=4)).table
    assert advice["status"].tolist()[4] == "not in the stores"
    assert advice["action"].tolist()[:3] == ["cannot tell yet"] * 3
    few = choose_levels(paths, stores, share=0.99).table
    assert few["status"].tolist()[4] == "too few futures"


# ---- what to order


def test_advice_by_hand() -> None:
    """Seals are needed on days 30, 60, 90 and 200 in all futures; a new one takes 120 d."""
    runs = 20
    paths = paths_of(
        np.tile(np.arange(2 * runs), 4), np.repeat([30.0, 60, 90, 200], 2 * runs), 2, runs, 1_000.0
    )
    stores = _stores(2, on_hand=[1.0, 2.0], on_order=[0.0, 1.0]).assign(positions=[12, 12])
    got = order_advice(paths, stores, spread=0.0)
    first, second = got["item 0"], got["item 1"]
    assert (first["need_low"], first["need"], first["need_high"]) == (3, 3, 3)
    assert (first["action"], first["order"], first["order_within_d"]) == ("order now", 2, 0)
    assert first["cost"] == 2_000
    assert first["no_shortage_before"] == 0
    assert first["why"] == (
        "3 of 12 seals are expected to fail in the 120 d that a new one takes; 1 in the store; "
        "3 are enough in 95% of futures."
    )
    assert (second["action"], second["order"], second["order_within_d"]) == ("order later", 0, 80)
    enough = order_advice(paths, stores.assign(on_hand=4.0), spread=0.0)["item 0"]
    assert (enough["action"], np.isnan(enough["order_within_d"])) == ("enough", True)
    late = order_advice(paths, stores.assign(lead_time_d=1_500.0), spread=0.0)["item 0"]
    assert (late["status"], late["action"]) == ("futures too short", "cannot tell yet")


def test_planned_seals_and_repairs_are_in_the_sentence() -> None:
    lane, day = np.arange(10), np.full(10, 50.0)
    failed, planned = paths_of(lane, day, 1, 10, 900.0), paths_of(lane, day + 1, 1, 10, 900.0, 2)
    both = [np.concatenate(pair) for pair in zip(_columns(failed), _columns(planned), strict=True)]
    order = np.lexsort((both[2], both[0]))
    paths = DemandPaths(failed.pools, 10, 900.0, *(c[order] for c in both), 0)
    stores = _stores(1, on_hand=1.0, repairable=True, repair_time_d=30.0, reject_share=0.0)
    row = order_advice(paths, stores, spread=0.0)["item 0"]
    assert row["why"].startswith(
        "1 seal is expected to fail in the 120 d that a new one takes, 1 to be renewed as "
        "planned; 100% come back repaired in 30 d; 1 in the store"
    )
    assert (row["need"], row["order"]) == (2, 1)
    assert order_advice(paths, stores, spread=0.0, kinds=(0, 1))["item 0"]["order"] == 0


def test_last_day_for_an_order_keeps_the_service_and_a_later_day_does_not() -> None:
    paths = steady_paths([1.5, 3.0, 1.0], 2_000, seed=9)
    stores = _stores(3, on_hand=[4.0, 6.0, 3.0], lead_time_d=[120.0, 60.0, 200.0])
    got = order_advice(paths, stores, share=0.9, spread=0.0).table
    assert got["action"].eq("order later").all()
    for i, row in got.iterrows():
        for later, kept in ((-1.0, True), (5.0, False)):
            arrives = row["order_within_d"] + later + row["lead_time_d"]
            needed = paths.needed(np.full(3, arrives))[i]
            assert (np.mean(needed <= row["on_hand"]) >= 0.9) is np.bool_(kept), (i, later)


def test_same_seed_same_figures_and_the_table_is_not_touched() -> None:
    paths = steady_paths([4.0, 2.0], 100)
    stores = _stores(2)
    before = stores.copy(deep=True)
    one, two = (stores_ahead(paths, stores, seed=7) for _ in range(2))
    pd.testing.assert_frame_equal(one.table, two.table)
    pd.testing.assert_frame_equal(stores, before)
    assert (one.seed, one.runs) == (7, 100)


# ---- bad input


def test_bad_futures() -> None:
    good = {"pools": pd.Index(["a"]), "runs": 2, "days": 10.0, "seed": 0} | {
        "run": np.array([0, 1]),
        "pool": np.zeros(2, int),
        "day": np.array([5.0, 4.0]),
        "kind": np.zeros(2, int),
    }
    DemandPaths(**good)
    for name, value, words in (
        ("run", np.array([1, 0]), "not sorted"),
        ("run", np.array([0, 2]), "within 0 to 1"),
        ("run", np.array([0]), "differ in length"),
        ("day", np.array([0.0, 4.0]), "above 0"),
        ("day", np.array([5.0, 40.0]), "up to 10"),
        ("kind", np.array([0, 3]), "within 0 to 2"),
        ("pools", pd.Index(["a", "a"]), "twice"),
        ("runs", 0, "0 futures"),
    ):
        with pytest.raises(InputError, match=words):
            DemandPaths(**good | {name: value})


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        ({"lead_time_d": -1.0}, "below 0"),
        ({"stock_low": 5.0}, "reorder level of item 0 is above"),
        ({"reject_share": 1.2}, "above 1"),
        ({"pool": "item 0"}, "twice"),
    ],
)
def test_bad_stores(columns: dict[str, object], words: str) -> None:
    paths = steady_paths([1.0, 1.0], 10)
    stores = _stores(2, repairable=True, repair_time_d=30.0).assign(**columns)
    for ask in (stores_ahead, choose_levels, order_advice):
        with pytest.raises(InputError, match=words):
            ask(paths, stores)


def test_bad_parameters() -> None:
    paths, stores = steady_paths([1.0], 10), _stores(1)
    with pytest.raises(InputError, match="no column lead_time_d"):
        stores_ahead(paths, stores.drop(columns="lead_time_d"))
    with pytest.raises(InputError, match="spread"):
        stores_ahead(paths, stores, spread=-0.1)
    with pytest.raises(InputError, match="level"):
        stores_ahead(paths, stores, level=90)
    with pytest.raises(InputError, match="'service' is not known"):
        choose_levels(paths, stores, measure="service")
    with pytest.raises(InputError, match="share"):
        choose_levels(paths, stores, share=1.0)
    with pytest.raises(InputError, match="holding_share"):
        choose_levels(paths, stores, holding_share=np.nan)
    with pytest.raises(InputError, match="shortage_cost_per_day"):
        choose_levels(paths, stores, shortage_cost_per_day=[1.0, 2.0])
    with pytest.raises(InputError, match="positions"):
        order_advice(paths, stores, positions=[1, 2])

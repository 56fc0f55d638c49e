"""Units that stand out: chance lists none, bad ones are found, and how far is told honestly."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest
import standouts_study as study
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats

from seallife.errors import InputError
from seallife.history import atages
from seallife.history.atages import by_age
from seallife.history.countcurves import count_curves
from seallife.history.funnel import funnel_limits
from seallife.history.heterogeneity import heterogeneity
from seallife.history.reference import Cells, Compared, by_size, two_sided
from seallife.history.spread import find_spread
from seallife.history.standoutlives import standouts_of
from seallife.history.standouts import stand_out

WORSE, BETTER = "worse than its class", "better than its class"


# --- reference ---------------------------------------------------------------------------------


def test_a_unit_is_held_against_the_others_and_not_itself():
    got = stand_out([4, 1, 2], [2.0, 1.0, 3.0], group=["a", "a", "b"], label=["x", "y", "z"])
    table = got.table.set_index("label")
    # near a ratio of 1 for both, the rest of x is y: one failure a year
    assert 0.7 < table.loc["x", "expected"] / 2.0 <= 1.6
    assert table.loc["z", "status"] == "alone"
    assert table.loc["z", "verdict"] == "cannot tell yet"
    assert np.isnan(table.loc["z", "p"])


def test_rest_of_class_by_hand():
    cells = Cells(
        np.array([0, 1, 2, 0]),
        np.array([0, 0, 0, 1]),
        np.array([4.0, 1.0, 3.0, 5.0]),
        np.array([2.0, 1.0, 4.0, 1.0]),
        np.ones(4),
        3,
        2,
    )
    got = by_size(cells)(np.array([1.0, 1.0, 2.0]))
    # unit 2 counts double: rest of unit 0 is 4 failures in 1 + 2 * 4
    np.testing.assert_allclose(got.expected, [2 * 4 / 9, 1 * 7 / 10, 4 * 5 / 3])
    np.testing.assert_allclose(got.observed, [4, 1, 3], err_msg="class 1 has nobody else")
    np.testing.assert_allclose(got.behind, [4, 7, 5])
    np.testing.assert_allclose(got.others, [81 / (1 + 64), 100 / (4 + 64), 9 / 5])


def test_a_bad_neighbour_makes_nobody_look_good():
    got = stand_out([40, *[5] * 7], [10.0] * 8, label=list("ABCDEFGH"))
    table = got.table.set_index("label")
    assert table["verdict"].eq(WORSE).tolist() == [True] + [False] * 7
    assert not table["verdict"].eq(BETTER).any()
    assert table.loc["B", "expected"] == pytest.approx(5.0, rel=0.1)


def nelson_aalen(rows: pd.DataFrame, at: np.ndarray) -> np.ndarray:
    from lifelines import NelsonAalenFitter

    fit = NelsonAalenFitter(nelson_aalen_smoothing=False)
    fit.fit(rows["age"], rows["failed"], entry=rows["entry"])
    curve = fit.cumulative_hazard_.iloc[:, 0]
    # a life is at risk after its entry: the hazard at its entry is not its own
    return np.array([curve[curve.index <= a].iloc[-1] if a >= 0 else 0.0 for a in at])


@cache
def aged_lives() -> pd.DataFrame:
    rng = np.random.default_rng(4)
    n = 160
    entry = np.where(rng.random(n) < 0.3, rng.integers(1, 40, n), 0).astype(float)
    age = entry + rng.integers(1, 60, n)
    return pd.DataFrame(
        {"unit": rng.integers(0, 5, n), "entry": entry, "age": age, "failed": rng.random(n) < 0.6}
    )


def aged_reference(lives: pd.DataFrame) -> Compared:
    cells = Cells(
        np.arange(5),
        np.zeros(5, dtype=np.int64),
        lives.groupby("unit")["failed"].sum().to_numpy(dtype=float),
        (lives["age"] - lives["entry"]).groupby(lives["unit"]).sum().to_numpy(dtype=float),
        np.ones(5),
        5,
        1,
    )
    columns = (lives[c].to_numpy() for c in ("unit", "age", "failed", "entry"))
    return by_age(cells, *columns)(np.ones(5))


def test_expected_at_ages_is_the_nelson_aalen_hazard_of_the_others():
    lives = aged_lives()
    got = aged_reference(lives)
    # the unit with the oldest seal meets ages that no other has: see below
    oldest = lives.loc[lives["age"].idxmax(), "unit"]
    for unit in set(range(5)) - {oldest}:
        own, rest = lives[lives["unit"] == unit], lives[lives["unit"] != unit]
        gain = nelson_aalen(rest, own["age"].to_numpy()) - nelson_aalen(
            rest, own["entry"].to_numpy()
        )
        assert got.expected[unit] == pytest.approx(gain.sum(), rel=1e-9)
    assert (got.behind < lives["failed"].sum()).all()


def test_many_ages_may_be_taken_together(monkeypatch):
    exact = aged_reference(aged_lives())
    monkeypatch.setattr(atages, "_CELLS", 0)  # the least: 50 ages
    monkeypatch.setattr(atages, "_BLOCK", 100)
    rough = aged_reference(aged_lives())
    np.testing.assert_allclose(rough.expected, exact.expected, rtol=0.05)


def test_seals_older_than_all_others_meet_the_usual_rate():
    lives = pd.DataFrame(
        {
            "unit": [0, 0, 1, 1, 2, 3, 4],
            "entry": 0.0,
            "age": [3.0, 100.0, 4.0, 6.0, 5.0, 7.0, 8.0],
            "failed": [True, True, True, False, True, True, False],
        }
    )
    got = aged_reference(lives)
    rate = 3 / 30  # failures and time of the others
    at_ages = nelson_aalen(lives[lives["unit"] > 0], np.array([3.0, 100.0])).sum()
    assert got.expected[0] == pytest.approx(at_ages + 92 * rate)


# --- p-values ----------------------------------------------------------------------------------


def compared(observed, expected, behind=1e9, dispersion=1.0, others=1e9) -> Compared:
    arrays = np.broadcast_arrays(observed, expected, behind, dispersion, others)
    d, e, a, f, n = (np.asarray(v, dtype=float) for v in arrays)
    return Compared(d, e, a, e / f / a, f, n)


def test_two_sided_is_that_of_a_poisson_count_where_the_rate_is_known():
    observed, expected = np.meshgrid(np.arange(0.0, 15.0), [0.3, 1.2, 4.0, 9.5])
    got = two_sided(compared(observed.ravel(), expected.ravel()))
    for d, e, p in zip(observed.ravel(), expected.ravel(), got, strict=True):
        counts = np.arange(0, 80)
        up, down = stats.poisson.sf(counts - 1, e), stats.poisson.cdf(counts, e)
        own = min(up[int(d)], down[int(d)])
        other = down if up[int(d)] <= down[int(d)] else up
        far = other[other <= own].max(initial=0.0)
        assert p == pytest.approx(min(own + far, 1.0), rel=1e-5, abs=1e-12)


def test_none_of_few_expected_is_no_rare_thing():
    p = two_sided(compared(np.array([0.0, 7.0]), np.array([1.2, 1.2])))
    assert p[0] > 0.4
    assert p[1] == pytest.approx(stats.poisson.sf(6, 1.2), rel=1e-5)


@given(st.integers(0, 40), st.floats(0.05, 20), st.floats(0.5, 300), st.floats(0.25, 3.0))
def test_two_sided_lies_between_one_tail_and_twice(d, expected, behind, dispersion):
    from seallife.history.reference import tail_probabilities

    c = compared(np.array([float(d)]), expected, behind, dispersion)
    up, down = tail_probabilities(c.observed, c.behind, c.odds, c.dispersion)
    least = min(up[0], down[0])
    assert min(least, 1.0) - 1e-12 <= two_sided(c)[0] <= min(2 * least, 1.0) + 1e-12


def test_a_regular_count_is_rare_sooner_and_a_clumped_one_later():
    p = [two_sided(compared(np.array([6.0]), 2.0, 50.0, f))[0] for f in (0.5, 1.0, 2.0)]
    assert p[0] < p[1] < p[2]


# --- ratios ------------------------------------------------------------------------------------


def test_posterior_agrees_with_plain_integration():
    """Sums over dense grids of spread, share apart, class rate; the ratio itself in closed form."""
    rng = np.random.default_rng(2)
    expected = rng.uniform(0.5, 3.0, 30)
    observed = rng.poisson(expected * rng.gamma(4, 0.25, 30)).astype(float)
    observed[0] = 9.0
    c = compared(observed, expected, behind=200.0, others=60.0)
    found = find_spread(c, np.zeros(30, dtype=np.int64), ["all"])
    rate = np.linspace(0.4, 2.2, 1500)
    size = (200.5 / 200 * expected)[:, None] * rate

    def seen(k: float, mean: float, worth: float) -> tuple[np.ndarray, np.ndarray]:
        """Probability of each count and mean ratio given it, for a gamma law of ratios."""
        likely = stats.nbinom.pmf(observed[:, None], k, k / (k + mean * size))
        likely = likely * stats.gamma.pdf(rate, worth, scale=1 / worth)
        ratio = (k + observed[:, None]) / (k / mean + size)
        return likely.sum(axis=1), (likely * ratio).sum(axis=1) / likely.sum(axis=1)

    sds = np.arange(0.02, 1.6, 0.02)
    core = [seen(1 / s**2, 1.0, 1 / (1 / 200.5 + s**2 / 60)) for s in sds]
    lone, lone_mean = seen(2.0, 4.0, 200.5)
    shares = np.array([0, 0.005, 0.01, 0.02, 0.04, 0.08, 0.16])
    mixed = (1 - shares) * np.array([p for p, _ in core])[..., None] + shares * lone[:, None]
    weigh = 1 - c.odds / (1 + c.odds)
    log = (weigh[:, None] * np.log(mixed)).sum(axis=1)
    log += -((sds[:, None] / 0.7) ** 2) / 2
    log += np.log([0.30, 0.10, 0.12, 0.14, 0.14, 0.12, 0.08])
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    apart = (weight[:, None] * shares * lone[:, None] / mixed).sum(axis=(0, 2))
    np.testing.assert_allclose(found.apart, apart, atol=0.01)
    own = np.array([m * p for p, m in core])[..., None] * (1 - shares) / mixed
    mean = (weight[:, None] * own).sum(axis=(0, 2)) + apart * lone_mean
    np.testing.assert_allclose(found.mean, mean, rtol=0.015)


def test_spread_of_many_units_is_that_of_greatest_likelihood():
    rng = np.random.default_rng(8)
    expected = rng.uniform(1.0, 4.0, 3000)
    observed = rng.poisson(expected * rng.gamma(1 / 0.3, 0.3, 3000)).astype(float)
    got = stand_out(observed, np.ones(3000), expected=expected, behind=np.full(3000, 1e6))

    def minus(log_v: float) -> float:
        k = np.exp(-log_v)
        return -stats.nbinom.logpmf(observed, k, k / (k + expected)).sum()

    best = np.sqrt(np.exp(optimize.minimize_scalar(minus, bounds=(-4, 1), method="bounded").x))
    assert got.spread["sd"][0] == pytest.approx(best, abs=0.03)
    assert got.spread["sd_low"][0] < np.sqrt(0.3) < got.spread["sd_high"][0]


def test_quantiles_meet_their_probability():
    rng = np.random.default_rng(1)
    c = compared(rng.poisson(2.0, 200).astype(float), rng.uniform(0.1, 5.0, 200), 80.0, 0.7, 40.0)
    found = find_spread(c, np.zeros(200, dtype=np.int64), ["all"])
    for share in (0.05, 0.5, 0.95):
        np.testing.assert_allclose(found.reached(found.quantile(share)), share, atol=1e-5)
    np.testing.assert_allclose(found.weight.sum(axis=1), 1.0)


def test_alike_units_are_drawn_together_and_one_apart_is_not():
    rng = np.random.default_rng(3)
    counts = rng.poisson(1.2, 400)
    counts[7] = 12
    got = stand_out(counts, np.full(400, 10.0), label=np.arange(400)).table.set_index("label")
    assert got.index[0] == 7
    assert got.loc[7, "ratio_shrunk"] > 5
    assert got.loc[7, "prob_apart"] > 0.99
    assert got.drop(index=7)["ratio_shrunk"].max() < 2


def test_a_class_may_have_a_spread_of_its_own():
    rng = np.random.default_rng(9)
    alike, unlike = rng.poisson(4.0, 80), rng.poisson(4.0 * rng.gamma(1.2, 1 / 1.2, 80))
    group = np.repeat(["alike", "unlike"], 80)
    got = stand_out(np.r_[alike, unlike], np.ones(160), group=group, spread="class")
    sd = got.spread.set_index("group")["sd"]
    assert sd["alike"] < 0.3 < 0.6 < sd["unlike"]
    assert got.differ.table.set_index("group")["verdict"].to_dict() == {
        "alike": "no evidence",
        "unlike": "units differ",
    }


# --- regularity of counts ----------------------------------------------------------------------


def test_counts_at_a_constant_rate_are_poisson():
    curves = count_curves(np.array([1.0]), np.array([0.4]), np.array([9.0]))
    law = np.zeros(3, dtype=np.int64)
    for new in (True, False):
        mean, variance = curves.at(law, np.array([0.5, 4.0, 20.0]), np.full(3, new))
        np.testing.assert_allclose(mean, [0.5, 4.0, 20.0], rtol=1e-3)
        np.testing.assert_allclose(variance, [0.5, 4.0, 20.0], rtol=2e-3)


@pytest.mark.parametrize("shape", [0.7, 2.5])
def test_counts_of_renewals_against_drawn_ones(shape):
    from math import gamma

    rng = np.random.default_rng(6)
    life = rng.weibull(shape, (60_000, 30)) / gamma(1 + 1 / shape)
    curves = count_curves(np.array([shape]), np.array([0.0]), np.array([4.0]))
    law = np.zeros(1, dtype=np.int64)
    for length in (0.5, 3.0):
        drawn = (np.cumsum(life, axis=1) <= length).sum(axis=1)
        mean, variance = curves.at(law, np.array([length]), np.array([True]))
        assert mean[0] == pytest.approx(drawn.mean(), abs=0.02)
        assert variance[0] == pytest.approx(drawn.var(), rel=0.03)
    # in service for long: as many failures as mean lives, whatever the law
    mean, _ = curves.at(law, np.array([3.0]), np.array([False]))
    assert mean[0] == pytest.approx(3.0, rel=0.02)


# --- known truth -------------------------------------------------------------------------------


def test_common_rule_lists_identical_positions_and_ours_does_not():
    """Two failures within twelve months at 0.30 a year flag 15.5 of 420 identical positions."""
    assert 420 * stats.poisson.sf(1, 0.30) == pytest.approx(15.5, abs=0.05)
    rng = np.random.default_rng(20)
    lists = [len(stand_out(rng.poisson(3.0, 420), np.full(420, 10.0)).listed) for _ in range(20)]
    assert np.count_nonzero(lists) <= 2


@cache
def table() -> pd.DataFrame:
    return pd.read_csv(study.TABLE)


def rows(positions: str, basis: str = "counts") -> pd.DataFrame:
    t = table()
    return t[(t["positions"] == positions) & (t["basis"] == basis) & t["lives"].isin(study.KINDS)]


def test_study_alike_positions_make_no_list():
    """Where bad repairs do not follow bad repairs, nine fleets in ten have an empty list."""
    alike = rows("alike")
    assert len(alike) == len(study.KINDS)
    assert (alike["fleets"] == 200).all()
    assert (alike["fleets_with_a_list"] <= 0.10 + 2 * 0.021).all(), "two standard errors"
    assert (alike["fleets_with_a_list"] <= 0.10).sum() >= 4


def test_study_false_entries_are_fewer_than_asked_for():
    for positions in ("apart", "spread"):
        assert (rows(positions)["false_share"] <= 0.10).all()


def test_study_ratios_hold_the_truth():
    spread = rows("spread")
    assert spread["ratio_held"].between(0.87, 0.93).all()
    assert spread["ratio_held_of_listed"].between(0.85, 0.94).all(), "selection costs nothing"


def test_study_failures_to_come_are_foretold():
    both = pd.concat([rows("apart"), rows("spread")])
    ratio = both["came"] / both["foretold"]
    assert ratio.between(0.80, 1.15).all()
    assert (both["came"] <= both["failed"]).all(), "all fall back toward their class"


@pytest.mark.parametrize("lives", ["shape 1", "shape 1.4"])
def test_a_part_of_the_study_again(lives):
    """Five fleets: of their thirty or so entries one in ten may be false, by chance a few more."""
    got = study.cell(lives, "apart", "counts", 5, seed=77)
    told = rows("apart").set_index("lives").loc[lives]
    listed = round(5 * (got["listed_worse"] + got["listed_better"]))
    assert got["false_share"] * listed <= stats.binom.ppf(0.99, listed, 0.10)
    assert abs(got["found_of_3_to_5"] - told["found_of_3_to_5"]) < 0.25
    assert got["ratio_held"] > 0.95


def test_clumps_of_bad_repairs_are_told_from_bad_positions():
    rng = np.random.default_rng(5)
    listed = [standouts_of(study.draw_fleet("clumps 0.6", "alike", rng).lives) for _ in range(3)]
    found = pd.concat([r.listed for r in listed])
    assert len(found) >= 5
    assert found["status"].eq("early failures").mean() >= 0.75
    assert found.loc[found["status"] == "early failures", "message"].str.contains("90 days").all()
    assert any("early failures alone" in r.together for r in listed)


# --- a fleet -----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def demo(demo_study):
    s = demo_study

    def of(by: str, **more):
        return standouts_of(s.lives.table, s.register.table, s.removals.table, by=by, **more)

    return of


def test_the_bad_pair_of_the_demo_tops_the_list(demo):
    positions = demo("position_id")
    assert positions.table["position_id"].iloc[:2].str.startswith("P-3107").all()
    assert positions.listed["verdict"].eq(WORSE).all()
    assert set(positions.listed["position_id"].str[:7]) == {"P-3107A", "P-3107B"}
    pairs = demo("pair_group")
    top = pairs["P-3107"]
    assert pairs.listed["pair_group"].tolist() == ["P-3107"]
    assert top["observed"] >= 12
    assert 1.5 < top["expected"] < 3.5
    assert top["again_expected"] < top["observed"]
    assert top["again_low"] < top["again_expected"] < top["again_high"]
    assert "14 failed in 20 years" in top["message"]
    assert pairs.together.startswith("1 unit stands out as worse: 14 failures")


def test_units_and_sites_are_not_blamed_for_their_mix_or_one_bad_pair(demo):
    """Unit 300 has the bad pair; the two sites differ by their classes only."""
    assert not len(demo("unit").listed)
    assert not len(demo("site").listed)
    site = demo("site").table.set_index("site")
    assert (site["not_compared"] > 0).all()
    assert (site["service_class"] == "several classes").all()


def test_counts_of_the_demo_are_those_of_the_lives(demo, demo_study):
    lives = demo_study.lives.table
    got = demo("position_id").table.set_index("position_id")
    failed = lives[lives["end"] == "failed"].groupby("position_id").size()
    assert got["observed"].to_dict() == failed.reindex(got.index, fill_value=0).to_dict()
    years = lives.groupby("position_id")["days"].sum() / 365.25
    np.testing.assert_allclose(got["exposure"], years.reindex(got.index))
    assert got["unplaced"].sum() > 0
    oil = got[got["service_class"] == "OIL"]
    assert oil["status"].eq("no failures").all()


def test_time_alone_and_ages_give_the_same_top(demo):
    for basis in ("ages", "exposure"):
        got = demo("position_id", basis=basis)
        assert got.table["position_id"].iloc[:2].str.startswith("P-3107").all()
        assert basis != "ages" or got.method.startswith("failures against the rates")


def lot_lives() -> pd.DataFrame:
    rng = np.random.default_rng(12)
    lives = study.draw_fleet("shape 1.4", "alike", rng, 200).lives.sort_values("life_id")
    lot = rng.choice([f"lot {i}" for i in range(12)], len(lives)).astype(object)
    bad = (lot == "lot 3") & (rng.random(len(lives)) < 0.6)
    short = lives["entry_age_h"] + rng.uniform(2000, 6000, len(lives))
    sooner = bad & (short < lives["exit_age_h"])
    lot[:40] = None
    return lives.assign(
        lot=lot,
        end=lives["end"].mask(sooner, "failed"),
        exit_age_h=lives["exit_age_h"].mask(sooner, short),
    )


def test_a_bad_lot_is_found_at_equal_ages():
    got = standouts_of(lot_lives(), by="lot")
    assert got.listed["lot"].tolist() == ["lot 3"]
    assert got.listed["verdict"].tolist() == [WORSE]
    assert got.method.startswith("failures against the rates of the rest of the class at the ages")
    assert got.note.startswith("40 lives have no lot")
    assert len(got.table) == 12
    with pytest.raises(InputError, match="changes within a position"):
        standouts_of(lot_lives(), by="lot", basis="counts")


def test_a_young_seal_is_no_merit():
    """Positions renewed in health a year ago expect less than others, where seals age."""
    rng = np.random.default_rng(30)
    lives = study.draw_fleet("shape 2.5", "alike", rng, 120).lives
    last = lives["exit"].max()
    young = lives.loc[lives["position_id"] == "P00000"].iloc[[0]]
    year = 365.25
    young = young.assign(
        life_id="new",
        position_id="PNEW",
        entry=last - pd.Timedelta(days=year),
        exit=last,
        end="in service",
        days=year,
        hours=year * 24,
        entry_age_d=0.0,
        exit_age_d=year,
        entry_age_h=0.0,
        exit_age_h=year * 24,
    )
    old = young.assign(position_id="POLD", life_id="old", entry_age_h=50_000.0)
    old = old.assign(exit_age_h=50_000 + year * 24, entry_age_d=2083.0, exit_age_d=2448.0)
    both = pd.concat([lives, young, old], ignore_index=True)
    for basis in ("counts", "ages"):
        got = standouts_of(both, basis=basis).table.set_index("position_id")["expected"]
        assert got["PNEW"] < 0.6 * got["POLD"]
    flat = standouts_of(both, basis="exposure").table.set_index("position_id")["expected"]
    assert flat["PNEW"] == pytest.approx(flat["POLD"], rel=0.05)


def test_a_fleet_in_other_order_or_other_names_is_the_same_fleet():
    lives = study.draw_fleet("shape 1.4", "apart", np.random.default_rng(2), 150).lives
    first = standouts_of(lives).table
    again = standouts_of(lives.sample(frac=1.0, random_state=9)).table
    pd.testing.assert_frame_equal(first, again, rtol=1e-6)
    clock = standouts_of(lives, clock="calendar_d").table
    pd.testing.assert_frame_equal(first, clock, rtol=1e-4, atol=1e-6)


def test_lives_of_unknown_age_count_where_ages_do_not_matter():
    lives = study.draw_fleet("shape 1.4", "alike", np.random.default_rng(3), 100).lives
    blind = lives.assign(age_known=False)
    got = standouts_of(blind).table
    failed = (lives["end"] == "failed").sum()
    assert got["observed"].sum() == failed
    assert got["dispersion"].to_numpy() == pytest.approx(1.0, rel=0.01), "no law: at random"
    assert standouts_of(blind, basis="ages").table["observed"].sum() == 0


# --- properties --------------------------------------------------------------------------------

units = st.lists(
    st.tuples(st.integers(0, 12), st.floats(0.1, 50.0), st.sampled_from("abc")),
    min_size=1,
    max_size=12,
)


@given(units, st.randoms(use_true_random=False))
def test_any_set_in_any_order_in_any_unit(rows, random):
    d, t, g = zip(*rows, strict=True)
    label = [f"u{i}" for i in range(len(rows))]
    got = stand_out(d, t, group=g, label=label).table
    assert got["observed"].sum() + got["not_compared"].sum() == sum(d)
    usable = got["p"].notna()
    assert got.loc[usable, "p"].between(0, 1).all()
    assert (got.loc[usable, "ratio_low"] <= got.loc[usable, "ratio_high"]).all()
    assert (got.loc[usable, "p_adjusted"] >= got.loc[usable, "p"] * (1 - 1e-12)).all()
    assert got["message"].ne("").all()
    order = list(range(len(rows)))
    random.shuffle(order)
    mixed = stand_out(
        [d[i] for i in order],
        [t[i] * 24.0 for i in order],
        group=[g[i] for i in order],
        label=[label[i] for i in order],
    ).table
    one, two = (v.set_index("label").sort_index() for v in (got, mixed))
    same = ["observed", "expected", "ratio_shrunk", "ratio_high", "prob_above", "p", "p_adjusted"]
    pd.testing.assert_frame_equal(one[same], two[same], rtol=1e-5, atol=1e-8)
    assert (one["verdict"] == two["verdict"]).all()
    np.testing.assert_allclose(
        one["more_exposure"] * 24, two["more_exposure"], rtol=1e-4, atol=1e-6
    )


def test_nothing_no_time_no_failures():
    empty = stand_out([], [])
    assert len(empty.table) == 0
    assert len(empty.funnel) == 0
    assert empty.together == ""
    table = stand_out([0, 0, 3], [0.0, 2.0, 5.0], label=list("abc")).table.set_index("label")
    assert table.loc["a", "status"] == "no exposure"
    assert np.isnan(table.loc["a", "expected"])
    none = stand_out([0, 0, 0], [1.0, 2.0, 3.0]).table
    assert none["status"].eq("no failures").all()
    assert none["verdict"].eq("cannot tell yet").all()
    one = stand_out([3], [1.0]).table
    assert one["status"].tolist() == ["alone"]
    lives = study.draw_fleet("shape 1", "alike", np.random.default_rng(0), 3).lives
    assert len(standouts_of(lives[:0]).table) == 0


def test_none_at_all_against_many_is_better_than_its_class():
    got = stand_out([0, *[20] * 9], [10.0] * 10, label=list("abcdefghij")).table
    assert got["verdict"].iloc[-1] == BETTER
    assert got["label"].iloc[-1] == "a"
    assert got["ratio_high"].iloc[-1] < 1


def test_much_exposure_tells_and_little_says_what_it_would_take():
    much = stand_out([100, 104, 96, 99], [50.0] * 4).table
    assert much["verdict"].eq("no evidence").all()
    assert (much["more_exposure"] == 0).all()
    little = stand_out([1, 1, 2, 1, 1, 2], [10.0] * 6).table
    assert little["verdict"].eq("cannot tell yet").all()
    need = float(little["more_exposure"].iloc[0])
    # with that much more, three times the rate of the same rest does show
    rate, years = 8 / 60, 10 + need
    count = np.ceil(3 * rate * years)
    more = stand_out([count, *[round(rate * 1e3)] * 5], [years, *[1e3] * 5])
    assert more.table["verdict"].iloc[0] == WORSE
    few = stand_out([1, 0], [1.0, 1.0]).table
    assert few["message"].str.contains("too few failures to compare with").any()


def test_a_label_in_several_classes_is_held_against_each():
    d = [6, 10, 10, 3, 30, 30]
    t = [10.0, 20.0, 20.0, 10.0, 100.0, 100.0]
    group, label = list("aaabbb"), list("xyzxyz")
    got = stand_out(d, t, group=group, label=label).table.set_index("label")
    assert got.loc["x", "observed"] == 9
    assert got.loc["x", "expected"] == pytest.approx(5 + 3, rel=0.1)
    assert (got["group"] == "several classes").all()


def test_rows_of_one_unit_in_one_class_are_one():
    parts = stand_out([4, 5, 1, 2, 1], [4.0, 6.0, 10.0, 10.0, 9.0], label=list("aabcd")).table
    whole = stand_out([9, 1, 2, 1], [10.0, 10.0, 10.0, 9.0], label=list("abcd")).table
    pd.testing.assert_frame_equal(parts, whole)


def test_ten_thousand_positions_of_one_class():
    rng = np.random.default_rng(0)
    counts = rng.poisson(1.2, 10_000)
    counts[::1000] = 11
    got = stand_out(counts, rng.uniform(9.0, 11.0, 10_000), label=np.arange(10_000))
    assert set(range(0, 10_000, 1000)) <= set(got.listed["label"])
    assert len(got.listed) <= 13


def test_given_expectations_are_taken():
    got = stand_out([9, 1, 2], [1.0, 1.0, 1.0], expected=[1.0, 1.5, 2.0], behind=[50, 50, 50])
    table = got.table.set_index("label").sort_index()
    np.testing.assert_allclose(table["expected"], [1.0, 1.5, 2.0])
    np.testing.assert_allclose(table["ratio"], [9.0, 1 / 1.5, 1.0])
    assert table["verdict"].tolist()[0] == WORSE
    weak = stand_out([9, 1, 2], [1.0, 1.0, 1.0], expected=[1.0, 1.5, 2.0], behind=[1, 1, 1])
    assert weak.table.set_index("label").loc[1, "p"] > table.loc[1, "p"]
    alone = stand_out([9, 1, 2], [1.0, 1.0, 1.0], expected=[1.0, 1.5, 2.0])
    assert alone.table["p"].notna().all()


def test_what_is_to_come_follows_the_time_to_come():
    d, t = [9, 1, 0, 2, 1, 1, 0, 1], [10.0] * 8
    once, twice = (stand_out(d, t, next_exposure=np.full(8, x)).table.iloc[0] for x in (10, 20))
    assert once["next_expected"] == pytest.approx(once["again_expected"])
    assert twice["next_expected"] == pytest.approx(2 * once["next_expected"])
    assert twice["next_high"] > once["next_high"] > once["next_expected"] > once["next_low"]


# --- tests and limits of a whole class ---------------------------------------------------------


def test_small_counts_have_the_mean_and_variance_of_pearsons_statistic():
    rng = np.random.default_rng(5)
    exposure = np.array([0.2, 0.5, 1.0, 2.0, 4.0])
    draws = rng.multinomial(12, exposure / exposure.sum(), 4000)
    group = np.repeat(np.arange(4000), 5)
    got = heterogeneity(draws.ravel(), np.tile(exposure, 4000), group=group).table
    assert (got["p_small"] <= 0.10).mean() == pytest.approx(0.10, abs=0.02)
    assert (got["status"] == "small counts").all()


def test_regular_counts_are_more_alike_than_chance():
    counts, exposure = [5, 6, 5, 4, 5, 5, 6, 4], np.ones(8)
    loose = heterogeneity(counts, exposure).table["p_small"][0]
    tight = heterogeneity(counts, exposure, dispersion=0.1).table["p_small"][0]
    assert loose > 0.9
    assert tight < loose


def test_one_unit_or_no_failure_is_no_test():
    got = heterogeneity([3, 0, 0], [1.0, 1.0, 2.0], group=["a", "b", "b"]).table
    assert got["status"].tolist() == ["one unit", "no failures"]
    assert got["verdict"].eq("cannot tell yet").all()
    assert got["p"].isna().all()


def test_funnel_narrows_with_the_expected_count_and_with_regularity():
    low, high = funnel_limits(np.array([0.2, 2.0, 20.0, 200.0]))
    assert (np.diff(high) < 0).all()
    assert (np.diff(low) >= 0).all()
    _, tight = funnel_limits(np.array([20.0]), dispersion=0.4)
    assert tight[0] < high[2]


# --- bad input ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"failures": [1.5, 2]}, "failures"),
        ({"failures": [-1, 2]}, "failures"),
        ({"failures": [1, np.nan]}, "failures"),
        ({"exposure": [1.0]}, "failures"),
        ({"exposure": [0.0, 1.0]}, "exposure"),
        ({"group": ["a", None]}, "group"),
        ({"label": ["a"]}, "label"),
        ({"level": 1.0}, "level"),
        ({"ratio": 1.0}, "ratio"),
        ({"tells": 0.5}, "tells"),
        ({"discovery": 0.0}, "discovery"),
        ({"spread": "each"}, "spread"),
        ({"dispersion": 0.0}, "dispersion"),
        ({"dispersion": [1.0, 1.0, 1.0]}, "dispersion"),
        ({"expected": [-1.0, 1.0]}, "expected"),
        ({"behind": [1.0, 1.0]}, "behind"),
        ({"next_exposure": [1.0, -1.0]}, "next_exposure"),
    ],
)
def test_bad_input_says_where(change, where):
    with pytest.raises(InputError, match=where):
        stand_out(**{"failures": [1, 2], "exposure": [1.0, 1.0], **change})


def test_bad_input_of_limits_and_tests():
    for wrong in ({"expected": [0.0]}, {"level": 0}, {"method": "x"}, {"dispersion": -1.0}):
        with pytest.raises(InputError):
            funnel_limits(**{"expected": [1.0], **wrong})
    with pytest.raises(InputError, match="dispersion"):
        heterogeneity([1, 2], [1.0, 1.0], dispersion=0.0)


def test_bad_input_of_a_fleet():
    lives = study.draw_fleet("shape 1", "alike", np.random.default_rng(0), 12).lives
    with pytest.raises(InputError, match="neither lives nor positions"):
        standouts_of(lives, by="colour")
    with pytest.raises(InputError, match="basis"):
        standouts_of(lives, basis="luck")
    with pytest.raises(InputError, match="hours"):
        standouts_of(lives.drop(columns="hours"))


def test_the_callers_data_stay_as_they_are():
    lives = study.draw_fleet("shape 1", "alike", np.random.default_rng(0), 12).lives
    before = lives.copy()
    standouts_of(lives)
    pd.testing.assert_frame_equal(lives, before)


def test_a_result_can_be_read_and_stored():
    got = stand_out([9, 1, 0, 2, 1, 1, 0, 1], [10.0] * 8, label=list("ABCDEFGH"))
    assert got["A"]["observed"] == 9
    assert "worse than its class" in got.summary()
    assert got.to_dict()["tested"] == 8
    assert replace(got, unit="months").unit == "months"

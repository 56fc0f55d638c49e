"""`seallife.life.pooling`: a second computation, known truth, held-out lives, hard cases."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from published import pooling_sampler

from seallife import life
from seallife.errors import InputError
from seallife.life.lifedata import read_lives
from seallife.life.poolinggrid import class_likelihoods, posterior_nodes
from seallife.life.poolinglaw import _value_and_slope
from seallife.life.powersums import power_sums
from seallife.study import Study

FIGURES = ["shape", "scale", "b10", "b50"]
LIMITS = [f"{name}_{side}" for name in FIGURES for side in ("low", "high")]
BORROWED = ["borrowed_shape", "borrowed_scale"]
STATUS = {
    "ok", "few failures", "no failures", "no lives", "one class", "at bound", "nothing to pool",
}  # fmt: skip


def lives_of(rng, a, m, sizes):
    """Lives of classes with the log shapes and log scales given, run hours, as a site sees them."""
    group = np.repeat(np.arange(len(a)), sizes)
    n, b, scale = len(group), np.exp(a)[group], np.exp(m)[group]
    entry = np.where(rng.random(n) < 0.35, rng.uniform(0, 12_000, n), 0.0)
    age = scale * ((entry / scale) ** b + rng.exponential(size=n)) ** (1 / b)
    end = entry + rng.uniform(500, 22_000, n)
    return np.minimum(age, end), age <= end, entry, group


def fleet(rng, classes=10):
    """Ten classes of 0 to some 60 failures (some 20 in the middle): truth, lives, new lives."""
    a = rng.normal(np.log(1.6), 0.25, classes)
    m = rng.normal(np.log(20_000), 0.6, classes)
    known = lives_of(rng, a, m, rng.integers(3, 90, classes))
    return a, m, known, lives_of(rng, a, m, np.full(classes, 300))


def log_scores(shape, scale, age, failed, entry, group):
    """Log likelihood of lives not seen, per life."""
    b, s = np.asarray(shape)[group], np.asarray(scale)[group]
    hazard = np.where(failed, np.log(b / age) + b * np.log(age / s), 0.0)
    return hazard - (age / s) ** b + (entry / s) ** b


def rivals(age, failed, entry, group, weight, shape):
    """Each class for itself, and one law for all.

    A class for itself takes a fixed shape below five failures, as `fit_weibull` advises; without
    a failure the scale if one were about to come; without lives the law of all.
    """
    both = {"entry_age": entry, "weight": weight}
    one = life.fit_weibull(age, failed, intervals=False, **both)["all"]
    own = life.fit_weibull(age, failed, group=group, intervals=False, **both).table
    seen = weight > 0
    fixed = life.fit_fixed_shape(
        age[seen], failed[seen], shape, group=group[seen], entry_age=entry[seen]
    ).table
    fixed = fixed.set_index("group").reindex(own["group"]).reset_index()
    few = (own["failures"] < 5) | own["shape"].isna()
    scale = fixed["scale"].where(fixed["scale"].notna(), fixed["scale_if_one_failed"])
    own_shape = own["shape"].mask(few, shape).mask(own["n"] == 0, one["shape"])
    own_scale = own["scale"].mask(few, scale).mask(own["n"] == 0, one["scale"])
    g = len(own)
    return (own_shape, own_scale), (np.full(g, one["shape"]), np.full(g, one["scale"]))


# ---------------------------------------------------------------- a second computation


def test_a_sampler_of_the_same_model_agrees():
    """Metropolis sampling, life by life; its own standard errors are up to 0.4 % (0.8 % for the
    class without failures). Medians agree within 0.7 %, limits of classes within 2.4 %."""
    age, failed, entry, group = pooling_sampler.arrays()
    at = pooling_sampler.SURVIVAL_AT
    pooled = life.pool_weibull(age, failed, group=group, entry_age=entry, survival_at=[at])
    file = Path(pooling_sampler.__file__).with_name("pooling_sampler.csv")
    for row in pd.read_csv(file, keep_default_na=False).itertuples():
        name = row.quantity
        if row[1] == "":
            mine = pooled.classes.set_index("quantity").loc[name, ["low", "value", "high"]]
        elif name == "survival":
            mine = pooled.survival.set_index("group").loc[row[1], ["low", "survival", "high"]]
        else:
            mine = pooled[row[1]][[f"{name}_low", name, f"{name}_high"]]
        ours, theirs = mine.to_numpy(float), np.array([row.low, row.median, row.high])
        if name in ("survival", "correlation"):
            np.testing.assert_allclose(ours, theirs, atol=0.05 if name == "correlation" else 0.004)
        elif name.startswith("sd of"):
            np.testing.assert_allclose(ours, theirs, atol=0.025)
        else:
            np.testing.assert_allclose(ours[1], theirs[1], rtol=0.01)
            np.testing.assert_allclose(ours, theirs, rtol=0.03 if row[1] else 0.05)


def test_integrals_agree_with_a_fine_grid_over_the_lives():
    """Within 1e-7 for a class of many failures; for one of few, skew, 5e-6 of its likelihood."""
    rng = np.random.default_rng(3)
    a, m, (age, failed, entry, group), _ = fleet(rng, 6)
    data = read_lives(age, failed, group=group, entry_age=entry)
    classes = class_likelihoods(power_sums(data), data.count() > 0)
    law = np.array([0.4, 9.8, np.log(0.3), np.log(0.7), 0.4])
    at = np.tile(law, (6, 1))
    shifts = [posterior_nodes(classes, np.arange(6), at, np.full(6, u)) for u in (0.0, 0.3, 0.8)]
    a, m = np.meshgrid(np.linspace(-1.6, 2.4, 300), np.linspace(5, 17, 900), indexing="ij")
    u, v, r = (a - 0.4) / 0.3, (m - 9.8) / 0.7, np.tanh(0.4)
    prior = -(u * u - 2 * r * u * v + v * v) / (1 - r * r) / 2
    prior -= np.log(2 * np.pi * 0.3 * 0.7 * np.sqrt(1 - r * r))
    for k in range(6):
        rows = group == k
        height = prior.copy()
        for t, f, e in zip(age[rows], failed[rows], entry[rows], strict=True):
            z = np.exp(a) * (np.log(t) - m)
            height += f * (a + z) - np.exp(z)
            if e > 0:
                height += np.exp(np.exp(a) * (np.log(e) - m))
        top = height.max()
        w = np.exp(height - top)
        cell = (a[1, 0] - a[0, 0]) * (m[0, 1] - m[0, 0])
        log_z = top + np.log(w.sum() * cell)  # both leave the 1 / t of each density out
        for nodes in shifts:
            np.testing.assert_allclose(nodes.weight[k].sum(), 1)
            np.testing.assert_allclose(nodes.log_marginal[k], log_z, atol=1e-5)
            for value, grid in ((nodes.log_shape[k], a), (nodes.log_scale[k], m)):
                expected = (w * grid).sum() / w.sum()
                np.testing.assert_allclose((nodes.weight[k] * value).sum(), expected, atol=1e-5)
    value, slope = _value_and_slope(classes, law, 9.9)
    for k in range(5):
        step = 1e-4 * np.eye(5)[k]
        up, down = (_value_and_slope(classes, law + s, 9.9)[0] for s in (step, -step))
        np.testing.assert_allclose((up - down) / 2e-4, slope[k], atol=1e-4)


# ---------------------------------------------------------------- known truth, held-out lives


def _study(replicates, seed):
    rng = np.random.default_rng(seed)
    scores, held, failures = [], [], []
    for _ in range(replicates):
        a, m, known, new = fleet(rng)
        b, s = np.exp(a), np.exp(m)
        at = 8_760.0
        pooled = life.pool_weibull(*known[:2], group=known[3], entry_age=known[2], survival_at=[at])
        table, alive = pooled.table, pooled.survival
        own, one = rivals(*known[:4], np.ones(len(known[0])), 1.5)
        laws = [(table["shape"], table["scale"]), own, one, (b, s)]
        scores.append([log_scores(*law, *new).sum() / new[1].sum() for law in laws])
        truth = [b, s, s * (-np.log(0.9)) ** (1 / b), s * np.log(2) ** (1 / b)]
        inside = [
            (table[f"{name}_low"] <= x) & (x <= table[f"{name}_high"])
            for name, x in zip(FIGURES, truth, strict=True)
        ]
        r = np.exp(-((at / s) ** b))
        held.append([*inside, (alive["low"] <= r) & (r <= alive["high"])])
        failures.append(table["failures"])
    return np.array(scores), np.array(held), np.array(failures)


def test_new_lives_are_foretold_better_than_by_separate_or_common_fits():
    """Eight fleets of ten classes, 1 to 59 failures each. Log score of new lives, per failure,
    below that of the truth: pooled 0.074, each class for itself 0.086, one law for all 0.365.
    The slow study below is the one that decides."""
    scores, held, failures = _study(8, 21)
    assert failures.min() <= 2
    assert failures.max() >= 40
    loss = (scores[:, 3:] - scores).mean(axis=0)
    assert loss[0] < loss[1]
    assert loss[0] < 0.3 * loss[2]
    assert held.mean() > 0.84


@pytest.mark.slow
def test_new_lives_of_many_fleets_are_foretold_and_intervals_hold_at_one_law():
    """200 fleets of ten classes, 0 to 87 failures each, 14 in the middle, a fifth below 5.

    Log score of new lives, per failure, below that of the truth: pooled 0.069, each class for
    itself with fixed rules where it is thin 0.107 (difference 0.038, standard error 0.006), one
    law for all 0.397. Intervals at 90 % hold the truth in: shape 87.8 %, scale 89.6, B10 88.5,
    B50 90.2, survival 89.1; below 5 failures 91.8, 89.6, 88.8, 89.6, 90.4. The law of the
    classes is the same in all fleets, and at one law a posterior interval need not hold in exactly
    90 of 100: the next test asks for that. The shape's 2.2 points are three standard errors.
    """
    scores, held, failures = _study(200, 22)
    loss = scores[:, 3:] - scores
    gain = loss[:, 1] - loss[:, 0]
    assert gain.mean() > 4 * gain.std() / np.sqrt(len(gain))
    assert loss[:, 0].mean() < 0.75 * loss[:, 1].mean()
    assert (loss[:, 2] > loss[:, 0]).mean() > 0.98
    for k, name in enumerate([*FIGURES, "survival"]):
        assert 0.87 < held[:, k].mean() < 0.93, name
        assert 0.86 < held[:, k][failures < 5].mean() < 0.94, name


@pytest.mark.slow
def test_intervals_hold_the_truth_where_laws_come_from_the_prior():
    """Within three standard errors of 90 %, which count fleets, as classes of one share a law.

    699 fleets: shape 90.3 %, scale 90.2, B10 90.3, standard error 0.4; the law itself 86 to 93.
    """
    rng = np.random.default_rng(101)
    classes, held = 10, []
    while len(held) < 200:
        u, v = rng.normal(size=(2, classes))
        r = 2 * rng.beta(2, 2) - 1
        a = rng.normal(np.log(1.5), 0.6) + abs(rng.normal(0, 0.5)) * u
        m = rng.normal(np.log(20_000), 0.5)
        m += abs(rng.normal(0, 1.0)) * (r * u + np.sqrt(1 - r * r) * v)
        age, failed, entry, group = lives_of(rng, a, m, rng.integers(3, 60, classes))
        if not (failed.any() and np.isfinite(age).all() and (age > entry).all()):
            continue
        table = life.pool_weibull(age, failed, group=group, entry_age=entry).table
        truth = np.exp(a), np.exp(m), np.exp(m) * (-np.log(0.9)) ** np.exp(-a)
        held.append(
            [
                ((table[f"{name}_low"] <= x) & (x <= table[f"{name}_high"])).mean()
                for name, x in zip(("shape", "scale", "b10"), truth, strict=True)
            ]
        )
    off = np.array(held) - 0.9
    assert (np.abs(off.mean(axis=0)) < 3 * off.std(axis=0) / np.sqrt(len(off))).all()


@pytest.mark.parametrize("kept", [1.0, 0.2])
def test_lives_of_other_positions_of_the_demo_fleet_are_foretold_better(demo_study: Study, kept):
    """Five folds of seal positions, all other positions known, or a fifth of them.

    Log score per failure held out: all known, pooled -11.062, each class for itself -11.065, one
    law -11.147; a fifth known, pooled -11.106, for itself -11.212, one law -11.159. With many
    failures a class needs no help; with few, pooling beats both.
    """
    table = demo_study.lives.table
    usable = table["age_known"] & (table["exit_age_h"] > table["entry_age_h"])
    table = table[usable & (table["entry_age_h"] >= 0)]
    age, entry = table["exit_age_h"].to_numpy(float), table["entry_age_h"].to_numpy(float)
    failed = (table["end"] == "failed").to_numpy()
    group = pd.factorize(table["service_class"], sort=True)[0]
    place = pd.factorize(table["position_id"], sort=True)[0]
    rng = np.random.default_rng(4)
    fold = rng.permutation(place.max() + 1)[place] % 5
    used = (rng.random(place.max() + 1) < kept)[place]
    total = np.zeros(3)
    for k in range(5):
        weight = (used & (fold != k)).astype(float)
        pooled = life.pool_weibull(age, failed, group=group, entry_age=entry, weight=weight).table
        laws = [
            (pooled["shape"], pooled["scale"]),
            *rivals(age, failed, entry, group, weight, 1.4),
        ]
        out = fold == k
        rest = age[out], failed[out], entry[out], group[out]
        total += [log_scores(*law, *rest).sum() for law in laws]
    total /= failed.sum()
    assert total[0] > total[1]
    assert total[0] > total[2]


# ---------------------------------------------------------------- what must not matter


def _numbers(pooled):
    return pooled.table[FIGURES + LIMITS + BORROWED].to_numpy(float)


def test_order_of_rows_and_names_change_nothing():
    rng = np.random.default_rng(5)
    _, _, (age, failed, entry, group), _ = fleet(rng, 4)
    one = life.pool_weibull(age, failed, group=group, entry_age=entry)
    order = rng.permutation(len(age))
    names = np.array(["z", "c", "q", "a"])
    two = life.pool_weibull(
        age[order], failed[order], group=names[group[order]], entry_age=entry[order]
    )
    back = np.argsort(names)
    np.testing.assert_allclose(_numbers(two), _numbers(one)[back], rtol=1e-3)


def test_a_change_of_unit_changes_ages_only():
    rng = np.random.default_rng(6)
    _, _, (age, failed, entry, group), _ = fleet(rng, 4)
    one = life.pool_weibull(age, failed, group=group, entry_age=entry, survival_at=[5000.0])
    for unit in (1 / 24, 3600.0):
        two = life.pool_weibull(
            age * unit, failed, group=group, entry_age=entry * unit, survival_at=[5000 * unit]
        )
        np.testing.assert_allclose(two.table["shape"], one.table["shape"], rtol=1e-3)
        np.testing.assert_allclose(two.table["b10_low"], one.table["b10_low"] * unit, rtol=2e-3)
        np.testing.assert_allclose(two.survival["low"], one.survival["low"], rtol=1e-3)


def test_weights_stand_for_repeated_rows():
    rng = np.random.default_rng(7)
    _, _, (age, failed, entry, group), _ = fleet(rng, 3)
    times = rng.integers(1, 4, len(age))
    one = life.pool_weibull(age, failed, group=group, entry_age=entry, weight=times)
    rows = [np.repeat(x, times) for x in (age, failed, entry, group)]
    two = life.pool_weibull(*rows[:2], entry_age=rows[2], group=rows[3])
    np.testing.assert_allclose(_numbers(two), _numbers(one), rtol=1e-3)


def test_much_data_borrow_nothing_and_none_borrow_all():
    rng = np.random.default_rng(8)
    a, m = np.log([1.2, 2.0, 1.5, 1.5]), np.log([9e3, 3e4, 2e4, 2e4])
    age, failed, entry, group = lives_of(rng, a, m, [3000, 3000, 3000, 5])
    weight = np.where(group == 3, 0.0, 1.0)
    pooled = life.pool_weibull(age, failed, group=group, entry_age=entry, weight=weight)
    table, alone = pooled.table, pooled.alone
    for name in FIGURES:
        np.testing.assert_allclose(table[name][:3], alone[name][:3], rtol=0.02)
        np.testing.assert_allclose(table[f"{name}_low"][:3], alone[f"{name}_low"][:3], rtol=0.02)
    assert (table[BORROWED].iloc[:3] < 0.15).all(axis=None)
    assert (table[BORROWED].iloc[3] > 0.99).all()
    none = pooled[3]
    typical = pooled.classes.set_index("quantity")["value"]
    assert none["status"] == "no lives"
    assert "other classes" in none["message"]
    assert none["shape"] == pytest.approx(typical["typical shape"], rel=0.05)
    wider = np.log(table["shape_high"] / table["shape_low"])
    assert wider[3] > 3 * wider[:3].max()


def test_borrowing_falls_with_failures():
    rng = np.random.default_rng(9)
    sizes = [4, 15, 60, 240, 60, 60]
    rows = lives_of(rng, np.full(6, 0.4), rng.normal(9.9, 0.5, 6), sizes)
    pooled = life.pool_weibull(*rows[:2], group=rows[3], entry_age=rows[2]).table
    share = pooled["borrowed_shape"][:4].to_numpy()
    assert (np.diff(share) < 0).all()
    assert ((pooled[BORROWED] >= 0) & (pooled[BORROWED] <= 1)).all(axis=None)


# ---------------------------------------------------------------- thin, odd and bad input


def test_one_class_has_nothing_to_borrow_from():
    rng = np.random.default_rng(10)
    age, failed, entry, _ = lives_of(rng, np.array([0.5]), np.array([9.5]), [40])
    row = life.pool_weibull(age, failed, group=["A"] * 40, entry_age=entry)["A"]
    assert row["status"] == "one class"
    assert "nothing to borrow" in row["message"]
    alone = life.fit_weibull(age, failed, entry_age=entry)["all"]
    assert row["b50"] == pytest.approx(alone["b50"], rel=0.05)


def test_no_failure_in_any_class_gives_no_figures():
    pooled = life.pool_weibull([5, 6, 7], [0, 0, 0], group=[1, 1, 2], survival_at=[3])
    assert pooled.table["status"].tolist() == ["nothing to pool"] * 2
    assert np.isnan(_numbers(pooled)).all()
    assert pooled.survival["survival"].isna().all()


@pytest.mark.parametrize(
    "other",
    [
        ([900.0] * 4, [0] * 4),
        ([900.0] + [1000.0] * 3, [1, 0, 0, 0]),
        ([300.0, 600.0, 900.0, 1000.0], [1, 1, 1, 0]),
        ([1000.0] * 300, [1] * 300),
        ([700.0], [1]),
    ],
)
def test_two_classes_are_steady(other):
    rng = np.random.default_rng(11)
    age = np.r_[1000 * rng.weibull(1.5, 300), other[0]]
    failed = np.r_[np.ones(300), other[1]]
    group = np.r_[np.zeros(300), np.ones(len(other[0]))]
    pooled = life.pool_weibull(age, failed, group=group, survival_at=[1.0, 500.0, 1e9])
    table = pooled.table
    assert np.isfinite(_numbers(pooled)).all()
    for name in FIGURES:
        assert (table[f"{name}_low"] < table[name]).all()
        assert (table[name] < table[f"{name}_high"]).all()
    assert table["shape"].between(0.05, 50).all()
    alone = life.fit_weibull(age[:300], failed[:300])["all"]
    assert table["b50"][0] == pytest.approx(alone["b50"], rel=0.02)
    s = pooled.survival
    assert ((s["low"] >= 0) & (s["low"] <= s["survival"]) & (s["survival"] <= s["high"])).all()
    assert (s["high"] <= 1).all()


def test_identical_ages_are_told():
    age = np.r_[np.arange(1.0, 31), [30.0] * 200]
    pooled = life.pool_weibull(age, np.ones(230), group=["a"] * 30 + ["same"] * 200)
    assert pooled["same"]["status"] == "at bound"
    assert pooled["a"]["shape"] < 4


@settings(max_examples=15, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(1e-2, 1e5), st.booleans(), st.floats(0, 0.99), st.sampled_from("abc")),
        min_size=1,
        max_size=14,
    )
)
def test_any_small_fleet_gives_ordered_rows(rows):
    age, failed, late, group = (np.array(x) for x in zip(*rows, strict=True))
    pooled = life.pool_weibull(age, failed, group=group, entry_age=age * late, survival_at=[10.0])
    assert set(pooled.table["status"]) <= STATUS | {"not converged"}
    numbers = pooled.table[FIGURES + LIMITS]
    assert failed.any() == numbers.notna().all(axis=None)
    for name in FIGURES:
        low, middle, high = (pooled.table[f"{name}{s}"] for s in ("_low", "", "_high"))
        if failed.any():
            assert ((low <= middle) & (middle <= high)).all()


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        ({"age": [1.0, np.nan, 3.0]}, "age"),
        ({"age": [1.0, -2.0, 3.0]}, "above 0"),
        ({"entry_age": [0.0, 2.0, 0.0]}, "entry_age"),
        ({"entry_age": [0.0, -1.0, 0.0]}, "entry_age"),
        ({"failed": [1, 2, 0]}, "failed"),
        ({"weight": [1, -1, 1]}, "weight"),
        ({"group": ["a", None, "b"]}, "group"),
        ({"group": None}, "group"),
        ({"level": 90}, "level"),
        ({"fractions": [10]}, "fractions"),
        ({"survival_at": [0]}, "survival_at"),
    ],
)
def test_bad_input_is_refused_in_a_sentence(bad, words):
    given = {"age": [1.0, 2.0, 3.0], "failed": [1, 1, 0], "group": ["a", "a", "b"]} | bad
    with pytest.raises(InputError, match=words):
        life.pool_weibull(given.pop("age"), given.pop("failed"), **given)


@pytest.mark.parametrize("g", [1_000, pytest.param(10_000, marks=pytest.mark.slow)])
def test_thousands_of_classes_of_few_lives_take_seconds(g):
    """One core: 1,000 classes of 5 lives some 5 s, 10,000 some 16 s; 5,000 of 200 lives 8 s."""
    rng = np.random.default_rng(12)
    a, m = rng.normal(0.4, 0.3, g), rng.normal(9.9, 0.6, g)
    rows = lives_of(rng, a, m, np.full(g, 5))
    start = time.process_time()
    pooled = life.pool_weibull(*rows[:2], group=rows[3], entry_age=rows[2])
    assert time.process_time() - start < 60
    table = pooled.table
    held = (table["shape_low"] <= np.exp(a)) & (np.exp(a) <= table["shape_high"])
    assert 0.87 < held.mean() < 0.93
    spread = pooled.classes.set_index("quantity").loc[["sd of log shape", "sd of log scale"]]
    assert (spread["low"] < [0.3, 0.6]).all()
    assert (spread["high"] > [0.3, 0.6]).all()


def test_the_result_can_be_read_and_stored():
    import json

    rng = np.random.default_rng(13)
    _, _, (age, failed, entry, group), _ = fleet(rng, 3)
    pooled = life.pool_weibull(age, failed, group=group, entry_age=entry, fractions=(0.05,))
    assert "b5" in pooled.table
    assert "level 0.9" in pooled.summary()
    stored = json.loads(json.dumps(pooled.to_dict()))
    assert stored["classes"][0]["quantity"] == "typical shape"
    assert "half-normal" in stored["prior"]

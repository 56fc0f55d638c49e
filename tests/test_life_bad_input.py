"""Whatever is given: one sentence that names it, or figures that are finite, ordered and marked.

Bad input of every kind for each estimator of lives, awkward but legal lives by hypothesis, and what
must not matter: unit, order of rows, names, and who else is in the table.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seallife import life
from seallife.errors import InputError

AGE = np.array([50.0, 60, 70, 80, 90, 95])
FAILED = np.array([1, 1, 0, 1, 1, 0], bool)


def causes(failed):
    """Leaks and fitting errors in turn where a life failed."""
    turn = np.where(np.arange(len(failed)) % 2 == 0, "leak", "fitting")
    return np.where(np.asarray(failed, bool), turn, "").astype(object)


def factors(n):
    """A number and a group, told by the place of the row alone."""
    place = np.arange(n)
    return pd.DataFrame({"t": np.sin(7.0 * place), "w": np.where(place % 3 == 0, "a", "b")})


def by_cause(fit, *more, **fixed):
    def run(age, failed, **kw):
        return fit(age, causes(failed), *more, **fixed, **kw)

    return run


def regress(fit):
    def run(age, failed, *, group=None, entry_age=None, weight=None, x=None, position=None):
        assert weight is None
        f = factors(np.size(age)) if x is None else x
        return fit(age, failed, f, entry_age=entry_age, stratum=group, cluster=position)

    return run


def renewed(age, failed, *, group=None, entry_age=None, weight=None, position=None):
    assert weight is None
    place = np.arange(np.size(age))
    position = place // 3 if position is None else position
    return life.renewal_effect(
        age, failed, position, entry_age=entry_age, stratum=group, rebuilt=place % 2
    )


WEIGHTED = {
    "fit_weibull": life.fit_weibull,
    "pool_weibull": life.pool_weibull,
    "fit_causes": by_cause(life.fit_causes),
    "cumulative_incidence": by_cause(life.cumulative_incidence),
    "early_share": by_cause(life.early_share, 65.0),
    "choose_law": life.choose_law,
    "hides_mixture": life.hides_mixture,
}
UNWEIGHTED = {
    "fit_weibull_factors": regress(life.fit_weibull_factors),
    "fit_cox_factors": regress(life.fit_cox_factors),
    "renewal_effect": renewed,
}
ALL = WEIGHTED | UNWEIGHTED
BY_CAUSE = ("fit_causes", "cumulative_incidence", "early_share")
EVERY = pytest.mark.parametrize("name", list(ALL))
TAKES_WEIGHT = pytest.mark.parametrize("name", list(WEIGHTED))


def run(name, age, failed, group=None, entry=None, weight=None, **more):
    """Call an estimator with only what it takes."""
    kw = {"group": np.full(np.size(age), "x") if group is None else group, **more}
    if entry is not None:
        kw["entry_age"] = entry
    if weight is not None and name in WEIGHTED:
        kw["weight"] = weight
    return ALL[name](age, failed, **kw)


# --- refused with a sentence -----------------------------------------------------------------


def changed(place, value):
    """Ages with one of them something else."""
    out = AGE.astype(object)
    out[place] = value
    return out


@EVERY
@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"age": changed(1, np.nan)}, r"age\[1\]: nan is not a finite number"),
        ({"age": changed(2, np.inf)}, r"age\[2\]: inf is not a finite number"),
        ({"age": changed(3, None)}, r"age\[3\]: nan is not a finite number"),
        ({"age": changed(1, -3.0)}, r"age\[1\]: -3.0 must be above 0"),
        ({"age": changed(0, 0.0)}, r"age\[0\]: 0.0 must be above 0"),
        ({"age": changed(2, "long")}, r"age\[2\]: 'long' is not a number"),
        ({"age": [50, 60, "7", 80, 90, 95]}, r"age\[\d\]: .* is not a number"),
        ({"age": np.array(list("123456"))}, r"age\[0\]: '1' is not a number"),
        ({"age": pd.date_range("2020-01-01", periods=6)}, "age: holds dates"),
        ({"age": np.full(6, 5 + 1j)}, "age: holds complex numbers"),
        ({"age": np.ones((6, 2))}, r"age: has shape \(6, 2\)"),
        ({"entry": [0, 60.0, 0, 0, 0, 0]}, r"entry_age\[1\]: 60.0 must be below the age"),
        ({"entry": [0, 0, 0, 99.0, 0, 0]}, r"entry_age\[3\]: 99.0 must be below the age"),
        ({"entry": [0, -1.0, 0, 0, 0, 0]}, r"entry_age\[1\]: -1.0 must not be below 0"),
        ({"entry": [0, np.nan, 0, 0, 0, 0]}, r"entry_age\[1\]: nan is not a finite"),
        ({"entry": [0.0]}, "entry_age: has 1 values where age has 6"),
        ({"group": ["a", None, "a", "b", "b", "b"]}, r"(group|stratum)\[1\]: a label is missing"),
        ({"group": ["a", np.nan, "a", "b", "b", "b"]}, r"(group|stratum)\[1\]: a label is missing"),
        ({"group": ["a", "b"]}, r"(group|stratum): has shape \(2,\)"),
    ],
)
def test_bad_lives_are_named(name, change, words):
    given_ = {"age": AGE, "failed": FAILED} | change
    with pytest.raises(InputError, match=words):
        run(name, **given_)


@TAKES_WEIGHT
@pytest.mark.parametrize(
    ("weight", "words"),
    [
        ([1, 1, -1, 1, 1, 1], r"weight\[2\]: -1.0 must not be below 0"),
        ([1, np.nan, 1, 1, 1, 1], r"weight\[1\]: nan is not a finite"),
        ([1, np.inf, 1, 1, 1, 1], r"weight\[1\]: inf is not a finite"),
        ([1, 1e300, 1, 1, 1, 1], r"weight\[1\]: 1e\+300 is no number of lives"),
        ([1, 1, 1, 1, 1, 1e-300], r"weight\[5\]: 1e-300 is no number of lives"),
        ([1, 1], "weight: has 2 values where age has 6"),
    ],
)
def test_bad_weights_are_named(name, weight, words):
    with pytest.raises(InputError, match=words):
        run(name, AGE, FAILED, weight=weight)


@pytest.mark.parametrize("name", [n for n in ALL if n not in BY_CAUSE])
@pytest.mark.parametrize("failed", [[1, 2, 0, 1, 1, 0], [1, None, 0, 1, 1, 0], ["yes"] * 6])
def test_ends_that_are_neither_are_named(name, failed):
    with pytest.raises(InputError, match=r"failed\[\d\]: .* is neither true nor false"):
        run(name, AGE, failed)


@pytest.mark.parametrize(
    "fit", [life.fit_causes, life.cumulative_incidence, lambda a, c: life.early_share(a, c, 65.0)]
)
@pytest.mark.parametrize(
    ("cause", "words"),
    [
        (["leak", 5, "", "", "", ""], r"cause\[1\]: 5 is no word"),
        (["leak", np.nan, "", "", "", ""], r"cause\[1\]: nan is no word"),
        (["leak"], "cause: has 1 values where age has 6"),
        ([["leak"] * 6], r"cause: has shape \(1, 6\)"),
    ],
)
def test_bad_causes_are_named(fit, cause, words):
    with pytest.raises(InputError, match=words):
        fit(AGE, cause)


@pytest.mark.parametrize("early", [0.0, -1.0, np.nan, np.inf])
def test_an_early_age_that_is_none_is_named(early):
    with pytest.raises(InputError, match="early_age"):
        life.early_share(AGE, causes(FAILED), early)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"position": [1, None, 2, 2, 3, 3]}, r"position\[1\]: a label is missing"),
        ({"position": [1]}, r"position: has shape \(1,\)"),
        ({"rebuilt": [0, 1, 0.5, 0, 1, 0]}, r"rebuilt\[2\]: .*0.5.* is no count"),
        ({"rebuilt": None}, "nothing to compare"),
        ({"order": [1, 0, 1, 1, 1, 1]}, r"order\[1\]"),
        ({"renewals": [0, -1, 0, 0, 0, 0]}, r"renewals\[1\]"),
        ({"margin": 1.0}, "margin"),
        ({"level": 0.0}, "level"),
    ],
)
def test_bad_arguments_of_renewals_are_named(change, words):
    given_ = {"position": [1, 1, 2, 2, 3, 3], "rebuilt": [0, 1, 0, 1, 0, 1]} | change
    with pytest.raises(InputError, match=words):
        life.renewal_effect(AGE, FAILED, given_.pop("position"), **given_)


def test_labels_of_several_kinds_that_have_no_order_are_refused():
    mixed = np.array(["a", (1, 2), 3, "b", "b", 2.5], dtype=object)
    with pytest.raises(InputError, match="group: holds labels that cannot be put in order"):
        life.fit_weibull(AGE, FAILED, group=mixed)
    # words and numbers have one, and stay what they are
    two = life.fit_weibull(AGE, FAILED, group=["a", 1, "a", 1, "a", 1])
    assert two.table["group"].tolist() == [1, "a"]


# --- awkward but legal -----------------------------------------------------------------------


@st.composite
def lives(draw, most=14):
    """Ties, late entries to the last digit, weights of 0, thin classes, units from 1e-6 to 1e12."""
    n = draw(st.integers(1, most))
    ages = st.sampled_from([1.0, 7.0, 7.0, 300.0]) | st.floats(1e-3, 1e4)
    age = np.array(draw(st.lists(ages, min_size=n, max_size=n)))
    late = draw(st.lists(st.sampled_from([0, 0, 0.3, 0.9, 1 - 1e-12]), min_size=n, max_size=n))
    unit = draw(st.sampled_from([1.0, 1.0, 1e-6, 1e12]))
    end = draw(st.sampled_from(["mixed", "none", "all", "oldest", "two alike"]))
    failed = np.array(draw(st.lists(st.booleans(), min_size=n, max_size=n)))
    if end == "none":
        failed[:] = False
    elif end == "all":
        failed[:] = True
    elif end == "oldest":
        failed = age == age.max()
    elif n > 1:
        failed[:] = False
        failed[:2], age[:2] = True, 20.0
    weight = draw(st.lists(st.sampled_from([1.0, 1.0, 0.0, 3.0, 0.4]), min_size=n, max_size=n))
    group = draw(st.lists(st.sampled_from("xyz"), min_size=n, max_size=n))
    age = age * unit
    entry = age * np.array(late)
    return age, failed, np.array(group), np.where(entry < age, entry, 0.0), np.array(weight)


RANGES = {"share": (0, 1), "incidence": (0, 1), "survival": (0, 1), "p": (0, 1), "fit_p": (0, 1)}
MIDDLES = ("ratio", "value", "share", "incidence", "survival")
NEEDED = ("shape", "scale", "b10", "b50", "mean", "share", "ratio", "coef", "se", "p")


def check(result, name):
    """Ordered, in range, finite or worded."""
    tables = {
        k: v for k, v in vars(result).items() if isinstance(v, pd.DataFrame) and len(v.columns)
    }
    for where, table in tables.items():
        for column in table:
            if column == "low" or column.endswith("_low"):
                stem = column.removesuffix("low").removesuffix("_")
                middle = stem or next((m for m in MIDDLES if m in table), "")
                high = f"{stem}_high" if stem else "high"
                names = [c for c in (column, middle, high) if c in table]
                for a, b in pairwise(names):
                    x, y = table[a].to_numpy(float), table[b].to_numpy(float)
                    assert not (x > y * (1 + 1e-9) + 1e-300).any(), (name, where, a, b)
        for column in table.select_dtypes("number"):
            values = table[column].to_numpy(float)
            assert not np.isinf(values).any() or column == "mean", (name, where, column)
            low, high = RANGES.get(column, (-np.inf, np.inf))
            assert not ((values < low - 1e-12) | (values > high + 1e-12)).any(), (name, column)
            if column == "shape":
                assert not ((values < 0.01) | (values > 100)).any(), (name, where, values)
        if "status" in table:
            marked = table[table["status"] != "ok"]
            assert (marked["message"] != "").all(), (name, where, marked)
            if name != "choose_law" and where in ("table", "parts"):
                good = table[table["status"] == "ok"]
                shown = [c for c in NEEDED if c in table]
                assert good[shown].notna().all(axis=None), (name, where, good)


@EVERY
@settings(max_examples=12)
@given(data=lives())
def test_any_lives_give_figures_or_words(name, data):
    age, failed, group, entry, weight = data
    check(run(name, age, failed, group, entry, weight), name)


@settings(max_examples=10)
@given(data=lives())
def test_calibrated_limits_of_any_lives_are_figures_or_words(data):
    age, failed, group, entry, _ = data
    fits = life.fit_weibull(age, failed, group=group, entry_age=entry, resamples=60)
    check(fits, "fit_weibull")


@EVERY
@pytest.mark.parametrize(
    ("age", "failed"),
    [
        ([], []),
        ([5.0], [1]),
        ([5.0], [0]),
        ([5.0, 5.0], [1, 1]),
        ([5.0] * 8, [1] * 8),
        ([5.0] * 8, [0] * 8),
        ([1.0, 2, 3, 9], [0, 0, 0, 1]),
        ([4.0, 4, 9, 9], [1, 1, 0, 0]),
        ([1e-300, 2e-300, 3e-300, 4e-300], [1, 1, 1, 0]),
        ([1e300, 2e300, 3e300, 4e300], [1, 1, 1, 0]),
        ([1e-200, 1.0, 1e200, 5.0], [1, 1, 1, 1]),
        ([1e-323, 1.0, 2.0, 3.0], [1, 1, 1, 1]),
    ],
)
def test_the_smallest_and_the_strangest_sets(name, age, failed):
    check(run(name, np.array(age), np.array(failed, bool)), name)


@TAKES_WEIGHT
def test_lives_that_count_nothing_leave_a_row_in_words(name):
    result = run(name, AGE, FAILED, np.repeat(["a", "b"], 3), weight=np.zeros(6))
    assert result.table["group"].tolist() == ["a", "b"]
    assert not result.table["status"].isin(["ok"]).any()
    kept = run(name, AGE, FAILED, np.repeat(["a", "b"], 3), weight=[1, 1, 1, 0, 0, 0])
    alone = run(name, AGE[:3], FAILED[:3], np.repeat(["a"], 3))
    pd.testing.assert_series_equal(kept["a"], alone["a"], check_names=False, rtol=0.02)


def test_one_position_tells_no_interval():
    """A comparison of which one side lies in a single position was once told as certain."""
    rng = np.random.default_rng(1)
    age, n = 1000 * rng.weibull(1.5, 120), 120
    kind = np.where(np.arange(n) < 10, "odd", "usual")
    position = np.where(kind == "odd", 99, rng.integers(0, 12, n))
    for name in ("fit_weibull_factors", "fit_cox_factors"):
        result = run(name, age, np.ones(n, bool), position=position, x=pd.DataFrame({"kind": kind}))
        row = result.table.iloc[0]
        assert row["status"] == "few clusters"
        assert row["message"].startswith("All that is known of it lies in a single cluster")
        assert np.isnan(row[["ratio", "low", "high", "se", "p"]].to_numpy(float)).all()
        assert np.isfinite(row["coef"])
        assert result.tests["p_robust"].isna().all()


def test_a_climb_that_runs_away_ends_in_words():
    """Sums over those at risk round to nothing on the way."""
    result = life.fit_cox_factors(
        [149.6, 1708.6, 1388.8, 528.6, 1114.6],
        [1, 0, 1, 1, 1],
        pd.DataFrame({"t": [-0.395, 0.274, 0.265, -0.8, -0.559]}),
        entry_age=[0, 0, 0, 306.2, 0],
        stratum=list("xzzzy"),
    )
    assert result.status == "not converged"
    assert result.table["ratio"].isna().all()


def test_a_step_beyond_the_values_seen_is_told():
    x = pd.DataFrame({"share": 1e-6 * np.sin(np.arange(60.0))})
    age = 100 * np.exp(3e5 * x["share"]) * np.random.default_rng(2).weibull(2, 60)
    result = life.fit_weibull_factors(age, np.ones(60, bool), x)
    assert result.table["status"].tolist() == ["step too large"]
    assert np.isnan(result.table["ratio"][0])
    fine = life.fit_weibull_factors(
        age, np.ones(60, bool), x, steps={"share": (1e-6, "1 in a million")}
    )
    assert fine.table["status"].tolist() == ["ok"]


# --- what must not matter --------------------------------------------------------------------


def sample(seed, n=60):
    """Lives of three classes, some seen late."""
    rng = np.random.default_rng(seed)
    age = 900 * rng.weibull(1.4, n) + 1
    entry = np.where(rng.random(n) < 0.3, age * rng.uniform(0, 0.8, n), 0.0)
    return age, rng.random(n) < 0.6, rng.choice(["x", "y", "z"], n), entry


AGES = ("scale", "mean", "sd", "b10", "b50", "exposure", "oldest_age", "age", "early_mean")
AGES += ("rest_scale", "mixture_mean", "one_scale", "early_age")
LIKELIHOODS = ("loglik", "one_loglik", "aic", "aic_one")


def compared(one, two, unit=1.0, names=None, close=2e-4):
    """Hold two results against each other, ages in another unit."""
    a, b = one.table, two.table
    key = a.columns[0]
    if names is not None:
        b = b.assign(**{key: b[key].map(names)}).sort_values(key).reset_index(drop=True)
        a = a.sort_values(key).reset_index(drop=True)
    assert a[key].tolist() == b[key].tolist()
    for column in a.select_dtypes("number"):
        stem = column.removesuffix("_low").removesuffix("_high")
        if stem in LIKELIHOODS:
            continue
        size = unit if stem in AGES else 1.0
        x, y = a[column].to_numpy(float) * size, b[column].to_numpy(float)
        np.testing.assert_allclose(y, x, rtol=close, atol=1e-6 * max(size, 1), err_msg=column)
    words = [c for c in ("status", "verdict", "better") if c in a]
    assert a[words].equals(b[words])


@EVERY
@settings(max_examples=3)
@given(seed=st.integers(0, 500), power=st.integers(-20, 40))
def test_the_unit_of_age_says_nothing(name, seed, power):
    age, failed, group, entry = sample(seed)
    unit = 2.0**power
    if name == "early_share":
        one, two = (
            life.early_share(age * c, causes(failed), 500.0 * c, group=group, entry_age=entry * c)
            for c in (1.0, unit)
        )
    else:
        one = run(name, age, failed, group, entry)
        two = run(name, age * unit, failed, group, entry * unit)
    # the net of laws of a pooled fit starts from another place
    compared(one, two, unit, close=2e-3 if name == "pool_weibull" else 2e-4)


@EVERY
@settings(max_examples=3)
@given(seed=st.integers(0, 500))
def test_order_and_names_say_nothing(name, seed):
    age, failed, group, entry = sample(seed)
    back = {"c": "x", "a": "y", "b": "z"}
    new = {v: k for k, v in back.items()}
    mixed = np.random.default_rng(seed).permutation(len(age))
    more = {}
    if name in UNWEIGHTED:
        more["position"] = np.arange(len(age)) // 3
    if name in ("fit_weibull_factors", "fit_cox_factors"):
        more["x"] = factors(len(age))
    other = {k: v[mixed] if k == "position" else v.iloc[mixed] for k, v in more.items()}
    if name == "renewal_effect":
        place = np.arange(len(age)) // 3
        one, two = (
            life.renewal_effect(
                age[i], failed[i], place[i], entry_age=entry[i], rebuilt=i % 2, stratum=group[i]
            )
            for i in (np.arange(len(age)), mixed)
        )
        compared(one, two)
        return
    if name in BY_CAUSE:
        fit = {
            "fit_causes": life.fit_causes,
            "cumulative_incidence": life.cumulative_incidence,
            "early_share": lambda a, c, **kw: life.early_share(a, c, 300.0, **kw),
        }[name]
        cause = causes(failed)
        one = fit(age, cause, group=group, entry_age=entry)
        named = np.array([new[g] for g in group])
        two = fit(age[mixed], cause[mixed], group=named[mixed], entry_age=entry[mixed])
        compared(one, two, names=back)
        return
    one = run(name, age, failed, group, entry, **more)
    named = np.array([new[g] for g in group])
    two = run(name, age[mixed], failed[mixed], named[mixed], entry[mixed], **other)
    close = 5e-3 if name == "pool_weibull" else 2e-4
    compared(one, two, names=back if name in WEIGHTED else None, close=close)


@pytest.mark.parametrize("name", ["fit_weibull", "fit_causes", "pool_weibull", "early_share"])
def test_more_of_the_same_lives_narrow_the_limits(name):
    age, failed, group, entry = sample(3, 90)
    widths = []
    for times in (1.0, 2.0, 8.0):
        result = run(name, age, failed, group, entry, np.full(90, times))
        table = result.parts if name == "fit_causes" else result.table
        stems = [c[:-4] for c in table if c.endswith("_low")] or [""]
        pairs = [(f"{s}_low".strip("_"), f"{s}_high".strip("_")) for s in stems]
        widths.append(np.hstack([(table[b] - table[a]).to_numpy(float) for a, b in pairs]))
    known = np.isfinite(widths[0])
    assert known.sum() > 2
    assert (widths[1][known] < widths[0][known]).all()
    assert (widths[2][known] < 0.75 * widths[1][known]).all()


def test_doubled_lives_of_their_own_positions_narrow_the_ratios():
    age, failed, _, entry = sample(4, 90)
    x = factors(90)
    for fit in (life.fit_weibull_factors, life.fit_cox_factors):
        widths = []
        for times in (1, 2, 8):
            rows = np.tile(np.arange(90), times)
            place = np.arange(len(rows))
            table = fit(
                age[rows], failed[rows], x.iloc[rows], entry_age=entry[rows], cluster=place
            ).table
            widths.append(np.log(table["high"] / table["low"]).to_numpy())
        assert (widths[1] < 0.8 * widths[0]).all()
        assert (widths[2] < 0.6 * widths[1]).all()


def test_ten_thousand_classes_give_ten_thousand_rows():
    rng = np.random.default_rng(5)
    g = 10_000
    group = np.repeat(np.arange(g), 5)
    age = 1000 * rng.weibull(1.5, 5 * g)
    failed = rng.random(5 * g) < 0.7
    for name in ("fit_weibull", *BY_CAUSE):
        result = run(name, age, failed, group)
        assert result.table["group"].tolist() == list(range(g))
        check(result, name)
        alone = run(name, age[:5], failed[:5], group[:5])
        first = result.table[result.table["group"] == 0].reset_index(drop=True)
        pd.testing.assert_frame_equal(first, alone.table, check_dtype=False)


@pytest.mark.parametrize("name", ["choose_law", "hides_mixture"])
def test_five_hundred_classes_are_compared_side_by_side(name):
    """The answer for a class does not depend on the others."""
    rng = np.random.default_rng(6)
    g, n = 500, 12
    group = np.repeat(np.arange(g), n)
    age, failed = 1000 * rng.weibull(1.5, n * g), rng.random(n * g) < 0.8
    many = run(name, age, failed, group)
    assert many.table["group"].tolist() == list(range(g))
    few = run(name, age[: 3 * n], failed[: 3 * n], group[: 3 * n])
    for column in ("verdict", "reason"):
        assert many.table[column].tolist()[:3] == few.table[column].tolist()

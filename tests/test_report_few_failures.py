"""Classes of 0, 1, 3 and 300 failures side by side: each reads well, none says what it cannot."""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
from builders import fleet_of

from seallife.report.classtable import class_table, class_warnings
from seallife.report.exhibit import Exhibit
from seallife.report.pages import PAGES
from seallife.report.pages.lasting import shown_classes
from seallife.study import Study, run_study

_FAILURES = {"NONE": (5, 0), "ONE": (5, 1), "THREE": (8, 3), "MANY": (60, 300)}


@cache
def four_classes() -> Study:
    """Weibull lives of shape 1.5 in MANY; one failure or three at any time in the others."""
    rng = np.random.default_rng(3)
    positions, removals = [], []
    for name, (size, failures) in _FAILURES.items():
        tags = [f"P-{name}{i:02d}" for i in range(size)]
        positions += [
            {"tag": t, "service_class": name, "commissioned": "2016-01-01", "duty_share": 0.5}
            for t in tags
        ]
        days: list[tuple[str, float]] = []
        if failures < 300:
            days = [(tags[k % size], rng.uniform(60, 3_500)) for k in range(failures)]
        else:
            for tag in tags:
                ends = np.cumsum(1 + 700 * rng.weibull(1.5, 5))
                days += [(tag, float(d)) for d in ends[ends < 3_600]]
        removals += [
            {"tag": t, "date": f"{pd.Timestamp('2016-01-01') + pd.Timedelta(days=d):%Y-%m-%d}"}
            | {"reason": "seal failed"}
            for t, d in days
        ]
    return run_study(fleet_of(positions, removals=removals))


def test_each_class_says_what_it_can_and_no_more() -> None:
    study = four_classes()
    table = class_table(study)
    assert table.set_index("service_class")["failures"].loc["MANY"] > 250
    shown = shown_classes(study, table).set_index("Class")
    text = shown.astype(str)
    assert not text.apply(lambda c: c.str.contains(r"\bnan\b|\binf\b|e\+")).any(axis=None)
    # no failure: a lower limit of MTBF; no law
    none = " | ".join(text.loc["NONE"])
    assert "more than" in none
    assert "no failures" in none
    # one and three: a rate with wide limits, no law of their own
    for name in ("ONE", "THREE"):
        assert (text.loc[name, ["Shape", "B10, run y"]] == "few failures").all()
    # many: a law with narrow limits near the truth
    law = study.fits["MANY"]
    assert law["status"] == "ok"
    assert law["shape_low"] < 1.5 < law["shape_high"]
    assert law["shape_high"] / law["shape_low"] < 1.4
    warned = " ".join(class_warnings(table))
    for name in ("NONE", "ONE", "THREE"):
        assert f"{name} " in warned
    assert "MANY " not in warned


def test_thin_classes_borrow_and_say_how_much() -> None:
    pooled = four_classes().life.pooled.table.set_index("group")
    assert np.isfinite(pooled.loc["NONE", ["b10_low", "b10_high"]].astype(float)).all()
    borrowed = pooled["borrowed_scale"] if "borrowed_scale" in pooled else pooled["borrowed"]
    assert borrowed["NONE"] > borrowed["MANY"]


def test_no_page_fails_on_them_or_shows_what_is_no_number() -> None:
    study = four_classes()
    for page in PAGES:
        for block in page.build(study):
            if isinstance(block, Exhibit) and block.shown is not None:
                text = block.shown.astype(str)
                bad = text.apply(lambda c: c.str.contains(r"(?<![\w-])(?:nan|inf|None)(?![\w-])"))
                assert not bad.any(axis=None), (page.name, block.name)

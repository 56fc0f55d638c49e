"""The demo fleet's planted truth against what the models say of its clean lives, over 20 seeds.

Clean lives: every life with its true dates, hours and cause, as seen in the record windows with
late entry; the stories are off, so each class follows its law. The law is a competition of three
causes (fitting faults, chance, age), so the age-related failures, with all other ends censored,
follow exactly the planted Weibull. One Weibull over all causes cannot be true: the last test holds
what that costs.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from seallife.demo import CLASSES, simulate_fleet, true_life_table
from seallife.demo.truth import law_figures
from seallife.life import fit_weibull, kaplan_meier

SEEDS = range(1000, 1020)
FITTED = [c for c in CLASSES if c != "OIL"]  # OIL has no failures to fit
LEVEL = 0.90


@pytest.fixture(scope="module")
def lives() -> list[pd.DataFrame]:
    return [true_life_table(simulate_fleet(seed=s, stories=False)) for s in SEEDS]


def _within(hits: list[bool], level: float = LEVEL) -> None:
    """The share of intervals that hold the truth lies within three standard errors of the level."""
    n = len(hits)
    share = float(np.mean(hits))
    assert abs(share - level) <= 3 * np.sqrt(level * (1 - level) / n), f"{share:.3f} of {n}"


def test_intervals_hold_the_planted_shapes_and_scales(lives: list[pd.DataFrame]) -> None:
    shape: list[bool] = []
    scale: list[bool] = []
    for table in lives:
        aged = (table["cause"] == "age") & (table["end"] == "failed")
        fits = fit_weibull(
            table["exit_age_h"],
            aged,
            group=table["service_class"],
            entry_age=table["entry_age_h"],
            level=LEVEL,
        ).table.set_index("group")
        for c in FITTED:
            row, law = fits.loc[c], CLASSES[c]
            shape.append(bool(row["shape_low"] <= law.shape <= row["shape_high"]))
            scale.append(bool(row["scale_low"] <= law.scale_h <= row["scale_high"]))
    _within(shape)
    _within(scale)


def test_kaplan_meier_holds_the_true_survival_of_all_causes(lives: list[pd.DataFrame]) -> None:
    """The law's own survival at a year of running, whatever the mixture of causes."""
    truth = law_figures().set_index("service_class")["survival_8760"]
    hits: list[bool] = []
    for table in lives:
        curves = kaplan_meier(
            table["exit_age_h"],
            table["end"] == "failed",
            group=table["service_class"],
            entry_age=table["entry_age_h"],
            level=LEVEL,
        )
        at = curves.at(np.array([8_760.0])).set_index("group")
        hits += [bool(at.loc[c, "low"] <= truth[c] <= at.loc[c, "high"]) for c in FITTED]
    _within(hits)


def test_one_weibull_over_a_mixture_is_too_sure_of_early_survival(
    lives: list[pd.DataFrame],
) -> None:
    """Why survival is stated from Kaplan-Meier: one Weibull holds the truth too seldom."""
    truth = law_figures().set_index("service_class")["survival_8760"]
    hits: list[bool] = []
    for table in lives:
        fits = fit_weibull(
            table["exit_age_h"],
            table["end"] == "failed",
            group=table["service_class"],
            entry_age=table["entry_age_h"],
            survival_at=(8_760.0,),
            level=LEVEL,
        )
        at = fits.survival.set_index("group")
        hits += [bool(at.loc[c, "low"] <= truth[c] <= at.loc[c, "high"]) for c in FITTED]
    assert np.mean(hits) < 0.85

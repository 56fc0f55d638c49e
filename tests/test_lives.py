"""Seal lives: entry age, both clocks, honest ends."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from builders import fleet_of, seal_order
from hypothesis import given
from hypothesis import strategies as st

from seallife.errors import InputError
from seallife.intake import Fleet
from seallife.lives import with_unknown_as
from seallife.study import Study, run_study

P1 = {"tag": "P-101A", "duty_share": 0.5}
PAIR = [
    {"tag": "P-201A", "seal_end": "DE", "commissioned": "2016-01-01", "duty_share": 1},
    {"tag": "P-201A", "seal_end": "NDE", "commissioned": "2016-01-01", "duty_share": 1},
]


def _lives(fleet: Fleet) -> pd.DataFrame:
    return run_study(fleet).lives.table


def _brief(lives: pd.DataFrame) -> list[tuple[object, ...]]:
    return [
        (r.position_id, f"{r.entry:%Y-%m-%d}", f"{r.exit:%Y-%m-%d}", r.end, bool(r.age_known))
        for r in lives.itertuples()
    ]


def test_commissioned_on_record_then_failed_then_in_service() -> None:
    fleet = fleet_of(
        [P1 | {"commissioned": "2016-03-01"}],
        work_orders=[seal_order("P-101A", "2018-03-01", work_end="2018-03-11")],
    )
    lives = _lives(fleet)
    assert _brief(lives) == [
        ("P-101A", "2016-03-01", "2018-03-01", "failed", True),
        ("P-101A", "2018-03-11", "2026-01-01", "in service", True),
    ]
    first = lives.iloc[0]
    assert (first["entry_age_d"], first["exit_age_d"]) == (0, 730)
    assert (first["entry_age_h"], first["exit_age_h"]) == (0, 730 * 12)
    assert first["start_record"] == "positions:t.csv:2"
    assert first["end_record"] == lives.iloc[1]["start_record"] == "work_orders:t.csv:2"
    # Ten days of repair are no time at risk of either seal.
    assert (
        lives["days"].sum() == (pd.Timestamp("2026-01-01") - pd.Timestamp("2016-03-01")).days - 10
    )


def test_a_seal_older_than_the_records_enters_at_its_age() -> None:
    fleet = fleet_of(
        [P1 | {"commissioned": "2009-01-01", "seal_installed": "2014-01-01"}],
        work_orders=[seal_order("P-101A", "2017-01-01")],
    )
    first = _lives(fleet).iloc[0]
    assert (first["entry_age_d"], first["exit_age_d"], first["end"]) == (730, 1096, "failed")
    assert first["start_kind"] == "last renewal known"
    assert first["days"] == 366


def test_an_unknown_begin_keeps_the_life_out_of_fits_and_in_rates() -> None:
    study = run_study(
        fleet_of(
            [P1 | {"commissioned": "2009-01-01"}], work_orders=[seal_order("P-101A", "2017-01-01")]
        )
    )
    first = study.lives.table.iloc[0]
    assert not first["age_known"]
    assert np.isnan(first["exit_age_h"])
    assert first["days"] == 366
    assert first["hours"] == 366 * 12
    assert "age not known" in set(study.findings["check"])
    assert study.history.overall.iloc[0]["failures"] == 1
    row = study.fits.table.iloc[0]
    assert (row["failures"], row["excluded"]) == (0, 1)


def test_a_seal_date_before_commissioning_is_another_machines() -> None:
    position = P1 | {"commissioned": "2012-01-01", "seal_installed": "2010-01-01"}
    assert not _lives(fleet_of([position])).iloc[0]["age_known"]


@pytest.mark.parametrize(
    ("rule", "known"), [("age unknown", [True, False]), ("same seal", [True, True])]
)
def test_a_gap_in_the_records_loses_the_life(rule: str, known: list[bool]) -> None:
    fleet = fleet_of(
        [P1 | {"commissioned": "2016-01-01"}],
        gaps=[("2020-01-01", "2020-12-31")],
        rules={"lives_across_gaps": rule},
        work_orders=[seal_order("P-101A", "2022-01-01")],
    )
    lives = _lives(fleet)
    assert lives["end"].tolist() == ["lost", "failed", "in service"]
    assert lives["age_known"].tolist() == [*known, True]
    if rule == "same seal":
        assert (
            lives.iloc[1]["entry_age_d"]
            == (pd.Timestamp("2021-01-01") - pd.Timestamp("2016-01-01")).days
        )
    assert lives["days"].sum() == 3653 - 366


def test_retirement_loses_the_life() -> None:
    lives = _lives(fleet_of([P1 | {"commissioned": "2016-01-01", "retired": "2019-01-01"}]))
    assert _brief(lives) == [("P-101A", "2016-01-01", "2019-01-01", "lost", True)]


def test_an_unnamed_end_loses_both_seals_and_counts_once() -> None:
    study = run_study(fleet_of(PAIR, work_orders=[seal_order("P-201A", "2018-01-01")]))
    assert _brief(study.lives.table) == [
        ("P-201A-DE", "2016-01-01", "2018-01-01", "lost", True),
        ("P-201A-DE", "2018-01-01", "2026-01-01", "in service", False),
        ("P-201A-NDE", "2016-01-01", "2018-01-01", "lost", True),
        ("P-201A-NDE", "2018-01-01", "2026-01-01", "in service", False),
    ]
    overall = study.history.overall.set_index("by")
    assert overall.loc["all", "failures"] == 1
    assert overall.loc["all", "exposure_years"] == pytest.approx(2 * 3653 / 365.25)


def test_an_end_known_as_a_stretch_gives_a_youngest_age() -> None:
    late = seal_order("P-101A", "2020-01-01", closed="2020-01-01")
    late["work_start"] = late["work_end"] = None
    fleet = fleet_of([P1 | {"commissioned": "2016-01-01"}], work_orders=[late])
    first = _lives(fleet).iloc[0]
    assert first["exit_age_d"] == 1461
    assert first["exit_low_d"] == 1461 - 182
    assert first["exit_low_h"] == (1461 - 182) * 12


def test_a_removal_on_the_day_of_installation_is_asked_about() -> None:
    rows = [
        {"position_id": "P-101A", "date": d, "reason": "seal failed"}
        for d in ("2020-05-05", "2020-05-05")
    ]
    study = run_study(fleet_of([P1 | {"commissioned": "2016-01-01"}], removals=rows))
    assert study.lives.table["end"].tolist() == ["failed", "in service"]
    assert "life without length" in set(study.findings["check"])
    assert study.history.overall.iloc[0]["failures"] == 2


def test_unknown_reasons_can_be_taken_both_ways() -> None:
    order = seal_order("P-101A", "2020-05-05", wo_type="", short_text="seal renewed", long_text="")
    study = run_study(fleet_of([P1 | {"commissioned": "2016-01-01"}], work_orders=[order]))
    assert study.lives.table["end"].tolist() == ["failed", "in service"]
    other = with_unknown_as(study.lives, "withdrawn")
    assert other.table["end"].tolist() == ["withdrawn", "in service"]
    assert study.lives.table["end"].tolist() == ["failed", "in service"]
    assert int(study.fits.table.iloc[0]["failures"]) == 1
    assert int(study.life.fits_other.table.iloc[0]["failures"]) == 0


def _assert_adds_up(study: Study) -> None:
    """Each removal ends one life at most; lives of a position follow each other; none overlaps."""
    lives = study.lives.table
    closed = lives.loc[lives["removal_id"] != "", "removal_id"]
    assert closed.is_unique
    by = lives.groupby("position_id")
    assert (by["entry"].shift(-1) >= lives["exit"])[by["entry"].shift(-1).notna()].all()
    assert (lives["days"] > 0).all()
    known = lives[lives["age_known"]]
    assert (known["entry_age_d"] >= 0).all()
    assert (known["exit_age_h"] >= known["entry_age_h"]).all()
    assert np.allclose(known["exit_age_d"] - known["entry_age_d"], known["days"])
    assert (study.ledger["read"] == study.ledger["used"] + study.ledger["set_aside"]).all()


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["P-101A", "P-201A", "P-999"]),
            st.integers(-400, 4_000),
            st.integers(-30, 60),
            st.sampled_from(["", "DE", "NDE"]),
            st.sampled_from(["corrective", "planned", ""]),
        ),
        max_size=25,
    ).filter(lambda jobs: sum(tag == "P-999" for tag, *_ in jobs) < 10),
    st.booleans(),
)
def test_any_set_of_orders_makes_lives_that_add_up(
    jobs: list[tuple[str, int, int, str, str]], gap: bool
) -> None:
    day0 = pd.Timestamp("2016-01-01")
    rows = [
        seal_order(
            tag,
            f"{day0 + pd.Timedelta(days=day):%Y-%m-%d}",
            work_end=f"{day0 + pd.Timedelta(days=day + length):%Y-%m-%d}",
            seal_end=end,
            wo_type=kind,
            wo_no=str(i),
        )
        for i, (tag, day, length, end, kind) in enumerate(jobs)
    ]
    fleet = fleet_of(
        [P1 | {"commissioned": "2017-01-01"}, *PAIR],
        work_orders=rows,
        gaps=[("2020-03-01", "2020-05-31")] if gap else [],
    )
    study = run_study(fleet)
    _assert_adds_up(study)
    ids = set(fleet["work_orders"]["record_id"])
    aside = set(study.findings.loc[study.findings["set_aside"], "record_id"]) & ids
    used = set(" ".join(study.removals.table["record_ids"]).split())
    assert aside | used == ids
    assert not aside & used


def test_orders_of_which_most_meet_no_pump_are_refused() -> None:
    strange = [seal_order("P-999", f"2020-{month:02d}-05") for month in range(1, 11)]
    met = [seal_order("P-101A", f"20{year}-05-05") for year in range(16, 25)]
    pumps = [P1 | {"commissioned": "2016-01-01"}]
    with pytest.raises(InputError, match="only 9 of 19 orders on a seal name a pump"):
        run_study(fleet_of(pumps, work_orders=strange + met))
    run_study(fleet_of(pumps, work_orders=strange[1:] + met))


def test_a_seal_not_yet_back_when_records_stop_has_no_life_and_raises_no_question() -> None:
    order = seal_order("P-101A", "2025-12-20", work_end="2026-01-05")
    study = run_study(fleet_of([P1 | {"commissioned": "2016-01-01"}], work_orders=[order]))
    assert study.lives.table["end"].tolist() == ["failed"]
    assert "life without length" not in set(study.findings["check"])


@pytest.mark.parametrize(("later", "lives"), [([], 1), (["2022-02-02"], 3)])
def test_a_pump_scrapped_in_an_order_is_at_risk_no_longer_unless_it_runs_again(
    later: list[str], lives: int
) -> None:
    scrapped = seal_order(
        "P-101A", "2020-05-05", short_text="Pump scrapped", long_text="Seal taken out, not replaced"
    )
    orders = [scrapped, *(seal_order("P-101A", day) for day in later)]
    fleet = fleet_of([P1, {"tag": "P-102A"}], work_orders=orders)
    study = run_study(fleet)
    mine = study.lives.table.query("position_id == 'P-101A'")
    assert len(mine) == lives
    assert mine["exit"].iloc[0] == pd.Timestamp("2020-05-05")
    assert study.removals.table["reason"].iloc[0] == "pump retired"
    asked = study.findings.query("check == 'pump retired in an order'")
    assert asked["severity"].tolist() == ["ask"]

"""Dated changes: epochs, removals made for a change, lives that saw one."""

from __future__ import annotations

import pytest
from builders import Rows, fleet_of, seal_order

from seallife.intake import Fleet
from seallife.study import Study, run_study

P1 = {"tag": "P-101A", "duty_share": 0.5, "commissioned": "2016-01-01"}
SEAL = {"position_id": "P-101A", "date": "2020-01-10", "what": "seal"}
PLAN = SEAL | {"what": "flush plan"}


def _study(changes: Rows, *orders: dict[str, object]) -> Study:
    fleet: Fleet = fleet_of([P1], changes=changes, work_orders=list(orders))
    return run_study(fleet)


def _lives(study: Study) -> list[tuple[str, str, str, int]]:
    return [
        (f"{r.exit:%Y-%m-%d}", r.end, r.reason, r.epoch) for r in study.lives.table.itertuples()
    ]


def _said(study: Study) -> set[str]:
    return set(study.findings["check"])


def test_a_failed_seal_replaced_by_another_type_has_failed() -> None:
    study = _study([SEAL], seal_order("P-101A", "2020-01-08", work_end="2020-01-10"))
    assert _lives(study) == [
        ("2020-01-08", "failed", "seal failed", 1),
        ("2026-01-01", "in service", "", 2),
    ]


def test_a_removal_of_unknown_reason_at_a_change_was_made_for_it() -> None:
    order = seal_order("P-101A", "2020-01-08", wo_type="", short_text="seal renewed", long_text="")
    study = _study([PLAN], order)
    assert _lives(study)[0] == ("2020-01-08", "withdrawn", "upgrade", 1)
    assert "reason from elsewhere" in _said(study)
    assert study.history.overall.iloc[0]["failures"] == 0
    steps = study.removals.waterfall.set_index("step")["count"]
    assert (steps["reason unknown"], steps["withdrawn in good order"]) == (0, 1)
    far = _study([PLAN | {"date": "2020-06-01"}], order)
    assert _lives(far)[0] == ("2020-01-08", "failed", "unknown", 1)


def test_a_change_without_renewal_leaves_the_life_alone() -> None:
    study = _study([PLAN])
    assert _lives(study) == [("2026-01-01", "in service", "", 1)]
    assert "change within a life" in _said(study)


def test_a_change_of_seal_without_an_order_ends_the_life_and_is_asked_about() -> None:
    study = _study([SEAL])
    assert _lives(study) == [
        ("2020-01-10", "withdrawn", "upgrade", 1),
        ("2026-01-01", "in service", "", 2),
    ]
    assert "seal changed without an order" in _said(study)
    assert study.removals.table.empty


def test_epochs_are_numbered_by_date() -> None:
    changes = [PLAN | {"date": d} for d in ("2022-01-10", "2018-01-10", "2018-01-10")]
    orders = [seal_order("P-101A", d) for d in ("2017-01-01", "2018-06-01", "2023-01-01")]
    study = _study(changes, *orders)
    assert [r[3] for r in _lives(study)] == [1, 1, 2, 3]
    assert study.changes.table["epoch"].tolist() == [2, 2, 3]


@pytest.mark.parametrize(
    ("change", "check", "severity"),
    [
        (SEAL | {"position_id": "P-999"}, "change of an unknown position", "ask"),
        (SEAL | {"date": None}, "change without date", "ask"),
        (SEAL | {"what": "records"}, "change of records", "note"),
    ],
)
def test_changes_that_cannot_be_used_are_set_aside(
    change: dict[str, object], check: str, severity: str
) -> None:
    study = _study([change])
    found = study.findings.set_index("check").loc[check]
    assert (found["severity"], found["set_aside"]) == (severity, True)
    assert len(study.lives.table) == 1
    row = study.ledger.set_index("stage").loc["changes"]
    assert (row["read"], row["used"], row["set_aside"]) == (1, 0, 1)


def test_a_converted_pump_has_no_life_before_its_first_seal() -> None:
    study = _study([SEAL | {"from_state": "packing", "to_state": "cartridge"}])
    life = study.lives.table.iloc[0]
    assert (len(study.lives.table), f"{life['start']:%Y-%m-%d}") == (1, "2020-01-10")
    assert (life["epoch"], life["age_known"], life["entry_age_d"]) == (2, True, 0)

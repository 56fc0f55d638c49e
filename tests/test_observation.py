"""Time at risk: windows, commissioning, retirement, gaps."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pandas as pd
import pytest
from builders import fleet_of, seal_order

from seallife.classes import assign_classes
from seallife.errors import InputError
from seallife.intake import Fleet
from seallife.observation import Observation, observe
from seallife.register import build_register


def _observe(fleet: Fleet) -> Observation:
    register = build_register(fleet)
    return observe(fleet, register, assign_classes(register))


def _rows(watched: Observation) -> list[tuple[str, str, str, str, str]]:
    s = watched.stretches
    return [
        (r.position_id, f"{r.start:%Y-%m-%d}", f"{r.end:%Y-%m-%d}", r.starts_with, r.ends_with)
        for r in s.itertuples()
    ]


def test_a_position_is_at_risk_while_in_use_and_on_record() -> None:
    fleet = fleet_of(
        [
            {"tag": "P-1", "commissioned": "2001-05-01"},
            {"tag": "P-2", "commissioned": "2018-03-01"},
            {"tag": "P-3", "commissioned": "2001-05-01", "retired": "2020-06-30"},
            {"tag": "P-4"},
        ]
    )
    assert _rows(_observe(fleet)) == [
        ("P-1", "2016-01-01", "2026-01-01", "records begin", "data end"),
        ("P-2", "2018-03-01", "2026-01-01", "commissioned", "data end"),
        ("P-3", "2016-01-01", "2020-06-30", "records begin", "retired"),
        ("P-4", "2016-01-01", "2026-01-01", "records begin", "data end"),
    ]


def test_a_gap_in_the_records_cuts_the_time_at_risk() -> None:
    fleet = fleet_of(
        [
            {"tag": "P-1"},
            {"tag": "P-2", "commissioned": "2020-04-15"},
            {"tag": "P-3", "commissioned": "2021-01-01"},
        ],
        gaps=[("2020-03-01", "2020-05-31")],
    )
    watched = _observe(fleet)
    assert _rows(watched) == [
        ("P-1", "2016-01-01", "2020-03-01", "records begin", "gap"),
        ("P-1", "2020-06-01", "2026-01-01", "gap", "data end"),
        ("P-2", "2020-06-01", "2026-01-01", "gap", "data end"),
        ("P-3", "2021-01-01", "2026-01-01", "commissioned", "data end"),
    ]
    days = (watched.stretches["end"] - watched.stretches["start"]).dt.days.groupby(
        watched.stretches["position_id"]
    )
    assert days.sum()["P-1"] == 3653 - 92


def test_retired_before_the_records_begin_is_said() -> None:
    watched = _observe(fleet_of([{"tag": "P-1"}, {"tag": "P-2", "retired": "2012-01-01"}]))
    assert set(watched.stretches["position_id"]) == {"P-1"}
    found = watched.findings.iloc[0]
    assert (found["check"], found["record_id"], found["set_aside"]) == (
        "never at risk",
        "positions:t.csv:3",
        True,
    )


def test_a_packed_pump_has_no_time_at_risk() -> None:
    watched = _observe(fleet_of([{"tag": "P-1"}, {"tag": "P-2", "seal_type": "Gland packing"}]))
    assert set(watched.stretches["position_id"]) == {"P-1"}
    assert watched.findings["check"].tolist() == ["no shaft seal"]


def test_without_a_window_the_records_speak_and_a_person_is_asked() -> None:
    fleet = fleet_of(
        [{"tag": "P-1"}],
        work_orders=[seal_order("P-1", "2019-02-03"), seal_order("P-1", "2021-04-05")],
    )
    bare = fleet.settings.model_copy(update={"windows": (), "data_end": None})
    fleet = Fleet(fleet.folder, bare, fleet.tables, fleet.findings, fleet.inputs)
    watched = _observe(fleet)
    assert _rows(watched) == [("P-1", "2019-02-03", "2021-04-06", "records begin", "data end")]
    assert watched.findings.iloc[0]["severity"] == "ask"


def test_a_site_that_stopped_sending_is_noticed() -> None:
    fleet = fleet_of([{"tag": "P-1"}], work_orders=[seal_order("P-1", "2024-02-03")])
    found = _observe(fleet).findings
    assert found["check"].tolist() == ["records stop early"]
    assert "2024-02-03" in found.iloc[0]["message"]


def test_a_site_without_window_and_records_is_left_out_and_said() -> None:
    fleet = fleet_of([{"tag": "P-1"}, {"tag": "Q-1", "site": "Elsewhere"}])
    bare = fleet.settings.model_copy(update={"data_end": None})
    watched = _observe(Fleet(fleet.folder, bare, fleet.tables, fleet.findings, fleet.inputs))
    assert set(watched.stretches["position_id"]) == {"P-1"}
    assert "record window not given" in set(watched.findings["check"])
    assert "never at risk" in set(watched.findings["check"])


def test_windows_are_given_with_the_first_day_after() -> None:
    window = _observe(fleet_of([{"tag": "P-1"}])).windows.iloc[0]
    assert window["end"] == pd.Timestamp("2026-01-01")


def test_a_fleet_that_was_never_at_risk_is_refused_in_words() -> None:
    with pytest.raises(InputError, match="no seal position was in use"):
        _observe(fleet_of([{"tag": "P-1", "retired": "2012-01-01"}]))


def test_a_pump_converted_from_packing_begins_with_its_first_seal() -> None:
    change = {"position_id": "P-2", "date": "2019-06-01", "what": "seal"}
    fleet = fleet_of(
        [{"tag": "P-1"}, {"tag": "P-2", "commissioned": "2001-05-01"}],
        changes=[change | {"from_state": "Gland packing", "to_state": "single cartridge"}],
    )
    watched = _observe(fleet)
    assert _rows(watched)[1] == ("P-2", "2019-06-01", "2026-01-01", "commissioned", "data end")
    assert watched.findings["check"].tolist() == ["packed before"]
    plain = fleet_of(
        [{"tag": "P-1"}, {"tag": "P-2", "commissioned": "2001-05-01"}],
        changes=[change | {"from_state": "single pusher", "to_state": "bellows"}],
    )
    assert _rows(_observe(plain))[1][1] == "2016-01-01"


@pytest.mark.parametrize(
    ("window_end", "data_end"), [("2025-12-31", "2020-06-30"), ("2020-06-30", "2025-12-31")]
)
def test_time_at_risk_ends_with_the_window_or_the_data_whichever_is_first(
    window_end: str, data_end: str
) -> None:
    fleet = fleet_of([{"tag": "P-101A"}], work_orders=[seal_order("P-101A", "2018-05-05")])
    window = fleet.settings.windows[0].model_copy(update={"end": date.fromisoformat(window_end)})
    settings = fleet.settings.model_copy(
        update={"windows": (window,), "data_end": date.fromisoformat(data_end)}
    )
    watched = _observe(replace(fleet, settings=settings))
    assert watched.stretches["end"].tolist() == [pd.Timestamp("2020-07-01")]


def test_a_window_of_a_misspelt_site_is_refused_with_the_nearest_name() -> None:
    fleet = fleet_of([{"tag": "P-101A", "site": "Sight"}])
    with pytest.raises(InputError, match="site 'Site'; did you mean 'Sight'"):
        _observe(fleet)

"""`seallife.outages`: a date and a stretch for each seal in service."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from builders import fleet_of

from seallife.errors import InputError
from seallife.outages import next_outages, time_ahead
from seallife.study import run_study


def _seals(*rows: tuple[str, str, str]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=["site", "unit", "exit"], index=range(10, 10 + len(rows)))
    return table.assign(exit=pd.to_datetime(table["exit"]))


def _outages(*rows: tuple[str, str, str | None]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=["site", "unit", "start"])
    table["record_id"] = [f"outages:o.csv:{i + 2}" for i in range(len(rows))]
    return table.assign(start=pd.to_datetime(table["start"]))


def test_the_next_outage_of_the_unit_or_of_the_whole_site() -> None:
    seals = _seals(("N", "1", "2026-01-01"), ("N", "2", "2026-01-01"), ("S", "1", "2026-01-01"))
    outages = _outages(
        ("N", "", "2029-10-01"),
        ("N", "1", "2027-05-01"),
        ("N", "1", "2028-05-01"),
        ("N", "2", "2025-05-01"),
        ("S", "2", "2026-05-01"),
        ("S", "1", None),
    )
    got = next_outages(seals, outages, 100)
    assert got.index.tolist() == [10, 11, 12]
    assert got["until"].tolist() == list(pd.to_datetime(["2027-05-01", "2029-10-01", "2026-04-11"]))
    assert got["until_from"].tolist() == ["next outage", "next outage", "look ahead"]
    assert got["outage_record"].tolist() == ["outages:o.csv:3", "outages:o.csv:2", ""]


def test_an_outage_that_begins_with_the_end_of_records_is_next_one_begun_is_not() -> None:
    seals = _seals(("N", "1", "2026-01-01"))
    assert next_outages(seals, _outages(("N", "", "2026-01-01")))["until_from"].item() == (
        "next outage"
    )
    begun = next_outages(seals, _outages(("N", "", "2025-12-31")))
    assert begun["until_from"].item() == "look ahead"
    assert begun["until"].item() == pd.Timestamp("2027-01-01")
    nothing = next_outages(seals, _outages())
    assert nothing["until"].item() == pd.Timestamp("2027-01-01")
    with pytest.raises(InputError, match="look_ahead_days: is 0"):
        next_outages(seals, _outages(), 0)


def test_hours_ahead_go_on_as_in_the_last_year() -> None:
    positions = [
        {"tag": "P-1", "unit": "1", "fluid": "water", "commissioned": "2016-01-01"},
        {"tag": "P-2", "unit": "2", "fluid": "water", "commissioned": "2016-01-01"}
        | {"duty": "running"},
    ]
    readings = [
        {"tag": "P-1", "reading_date": d, "reading": r, "kind": "cumulative"}
        for d, r in (("2016-01-01", 0), ("2025-01-01", 60_000), ("2026-01-01", 62_190))
    ]
    outage = {"site": "Site", "unit": "1", "start": "2026-07-02", "end": "2026-07-20"}
    fleet = fleet_of(positions, removals=[], run_hours=readings, outages=[outage])
    study = run_study(fleet)
    lives = study.lives.table
    got = time_ahead(lives, fleet["outages"], study.clock, look_ahead_days=100)
    got = got.set_index("position_id").loc[["P-1", "P-2"]]
    # records end with 2025: the first day after is the origin
    assert got["days_ahead"].tolist() == [182, 100]
    assert got["run_share"].tolist() == pytest.approx([2_190 / 8_760, 0.90])
    assert got["hours_ahead"].tolist() == pytest.approx([0.25 * 182 * 24, 0.9 * 2_400])
    # a meter is 2 % off, a mere word 0.25
    assert got["hours_ahead_low"].tolist() == pytest.approx([0.98 * 1_092, 0.65 * 2_400])
    assert got["hours_ahead_high"].tolist() == pytest.approx([1.02 * 1_092, 2_400])
    whole = time_ahead(lives, fleet["outages"], study.clock, recent_days=3_653)
    assert whole.set_index("position_id").loc["P-1", "run_share"] > 0.6
    with pytest.raises(InputError, match="recent_days"):
        time_ahead(lives, fleet["outages"], study.clock, recent_days=np.nan)


def test_every_seal_in_service_gets_a_date(demo_study) -> None:  # type: ignore[no-untyped-def]
    lives = demo_study.lives.table
    got = time_ahead(lives, demo_study.fleet["outages"], demo_study.clock)
    assert got["life_id"].tolist() == lives.loc[lives["end"] == "in service", "life_id"].tolist()
    assert got.notna().all(axis=None)
    units = demo_study.register.table.set_index("position_id").loc[got["position_id"]]
    begins = units["unit"].map({"100": "2027-10-04", "200": "2027-10-04"}).fillna("2029-10-01")
    begins = begins.mask(units["site"] == "Merrowfen", "2027-01-01")
    begins = begins.mask(units["unit"].isin(["Feed", "FGD"]), "2026-05-04")
    no_outage = units["unit"].isin(["Ash", "Cooling", "Turbine"]).to_numpy()
    assert (got["until"].to_numpy() == pd.to_datetime(begins).to_numpy()).all()
    assert ((got["until_from"] == "look ahead") == no_outage).all()
    assert (got.loc[no_outage, "days_ahead"] == 365).all()
    assert got["run_share"].between(0, 1).all()
    ordered = got["hours_ahead_low"] <= got["hours_ahead"] + 1e-9
    assert (ordered & (got["hours_ahead"] <= got["hours_ahead_high"] + 1e-9)).all()

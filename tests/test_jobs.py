"""Orders of one job are one removal; second seals and repeats are not lost."""

from __future__ import annotations

import pandas as pd
import pytest
from builders import fleet_of, seal_order
from hypothesis import given, settings
from hypothesis import strategies as st

from seallife.classes import assign_classes
from seallife.events import Removals, find_removals
from seallife.intake import Fleet
from seallife.observation import observe
from seallife.register import build_register

P1 = {"tag": "P-101A"}
TWO_SEALS = [{"tag": "P-201A", "seal_end": "DE"}, {"tag": "P-201A", "seal_end": "NDE"}]
SEAL = {"part": "MECH SEAL 60MM", "part_qty": 1}


def _read(fleet: Fleet) -> Removals:
    register = build_register(fleet)
    return find_removals(fleet, register, observe(fleet, register, assign_classes(register)))


def _removals(*rows: dict[str, object], positions: list[dict[str, str]] | None = None) -> Removals:
    return _read(fleet_of(positions or [P1], work_orders=list(rows)))


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("Align pump after seal change", "2020-05-07"),
        ("Remove lagging for mech seal change", "2020-05-04"),
        ("Disconnect motor for seal change", "2020-05-05"),
        ("Seal change - electrical. See main order", "2020-05-06"),
        ("Rework mech seal, still leaking on test", "2020-05-12"),
    ],
)
def test_an_order_that_goes_with_the_job_joins_it(text: str, day: str) -> None:
    extra = seal_order("P-101A", day, short_text=text, long_text="Done.", wo_type="planned")
    got = _removals(seal_order("P-101A", "2020-05-05"), extra)
    assert got.table["orders"].tolist() == [2]
    assert got.table["reason"].tolist() == ["seal failed"]
    assert f"{got.table['end'].iloc[0]:%Y-%m-%d}" == "2020-05-05"


def test_alone_it_is_no_removal_but_asks_for_the_order() -> None:
    extra = seal_order("P-101A", "2020-05-07", short_text="Align after seal change", long_text="")
    got = _removals(extra)
    assert got.table.empty
    assert got.findings[["check", "severity", "set_aside"]].to_numpy().tolist() == [
        ["seal change mentioned", "doubt", True]
    ]


def test_two_seals_drawn_one_after_the_other_are_two_removals() -> None:
    first = seal_order("P-101A", "2020-05-05", **SEAL)
    again = seal_order("P-101A", "2020-05-07", wo_no="2", **SEAL)
    got = _removals(first, again)
    assert got.table["repeat_days"].fillna(-1).tolist() == [-1, 2]
    assert got.findings["check"].tolist() == ["repeat within 30 days"]
    same_job = seal_order("P-101A", "2020-05-05", wo_no="2", **SEAL)
    assert len(_removals(first, same_job).table) == 1


def test_a_seal_that_went_back_to_the_store_is_none() -> None:
    text = {"short_text": "Prepare seal change", "long_text": "Not needed, returned to store"}
    got = _removals(seal_order("P-101A", "2020-05-05", **text, part="MECH SEAL", part_qty=0))
    assert got.table.empty
    assert "part returned" in set(got.findings["check"])
    one = {"wo_no": "7", "short_text": "pump repair", "long_text": "", "part": "MECH SEAL"}
    lines = [
        seal_order("P-101A", "2020-05-05", **one, part_qty=1),
        seal_order("P-101A", "2020-05-05", **one, part_qty=-1),
    ]
    assert _removals(*lines).table.empty


def test_rework_without_the_end_joins_the_seal_of_its_pump() -> None:
    rework = seal_order(
        "P-201A",
        "2020-05-08",
        short_text="Seal still leaking after job",
        long_text="Gland gasket renewed",
    )
    got = _removals(seal_order("P-201A", "2020-05-05", seal_end="NDE"), rework, positions=TWO_SEALS)
    assert got.table[["position_id", "orders"]].to_numpy().tolist() == [["P-201A-NDE", 2]]
    assert f"{got.table['back'].iloc[0]:%Y-%m-%d}" == "2020-05-08"
    late = seal_order("P-201A", "2020-06-08", short_text="Seal leaking again", long_text="")
    got = _removals(seal_order("P-201A", "2020-05-05", seal_end="NDE"), late, positions=TWO_SEALS)
    assert len(got.table) == 2


def test_a_pump_taken_out_for_good_ends_its_seal_s_life_or_is_known() -> None:
    order = seal_order(
        "P-101A", "2020-05-05", short_text="Decommission pump", long_text="", wo_type="project"
    )
    got = _removals(order)
    assert got.table["reason"].tolist() == ["pump retired"]
    assert got.table["back"].isna().all()
    assert got.findings["check"].tolist() == ["pump retired in an order"]
    got = _removals(order, positions=[P1 | {"retired": "2020-05-05"}])
    assert got.table.empty
    assert got.findings["check"].tolist() == ["pump taken out of service"]


# --- what must hold of any orders ------------------------------------------------------------

_TEXTS = (
    ("Mech seal leaking", "Seal renewed"),
    ("Align pump after seal change", ""),
    ("Seal still leaking after job", "Gland gasket renewed"),
    ("Bearing noisy", "Bearings and seal renewed"),
    ("Renew seal in T/A", ""),
    ("pump", ""),
    ("Decommission pump", ""),
)
_ROWS = st.lists(
    st.tuples(
        st.sampled_from(["P-101A", "P-201A", "P-201A-DE", "P-901A"]),
        st.integers(0, 40),
        st.integers(0, 6),
        st.sampled_from(_TEXTS),
        st.booleans(),
        st.sampled_from(["", "DE", "NDE"]),
    ),
    min_size=1,
    max_size=8,
)
_KEPT = ["position_id", "pump_key", "end", "back", "reason", "confidence", "orders", "repeat_days"]


def _fleet(rows: list[tuple[str, int, int, tuple[str, str], bool, str]]) -> list[dict[str, object]]:
    first = pd.Timestamp("2019-04-02")
    return [
        {
            "wo_no": str(i),
            "tag": tag,
            "seal_end": end,
            "work_start": f"{first + pd.Timedelta(days=day):%Y-%m-%d}",
            "work_end": f"{first + pd.Timedelta(days=day + more):%Y-%m-%d}",
            "wo_type": "corrective",
            "short_text": text[0],
            "long_text": text[1],
            **(SEAL if drawn else {}),
        }
        for i, (tag, day, more, text, drawn, end) in enumerate(rows)
    ]


@given(_ROWS, st.randoms(use_true_random=False))
@settings(max_examples=12)
def test_neither_order_nor_copies_of_rows_change_a_removal(rows, random) -> None:  # type: ignore[no-untyped-def]
    made = _fleet(rows)
    positions = [P1, *TWO_SEALS]
    plain = _read(fleet_of(positions, work_orders=made))
    mixed = random.sample(made, len(made))
    copied = [*mixed, mixed[0]]
    for other in (mixed, copied):
        got = _read(fleet_of(positions, work_orders=other))
        pd.testing.assert_frame_equal(_sorted(plain.table), _sorted(got.table))
    used = plain.table["record_ids"].str.split().explode().tolist()
    aside = plain.findings.loc[plain.findings["set_aside"], "record_id"].tolist()
    assert len(set(used)) + len(set(aside)) == len(made)
    assert not set(used) & set(aside)
    fall = plain.waterfall.set_index("step")["count"]
    assert fall["records of seal removals"] == len(set(used))


@given(_ROWS, st.integers(0, 8))
@settings(max_examples=8)
def test_a_file_split_in_two_changes_nothing_but_ids(rows, cut) -> None:  # type: ignore[no-untyped-def]
    fleet = fleet_of([P1, *TWO_SEALS], work_orders=_fleet(rows))
    plain = _read(fleet)
    table = fleet["work_orders"]
    late = table.index >= cut
    ids = table["record_id"].mask(late, table["record_id"].str.replace("t.csv", "u.csv"))
    fleet.tables["work_orders"] = table.assign(record_id=ids)
    pd.testing.assert_frame_equal(_sorted(plain.table), _sorted(_read(fleet).table))


def _sorted(table: pd.DataFrame) -> pd.DataFrame:
    return table[_KEPT].sort_values(_KEPT, ignore_index=True)

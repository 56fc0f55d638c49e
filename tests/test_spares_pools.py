"""Stock items and the positions that live on them."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
import pytest
from builders import fleet_of
from hypothesis import given
from hypothesis import strategies as st

from seallife.errors import InputError
from seallife.register import build_register
from seallife.sections import Costs
from seallife.spares.elastomers import elastomers_in
from seallife.spares.hazards import position_hazards
from seallife.spares.pools import NO_ITEM, Pools, rank_criticality, read_pools
from seallife.study import Study

NOW = pd.Timestamp("2025-12-31")
ITEM = {
    "material_no": "S1",
    "description": "single cartridge, 60 mm, FKM",
    "on_hand": 2,
    "on_order": 1,
    "stock_low": 1,
    "stock_high": 3,
    "unit_cost": 4_000,
    "lead_time_d": 90,
    "repairable": "yes",
    "repair_time_d": 40,
    "used_on": "P-1-DE P-2-DE",
    "cure_date": "2022-04-01",
}
TWO = [
    {"tag": tag, "seal_end": "DE", "pool": "S1", "criticality": rank, "fluid": "Diesel"}
    for tag, rank in (("P-1", "B"), ("P-2", "C"))
]


def _pools(
    stores: Sequence[Mapping[str, object]] = (ITEM,),
    positions: Sequence[Mapping[str, object]] = TWO,
    costs: Costs = Costs(),  # noqa: B008 - frozen
    **item: object,
) -> Pools:
    """Pools of a small fleet; keywords change the first item."""
    rows = [{**row, **item} if n == 0 else row for n, row in enumerate(stores)]
    fleet = fleet_of(positions, stores=rows)
    return read_pools(fleet["stores"], build_register(fleet).table, costs, now=NOW)


def _only(pools: Pools, check: str) -> pd.Series[Any]:
    """The one finding there is, of this check."""
    assert pools.findings["check"].tolist() == [check], pools.findings["message"].tolist()
    return pools.findings.iloc[0]


def test_an_item_that_is_in_order() -> None:
    costs = Costs(shortage_per_day={"B": 900.0, "C": 300.0})
    pools = _pools(costs=costs)
    assert pools.findings.empty
    row = pools.table.iloc[0]
    assert len(pools.table) == 1
    assert (row["pool"], row["positions"], row["sites"], row["status"]) == ("S1", 2, "Site", "ok")
    assert (row["on_hand"], row["on_order"], row["lead_time_d"]) == (2, 1, 90)
    assert (row["repairable"], row["repair_time_d"], row["reject_share"]) == (True, 40, 0.2)
    assert (row["elastomer"], row["elastomer_from"]) == ("FKM", "description")
    assert (row["criticality"], row["hazardous"], row["shortage_per_day"]) == ("B", False, 600)
    assert (row["record_id"], row["message"]) == ("stores:t.csv:2", "")


@pytest.mark.parametrize(
    ("item", "status", "check", "said"),
    [
        (
            {"unit_cost": None},
            "price not known",
            "price missing",
            "item S1 has no price that can be used",
        ),
        (
            {"unit_cost": 0},
            "price not known",
            "price missing",
            "item S1 has no price that can be used",
        ),
        (
            {"lead_time_d": None},
            "lead time not known",
            "lead time missing",
            "no lead time that can",
        ),
        ({"lead_time_d": 0}, "lead time not known", "lead time missing", "no lead time that can"),
        ({"on_hand": None}, "stock not known", "stock not known", "no number on hand"),
        ({"on_hand": -2}, "stock not known", "stock not known", "no number on hand"),
        ({"repair_time_d": None}, "repair time not known", "repair time missing", "is repaired"),
        ({"stock_low": 4}, "ok", "levels the wrong way round", "ordered at 4 up to 3"),
        ({"repairable": ""}, "ok", "repair time of what is not repaired", "time of 40 days"),
        ({"cure_date": "2026-02-01"}, "ok", "cure date in the future", "2026-02-01 lies after"),
        ({"cure_date": None}, "ok", "cure date missing", "its shelf life is not followed"),
    ],
)
def test_a_gap_is_told_in_words(
    item: dict[str, object], status: str, check: str, said: str
) -> None:
    pools = _pools(**item)
    found = _only(pools, check)
    assert said in found["message"]
    assert found["record_id"] == "stores:t.csv:2"
    assert not found["set_aside"]
    row = pools.table.iloc[0]
    assert row["status"] == status
    assert bool(row["message"]) == (status != "ok")
    for name in set(item) & {"unit_cost", "lead_time_d", "on_hand", "repair_time_d", "cure_date"}:
        assert pd.isna(row[name]), "a number that cannot be is not used"


def test_all_gaps_are_named_the_weightiest_first() -> None:
    row = _pools(lead_time_d=0, unit_cost=None, on_hand=None).table.iloc[0]
    assert row["status"] == "stock not known"
    assert row["message"].count(";") == 2
    assert "lead time" in row["message"]
    assert "money" in row["message"]


def test_what_no_item_has_is_said_once() -> None:
    stores = [ITEM | {"used_on": "", "unit_cost": None}, ITEM | {"material_no": "S2"}]
    stores[1] |= {"used_on": "", "unit_cost": None}
    positions = [TWO[0], TWO[1] | {"pool": "S2"}]
    found = _only(_pools(stores, positions), "price missing")
    assert (found["record_id"], found["message"]) == (
        "stores",
        "no item has a price that can be used",
    )


def test_share_of_rejects_is_the_items_own_or_the_assumed_one() -> None:
    assert _pools(reject_share=0.4).table["reject_share"].tolist() == [0.4]
    assert _pools(reject_share=40.0).table["reject_share"].tolist() == [0.2]
    own = _pools(costs=Costs(reject_share=0.1))
    assert own.table["reject_share"].tolist() == [0.1]
    assert np.isnan(_pools(repairable="no", repair_time_d=None).table["reject_share"][0])


def test_positions_without_item_and_items_without_position() -> None:
    positions = [*TWO, {"tag": "P-3"}, {"tag": "P-4", "pool": "S9"}]
    positions += [{"tag": "P-5", "pool": "S7", "retired": "2024-03-01"}]
    pools = _pools([ITEM, ITEM | {"material_no": "S7", "used_on": ""}], positions)
    table = pools.table.set_index("pool")
    assert table.index.tolist() == ["S1", "S7", "S9", NO_ITEM]
    assert table["positions"].to_dict() == {"S1": 2, "S7": 0, "S9": 1, NO_ITEM: 1}
    statuses = ["ok", "used nowhere", "not in the stores", "no stock item"]
    assert table["status"].tolist() == statuses
    assert table.loc[["S9", NO_ITEM], "on_order"].isna().all()
    said = pools.findings.set_index("check")["message"]
    assert "no stock item for P-3; it is in no stock figure" in said["position without stock item"]
    assert "names item S9" in said["item not in the stores"]
    idle = "no position in use takes item S7; its last one was retired on 2024-03-01; 2 on hand"
    assert said["item used nowhere"].startswith(idle)
    assert len(said) == 3


def test_a_register_that_names_no_items_is_told_so_once() -> None:
    pools = _pools(positions=[{"tag": "P-1"}, {"tag": "P-2"}], used_on="")
    assert "for any position" in pools.findings.set_index("check")["message"].iloc[0]
    assert pools.findings["check"].tolist() == ["position without stock item", "item used nowhere"]


def test_without_a_stock_list_nothing_is_wrong_with_it() -> None:
    pools = _pools([])
    assert pools.findings.empty
    assert pools.table[["pool", "positions", "status"]].to_numpy().tolist() == [
        ["S1", 2, "not in the stores"]
    ]


def test_rows_that_name_an_item_twice_or_not_at_all_are_set_aside() -> None:
    pools = _pools([ITEM, ITEM | {"on_hand": 5}, ITEM | {"material_no": " "}])
    assert pools.table[["pool", "on_hand"]].to_numpy().tolist() == [["S1", 2.0]]
    gone = pools.findings[pools.findings["set_aside"]]
    assert gone["record_id"].tolist() == ["stores:t.csv:4", "stores:t.csv:3"]
    assert "S1 stands in the stores already" in gone["message"].iloc[1]


@pytest.mark.parametrize(
    "used_on",
    ["P-1-DE P-2-DE", "P-1-DE; P-2-DE", "p1 de, P-2 DE", "P-1,P-2", "P-1\nP-2", "P-1-DE|P-2"],
)
def test_confirmed_positions_may_be_written_in_many_ways(used_on: str) -> None:
    assert _pools(used_on=used_on).findings.empty


def test_confirmed_positions_that_the_register_does_not_bear_out() -> None:
    lacks = _only(_pools(used_on="P-1-DE"), "not confirmed for its item")
    assert "puts P-2-DE under this item" in lacks["message"]
    strange = _only(_pools(used_on="P-1-DE P-2-DE P-77"), "confirmed for unknown position")
    assert strange["message"].startswith("P-77 in the list")
    other = [ITEM, ITEM | {"material_no": "S2", "used_on": "P-3, P-2-DE"}]
    seats = [*TWO, {"tag": "P-3", "pool": "S2"}]
    pools = _pools(other, seats)
    both = _only(pools, "position under two items")["message"]
    assert both.startswith("P-2-DE is confirmed for items S1 and S2; its demand is counted under")
    assert both.endswith("under S1 only")
    assert pools.table["positions"].tolist() == [2, 1], "the register decides"
    moved = _only(_pools(other, seats, used_on="P-1-DE"), "confirmed for another item")
    assert moved["record_id"] == "stores:t.csv:3"
    assert "for P-2-DE, which this item's list holds" in moved["message"]


def test_interchange_is_not_inferred_from_descriptions() -> None:
    twin = ITEM | {"material_no": "S2", "used_on": ""}
    pools = _pools([ITEM, twin], [*TWO, {"tag": "P-3", "pool": "S2"}])
    assert pools.table["positions"].tolist() == [2, 1]


def test_where_the_elastomer_is_known_from() -> None:
    named = [p | {"elastomer": "fkm"} for p in TWO]
    by_register = _pools(positions=named, description="single seal").table.iloc[0]
    assert (by_register["elastomer"], by_register["elastomer_from"]) == ("FKM", "register")
    own = _pools(elastomer="NBR", description="").table.iloc[0]
    assert (own["elastomer"], own["elastomer_from"]) == ("NBR", "stores")
    mixed = [TWO[0] | {"elastomer": "EPDM"}, TWO[1] | {"elastomer": "FKM"}]
    pools = _pools(positions=mixed)
    assert pools.table["elastomer_from"].tolist() == ["description"]
    assert (
        "EPDM for P-1-DE, its stock item S1 is of FKM"
        in _only(pools, "elastomer differs")["message"]
    )
    graphite = _pools(positions=[p | {"elastomer": "graphite"} for p in TWO], description="")
    assert graphite.table["elastomer"].tolist() == ["graphite"]
    assert graphite.findings.empty


def test_words_that_are_no_elastomer() -> None:
    assert elastomers_in(["Seal Nr 5, EU type, CR steel"], described=True) == [""]
    assert elastomers_in(["NR", "PTFE", "", "SiC/carbon"]) == ["NR", "", "", ""]


@pytest.mark.parametrize(
    ("fluid", "service", "word", "highest"),
    [
        ("Benzene", "", "benzene", True),
        ("Benzin", "", "", False),
        ("Naphtha", "stripper reflux, H2S", "H2S", True),
        ("Sauerwasser", "", "H2S", True),
        ("Rich amine", "", "H2S", True),
        ("Flusssäure", "", "HF", True),
        ("Chlorine", "", "chlorine", False),
        ("Cooling water", "", "", False),
    ],
)
def test_fluids_that_harm_at_once(fluid: str, service: str, word: str, highest: bool) -> None:
    one = pd.DataFrame({"fluid": [fluid], "service_text": [service], "service_class": [""]})
    got = position_hazards(one).iloc[0]
    assert (got["hazard"], got["highest"]) == (word, highest)


def test_a_class_makes_hazardous_but_does_not_rank() -> None:
    flashing = [p | {"service_class": "HC-FLASH"} for p in TWO]
    pools = _pools(positions=flashing)
    assert pools.table[["hazard", "hazardous", "criticality"]].to_numpy().tolist() == [
        ["flashing hydrocarbon", True, "B"]
    ]
    assert pools.findings.empty


def test_benzene_h2s_and_hf_rank_highest() -> None:
    positions = [TWO[0] | {"criticality": "A", "pool": "S2"}, TWO[1] | {"fluid": "Benzene"}]
    pools = _pools([ITEM | {"used_on": ""}], positions)
    row = pools.table.set_index("pool").loc["S1"]
    assert (row["criticality"], row["hazard"], row["hazardous"]) == ("A", "benzene", True)
    said = pools.findings.set_index("check")["message"]["hazardous fluid, lower criticality"]
    assert said == "P-2-DE handles benzene and is ranked C; taken as A"
    assert pools.members["criticality_said"].tolist() == ["A", "C"]


def test_ranks_follow_cost_where_costs_are_given() -> None:
    assert rank_criticality(["3", "1", "2"], Costs()) == ["1", "2", "3"]
    assert rank_criticality(["A", "B", "C"], Costs(failure_extra={"B": 2.0, "a": 1.0})) == [
        *("B", "A", "C")
    ]
    assert rank_criticality(["", "A"], Costs(failure_extra={"": 9.0})) == ["A"]


def test_a_shortage_whose_cost_is_not_known_for_all_is_not_known() -> None:
    costs = Costs(shortage_per_day={"B": 900.0})
    assert _pools(costs=costs).table["shortage_per_day"].isna().all()
    one = Costs(shortage_per_day=500.0)  # type: ignore[arg-type]
    assert _pools(costs=one).table["shortage_per_day"].tolist() == [500.0]


def test_pieces_that_cannot_be_used_are_refused() -> None:
    fleet = fleet_of(TWO, stores=[ITEM])
    positions = build_register(fleet).table
    with pytest.raises(InputError, match="stores: has no column on_hand"):
        read_pools(fleet["stores"].drop(columns="on_hand"), positions, Costs(), now=NOW)
    with pytest.raises(InputError, match="positions: has no column pool"):
        read_pools(fleet["stores"], positions.drop(columns="pool"), Costs(), now=NOW)
    with pytest.raises(InputError, match="now: is NaT; give the day on which the records end"):
        read_pools(fleet["stores"], positions, Costs(), now=pd.NaT)  # type: ignore[arg-type]


def test_a_bare_stock_list_is_enough() -> None:
    bare = pd.DataFrame({"material_no": ["S1"], "on_hand": [3]})
    pools = read_pools(bare, build_register(fleet_of(TWO)).table, Costs(), now=NOW)
    assert pools.table[["positions", "on_hand", "status"]].to_numpy().tolist() == [
        [2, 3.0, "lead time not known"]
    ]


def test_what_was_planted_in_the_stores_of_the_demo_is_found(demo_study: Study) -> None:
    """Every planted fault is found at its item or position, and nothing else but ranks."""
    fleet, named = demo_study.fleet, demo_study.classes.table["service_class"]
    positions = demo_study.register.table.assign(service_class=named.to_numpy())
    now = pd.Timestamp(fleet.settings.data_end)
    pools = read_pools(fleet["stores"], positions, fleet.settings.costs, now=now)
    truth = tomllib.loads((fleet.folder / "truth/truth.toml").read_text("utf-8"))["faults"]
    planted = {
        "position without stock item": "position without stock item",
        "item without price": "price missing",
        "item without lead time": "lead time missing",
        "item without stock": "stock not known",
        "stock levels swapped": "levels the wrong way round",
        "position left out of confirmed list": "not confirmed for its item",
        "item used nowhere": "item used nowhere",
    }
    item = fleet["stores"].set_index("material_no")["record_id"]
    place = positions.set_index("position_id")["record_id"]
    at = {fault: place if fault.startswith("position without") else item for fault in planted}
    wanted = {(planted[f], r) for f in planted for r in at[f].loc[truth[f]]}
    found = pools.findings[pools.findings["check"] != "hazardous fluid, lower criticality"]
    assert set(zip(found["check"], found["record_id"], strict=True)) == wanted
    assert len(found) == len(wanted)
    table = pools.table.set_index("pool")
    assert table["positions"].sum() == 420 - len(truth["retired but in the register"])
    assert table.loc[NO_ITEM, "positions"] == len(truth["position without stock item"])
    assert (table.loc[table["status"] == "ok", "shortage_per_day"] > 0).all()
    raised = pools.members["criticality"] != pools.members["criticality_said"]
    assert raised.any()
    assert pools.members.loc[raised, "hazard"].str.contains("H2S").all()


_WORDS = st.sampled_from(["", "S1", "S2", "S3"])


@given(
    st.lists(st.tuples(_WORDS, st.sampled_from(["", "2020-01-01", "2030-01-01"])), max_size=8),
    st.lists(st.tuples(_WORDS, st.sampled_from(["", "P-0", "P-1 P-9", "x"])), max_size=6),
)
def test_any_stores_and_register(
    seats: list[tuple[str, str]], stock: list[tuple[str, str]]
) -> None:
    positions = [
        {"tag": f"P-{n}", "pool": pool, "retired": gone or None}
        for n, (pool, gone) in enumerate(seats)
    ] or [{"tag": "P-99", "retired": "2020-01-01"}]
    rows = [{"material_no": item, "on_hand": 1, "used_on": used} for item, used in stock]
    fleet = fleet_of(positions, stores=rows)
    register = build_register(fleet).table
    before = fleet["stores"].copy(), register.copy()
    pools = read_pools(fleet["stores"], register, Costs(), now=NOW)
    pd.testing.assert_frame_equal(fleet["stores"], before[0])
    pd.testing.assert_frame_equal(register, before[1])
    table = pools.table
    assert table["pool"].is_unique
    in_use = [pool for pool, gone in seats if gone != "2020-01-01"]
    assert table["positions"].sum() == len(in_use) == pools.members["in_use"].sum()
    assert set(table["pool"]) == {p or NO_ITEM for p in in_use} | {i for i, _ in stock if i}
    assert ((table["status"] == "ok") == (table["message"] == "")).all()
    listed = table.loc[table["record_id"] != "", "record_id"].tolist()
    aside = pools.findings.loc[pools.findings["set_aside"], "record_id"].tolist()
    assert sorted([*listed, *aside]) == sorted(fleet["stores"]["record_id"])

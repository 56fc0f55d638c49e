from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from conftest import TinyFleet
from hypothesis import given, settings
from hypothesis import strategies as st

from seallife.intake import read_fleet
from seallife.register import Register, build_register, match_tags, tag_key


@pytest.fixture
def register_of(tmp_path: Path, tiny_fleet: TinyFleet):
    def make(*rows: dict[str, str]) -> Register:
        return build_register(read_fleet(tiny_fleet(tmp_path, positions=rows)))

    return make


def _of_tags(*tags: str) -> Register:
    """A register of pumps with one seal each."""
    table = pd.DataFrame({"tag": list(tags), "position_id": list(tags), "site": "S"}, dtype=object)
    table["unit"] = "400"
    return Register(table.assign(pump_key=table["tag"].map(tag_key)), pd.DataFrame())


def _match(register: Register, tag: str) -> tuple[str, str]:
    got = match_tags(pd.Series([tag]), pd.Series([""]), register)
    return got["pump_key"].iloc[0], got["how"].iloc[0]


@pytest.mark.parametrize("tag", ["P-101A", "p 101 a", "P101A", "P-0101/A", "P.101-A", "p_101_A"])
def test_one_key_for_all_spellings(tag: str) -> None:
    assert tag_key(tag) == "P101A"


@pytest.mark.parametrize(
    ("tag", "how"),
    [
        ("UNIT 400", "pair or unit tag"),
        ("400 area", "pair or unit tag"),
        ("unit 500", "not in register"),
        ("P-400", "pair or unit tag"),  # also that of the pair P-400A and B
        ("X-400 7", "not in register"),
    ],
)
def test_a_unit_is_no_pump(tag: str, how: str) -> None:
    assert _match(_of_tags("P-400A", "P-400B"), tag) == ("", how)


def test_positions_are_named_and_ordered(register_of) -> None:
    register = register_of(
        {"tag": "P-2", "seal_end": "NDE", "position_id": "", "site": "North"},
        {"tag": "P-2", "seal_end": "DE", "position_id": "", "site": "North"},
        {"tag": "", "seal_end": "", "position_id": "P-1-X", "site": ""},
    )
    table = register.table
    assert table["position_id"].tolist() == ["P-1-X", "P-2-DE", "P-2-NDE"]
    assert table["tag"].tolist() == ["P-1-X", "P-2", "P-2"]
    assert table["site"].tolist() == ["Tiny", "North", "North"]
    assert table["pump_key"].tolist() == ["P1X", "P2", "P2"]
    assert register.findings.empty


def test_rows_that_name_nothing_or_repeat_are_set_aside(register_of) -> None:
    register = register_of(
        {"tag": "P-1", "seal_end": "DE", "retired": ""},
        {"tag": "", "seal_end": "DE", "retired": ""},
        {"tag": "P-1", "seal_end": "DE", "retired": ""},
    )
    assert register.table["position_id"].tolist() == ["P-1-DE"]
    found = register.findings.set_index("record_id")
    assert found["check"].to_dict() == {
        "positions:positions.csv:3": "position without name",
        "positions:positions.csv:4": "position listed twice",
    }
    assert found["set_aside"].all()
    assert found["message"].iloc[1] == "'P-1-DE' stands in the register already; keep one row"


def test_dates_the_wrong_way_round_are_left_out(register_of) -> None:
    register = register_of(
        {"tag": "P-1", "commissioned": "2020-01-31", "retired": "2019-12-31"},
        {"tag": "P-2", "commissioned": "2019-12-31", "retired": "2020-01-31"},
    )
    assert register.table["retired"].notna().tolist() == [False, True]
    assert register.table["commissioned"].notna().tolist() == [False, True]
    assert register.findings["message"].str.startswith("retired on 2019-12-31, before").all()


def test_one_pump_in_two_spellings_is_said(register_of) -> None:
    register = register_of({"tag": "P-101A", "seal_end": "DE"}, {"tag": "P101A", "seal_end": "NDE"})
    assert register.table["pump_key"].tolist() == ["P101A", "P101A"]
    assert register.findings["check"].tolist() == ["tag spelled in two ways"]
    assert not register.findings["set_aside"].any()


def test_the_fleet_is_not_changed(tmp_path: Path, tiny_fleet: TinyFleet) -> None:
    fleet = read_fleet(tiny_fleet(tmp_path, positions=[{"tag": "P-1", "site": ""}]))
    before = fleet["positions"].copy()
    build_register(fleet)
    pd.testing.assert_frame_equal(fleet["positions"], before)


# --- matching --------------------------------------------------------------------------------

PLANT = _of_tags("P-101A", "P-101B", "10-P-201A", "20-P-777A", "30-P-777A", "P-3050A", "1-K-7")


@pytest.mark.parametrize(
    ("tag", "pump", "how"),
    [
        ("P-101A", "P101A", "same"),
        ("p 101a", "P101A", "other format"),
        ("P-201A", "10P201A", "unit number in front"),
        ("10-P-101A", "P101A", "unit number in front"),
        ("20-P-201A", "", "not in register"),  # another unit's pump, not a slip
        ("P-777A", "", "not in register"),  # two units have one
        ("P-101", "", "pair or unit tag"),
        ("P-101C", "", "not in register"),  # the letter tells pumps apart
        ("P-305A", "P3050A", "one character off"),
        ("P-30500A", "P3050A", "one character off"),
        ("P-3060A", "P3050A", "one character off"),
        ("P-3005A", "P3050A", "one character off"),
        ("P-1O1A", "P101A", "one character off"),
        ("P-3500", "", "not in register"),
        ("1-K-8", "", "not in register"),
        ("2-K-7", "", "not in register"),
        ("", "", "not in register"),
        ("---", "", "not in register"),
        ("Unit 10", "", "not in register"),
    ],
)
def test_which_pump_a_tag_means(tag: str, pump: str, how: str) -> None:
    assert _match(PLANT, tag) == (pump, how)


def test_a_tag_near_two_pumps_is_not_guessed() -> None:
    register = _of_tags("P-1011A", "P-1012A")
    assert _match(register, "P-1013A") == ("", "not in register")
    assert _match(register, "P-101A") == ("", "not in register")


def test_a_position_name_stands_for_its_pump() -> None:
    table = pd.DataFrame(
        {"tag": "P-7", "position_id": ["P-7-DE", "P-7-NDE"], "site": "S", "unit": ""}
    )
    register = Register(table.assign(pump_key="P7"), pd.DataFrame())
    assert _match(register, "P7 NDE") == ("P7", "position name")


def test_index_and_order_are_kept() -> None:
    tags = pd.Series(["P-101B", "x", "P-101A"], index=[9, 3, 5])
    got = match_tags(tags, pd.Series("", index=tags.index), PLANT)
    assert got.index.tolist() == [9, 3, 5]
    assert got["pump_key"].tolist() == ["P101B", "", "P101A"]
    assert match_tags(tags[:0], tags[:0], PLANT).empty


def test_the_same_tag_at_two_sites(register_of) -> None:
    register = register_of(
        {"tag": "P-1A", "site": "North"}, {"tag": "P-1A", "site": "South"}, {"tag": "P-2A"}
    )
    assert register.table["pump_key"].tolist() == ["North/P1A", "P2A", "South/P1A"]
    tags = pd.Series(["P-1A", "P-1A", "P-1A", "P-2A", "P-1A"])
    sites = pd.Series(["North", "South", "", "", "West"])
    got = match_tags(tags, sites, register)
    assert got["pump_key"].tolist() == ["North/P1A", "South/P1A", "", "P2A", ""]
    assert got["how"].tolist()[2] == "tag at several sites"


_tag = st.text("PK10257AB-", min_size=1, max_size=9)


@settings(max_examples=300, deadline=None)
@given(st.lists(_tag, min_size=1, max_size=8, unique=True), _tag)
def test_never_more_than_one_edit_away_and_never_a_guess(tags: list[str], tag: str) -> None:
    register = _of_tags(*tags)
    pump, how = _match(register, tag)
    key, known = tag_key(tag), set(register.table["pump_key"]) - {""}
    near = {k for k in known if _distance(key, k) == 1}
    bare = {k for k in known if k.lstrip("0123456789") == key.lstrip("0123456789")}
    if how in {"same", "other format"}:
        assert pump == key
    elif how == "one character off":
        assert pump in near
        assert pump[-1] == key[-1]
        assert {k for k in near if k[-1] == key[-1] and k[0] == pump[0]} >= {pump}
    elif how == "unit number in front":
        assert pump in bare
        assert (pump[0].isdigit()) != (key[0].isdigit())
    else:
        assert pump == ""
    if len(near) > 1 and how == "one character off":
        others = {k for k in near if k[-1] == key[-1] and _unit(k) == _unit(key)}
        assert others == {pump}


def _unit(key: str) -> str:
    head = key[: len(key) - len(key.lstrip("0123456789"))]
    return head if head != key else ""


def _distance(a: str, b: str) -> int:
    """Edits between two words: insert, delete, replace, swap neighbours (plain recurrence)."""
    d = {(i, -1): i + 1 for i in range(-1, len(a))} | {(-1, j): j + 1 for j in range(-1, len(b))}
    for i, x in enumerate(a):
        for j, y in enumerate(b):
            d[i, j] = min(d[i - 1, j] + 1, d[i, j - 1] + 1, d[i - 1, j - 1] + (x != y))
            if i and j and x == b[j - 1] and a[i - 1] == y:
                d[i, j] = min(d[i, j], d[i - 2, j - 2] + 1)
    return d[len(a) - 1, len(b) - 1]

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seallife.classes import UNCLASSIFIED, Classes, assign_classes, load_class_rules
from seallife.errors import SettingsError
from seallife.register import Register
from seallife.schema import TABLES


def _register(*rows: dict[str, object]) -> Register:
    """A register of positions with no more than what is given."""
    columns: dict[str, object] = {}
    for c in TABLES["positions"].columns:
        blank = np.nan if c.kind == "number" else ""
        values = [r.get(c.name, blank) for r in rows]
        columns[c.name] = pd.Series(values, dtype=float if c.kind == "number" else object)
    table = pd.DataFrame(columns)
    table["position_id"] = [f"P{i}" for i in range(len(rows))]
    table["record_id"] = [f"positions:t.csv:{i + 2}" for i in range(len(rows))]
    return Register(table, pd.DataFrame())


def _one(**row: object) -> pd.Series:
    return assign_classes(_register(row)).table.iloc[0]


@pytest.mark.parametrize(
    ("row", "service_class", "why"),
    [
        ({"fluid": "water", "seal_type": "Gland packing"}, "EXCLUDED", "no shaft seal"),
        ({"fluid": "propane", "pump_type": "Canned motor"}, "EXCLUDED", "no shaft seal"),
        ({"fluid": "air", "pump_type": "compressor"}, "EXCLUDED", "no shaft seal"),
        ({"fluid": "water", "solids_pct": 0.5}, "SLURRY", "solids 0.5 %"),
        ({"fluid": "water", "solids_pct": 0.49, "temp_c": 20}, "WATER", "other water"),
        ({"fluid": "Lime slurry"}, "SLURRY", "called a slurry"),
        ({"fluid": "Ash water", "temp_c": 60}, "SLURRY", "called a slurry"),
        ({"fluid": "Feed stock", "temp_c": 90, "vapour_kpa": 20, "sg": 0.8}, "HC-GEN", "other"),
        ({"fluid": "effluent", "ph": 2.9}, "CORR", "pH below 3"),
        ({"fluid": "effluent", "ph": 3.0}, "CHEM", "no rule knows"),
        ({"fluid": "effluent", "ph": 12.1}, "CORR", "pH above 12"),
        ({"fluid": "Schwefelsäure"}, "CORR", "called an acid or caustic"),
        ({"fluid": "HF"}, "CORR", "called an acid or caustic"),
        ({"fluid": "Natronlauge"}, "CORR", "called an acid or caustic"),
        ({"fluid": "Caustic soda 20 %"}, "CORR", "called an acid or caustic"),
        ({"fluid": "lean amine", "temp_c": 60}, "SOUR", "amine, sour water or H2S"),
        ({"fluid": "Sour water", "temp_c": 60}, "SOUR", "amine, sour water or H2S"),
        ({"fluid": "Sauerwasser"}, "SOUR", "amine, sour water or H2S"),
        ({"fluid": "naphtha", "vapour_kpa": 101}, "HC-FLASH", "vapour pressure above 1.0 bar"),
        ({"fluid": "naphtha", "vapour_kpa": 100, "sg": 0.7, "temp_c": 40}, "HC-GEN", "other"),
        ({"fluid": "Butane"}, "HC-FLASH", "C4 and lighter"),
        ({"fluid": "C3/C4 mix"}, "HC-FLASH", "C4 and lighter"),
        ({"fluid": "hexane", "vapour_kpa": 50, "sg": 0.59}, "HC-FLASH", "lighter than 0.60"),
        ({"fluid": "resid", "temp_c": 340, "vapour_kpa": 150}, "HC-FLASH", "vapour pressure"),
        ({"fluid": "resid", "temp_c": 340, "vapour_kpa": 5, "sg": 0.9}, "HC-HOT", "176"),
        ({"fluid": "vgo", "temp_c": 176, "vapour_kpa": 5, "sg": 0.9}, "HC-HOT", "176"),
        ({"fluid": "vgo", "temp_c": 175, "vapour_kpa": 5, "sg": 0.9}, "HC-GEN", "other hydro"),
        ({"fluid": "", "service_text": "Diesel transfer"}, "HC-GEN", "other hydrocarbon"),
        ({"fluid": "boiler feed water", "temp_c": 120}, "BFW/HOTW", "80 °C or more"),
        ({"fluid": "Kesselspeisewasser", "temp_c": 105}, "BFW/HOTW", "80 °C or more"),
        ({"fluid": "condensate", "temp_c": 80}, "BFW/HOTW", "80 °C or more"),
        ({"fluid": "Kühlwasser", "temp_c": 25}, "WATER", "other water"),
        ({"fluid": "Eau de refroidissement", "temp_c": 25}, "WATER", "other water"),
        ({"fluid": "Agua contra incendio", "temp_c": 20}, "WATER", "other water"),
        ({"fluid": "Gas condensate", "temp_c": 20, "vapour_kpa": 50, "sg": 0.7}, "HC-GEN", "other"),
        ({"fluid": "lube oil", "viscosity_cst": 46, "temp_c": 50}, "OIL", "oil of 20 cSt"),
        ({"fluid": "heavy fuel oil", "viscosity_cst": 15, "temp_c": 130}, "OIL", "called a lubr"),
        ({"fluid": "oil"}, "OIL", "called oil and no more"),
        ({"fluid": "gas oil", "viscosity_cst": 25, "temp_c": 40, "vapour_kpa": 1}, "HC-GEN", "oth"),
        ({"fluid": "methanol"}, "CHEM", "called an organic chemical"),
        ({"fluid": ""}, UNCLASSIFIED, "no rule fits"),
        ({"fluid": "", "solids_pct": 3.0}, "SLURRY", "solids"),
    ],
)
def test_the_class_of_a_position(row: dict[str, object], service_class: str, why: str) -> None:
    got = _one(**row)
    assert got["service_class"] == service_class, got.to_dict()
    assert why in got["why"]


def test_what_is_missing_makes_another_class_less_sure() -> None:
    got = _one(fluid="diesel")
    assert (got["service_class"], got["sure"], got["missing"]) == ("HC-GEN", False, "vapour_kpa")
    got = _one(fluid="diesel", vapour_kpa=1.0, sg=0.84)
    assert (got["sure"], got["missing"]) == (False, "temp_c")
    assert _one(fluid="diesel", vapour_kpa=1.0, sg=0.84, temp_c=40.0)["sure"]


def test_what_is_missing_for_the_same_class_is_no_doubt() -> None:
    assert _one(fluid="propane")["sure"]


def test_a_value_that_speaks_against_a_rule_leaves_no_doubt() -> None:
    got = _one(fluid="lube oil", temp_c=130.0)
    assert (got["service_class"], got["sure"]) == ("OIL", True)
    got = _one(fluid="water", temp_c=20.0)
    assert got["sure"]


def test_by_hand_goes_before_every_rule() -> None:
    classes = assign_classes(
        _register(
            {"fluid": "water", "service_class": "MINE", "seal_type": "packed"},
            {"fluid": "water", "temp_c": 20},
        )
    )
    got = classes.table.iloc[0]
    assert (got["service_class"], got["why"]) == ("MINE", "set by hand in the register")
    assert got["sure"]
    assert classes.rules["positions"].sum() == 1


def test_findings_say_what_is_without_class_and_what_is_unsure() -> None:
    found = assign_classes(_register({}, {"fluid": "diesel"}, {"fluid": "methanol"})).findings
    assert found["check"].tolist() == ["no service class", "class rests on incomplete data"]
    assert found["record_id"].tolist() == ["positions:t.csv:2", "positions:t.csv:3"]
    assert "no rule fits 'P0'; name its fluid" in found["message"].iloc[0]
    assert "could not be judged without vapour_kpa" in found["message"].iloc[1]


def test_the_rules_are_counted() -> None:
    classes = assign_classes(_register({"fluid": "propane"}, {"fluid": "butane"}, {}))
    rules = classes.rules
    assert rules["order"].tolist() == list(range(1, len(rules) + 1))
    assert rules.loc[rules["why"] == "C4 and lighter", "positions"].tolist() == [2]
    assert rules["positions"].sum() == 2


def test_an_empty_register() -> None:
    assert assign_classes(_register()).table.empty


_numbers = st.one_of(st.none(), st.floats(0, 400))


@given(
    st.sampled_from(["water", "diesel", "propane", "lube oil", "HCl", "slurry", "methanol", ""]),
    st.fixed_dictionaries(
        dict.fromkeys(("temp_c", "vapour_kpa", "sg", "ph", "solids_pct", "viscosity_cst"), _numbers)
    ),
    st.randoms(),
)
def test_a_class_depends_on_its_own_row_only(fluid, numbers, random) -> None:
    row = {"fluid": fluid} | {k: np.nan if v is None else v for k, v in numbers.items()}
    others = [{"fluid": "propane"}, {}, {"fluid": "water", "ph": 1.0}]
    place = random.randrange(4)
    rows = [*others[:place], row, *others[place:]]
    alone, among = assign_classes(_register(row)), assign_classes(_register(*rows))
    kept = ["service_class", "why", "sure", "missing"]
    assert among.table[kept].iloc[place].tolist() == alone.table[kept].iloc[0].tolist()
    assert (alone.table["why"] == "no rule fits").all() == (
        alone.table["service_class"] == UNCLASSIFIED
    ).all()


# --- rule files ------------------------------------------------------------------------------


def _rules(folder: Path, text: str) -> Classes:
    file = folder / "rules.toml"
    file.write_text(text, encoding="utf-8")
    register = _register({"fluid": "Mélasse", "temp_c": 70}, {"fluid": "water"})
    return assign_classes(register, load_class_rules(file))


def test_a_site_brings_its_own(tmp_path: Path) -> None:
    classes = _rules(
        tmp_path,
        """[families]
sugar = ["melasse*", "syrup"]
[[rules]]
class = "HOT SUGAR"
why = "sugar at 60 °C or more"
family = "sugar"
at_least = { temp_c = 60 }
at_most = { temp_c = 70 }
[[rules]]
class = "REST"
""",
    )
    assert classes.table["service_class"].tolist() == ["HOT SUGAR", "REST"]
    assert classes.table["why"].tolist() == ["sugar at 60 °C or more", ""]


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "holds no [[rules]]"),
        ("rules = 3", "holds no [[rules]]"),
        ("[rules]\nclass = 'A'", "holds no [[rules]]"),
        ("[[rule]]\nclass = 'A'", "'rule' is neither [families] nor [[rules]]; did you mean 'rul"),
        ("[[rules]\n", "is not valid TOML"),
        ("[[rules]]\nwhy = 'x'", "rule 1: has no class"),
        ("[[rules]]\nclass = 3", "rule 1: has no class"),
        ("[[rules]]\nclass = 'A'\n[[rules]]\nclas = 'B'", "rule 2: 'clas' is not a part of a rule"),
        ("[[rules]]\nclass = 'A'\nfamily = 'x'", "rule 1: 'x' is not under [families]"),
        ("[[rules]]\nclass = 'A'\nbelow = 3", "rule 1: below should be like { temp_c = 80.0 }"),
        (
            "[[rules]]\nclass = 'A'\nbelow = { temp = 3 }",
            "rule 1: 'temp' is not a number column; did you mean 'temp_c'?",
        ),
        ("[[rules]]\nclass = 'A'\nbelow = { tag = 3 }", "rule 1: 'tag' is not a number column"),
        ("[[rules]]\nclass = 'A'\nbelow = { ph = '3' }", "rule 1: ph: '3' is not a number"),
        ("[[rules]]\nclass = 'A'\nseal_words = 'x'", "rule 1: should hold a list of words"),
        ("families = 3\n[[rules]]\nclass = 'A'", "families should be a section"),
        ("[families]\nx = 'water'\n[[rules]]\nclass = 'A'", "families.x: should hold a list"),
    ],
)
def test_a_rule_file_that_cannot_be_meant_is_refused(
    tmp_path: Path, text: str, sentence: str
) -> None:
    with pytest.raises(SettingsError) as err:
        _rules(tmp_path, text)
    assert sentence in str(err.value)
    assert "rules.toml" in str(err.value)


def test_a_rule_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match=r"no such file; mend class_rules in fleet.toml"):
        load_class_rules(tmp_path / "none.toml")
    with pytest.raises(SettingsError, match="no such file"):
        load_class_rules(tmp_path)


def test_a_fluid_that_no_rule_knows_is_never_sure() -> None:
    got = assign_classes(_register({"fluid": "zorblax"}, {}, {"fluid": "MEK"}))
    assert got.table["service_class"].tolist() == ["CHEM", "UNCLASSIFIED", "CHEM"]
    assert got.table["sure"].tolist() == [False, False, True]
    asked = got.findings[got.findings["severity"] == "ask"]
    assert asked["check"].tolist() == ["no service class", "fluid not known"]
    assert "'zorblax'" in asked.iloc[1]["message"]


@pytest.mark.parametrize(
    ("position", "service_class"),
    [
        ({"fluid": "Rohöl", "temp_c": 230}, "HC-HOT"),
        ({"fluid": "Vakuumrückstand", "temp_c": 330, "vapour_kpa": 2}, "HC-HOT"),
        ({"fluid": "Flüssiggas"}, "HC-FLASH"),
        ({"fluid": "Kalkmilch"}, "SLURRY"),
        ({"fluid": "Aminlösung reich"}, "SOUR"),
        ({"fluid": "Ammoniak"}, "CHEM"),
    ],
)
def test_german_fluids(position: dict[str, object], service_class: str) -> None:
    got = assign_classes(_register(position)).table.iloc[0]
    assert (got["service_class"], got["why"].startswith("a fluid that no rule")) == (
        service_class,
        False,
    )

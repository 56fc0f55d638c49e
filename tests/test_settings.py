from __future__ import annotations

import math
from datetime import date
from pathlib import Path

import pydantic
import pytest

from seallife.errors import SettingsError
from seallife.sections import cost_at
from seallife.settings import Costs, Rules, Settings, Source, Window, load_settings

MINIMUM = """[fleet]
name = "Tiny"
{fleet}
[[sources]]
table = "positions"
files = ["register.csv"]
{source}
"""


def _load(folder: Path, text: str = MINIMUM, *, fleet: str = "", source: str = "") -> Settings:
    (folder / "fleet.toml").write_text(
        text.replace("{fleet}", fleet).replace("{source}", source), encoding="utf-8"
    )
    return load_settings(folder)


def test_the_least_that_must_be_said(tmp_path: Path) -> None:
    settings = _load(tmp_path)
    assert settings.name == "Tiny"
    assert settings.rules == Rules()
    assert settings.rules.level == 0.90
    assert settings.sources[0].files == ("register.csv",)
    assert settings.data_end is None


def test_everything_that_can_be_said(tmp_path: Path) -> None:
    settings = _load(
        tmp_path,
        fleet="data_end = 2025-12-31\nclass_rules = 'ours.toml'",
        source="""encoding = "cp1252"
separator = ";"
decimal = ","
header_row = 3
date_order = "day first"
columns = { tag = "Tag No" }
units = { temp_c = "degF" }
constants = { site = "North" }
[[windows]]
site = "North"
start = 2017-07-01
gaps = [[2020-03-01, 2020-05-31]]
[rules]
level = 0.8
clock = "calendar"
[codes.wo_type]
FIX = "corrective"
[codes.priority]
1 = "anything"
""",
    )
    assert settings.class_rules == "ours.toml"
    assert settings.windows[0].gaps == ((date(2020, 3, 1), date(2020, 5, 31)),)
    assert settings.rules.clock == "calendar"
    assert settings.codes["wo_type"] == {"FIX": "corrective"}
    assert settings.sources[0].columns == {"tag": "Tag No"}


def test_one_file_needs_no_brackets() -> None:
    assert Source.model_validate({"table": "positions", "files": "a.csv"}).files == ("a.csv",)


def test_settings_cannot_be_changed(tmp_path: Path) -> None:
    settings = _load(tmp_path)
    with pytest.raises(pydantic.ValidationError):
        settings.name = "Other"  # type: ignore[misc]


def test_every_setting_is_documented() -> None:
    for model in (Settings, Costs, Rules, Source, Window):
        assert all(f.description for f in model.model_fields.values()), model


def test_costs_that_are_not_said_are_not_guessed(tmp_path: Path) -> None:
    costs = _load(tmp_path).costs
    assert costs == Costs() == Costs.model_validate(costs.model_dump())
    money = (costs.planned_renewal, costs.failure_extra, costs.shortage_per_day, costs.repair_share)
    assert money == (None,) * 4
    assert (costs.service, costs.service_measure) == (0.95, "no shortage")
    assert math.isnan(cost_at(costs.failure_extra, "A"))


def test_costs_by_criticality_or_one_for_all(tmp_path: Path) -> None:
    costs = _load(
        tmp_path,
        source="""[costs]
currency = "EUR"
planned_renewal = 1500
failure_extra = 9000
service = 0.98
service_measure = "fill rate"
[costs.shortage_per_day]
A = 4000
"Safety critical" = 8000.5
""",
    ).costs
    assert costs == Costs.model_validate(costs.model_dump())
    assert (costs.currency, costs.planned_renewal, costs.service) == ("EUR", 1500, 0.98)
    assert [cost_at(costs.failure_extra, c) for c in ("A", "")] == [9000, 9000]
    assert cost_at(costs.shortage_per_day, " safety  CRITICAL") == 8000.5
    assert math.isnan(cost_at(costs.shortage_per_day, "B"))
    assert math.isnan(cost_at(costs.shortage_per_day, ""))


def test_folders_that_are_no_fleet(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match=r"no such folder; give the folder that holds fleet"):
        load_settings(tmp_path / "none")
    with pytest.raises(SettingsError, match=r"has no fleet.toml, so it is not a fleet folder"):
        load_settings(tmp_path)
    file = tmp_path / "register.csv"
    file.write_text("x")
    with pytest.raises(SettingsError, match="is a file, not a folder"):
        load_settings(file)


def test_a_file_that_is_no_toml(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match=r"fleet.toml: is not valid TOML: .*line 1"):
        _load(tmp_path, "name: Tiny")
    (tmp_path / "fleet.toml").write_bytes("# größe".encode("cp1252"))
    with pytest.raises(SettingsError, match=r"is not UTF-8 text \(byte 4\); save it as UTF-8"):
        load_settings(tmp_path)
    (tmp_path / "fleet.toml").write_bytes(MINIMUM.format(fleet="", source="").encode("utf-8-sig"))
    assert load_settings(tmp_path).name == "Tiny"


@pytest.mark.parametrize(
    ("fleet", "source", "sentence"),
    [
        ("nam = 'x'", "", "'nam' is not a known setting; did you mean 'name'?"),
        ("data_end = 'soon'", "", "data_end: input should be a valid date"),
        ("[ruls]\n", "", "'ruls' is not a known setting; did you mean 'rules'?"),
        ("rules = 3", "", "rules should be a section of names and values"),
        ("", "tabel = 'x'", "'sources.1.tabel' is not a known setting; did you mean 'table'?"),
        ("", "separator = ', '", "sources.1.separator: string should have at most 1 character"),
        ("", "decimal = ';'", "sources.1.decimal: input should be '.' or ',', not ';'"),
        ("", "header_row = 0", "sources.1.header_row: input should be greater than or equal to 1"),
        ("", "date_order = 'dmy'", "sources.1.date_order: input should be 'auto', 'year first'"),
        (
            "",
            "columns = { temp = 'T' }",
            "sources.1: 'temp' is not a column of positions; did you mean 'temp_c'?",
        ),
        ("", "units = { tag = 'bar' }", "sources.1: 'tag' has no unit that could be converted"),
        (
            "",
            "columns = { site = 'S' }\nconstants = { site = 'North' }",
            "sources.1: 'site' has a constant and a column; keep one of them",
        ),
        ("", "constants = { site = 3 }", "sources.1.constants.site should be text in quotes"),
        ("", "[rules]\nlevel = 1.5", "rules.level: input should be less than 1, not 1.5"),
        ("", "[rules]\nlevel = 0.3", "rules.level: input should be greater than 0.5, not 0.3"),
        ("", "[rules]\nlevel = 'high'", "rules.level: input should be a valid number"),
        ("", "[rules]\nclok = 'x'", "'rules.clok' is not a known setting; did you mean 'clock'?"),
        ("", "[rules]\nclock = 'days'", "rules.clock: input should be 'run hours' or 'calendar'"),
        ("", "[rules]\nmerge_gap_days = -1", "input should be greater than or equal to 0, not -1"),
        ("", "[rules]\nlook_ahead_days = 0", "input should be greater than or equal to 1, not 0"),
        ("", "[[windows]]\nstart = 2020-01-01", "windows.1.site is missing"),
        (
            "",
            "[[windows]]\nsite = 'N'\nstart = 2020-01-01\nend = 2019-01-01",
            "windows.1: window of N ends before it starts",
        ),
        (
            "",
            "[[windows]]\nsite = 'N'\nstart = 2020-01-01\ngaps = [[2021-01-02, 2021-01-01]]",
            "windows.1: a gap of N ends before it starts",
        ),
        (
            "",
            "[codes.wo_typ]\nA = 'corrective'",
            "'codes.wo_typ' is not a column of codes; did you mean 'wo_type'?",
        ),
        (
            "",
            "[codes.wo_type]\nA = 'correctiv'",
            "'correctiv' under codes.wo_type is none of corrective, planned, project, inspection; "
            "did you mean 'corrective'?",
        ),
        ("", "[codes.fluid]\nA = 'water'", "'codes.fluid' is not a column of codes"),
    ],
)
def test_a_slip_is_named_with_its_place(
    tmp_path: Path, fleet: str, source: str, sentence: str
) -> None:
    with pytest.raises(SettingsError) as err:
        _load(tmp_path, fleet=fleet, source=source)
    assert f"fleet.toml: {sentence}" in str(err.value) or sentence in str(err.value)
    assert "\n" not in str(err.value)


@pytest.mark.parametrize(
    ("costs", "sentence"),
    [
        ("planed_renewal = 9", "'costs.planed_renewal' is not a known setting; did you mean 'pl"),
        ("planned_renewal = -9", "costs.planned_renewal: input should be greater than or equal"),
        ("planned_renewal = inf", "costs.planned_renewal should be a finite number"),
        ("currency = 3", "costs.currency should be text in quotes"),
        ("failure_extra = 'high'", "costs.failure_extra: should be a number, or one a critic"),
        ("failure_extra = {}", "costs.failure_extra: should be a number, or one a criticality"),
        ("failure_extra = true", "costs.failure_extra: should be a number, or one a criticality"),
        ("failure_extra = { A = 9, a = 8 }", "costs.failure_extra: names the criticality 'A' twi"),
        ("shortage_per_day = { A = -1 }", "costs.shortage_per_day.A: input should be greater tha"),
        ("reject_share = 20", "costs.reject_share: input should be less than or equal to 1, not 2"),
        ("service = 1", "costs.service: input should be less than 1, not 1"),
        ("service_measure = 'good'", "costs.service_measure: input should be 'no shortage' or 'f"),
    ],
)
def test_a_slip_in_costs_is_named(tmp_path: Path, costs: str, sentence: str) -> None:
    with pytest.raises(SettingsError) as err:
        _load(tmp_path, source=f"[costs]\n{costs}")
    assert f"fleet.toml: {sentence}" in str(err.value)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "has no [fleet] section"),
        ("fleet = 3", "has no [fleet] section"),
        ("[fleet]\nname = 'x'", "sources is missing"),
        ("sources = []\n[fleet]\nname = 'x'", "sources names nothing; it needs one entry"),
        ("[fleet]\nname = 3\n[[sources]]\ntable='positions'\nfiles='a'", "name should be text"),
        (
            "[fleet]\nname = 'x'\n[[sources]]\ntable='position'\nfiles='a'",
            "'position' is not a table; did you mean 'positions'?; tables are positions, work_o",
        ),
        ("[fleet]\nname = 'x'\n[[sources]]\nfiles='a'", "sources.1.table is missing"),
        ("[fleet]\nname = 'x'\n[[sources]]\ntable='stores'\nfiles=3", "files should be a list"),
        ("[fleet]\nname = 'x'\n[[sources]]\ntable='stores'\nfiles=[]", "files names nothing"),
    ],
)
def test_what_is_missing_is_said(tmp_path: Path, text: str, sentence: str) -> None:
    with pytest.raises(SettingsError) as err:
        _load(tmp_path, text)
    assert sentence in str(err.value)


def test_two_slips_are_counted(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match=r"\(and 1 more\)"):
        _load(tmp_path, source="[rules]\nlevl = 0.8\nclok = 'x'")

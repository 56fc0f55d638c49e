"""Bad input as a user meets it: one clear sentence, exit code 2 or a finding, no lost row."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from conftest import TinyFleet

from seallife import cli
from seallife.intake import read_fleet
from seallife.study import Study, run_study

WINDOW = '[[windows]]\nsite = "North"\nstart = 2015-01-01\n'
POSITION = {"tag": "P-101A", "site": "North", "fluid": "water", "commissioned": "2015-01-31"}
ORDER = {
    "wo_no": "4711",
    "tag": "P-101A",
    "work_start": "2019-05-31",
    "wo_type": "corrective",
    "short_text": "Mech seal leaking, renewed",
}


def _fails(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> str:
    """Run the check; it must end with exit code 2 and one sentence, which is returned."""
    monkeypatch.setattr("sys.argv", ["seallife", "check", str(folder)])
    with pytest.raises(SystemExit) as stop:
        cli.main()
    assert stop.value.code == 2
    said = capsys.readouterr().err
    assert said.startswith("seallife: ")
    assert said.count("\n") == 1
    assert "Traceback" not in said
    return said


def _study(folder: Path) -> Study:
    """Run the study; every record read must be in a result or in a finding."""
    study = run_study(read_fleet(folder))
    assert (study.ledger["read"] == study.ledger["used"] + study.ledger["set_aside"]).all()
    return study


@pytest.mark.parametrize(
    ("damage", "words"),
    [
        (lambda f: (f / "positions.csv").unlink(), ["positions.csv", "no file"]),
        (
            lambda f: (f / "positions.csv").write_text("machine,site\nP-1,North\n"),
            ["positions.csv", "'tag'", "machine, site", "fleet.toml"],
        ),
        (lambda f: (f / "positions.csv").write_text(""), ["positions.csv", "empty"]),
        (
            lambda f: (f / "work_orders.csv").write_text(
                "wo_no,tag,work_start,wo_type,short_text\n"
            ),
            ["work_orders and removals hold no rows", "look at the export"],
        ),
        (
            lambda f: (f / "positions.csv").write_text("tag,site\n"),
            ["no positions"],
        ),
        (
            lambda f: (f / "positions.csv").write_bytes(b"tag,fluid\nP-1,\x81\x8d\n"),
            ["positions.csv", "line 2", "encoding"],
        ),
        (
            lambda f: (f / "work_orders.csv").write_text(
                "wo_no,tag,work_start\n1,P-101A,05/04/2023\n2,P-101A,06/07/2023\n"
            ),
            ["work_orders.csv", "work_start", "05/04/2023", "row 2", "date_order"],
        ),
        (
            lambda f: (f / "work_orders.csv").write_text(
                "wo_no,tag,work_start\n1,P-101A,25/04/2023\n2,P-101A,06/27/2023\n"
            ),
            ["work_orders.csv", "25/04/2023", "row 2", "06/27/2023", "row 3"],
        ),
        (lambda f: (f / "fleet.toml").unlink(), ["no fleet.toml", "not a fleet folder"]),
        (
            lambda f: (f / "fleet.toml").write_text("[fleet\n"),
            ["fleet.toml", "not valid TOML"],
        ),
    ],
    ids=[
        "missing file",
        "missing column",
        "empty file",
        "no orders",
        "empty table",
        "unreadable encoding",
        "ambiguous dates",
        "two orders of dates",
        "no fleet folder",
        "broken settings",
    ],
)
def test_what_cannot_be_read_is_one_sentence(
    damage: object,
    words: list[str],
    tmp_path: Path,
    tiny_fleet: TinyFleet,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    folder = tiny_fleet(tmp_path)
    damage(folder)  # type: ignore[operator]
    said = _fails(folder, monkeypatch, capsys)
    for word in words:
        assert word in said, said


@pytest.mark.parametrize(
    ("unit", "words"),
    [("furlong", ["temp_c", "'furlong'"]), ("bar", ["temp_c", "'bar'", "degC"])],
)
def test_a_wrong_unit_is_one_sentence(
    unit: str,
    words: list[str],
    tmp_path: Path,
    tiny_fleet: TinyFleet,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    folder = tiny_fleet(tmp_path, positions=[POSITION | {"temp_c": "40"}])
    toml = (folder / "fleet.toml").read_text()
    with_unit = re.sub(
        r'(table = "positions"\n)', rf'\1units = {{ temp_c = "{unit}" }}\n', toml, count=1
    )
    assert with_unit != toml
    (folder / "fleet.toml").write_text(with_unit)
    said = _fails(folder, monkeypatch, capsys)
    for word in words:
        assert word in said, said


@pytest.mark.parametrize(
    ("order", "check", "row"),
    [
        ({"work_start": "31/02/2019"}, "no such date", 2),
        ({"tag": "Q-999"}, "not in register", 2),
        ({"work_start": "2014-05-31"}, "before commissioning", 2),
        ({"work_start": "9999-12-31"}, "filler date", 2),
    ],
)
def test_a_bad_record_ends_in_a_finding_with_its_row(
    order: dict[str, str], check: str, row: int, tmp_path: Path, tiny_fleet: TinyFleet
) -> None:
    study = _study(
        tiny_fleet(tmp_path, positions=[POSITION], work_orders=[ORDER | order], toml_extra=WINDOW)
    )
    found = study.findings[study.findings["check"] == check]
    assert found["record_id"].tolist() == [f"work_orders:work_orders.csv:{row}"]
    assert study.findings["set_aside"].sum() == 1
    assert study.removals.table.empty


def test_a_negative_life_is_asked_about(tmp_path: Path, tiny_fleet: TinyFleet) -> None:
    """A seal out before it went in: the removal counts, the life does not."""
    removals = [
        {"position_id": "P-101A", "date": "2019-05-31", "back_in_service": "2019-08-01"},
        {"position_id": "P-101A", "date": "2019-06-15"},
    ]
    rows = [{"reason": "seal failed", "tag": "P-101A", **r} for r in removals]
    study = _study(tiny_fleet(tmp_path, positions=[POSITION], work_orders=None, removals=rows))
    assert "life without length" in set(study.findings["check"])
    assert study.history.overall.iloc[0]["removals"] == 2
    assert (study.lives.table["days"] > 0).all()

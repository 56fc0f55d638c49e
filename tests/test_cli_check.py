"""The check on a command line, from first look to corrections in use."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import fleets
import pytest

from seallife.intake.overrides import OVERRIDES_FILE

DEMO = Path(__file__).parents[1] / "data_demo"


def _run(*args: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-W", "error", "-m", "seallife.cli", *map(str, args)],
        capture_output=True,
        text=True,
        check=False,
        encoding="utf-8",
    )


@pytest.fixture(scope="module")
def demo_check(
    tmp_path_factory: pytest.TempPathFactory,
) -> tuple[subprocess.CompletedProcess[str], Path]:
    out = tmp_path_factory.mktemp("demo") / "new" / "check"
    return _run("check", DEMO, "-o", out), out


def test_findings_that_need_a_person_are_exit_1_and_files_are_written(demo_check) -> None:
    done, out = demo_check
    assert done.returncode == 1
    assert done.stderr == ""
    assert {p.name for p in out.iterdir()} == {"records-check.html", "records-check.xlsx"}
    for name in ("records-check.html", "records-check.xlsx"):
        assert f"  {out / name}" in done.stdout.splitlines()


def test_lines_fit_80_columns_unless_they_hold_a_path(demo_check) -> None:
    done, _ = demo_check
    for line in done.stdout.splitlines():
        assert len(line) <= 80 or "records-check." in line or "seallife trace" in line, line
    assert "ask: a person must decide or mend the record" in done.stdout


def test_a_clean_fleet_is_exit_0_and_told_how_to_go_on(tmp_path: Path) -> None:
    folder = fleets.write_braking_grids(tmp_path)
    done = _run("check", folder)
    assert done.returncode == 0
    assert f"seallife check {folder} -o OUT" in done.stdout
    assert "ask:" not in done.stdout


def test_for_programs_with_files(tmp_path: Path) -> None:
    folder = fleets.write_braking_grids(tmp_path / "fleet")
    done = _run("check", folder, "-o", tmp_path / "out", "--json")
    assert done.returncode == 0
    assert {"fleet", "waterfall", "ledger", "findings"} == set(json.loads(done.stdout))
    assert (tmp_path / "out" / "records-check.xlsx").exists()


def test_a_correction_is_used_and_one_that_cannot_be_is_asked_about(tmp_path: Path) -> None:
    folder = fleets.write_braking_grids(tmp_path)
    lines = [
        "record_id,column,value,why",
        "removals:replacements.csv:2,reason,planned by age,on the maintenance plan",
        "removals:replacements.csv:9999,reason,planned by age,on the maintenance plan",
    ]
    (folder / OVERRIDES_FILE).write_text("\n".join(lines), "utf-8")
    done = _run("check", folder)
    assert done.returncode == 1
    said = " ".join(done.stdout.split())
    assert "1 correction not used overrides:overrides.csv:3 no record" in said
    assert "1 corrected by hand removals:replacements.csv:2" in said
    assert "withdrawn in good order -1" in said
    traced = _run("trace", folder, "removals:replacements.csv:2").stdout
    assert "reason was 'seal failed', set to 'planned by age' by hand" in traced


@pytest.mark.parametrize(
    ("text", "words"), [("", "is empty"), ("record_id,value\nx,y\n", "has no column 'column'")]
)
def test_a_file_of_corrections_that_cannot_be_used_is_exit_2(
    tmp_path: Path, text: str, words: str
) -> None:
    folder = fleets.write_braking_grids(tmp_path)
    (folder / OVERRIDES_FILE).write_text(text, "utf-8")
    done = _run("check", folder)
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert words in done.stderr


def test_a_folder_that_cannot_be_written_is_one_sentence(tmp_path: Path) -> None:
    folder = fleets.write_braking_grids(tmp_path / "fleet")
    (tmp_path / "out").write_text("a file stands here")
    done = _run("check", folder, "-o", tmp_path / "out")
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1

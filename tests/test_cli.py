"""The command line: what a tired engineer types, right and wrong."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import fleets
import pytest

DEMO = Path(__file__).parents[1] / "data_demo"


def _run(*args: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-W", "error", "-m", "seallife.cli", *map(str, args)],
        capture_output=True,
        text=True,
        check=False,
        encoding="utf-8",
    )


def test_help_names_every_command_and_carries_the_caution() -> None:
    done = _run("--help")
    assert done.returncode == 0
    for command in ("demo", "check", "report", "spares", "scorecard", "trace"):
        assert command in done.stdout
        one = _run(command, "--help")
        assert one.returncode == 0
        for text in (done.stdout, one.stdout):
            assert "no reason to run past a leak limit" in " ".join(text.split())
            assert "Local codes, licensed practice" in " ".join(text.split())


def test_version() -> None:
    from seallife import __version__

    assert _run("--version").stdout.strip() == f"seallife {__version__}"


def test_no_arguments_show_the_help() -> None:
    done = _run()
    assert "Usage" in done.stdout + done.stderr


def test_report_on_real_fleets(tmp_path: Path) -> None:
    """The same door for real records: engines' valve seats, locomotives' braking grids."""
    for write, failures in ((fleets.write_valve_seats, 48), (fleets.write_braking_grids, 50)):
        folder = write(tmp_path / write.__name__)
        done = _run("report", folder, "-o", tmp_path / "out")
        assert done.returncode == 0, done.stderr
        assert f"{failures} removals, {failures} failures" in " ".join(done.stdout.split())
        assert done.stderr == ""
        for name in ("seal-life.html", "seal-life.xlsx"):
            assert (tmp_path / "out" / name).stat().st_size > 5_000


def test_check_says_what_became_of_the_records_and_asks() -> None:
    done = _run("check", DEMO)
    assert done.returncode == 1
    assert "records read" in done.stdout
    assert "ask" in done.stdout
    assert done.stderr == ""


def test_check_of_a_clean_fleet_is_zero(tmp_path: Path) -> None:
    assert _run("check", fleets.write_braking_grids(tmp_path)).returncode == 0


def test_check_for_machines() -> None:
    done = _run("check", DEMO, "--json")
    got = json.loads(done.stdout)
    assert {"fleet", "waterfall", "ledger", "findings"} == set(got)
    for stage in got["ledger"]:
        assert stage["read"] == stage["used"] + stage["set_aside"]


def test_trace_for_people_and_machines(tmp_path: Path) -> None:
    folder = fleets.write_braking_grids(tmp_path)
    done = _run("trace", folder, "removals:replacements.csv:2")
    assert done.returncode == 0
    assert "position_id = L9100" in done.stdout
    hops = json.loads(_run("trace", folder, "R1", "--json").stdout)
    assert hops[0]["what"] == "removal"


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("check", "no/such/folder"), "no such folder"),
        (("check", Path(__file__)), "is a file, not a folder"),
        (("check", Path(__file__).parent), "has no fleet.toml"),
        (("trace", DEMO, "work_orders:x.csv:1"), "nothing named"),
        (("report", "no/such/folder", "-o", "x"), "no such folder"),
    ],
)
def test_wrong_input_is_one_sentence_and_exit_2(args: tuple[object, ...], words: str) -> None:
    done = _run(*args)
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert done.stderr.startswith("seallife: ")
    assert words in done.stderr


@pytest.mark.parametrize("args", [("report",), ("nonsense",), ("check", "a", "b"), ("report", "x")])
def test_wrong_usage_is_exit_2(args: tuple[str, ...]) -> None:
    assert _run(*args).returncode == 2


def test_demo_writes_a_fleet_that_can_be_checked(tmp_path: Path) -> None:
    done = _run("demo", tmp_path / "fleet")
    assert done.returncode == 0
    assert (tmp_path / "fleet" / "fleet.toml").read_bytes() == (DEMO / "fleet.toml").read_bytes()


def test_an_output_folder_that_cannot_be_written_is_one_sentence(tmp_path: Path) -> None:
    folder = fleets.write_braking_grids(tmp_path / "fleet")
    (tmp_path / "out").write_text("a file stands here")
    done = _run("report", folder, "-o", tmp_path / "out")
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1


def test_demo_never_overwrites_a_fleet(tmp_path: Path) -> None:
    folder = fleets.write_braking_grids(tmp_path / "mine")
    before = (folder / "fleet.toml").read_bytes()
    done = _run("demo", folder)
    assert done.returncode == 2
    assert "not empty" in done.stderr
    assert (folder / "fleet.toml").read_bytes() == before
    assert not (folder / "truth").exists()


def test_spares_of_the_demo(tmp_path: Path) -> None:
    done = _run("spares", DEMO, "-o", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert done.stdout.startswith("Order now:")
    assert "Order now:" in done.stdout
    assert "expected to fail in the" in done.stdout
    assert "no reason to run past" in done.stdout
    assert (tmp_path / "out" / "storeroom.xlsx").stat().st_size > 5_000
    items = json.loads(_run("spares", DEMO, "--json").stdout)["items"]
    assert items[0]["action"] == "order now"


def test_too_little_record_for_a_scorecard_is_one_sentence(tmp_path: Path) -> None:
    done = _run("scorecard", fleets.write_braking_grids(tmp_path / "grids"))
    assert done.returncode == 2
    assert done.stderr.startswith("seallife: origins: no forecast could be made")
    assert done.stderr.count("\n") == 1


def test_spares_of_a_fleet_with_nothing_in_service(tmp_path: Path) -> None:
    done = _run("spares", fleets.write_braking_grids(tmp_path / "grids"), "-o", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert "nothing can be forecast" in done.stdout
    assert not (tmp_path / "out").exists()

"""The command line: parse, call, say what was done in a few lines.

Exit codes: 0 done; 1 (of ``check`` and ``map``) a person is asked; 2 input or usage error.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from seallife.errors import SeallifeError
from seallife.report.cautions import SHORT_CAUTION

if TYPE_CHECKING:
    import pandas as pd
    from rich.console import Console

    from seallife.study import Study

__all__ = ["app", "main"]

app = typer.Typer(
    help="Seal life, MTBR and their limits from maintenance records.",
    epilog=SHORT_CAUTION,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

FolderArgument = Annotated[Path, typer.Argument(help="Fleet folder: fleet.toml and its tables.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print for a program, not a person.")]


def main() -> None:
    """Run the command line; every fault of input is one sentence and exit code 2."""
    try:
        app()
    except SeallifeError as err:
        sys.stderr.write(f"seallife: {err}\n")
        raise SystemExit(2) from None
    except OSError as err:
        where = f"{err.filename}: " if err.filename else ""
        sys.stderr.write(f"seallife: {where}{err.strerror or err}\n")
        raise SystemExit(2) from None


@app.callback(invoke_without_command=True)
def _version(
    show: Annotated[bool, typer.Option("--version", help="Say the version and stop.")] = False,
) -> None:
    if show:
        from seallife import __version__

        sys.stdout.write(f"seallife {__version__}\n")
        raise typer.Exit


@app.command(epilog=SHORT_CAUTION)
def demo(
    folder: Annotated[Path, typer.Argument(help="New folder for the invented fleet.")],
    seed: Annotated[int | None, typer.Option(help="Another fleet of the same kind.")] = None,
) -> None:
    """Write the invented fleet: two sites, ten years, known truth, dirty on purpose."""
    from seallife.demo import write_demo

    if seed is None:
        write_demo(folder)
    else:
        write_demo(folder, seed=seed)
    out = _console()
    out.print(f"Written to {folder}. All names and data are invented; the truth is in truth/.")
    out.print(f"Next: seallife report {folder} -o summary")


@app.command("map", epilog=SHORT_CAUTION)
def map_exports(
    folder: Annotated[Path, typer.Argument(help="Folder with the raw exports of the sites.")],
) -> None:
    """Suggest fleet.toml for raw exports; add to it where it is there, changing nothing.

    Each line says how sure it is; exit code 1 means that a person must answer a question in it.
    """
    from seallife.intake.mapping import suggest_settings, write_suggestion

    with _working("looking at the files"):
        suggestion = suggest_settings(folder)
    path = write_suggestion(suggestion)
    out = _console()
    _print_headed(out, ("file", "table", "columns", "matched", "questions"), suggestion.files)
    if suggestion.kept:
        out.print(f"\nKept as it stands in fleet.toml: {'; '.join(suggestion.kept)}.")
    out.print(f"\n{path}", soft_wrap=True)
    if path.name != "fleet.toml":
        out.print(
            "Lines could not be added to fleet.toml as it is written; take over what you need."
        )
    if suggestion.questions:
        out.print(f"Questions for a person: {len(suggestion.questions)}, the lines with 'ask:'.")
        raise typer.Exit(1)
    out.print(f"Look at its guesses, then: seallife check {folder}")


@app.command(epilog=SHORT_CAUTION)
def check(
    folder: FolderArgument,
    out_folder: Annotated[
        Path | None,
        typer.Option("-o", "--out", help="Folder for a page and a workbook to work through."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Read a fleet folder and say what was found wrong and what became of every record."""
    from seallife.report.worklist import check_text

    study = _study(folder)
    written: dict[str, Path] = {}
    if out_folder is not None:
        from seallife.report.check import write_check

        with _working("writing the check"):
            written = write_check(study, out_folder)
    if as_json:
        _write_json(
            {
                "fleet": study.settings.name,
                "waterfall": _records(study.removals.waterfall),
                "ledger": _records(study.ledger),
                "findings": _records(study.findings),
            }
        )
    else:
        out = _console()
        _print_breaches(out, study)
        out.print(check_text(study), soft_wrap=True)
        out.print(f"\nWhere a record went: seallife trace {folder} RECORD", soft_wrap=True)
        for path in written.values():
            out.print(f"  {path}", soft_wrap=True)
        if written:
            out.print("Fill in the workbook's worklist; saved as CSV it is the overrides.csv of")
            out.print("the fleet folder. The exports stay as they are.")
        else:
            out.print(f"To work through them: seallife check {folder} -o OUT", soft_wrap=True)
    if _asks(study):
        raise typer.Exit(1)


@app.command(epilog=SHORT_CAUTION)
def report(
    folder: FolderArgument,
    out_folder: Annotated[Path, typer.Option("-o", "--out", help="Folder for the summary.")],
) -> None:
    """Write the plant summary: one HTML page, an XLSX workbook, and the tables behind them."""
    from seallife.report import write_report

    study = _study(folder)
    with _working("fitting the lives, writing the summary"):
        written = write_report(study, out_folder)
    out = _console()
    _print_breaches(out, study)
    recent = study.history.recent.iloc[0]
    total = study.history.overall.iloc[0]
    out.print(
        f"{study.settings.name}: {total['positions']} seal positions, "
        f"{total['exposure_years']:,.0f} position-years, {total['removals']} removals, "
        f"{total['failures']} failures."
    )
    out.print(f"Last 12 months against the 3 years before: {recent['verdict']}.")
    for name in ("html", "xlsx"):
        out.print(f"  {written.files[name]}", soft_wrap=True)
    out.print(
        f"  {out_folder / 'tables'}: {len(written.files) - 2} tables behind the figures (CSV)"
    )
    asks = _asks(study)
    if asks:
        out.print(f"{asks} findings need a person: see 'How far to trust this'.")
    out.print(f"\n{SHORT_CAUTION}")


@app.command(epilog=SHORT_CAUTION)
def spares(
    folder: FolderArgument,
    out_folder: Annotated[
        Path | None, typer.Option("-o", "--out", help="Folder for the storeroom's workbook.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Say which seals to order, how many by when and why, and what the years ahead need."""
    from seallife.report.sparesbook import spares_tables, write_book
    from seallife.report.storetext import spares_text

    study = _study(folder)
    with _working("forecasting the seals needed"):
        text = spares_text(study)
        tables = spares_tables(study) if out_folder is not None else {}
    if as_json:
        items = _records(study.spares.sheet) if study.spares.can_forecast else []
        _write_json({"fleet": study.settings.name, "items": items})
    path = None
    if out_folder is not None and tables:
        path = write_book(study, tables, out_folder / "storeroom.xlsx")
    if as_json:
        return
    out = _console()
    _print_breaches(out, study)
    out.print(text, soft_wrap=True)
    if path is not None:
        out.print(f"\n  {path}", soft_wrap=True)
    elif study.spares.can_forecast:
        out.print(f"\nAll items, months and costs: seallife spares {folder} -o OUT", soft_wrap=True)
    out.print(f"\n{SHORT_CAUTION}")


@app.command("scorecard", epilog=SHORT_CAUTION)
def show_scorecard(
    folder: FolderArgument,
    out_folder: Annotated[
        Path | None, typer.Option("-o", "--out", help="Folder for a workbook with each forecast.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Hold forecasts that would have been made in earlier years against what then happened."""
    from seallife.report.sparesbook import scorecard_tables, write_book
    from seallife.report.storetext import scorecard_text
    from seallife.scorecard.ours import our_scorecard

    study = _study(folder)
    with _working("forecasting from earlier years") as say:
        card = our_scorecard(study, progress=say)
    out = _console()
    if as_json:
        _write_json({"fleet": study.settings.name, "scorecard": _records(card.table)})
    else:
        _print_breaches(out, study)
        out.print(scorecard_text(card), soft_wrap=True)
    if out_folder is not None:
        path = write_book(study, scorecard_tables(card), out_folder / "scorecard.xlsx")
        if not as_json:
            out.print(f"\n  {path}", soft_wrap=True)
    if not as_json:
        out.print(f"\n{SHORT_CAUTION}")


@app.command(epilog=SHORT_CAUTION)
def trace(
    folder: FolderArgument,
    name: Annotated[
        str,
        typer.Argument(
            help="Record (FILE:ROW), order number, removal (R12), tag, class, unit, 2024-05 ..."
        ),
    ],
    as_json: JsonOption = False,
) -> None:
    """Show where a record went, or which records stand behind a result."""
    from seallife.trace import trace_record

    hops = trace_record(_study(folder), name)
    if as_json:
        _write_json(_records(hops))
        return
    out = _console()
    for hop in hops.itertuples():
        out.print(f"{hop.what:<12} {hop.name}", highlight=False, soft_wrap=True)
        out.print(f"{'':<12} {hop.text}", highlight=False, soft_wrap=True)


def _study(folder: Path) -> Study:
    """Read and analyse, with a sign of life on a terminal."""
    with _working("reading the records") as say:
        from seallife.intake import read_fleet
        from seallife.study import run_study

        return run_study(read_fleet(folder, progress=say), progress=say)


def _console() -> Console:
    from rich.console import Console

    return Console(markup=False, highlight=False, emoji=False)


@contextmanager
def _working(what: str) -> Iterator[Callable[[str], object]]:
    """Show a moving sign and what is being done, on a terminal only."""
    from rich.console import Console

    err = Console(stderr=True)
    if not err.is_terminal:
        yield lambda _: None
        return
    with err.status(what) as status:
        yield status.update


def _print_breaches(out: Console, study: Study) -> None:
    """Seals over a legal limit, before everything else."""
    from seallife.report.leaktables import breach_words

    words = breach_words(study)
    if words:
        out.print(f"{words}\n", soft_wrap=True, highlight=False)


def _asks(study: Study) -> int:
    return int((study.findings["severity"] == "ask").sum())


def _print_headed(out: Console, names: tuple[str, ...], table: pd.DataFrame) -> None:
    """Print a table with its heads; numbers stand right, what is not known shows as '?'."""
    from rich.table import Table

    shown = Table(box=None, pad_edge=False)
    for name in names:
        right = table[name].dtype != object
        shown.add_column(name, justify="right" if right else "left", overflow="fold")
    for row in table[list(names)].astype(str).itertuples(index=False):
        shown.add_row(*(cell or "?" for cell in row))
    out.print(shown)


def _records(table: pd.DataFrame) -> list[dict[str, object]]:
    """Turn a table into what JSON can hold: missing values become null, dates ISO text."""
    found: list[dict[str, object]] = json.loads(table.to_json(orient="records", date_format="iso"))
    return found


def _write_json(value: object) -> None:
    json.dump(value, sys.stdout, ensure_ascii=False, indent=1)
    sys.stdout.write("\n")


if __name__ == "__main__":
    main()

"""What a fleet folder may hold: each table and each column once.

In: nothing. Out: ``TABLES``. Next: `seallife.settings`, `seallife.intake`.

Reading, checks, the demo fleet and the documentation all derive from this page. A column says
its name (with its unit as suffix), what kind of value it holds, what it means, how much it is
needed, and the range outside which a value is a suspect.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

__all__ = [
    "DAYS_PER_YEAR",
    "ENDS",
    "HOURS_PER_DAY",
    "HOURS_PER_YEAR",
    "REASONS",
    "TABLES",
    "Column",
    "Need",
    "Table",
    "column_table",
]

DAYS_PER_YEAR = 365.25
HOURS_PER_DAY = 24.0
HOURS_PER_YEAR = DAYS_PER_YEAR * HOURS_PER_DAY  # 8,766 h

Kind = Literal["text", "code", "number", "date"]
Need = Literal["required", "wanted", "optional"]

ENDS = ("failed", "withdrawn", "in service", "lost")
"""How a seal life can end: see `seallife.lives`."""

REASONS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "seal failed": ("failed", "the seal could no longer do its job"),
        "pulled on rising leakage": ("failed", "taken out on its leakage before a limit"),
        "other pump part": ("withdrawn", "renewed with another job on the pump"),
        "planned by age": ("withdrawn", "renewed on a fixed interval"),
        "planned in outage": ("withdrawn", "renewed because the unit stood still"),
        "upgrade": ("withdrawn", "replaced by another design or seal system"),
        "pump retired": ("withdrawn", "the position was taken out of service"),
        "unknown": ("unknown", "the record does not say"),
    }
)
"""Reason of a removal -> (how the life ended, what it means)."""


@dataclass(frozen=True)
class Column:
    """One column of one table.

    Attributes
    ----------
    name : str
        Our name; a unit stands at its end (``_c``, ``_kpa``, ``_h``).
    kind : {'text', 'code', 'number', 'date'}
        ``code`` is text from a short list that a site may translate in ``fleet.toml``.
    meaning : str
        One line in plain words.
    need : {'required', 'wanted', 'optional'}
        ``required``: the table is useless without it.
    unit : str
        Unit of a number after reading.
    low, high : float or None
        A value outside is a suspect and becomes a finding.
    synonyms : tuple of str
        Names met in exports, matched without case, accents and punctuation.
    choices : tuple of str
        Words a code may take after translation by ``[codes]`` of ``fleet.toml``; anything else
        is kept, unused, with a finding. Empty: any word.
    """

    name: str
    kind: Kind
    meaning: str
    need: Need = "optional"
    unit: str = ""
    low: float | None = None
    high: float | None = None
    synonyms: tuple[str, ...] = ()
    choices: tuple[str, ...] = ()


@dataclass(frozen=True)
class Table:
    """One table of a fleet folder: its columns in reading order and what it is for."""

    name: str
    meaning: str
    need: Need
    columns: tuple[Column, ...]

    def __getitem__(self, column: str) -> Column:
        """Return the column of this name."""
        found = next((c for c in self.columns if c.name == column), None)
        if found is None:
            raise KeyError(column)
        return found

    @property
    def names(self) -> tuple[str, ...]:
        """Column names in order."""
        return tuple(c.name for c in self.columns)


def _text(name: str, meaning: str, need: Need = "optional", *synonyms: str) -> Column:
    return Column(name, "text", meaning, need, synonyms=synonyms)


def _code(
    name: str,
    meaning: str,
    need: Need = "optional",
    *synonyms: str,
    choices: tuple[str, ...] = (),
) -> Column:
    return Column(name, "code", meaning, need, synonyms=synonyms, choices=choices)


def _date(name: str, meaning: str, need: Need = "optional", *synonyms: str) -> Column:
    return Column(name, "date", meaning, need, synonyms=synonyms)


def _number(
    name: str,
    meaning: str,
    unit: str,
    limits: tuple[float | None, float | None],
    need: Need = "optional",
    *synonyms: str,
) -> Column:
    return Column(name, "number", meaning, need, unit, *limits, synonyms=synonyms)


_WHERE = (
    _text("tag", "pump tag", "required", "Tag No", "Equipment No", "Equip. ID", "Machine"),
    _code(
        "seal_end",
        "end of the pump the seal sits at",
        "wanted",
        "DE/NDE",
        "End",
        choices=("DE", "NDE"),
    ),
)

_SITE = _text("site", "site, where a tag may stand at more than one", "optional", "Plant")

_POSITIONS = Table(
    "positions",
    "the register: every place where one seal sits, as it is today",
    "required",
    (
        _text("position_id", "name of the seal position", "wanted", "Seal position"),
        *_WHERE,
        _text("site", "site", "wanted", "Plant", "Works"),
        _text("unit", "process unit or area", "wanted", "Area", "Section", "Block"),
        _text("pair_group", "pumps that share one duty", "optional", "Pair", "Main/spare set"),
        _code("pump_type", "pump construction, e.g. OH2, BB1", "wanted", "API type"),
        _text("fluid", "pumped fluid", "wanted", "Product", "Medium", "Process fluid"),
        _text("service_text", "duty in the site's own words", "wanted", "Service"),
        _number("temp_c", "pumping temperature", "degC", (-200, 500), "wanted", "Op. temp"),
        _number("suction_kpa", "suction pressure, absolute", "kPa", (0, 40_000), "wanted", "Ps"),
        _number(
            "discharge_kpa", "discharge pressure, absolute", "kPa", (0, 60_000), "wanted", "Pd"
        ),
        _number("chamber_kpa", "seal chamber pressure, absolute", "kPa", (0, 60_000), "wanted"),
        _number(
            "vapour_kpa",
            "vapour pressure at pumping temperature, absolute",
            "kPa",
            (0, 40_000),
            "wanted",
            "VP",
            "Pv",
        ),
        _number(
            "sg", "density relative to water at pumping temperature", "1", (0.3, 3.0), "wanted"
        ),
        _number(
            "viscosity_cst",
            "kinematic viscosity at pumping temperature",
            "cSt",
            (0.05, 100_000),
            "wanted",
            "Visc",
        ),
        _number("solids_pct", "solids by weight", "%", (0, 80), "wanted", "Solids"),
        _number("ph", "acidity", "1", (-1, 15), "wanted", "pH"),
        _number("speed_rpm", "shaft speed", "rpm", (10, 40_000), "wanted", "RPM", "n"),
        _number("shaft_mm", "shaft diameter at the seal", "mm", (10, 250), "wanted", "Seal size"),
        _code("arrangement", "arrangement (ISO 21049)", "wanted", "Arr.", choices=("1", "2", "3")),
        _text("seal_type", "seal type in the site's words", "wanted", "Seal"),
        _text("face_materials", "face pair", "optional", "Faces"),
        _text("elastomer", "secondary seal material", "optional", "O-ring"),
        _text("flush_plan", "piping plans, e.g. 11/62 or 53B", "wanted", "API plan", "Seal plan"),
        _date("commissioned", "first start-up of the position", "wanted", "In-service date"),
        _date(
            "seal_installed",
            "start of the seal that ran when the records begin, where known",
            "wanted",
            "Last seal change",
        ),
        _date("retired", "end of the position's use", "wanted", "Scrapped"),
        _code("status", "state of the position", choices=("in use", "retired")),
        _code(
            "duty",
            "how the pump is used",
            "wanted",
            "Running/standby",
            "Main/spare",
            choices=("running", "standby", "alternating"),
        ),
        _number(
            "duty_share",
            "share of calendar time the pump runs, an estimate",
            "1",
            (0, 1),
            "wanted",
            "Utilisation",
        ),
        _code("criticality", "criticality", "optional", "Crit."),
        _text("pool", "stock item that fits this position today", "optional", "Material No"),
        _text("service_class", "service class set by hand; overrides the rules", "optional"),
    ),
)

_WORK_ORDERS = Table(
    "work_orders",
    "maintenance orders as exported, all kinds",
    "wanted",
    (
        _text("wo_no", "order number", "required", "Order", "Job No", "WO", "Auftrag"),
        _SITE,
        *_WHERE,
        _date("date_raised", "order raised", "wanted", "Reported", "Raised"),
        _date("malfunction_start", "fault or leak first seen", "wanted", "Leak seen", "Breakdown"),
        _date("work_start", "pump taken out, work begun", "wanted", "Start"),
        _date("work_end", "work done, back in service", "wanted", "Finish", "Back in service"),
        _date("closed", "order closed on paper; never used as an event date", "optional", "Closed"),
        _code(
            "wo_type",
            "kind of order",
            "wanted",
            "Type",
            "PM/CM",
            choices=("corrective", "planned", "project", "inspection"),
        ),
        _code("priority", "priority", "optional"),
        _code(
            "status", "state of the order", "wanted", "State", choices=("open", "done", "cancelled")
        ),
        _text("short_text", "what was asked for", "wanted", "Description", "Problem"),
        _text("long_text", "what was found and done", "wanted", "Work done", "Findings"),
        _code("mode_code", "failure mode code", "optional", "Failure code"),
        _code("mechanism_code", "mechanism code", "optional"),
        _code("cause_code", "cause code", "optional", "Cause"),
        _text("part", "main part drawn from the store", "wanted", "Issues", "Parts"),
        _number("part_qty", "net number drawn", "1", (-20, 50), "wanted", "Qty"),
        _number("cost", "cost of the order", "", (0, None), "optional", "Actual cost"),
        _number("labour_h", "hours of work", "h", (0, 5_000), "optional", "Labour"),
        _text("serial_out", "serial of the seal taken out", "optional", "Seal out"),
        _text("serial_in", "serial of the seal put in", "optional", "Seal in"),
    ),
)

_REMOVALS = Table(
    "removals",
    "seal removals, where a site already keeps such a list instead of work orders",
    "wanted",
    (
        _text("position_id", "name of the seal position", "wanted", "Seal position"),
        _SITE,
        *_WHERE,
        _date("date", "end of the seal's life", "required", "Removed on"),
        _date(
            "date_low",
            "last date the seal was known to be good, if the end is not known to the day",
            "optional",
        ),
        _date("back_in_service", "start of the next life; the removal date where empty", "wanted"),
        _code("reason", "why it came out", "required", "Reason", choices=tuple(REASONS)),
        _text("cause", "cause in the site's words", "optional"),
        _text("serial_out", "serial of the seal taken out", "optional"),
        _text("serial_in", "serial of the seal put in", "optional"),
    ),
)

_RUN_HOURS = Table(
    "run_hours",
    "hour meter readings per pump",
    "optional",
    (
        _SITE,
        _WHERE[0],
        _date("reading_date", "date read", "required", "Date"),
        _number("reading", "meter reading", "h", (0, 2_000_000), "required", "HRS", "Counter"),
        _code("kind", "what a reading counts", choices=("cumulative", "period")),
    ),
)

_LEAK_READINGS = Table(
    "leak_readings",
    "leakage read at a seal",
    "optional",
    (
        _SITE,
        *_WHERE,
        _date("date", "date read", "required"),
        _number("value", "reading as written", "see unit", (0, None), "required", "ppm", "Reading"),
        _code("unit", "unit of the reading", "required"),
        _code("method", "how it was read", "wanted"),
        _number("background", "local background", "see unit", (0, None), "optional"),
        _code(
            "flag",
            "off-scale reading",
            "optional",
            "Remark",
            choices=("below detection", "above scale"),
        ),
    ),
)

_STORES = Table(
    "stores",
    "stock of seals and kits",
    "optional",
    (
        _text("material_no", "stock item", "required", "Material", "Item"),
        _text("description", "description", "wanted"),
        _number("on_hand", "number in the store", "1", (0, None), "required", "Stock"),
        _number("on_order", "number on order", "1", (0, None), "optional"),
        _number("stock_low", "reorder level in use", "1", (0, None), "optional", "Min"),
        _number("stock_high", "order-up-to level in use", "1", (0, None), "optional", "Max"),
        _number("unit_cost", "cost of one", "", (0, None), "optional"),
        _number("lead_time_d", "time from order to shelf", "d", (0, 1_500), "wanted", "Lead time"),
        _code("repairable", "yes for rotables", choices=("yes", "no")),
        _number("repair_time_d", "time through the repair shop", "d", (0, 1_500), "optional"),
        _text("used_on", "positions that can take it, confirmed", "optional"),
        _date("cure_date", "cure date of the oldest elastomer", "optional"),
    ),
)

_CHANGES = Table(
    "changes",
    "dated changes to a position: flush plan, seal, process, operation",
    "wanted",
    (
        _text("position_id", "name of the seal position", "required"),
        _date("date", "date of the change", "required"),
        _code(
            "what",
            "what was changed",
            "required",
            "Kind",
            choices=("flush plan", "seal", "process", "operation", "records"),
        ),
        _text("project", "name of the project the change belongs to", "optional"),
        _text("from_state", "state before", "optional", "From"),
        _text("to_state", "state after", "optional", "To"),
        _text("reason", "why it was done, and how the position was chosen", "optional"),
    ),
)

_OUTAGES = Table(
    "outages",
    "planned shutdowns",
    "optional",
    (
        _text("site", "site", "required"),
        _text("unit", "unit; all units of the site where empty", "optional"),
        _date("start", "first day", "required"),
        _date("end", "last day", "required"),
        _code("kind", "turnaround, pit stop", "optional"),
    ),
)

TABLES: Mapping[str, Table] = MappingProxyType(
    {
        t.name: t
        for t in (
            _POSITIONS,
            _WORK_ORDERS,
            _REMOVALS,
            _RUN_HOURS,
            _LEAK_READINGS,
            _STORES,
            _CHANGES,
            _OUTAGES,
        )
    }
)
"""All tables by name, in the order in which they are read."""


def column_table() -> list[dict[str, str]]:
    """What columns are there, and what do they mean?

    Returns
    -------
    list of dict
        One entry a column: table, column, kind, unit, need, meaning.
    """
    return [
        {
            "table": t.name,
            "column": c.name,
            "kind": c.kind,
            "unit": c.unit,
            "need": c.need,
            "meaning": c.meaning,
        }
        for t in TABLES.values()
        for c in t.columns
    ]

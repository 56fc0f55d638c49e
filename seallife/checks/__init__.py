"""Checks of the fleet as a whole: they change no number and tell a person where to look.

In: everything up to the removals. Out: `Checks`. Next: `seallife.study`.

Faults of single records are found where the records are read: dates and numbers in
`seallife.intake`, tags in `seallife.register`, orders in `seallife.orders` and `seallife.events`,
meters in `seallife.meters`, leakage in `seallife.leakage.readings`. Here stands what only many
records together can show.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pandas as pd

from seallife.changes import Changes
from seallife.checks import gaps, meters, orders, stock, texts, units
from seallife.checks.records import Records
from seallife.events import Removals
from seallife.findings import join_findings
from seallife.intake import Fleet
from seallife.observation import Observation
from seallife.register import Register

__all__ = ["CHECKS", "Check", "Checks", "Records", "check_fleet"]


@dataclass(frozen=True)
class Check:
    """One check: what it is called, what it means, and the function that gives its findings."""

    name: str
    meaning: str
    run: Callable[[Records], pd.DataFrame]


CHECKS: tuple[Check, ...] = (
    Check("degF", "temperatures in degF among degC", units.fahrenheit_in_celsius),
    Check("psi", "pressures in psi among bar", units.psi_in_bar),
    Check(
        "pressure order", "more pressure before than behind a pump", units.pressures_out_of_order
    ),
    Check("boiling", "seal chamber below vapour pressure", units.chamber_below_vapour),
    Check("retired", "dates and state of a position disagree", units.retired_but_in_use),
    Check("batch", "many orders closed on one day", orders.closed_in_a_batch),
    Check("month", "dates known to the month only", orders.dates_to_the_month),
    Check("cause", "one cause code for most removals", orders.default_cause),
    Check("waiting", "order raised long before the work", orders.raised_long_before),
    Check("seal type", "another seal fitted than before", orders.seal_type_changed),
    Check("silent pumps", "positions without any order", orders.no_orders),
    Check("unknown tags", "orders on tags that the register lacks", orders.unknown_tags),
    Check("new pump", "seals issued to build a pump", orders.fitted_at_commissioning),
    Check("no meter", "pumps without hour meter", meters.no_meter),
    Check("gaps", "a site records nothing for long", gaps.silent_stretches),
    Check("languages", "orders in several languages", texts.languages),
    Check("bulk", "seals issued for no pump", stock.bulk_issues),
    Check("several pumps", "one order for several pumps", texts.several_tags),
    Check("copies", "the same long text on many pumps", texts.copied_texts),
    Check("names", "people named in texts", texts.people_named),
    Check("reconciliation", "seals taken out against seals drawn", stock.sources_disagree),
)
"""All checks of a fleet, in the order in which they run."""


@dataclass(frozen=True)
class Checks:
    """What the checks found.

    Attributes
    ----------
    findings : pandas.DataFrame
        Findings of all checks, in the order of `CHECKS`.
    counts : pandas.DataFrame
        name, meaning, findings: one row a check, those that found nothing too.
    reconciliation : pandas.DataFrame
        Seals taken out and drawn by stock item and year, see `seallife.checks.stock.reconcile`.
    """

    findings: pd.DataFrame
    counts: pd.DataFrame
    reconciliation: pd.DataFrame


def check_fleet(
    fleet: Fleet,
    register: Register,
    watched: Observation,
    removals: Removals,
    changes: Changes,
) -> Checks:
    """What about these records should a person know or decide?

    Returns
    -------
    Checks
    """
    records = Records(fleet, register, watched, removals, changes)
    found = [check.run(records) for check in CHECKS]
    counts = pd.DataFrame(
        [(c.name, c.meaning, len(f)) for c, f in zip(CHECKS, found, strict=True)],
        columns=["name", "meaning", "findings"],
    )
    return Checks(join_findings(found), counts, stock.reconcile(records))

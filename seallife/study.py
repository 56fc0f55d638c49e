"""The main job: a fleet folder in, everything that can be said about it out.

In: `Fleet`. Out: `Study`. Next: `seallife.figures`, `seallife.report`, `seallife.trace`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from seallife.changes import Changes, name_upgrades, read_changes, record_breaks
from seallife.checks import Checks, check_fleet
from seallife.classes import Classes, assign_classes, load_class_rules
from seallife.clocks import RunClock, build_clock
from seallife.events import Removals, find_removals
from seallife.findings import join_findings, make_findings
from seallife.history.mtbr import MtbrHistory, mtbr_history
from seallife.intake import Fleet, Progress, silent
from seallife.leakage.readings import Readings, read_leakage
from seallife.leakanswers import LeakAnswers
from seallife.ledger import build_ledger
from seallife.life.fits import LifeFits
from seallife.life.todate import SealsToDate, seals_to_date
from seallife.lifeanswers import LifeAnswers
from seallife.lives import LifeTable, build_lives
from seallife.observation import Observation, observe
from seallife.outages import time_ahead
from seallife.register import Register, build_register
from seallife.serials import name_exchanges
from seallife.settings import Settings
from seallife.trendanswers import TrendAnswers

__all__ = ["Study", "run_study"]

_NOT_USED_YET = ("stores",)


@dataclass(frozen=True)
class Study:
    """All results for one fleet, in the order in which a record travels.

    ``ledger`` shows for each stage that records read = used + set aside; ``findings`` holds every
    finding of every stage; the models in ``life`` are fitted when they are first asked for.
    """

    fleet: Fleet
    register: Register
    classes: Classes
    watched: Observation
    removals: Removals
    changes: Changes
    clock: RunClock
    lives: LifeTable
    readings: Readings
    leakage: LeakAnswers
    history: MtbrHistory
    checks: Checks
    findings: pd.DataFrame
    ledger: pd.DataFrame

    @cached_property
    def life(self) -> LifeAnswers:
        """How long seals last, and why not longer."""
        return LifeAnswers(self.lives, self.register.table, self.changes.table, self.settings.rules)

    @cached_property
    def to_date(self) -> SealsToDate:
        """What share of the seals in service will still run at the next outage."""
        rules = self.settings.rules
        ahead = time_ahead(
            self.lives.table,
            self.fleet["outages"],
            self.clock,
            look_ahead_days=rules.look_ahead_days,
        )
        return seals_to_date(self.lives.table, ahead, clock=self.life.clock, level=rules.level)

    @cached_property
    def trends(self) -> TrendAnswers:
        """Whether things get better, where not, and whether changes worked."""
        return TrendAnswers(
            self.fleet,
            self.register,
            self.classes,
            self.watched,
            self.removals,
            self.changes,
            self.lives,
            self.clock,
            self.history,
        )

    @property
    def fits(self) -> LifeFits:
        """Weibull laws and survival curves by class: short for ``life.fits``."""
        return self.life.fits

    @property
    def settings(self) -> Settings:
        """Settings of the fleet folder."""
        return self.fleet.settings


def run_study(fleet: Fleet, progress: Progress = silent) -> Study:
    """What do this fleet's records say, and how far can it be trusted?

    Parameters
    ----------
    fleet : Fleet
        From `seallife.intake.read_fleet`.
    progress : callable, optional
        Called with a few words before each step that takes time on a large fleet.

    Returns
    -------
    Study
    """
    rules = fleet.settings.rules
    own_rules = fleet.settings.class_rules
    progress("matching tags")
    register = build_register(fleet)
    classes = assign_classes(
        register, load_class_rules(fleet.folder / own_rules if own_rules else None)
    )
    class_of = classes.table.set_index("position_id")["service_class"]
    watched = observe(fleet, register, classes)
    progress(f"reading {len(fleet['work_orders']):,} work orders")
    removals = find_removals(fleet, register, watched)
    changes = read_changes(fleet, register, removals)
    removals = name_exchanges(name_upgrades(removals, changes))
    progress(f"following {len(fleet['run_hours']):,} meter readings")
    clock = build_clock(fleet, register)
    progress("building lives")
    lives = build_lives(register, watched, removals, clock, class_of, rules, changes)
    progress(f"placing {len(fleet['leak_readings']):,} readings of leakage")
    readings = read_leakage(fleet, register, lives, changes, clock, class_of)
    leakage = LeakAnswers(readings, lives, fleet["leak_limits"], rules)
    progress("counting time at risk")
    history = mtbr_history(
        register,
        watched,
        removals,
        lives,
        clock,
        class_of,
        level=rules.level,
        unknown_as=rules.unknown_reason,
        breaks=record_breaks(fleet),
    )
    progress("checking the records as a whole")
    checks = check_fleet(fleet, register, watched, removals, changes)
    findings = join_findings(
        [
            fleet.findings,
            register.findings,
            classes.findings,
            watched.findings,
            removals.findings,
            changes.findings,
            clock.findings,
            lives.findings,
            readings.findings,
            leakage.findings,
            checks.findings,
            _not_used_yet(fleet),
        ]
    )
    return Study(
        fleet=fleet,
        register=register,
        classes=classes,
        watched=watched,
        removals=removals,
        changes=changes,
        clock=clock,
        lives=lives,
        readings=readings,
        leakage=leakage,
        history=history,
        checks=checks,
        findings=findings,
        ledger=build_ledger(fleet, findings, removals, lives),
    )


def _not_used_yet(fleet: Fleet) -> pd.DataFrame:
    """Say of tables that were read that no result rests on them."""
    return join_findings(
        make_findings(
            "table not analysed",
            "note",
            [name],
            f"{len(fleet[name])} rows of {name} were read; no figure here rests on them",
            value=str(len(fleet[name])),
            action="kept, not analysed",
            set_aside=True,
        )
        for name in _NOT_USED_YET
        if len(fleet[name])
    )

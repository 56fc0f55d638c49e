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
from seallife.findings import join_findings
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
from seallife.spareanswers import SpareAnswers
from seallife.trendanswers import TrendAnswers

__all__ = ["Study", "run_study"]


@dataclass(frozen=True)
class Study:
    """All results for one fleet, in the order in which a record travels.

    ``ledger`` shows for each stage that records read = used + set aside; ``findings`` holds every
    finding of every stage. What is not among the fields is worked out when it is first asked for.
    """

    fleet: Fleet
    register: Register
    classes: Classes
    watched: Observation
    removals: Removals
    changes: Changes
    clock: RunClock
    lives: LifeTable

    @cached_property
    def readings(self) -> Readings:
        """Readings of leakage, placed at seal lives."""
        return read_leakage(
            self.fleet, self.register, self.lives, self.changes, self.clock, self._class_of
        )

    @cached_property
    def leakage(self) -> LeakAnswers:
        """What leaks, what rises, what is over a limit."""
        limits, rules = self.fleet["leak_limits"], self.settings.rules
        return LeakAnswers(self.readings, self.lives, limits, rules)

    @cached_property
    def history(self) -> MtbrHistory:
        """Time at risk, removals and failures by month, group and clock."""
        rules = self.settings.rules
        return mtbr_history(
            self.register,
            self.watched,
            self.removals,
            self.lives,
            self.clock,
            self._class_of,
            level=rules.level,
            unknown_as=rules.unknown_reason,
            breaks=record_breaks(self.fleet),
        )

    @cached_property
    def checks(self) -> Checks:
        """What is wrong with the records as a whole."""
        return check_fleet(self.fleet, self.register, self.watched, self.removals, self.changes)

    @cached_property
    def findings(self) -> pd.DataFrame:
        """Everything found at every stage."""
        stages = (
            *(self.fleet, self.register, self.classes, self.watched, self.removals, self.changes),
            *(self.clock, self.lives, self.readings, self.leakage, self.checks, self.spares.pools),
        )
        return join_findings([stage.findings for stage in stages])

    @cached_property
    def ledger(self) -> pd.DataFrame:
        """Records read, used and set aside at each stage."""
        return build_ledger(self.fleet, self.findings, self.removals, self.lives)

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

    @cached_property
    def spares(self) -> SpareAnswers:
        """Seals needed, stock, what to renew and when."""
        return SpareAnswers(
            self.lives,
            self.register.table.assign(
                service_class=self.register.table["position_id"].map(self._class_of)
            ),
            self.clock,
            self.fleet["outages"],
            self.fleet["stores"],
            self.life,
            lambda: self.leakage,
            self.settings,
        )

    @property
    def fits(self) -> LifeFits:
        """Weibull laws and survival curves by class: short for ``life.fits``."""
        return self.life.fits

    @cached_property
    def _class_of(self) -> pd.Series:
        return self.classes.table.set_index("position_id")["service_class"]

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
    return Study(
        fleet=fleet,
        register=register,
        classes=classes,
        watched=watched,
        removals=removals,
        changes=changes,
        clock=clock,
        lives=lives,
    )

"""How long mechanical seals last, whether a site is getting better, and how far that is known.

The public names, in the order in which a record travels. Each is imported when first used, so
that ``import seallife`` costs next to nothing.

Figures describe groups of seals. They certify no single seal, and are never a reason to run a
pump past a leak limit, an alarm or a site rule.
"""

from __future__ import annotations

from importlib import import_module
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from seallife.demo import write_demo
    from seallife.history import compare_rates, mtbr
    from seallife.intake import Fleet, read_fleet
    from seallife.life import fit_lives, fit_weibull, kaplan_meier
    from seallife.report import write_report
    from seallife.settings import Settings, load_settings
    from seallife.study import Study, run_study
    from seallife.trace import trace_record

_HOMES = {
    "load_settings": "settings",
    "Settings": "settings",
    "read_fleet": "intake",
    "Fleet": "intake",
    "fit_lives": "life",
    "fit_weibull": "life",
    "kaplan_meier": "life",
    "mtbr": "history.rates",
    "compare_rates": "history.rates",
    "run_study": "study",
    "Study": "study",
    "write_report": "report",
    "trace_record": "trace",
    "write_demo": "demo",
}

__all__ = [
    "Fleet",
    "Settings",
    "Study",
    "compare_rates",
    "fit_lives",
    "fit_weibull",
    "kaplan_meier",
    "load_settings",
    "mtbr",
    "read_fleet",
    "run_study",
    "trace_record",
    "write_demo",
    "write_report",
]

__version__ = version("seallife")


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(f"seallife.{_HOMES[name]}"), name)
    raise AttributeError(f"module 'seallife' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])

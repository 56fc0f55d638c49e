"""The invented fleet in numbers: classes, sites, windows, stories.

In: nothing. Out: constants. Next: `seallife.demo.simulate`.

A seal life is the shortest of three: *infant* (only where the fitting was defective), *random*,
and *age* (O-rings, deposits, fretting and wear together). All three run on the pump's hours.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType

__all__ = [
    "AREAS",
    "BAD_ACTOR",
    "CLASSES",
    "COMING_OUTAGES",
    "DATA_END",
    "DEFAULT_SEED",
    "EXPECTED_FAILURES",
    "GAP",
    "INFANT_SCALE_H",
    "INFANT_SHAPE",
    "MERROWFEN",
    "NO_STOCK_ITEM",
    "OUTAGES",
    "PEERS",
    "SIMULATION_START",
    "SKARROW",
    "WINDOWS",
    "Area",
    "Law",
    "day_number",
]

DEFAULT_SEED = 115
SKARROW, MERROWFEN = "Skarrow Point", "Merrowfen"

SIMULATION_START = date(2005, 1, 1)
DATA_END = date(2025, 12, 31)
WINDOWS: Mapping[str, tuple[date, date]] = MappingProxyType(
    {SKARROW: (date(2016, 1, 1), DATA_END), MERROWFEN: (date(2017, 7, 1), DATA_END)}
)
GAP = (date(2020, 3, 1), date(2020, 5, 31))
"""Merrowfen changed its maintenance system: nothing was recorded between these two days."""


def day_number(day: date) -> int:
    """How many days after the start of the simulation is this day?"""
    return (day - SIMULATION_START).days


@dataclass(frozen=True)
class Law:
    """How long seals of one class last [run hours].

    Attributes
    ----------
    defective : float
        Share of installations that are defective; these have an infant life as well.
    random_h : float
        Mean time to a random failure.
    shape, scale_h : float
        Weibull law of the age-related failures.
    duty : float
        Mean share of calendar time the pumps run.
    """

    defective: float
    random_h: float
    shape: float
    scale_h: float
    duty: float


INFANT_SHAPE, INFANT_SCALE_H = 0.8, 1_200.0

CLASSES: Mapping[str, Law] = MappingProxyType(
    {
        "HC-HOT": Law(0.05, 90e3, 2.2, 34e3, 0.62),
        "HC-FLASH": Law(0.05, 55e3, 1.8, 40e3, 0.60),
        "HC-GEN": Law(0.04, 110e3, 2.5, 62e3, 0.58),
        "SOUR": Law(0.05, 60e3, 2.0, 38e3, 0.60),
        "CORR": Law(0.06, 50e3, 1.6, 26e3, 0.60),
        "CHEM": Law(0.05, 65e3, 2.0, 45e3, 0.55),
        "WATER": Law(0.04, 120e3, 2.5, 55e3, 0.60),
        "BFW/HOTW": Law(0.04, 70e3, 2.8, 40e3, 0.66),
        "SLURRY": Law(0.06, 40e3, 2.6, 14e3, 0.70),
        "OIL": Law(0.0, 6e6, 3.0, 260e3, 0.50),
    }
)

EXPECTED_FAILURES: Mapping[str, float] = MappingProxyType(
    {
        "HC-HOT": 92,
        "HC-FLASH": 145,
        "HC-GEN": 89,
        "SOUR": 75,
        "CORR": 93,
        "CHEM": 70,
        "WATER": 65,
        "BFW/HOTW": 98,
        "SLURRY": 192,
        "OIL": 0.5,
    }
)
"""Failures expected 2016-2025 with both sites recorded throughout, stories included."""


@dataclass(frozen=True)
class Area:
    """Pumps of one class in one unit.

    Attributes
    ----------
    alternating : int
        Pairs that share their duty half and half.
    main_spare : int
        Pairs of which A runs 85 % of the time and B 15 %.
    two_ended : int
        Between-bearings pumps: two seals each.
    single : int
        Overhung pumps with a duty of their own.
    story : str
        Story that all pumps of the area belong to.
    """

    site: str
    unit: str
    service_class: str
    alternating: int
    main_spare: int
    two_ended: int
    single: int
    story: str = ""


AREAS: tuple[Area, ...] = (
    Area(SKARROW, "100", "HC-HOT", 3, 2, 3, 2, "mass renewal"),
    Area(SKARROW, "100", "HC-GEN", 3, 3, 4, 4, "mass renewal"),
    Area(SKARROW, "200", "HC-HOT", 3, 2, 3, 2, "mass renewal"),
    Area(SKARROW, "200", "HC-GEN", 2, 2, 2, 4, "mass renewal"),
    Area(SKARROW, "300", "HC-GEN", 2, 1, 2, 2),
    Area(SKARROW, "300", "HC-GEN", 0, 0, 0, 2, "bad actor"),
    Area(SKARROW, "300", "HC-HOT", 1, 1, 1, 2),
    Area(SKARROW, "300", "HC-FLASH", 4, 2, 1, 2),
    Area(SKARROW, "400", "HC-FLASH", 3, 2, 1, 4),
    Area(SKARROW, "400", "HC-FLASH", 0, 0, 0, 24, "plan 53B"),
    Area(SKARROW, "500", "SOUR", 5, 5, 4, 6),
    Area(SKARROW, "600", "CORR", 5, 4, 0, 12),
    Area(SKARROW, "700", "CHEM", 8, 5, 2, 10),
    Area(SKARROW, "800", "WATER", 4, 2, 5, 2),
    Area(SKARROW, "800", "BFW/HOTW", 1, 1, 3, 2),
    Area(SKARROW, "900", "HC-GEN", 4, 2, 2, 2),
    Area(MERROWFEN, "Ash", "SLURRY", 1, 0, 0, 10),
    Area(MERROWFEN, "FGD", "SLURRY", 1, 1, 0, 16),
    Area(MERROWFEN, "Cooling", "WATER", 4, 2, 7, 2),
    Area(MERROWFEN, "Feed", "BFW/HOTW", 4, 2, 10, 4),
    Area(MERROWFEN, "Turbine", "OIL", 2, 1, 0, 6),
)

# Planned ends of lives
OTHER_WORK_YEARS = 20.0
"""Mean time to a renewal with other work on the pump."""
BY_AGE_SHARE = 0.2
"""Part of these renewals that the site books as a fixed-interval change."""
OUTAGES: tuple[tuple[date, date], ...] = tuple(
    (date(year, 10, 1), date(year, 10, 28)) for year in (2009, 2014, 2019, 2024)
)
COMING_OUTAGES: tuple[tuple[str, str, date, date, str], ...] = (
    (MERROWFEN, "Feed", date(2026, 5, 4), date(2026, 5, 22), "boiler inspection"),
    (MERROWFEN, "FGD", date(2026, 5, 4), date(2026, 5, 22), "boiler inspection"),
    (SKARROW, "100", date(2027, 10, 4), date(2027, 10, 24), "pit stop"),
    (SKARROW, "200", date(2027, 10, 4), date(2027, 10, 24), "pit stop"),
    (SKARROW, "", date(2029, 10, 1), date(2029, 10, 28), "turnaround"),
)
"""Planned after the records end: site, unit ('' for all), first and last day, kind."""
OUTAGE_SHARE, MASS_SHARE, MASS_YEAR = 0.12, 0.85, 2019

# Stories
CONVERSION = (date(2022, 4, 1), date(2022, 6, 30))
CONVERSION_RANDOM_H = (22e3, 55e3)
"""Unit 400: mean time to a random failure before and after the change to plan 53B."""
DECOY_DATE, DECOY_POSITIONS = date(2020, 2, 10), 10
DECOY_CLASSES = ("SOUR", "HC-GEN", "CHEM")
BAD_ACTOR_PUMP = "P-3107"
BAD_ACTOR = Law(0.04, 11e3, 1.5, 12e3, 0.58)
BAD_FITTING = (date(2021, 1, 1), date(2021, 11, 30))
BAD_FITTING_DEFECTIVE = 0.22
MOVING_CLASSES = ("HC-FLASH", "HC-GEN", "CHEM", "WATER", "SOUR", "BFW/HOTW")
"""Classes from which pumps were retired or added in the window."""
LOT = "EL-18-36"
LOT_INSTALLS = (date(2018, 9, 1), date(2019, 3, 31))
LOT_CLASSES = ("HC-HOT", "HC-FLASH", "HC-GEN", "CHEM")
LOT_SHAPE, LOT_SCALE_H = 4.0, 4_200.0
SERIAL_SHARE, REBUILT_SHARE, REBUILT_HAZARD = 0.45, 0.40, 1.25
RETIRED_POSITIONS, NEW_POSITIONS = 9, 6

# Stock
NO_STOCK_ITEM = ("22-PU-505A-DE", "22-PU-506A-DE")
"""Positions for which the register has lost the stock item."""

# Leakage readings
MONITORED_CLASSES = ("HC-FLASH", "CHEM")
RAMP_SHARE = 0.55
DETECTION_PPM, SCALE_END_PPM = 5.0, 10_000.0

PEERS: tuple[tuple[str, float], ...] = (
    ("Ostrel Mill", 0.85),
    ("Velder Water", 1.0),
    ("Tarn Quay Chemicals", 1.2),
    ("Site D", 0.7),
    ("Site E", 1.0),
    ("Site F", 1.6),
    ("Site G", 0.95),
    ("Site H", 1.05),
)
"""Other sites, in totals only: label and true failures over failures expected for the same mix."""

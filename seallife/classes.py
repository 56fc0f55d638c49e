"""Service classes: positions expected to share a hazard, each with the rule that decided.

In: `Register`, a rule table. Out: `Classes`. Next: `seallife.life`, `seallife.history`.

The rules are data (``class_rules.toml``); a site may bring its own. They run from the top and
the first that matches decides. A position that no rule fits is UNCLASSIFIED, which is a class
that is shown like any other.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.errors import SettingsError
from seallife.findings import join_findings, make_findings
from seallife.intake.worktext import fold_text, phrase_pattern
from seallife.register import Register
from seallife.schema import TABLES

__all__ = ["EXCLUDED", "UNCLASSIFIED", "Classes", "assign_classes", "load_class_rules"]

EXCLUDED = "EXCLUDED"
UNCLASSIFIED = "UNCLASSIFIED"

_COMPARE = {
    "at_least": np.greater_equal,
    "above": np.greater,
    "below": np.less,
    "at_most": np.less_equal,
}
_RULE_KEYS = {"class", "why", "family", "seal_words", "named", *_COMPARE}

Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Classes:
    """Service class of each position.

    Attributes
    ----------
    table : pandas.DataFrame
        position_id, service_class, why (the rule that decided), sure (False where a rule higher
        up could not be judged for want of data), missing (the columns it wanted).
    rules : pandas.DataFrame
        The rule table used: order, service_class, why, positions (how many it decided).
    findings : pandas.DataFrame
        Positions without class, and classes that rest on incomplete data.
    """

    table: pd.DataFrame
    rules: pd.DataFrame
    findings: pd.DataFrame


def load_class_rules(file: Path | None = None) -> Mapping[str, Any]:
    """Which rules decide the service class?

    Parameters
    ----------
    file : Path, optional
        The site's own rule table; ours where None.

    Raises
    ------
    SettingsError
        The file is missing, is not TOML, or a rule holds a name that is not known.
    """
    name = "class_rules.toml" if file is None else str(file)
    try:
        text = (
            (files("seallife") / "class_rules.toml").read_text("utf-8")
            if file is None
            else file.read_text("utf-8-sig")
        )
        raw = tomllib.loads(text)
    except OSError:
        raise SettingsError("no such file", where=name, hint="mend class_rules") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as err:
        raise SettingsError(f"is not valid TOML: {err}", where=name) from None
    numbers = {c.name for c in TABLES["positions"].columns if c.kind == "number"}
    families = raw.setdefault("families", {})
    for i, rule in enumerate(raw.get("rules", []), start=1):
        where = f"{name}, rule {i}"
        unknown = set(rule) - _RULE_KEYS
        columns = {c for kind in _COMPARE for c in rule.get(kind, {})} - numbers
        if "class" not in rule:
            raise SettingsError("has no class", where=where)
        if unknown or columns:
            word = sorted(unknown | columns)[0]
            raise SettingsError(f"'{word}' is neither a condition nor a number column", where=where)
        if rule.get("family", "") not in {"", *families}:
            raise SettingsError(f"'{rule['family']}' is not under [families]", where=where)
    if not raw.get("rules"):
        raise SettingsError("holds no [[rules]]", where=name)
    return raw


def assign_classes(register: Register, rules: Mapping[str, Any] | None = None) -> Classes:
    """Which service class does each position belong to, and which rule says so?

    Parameters
    ----------
    register : Register
    rules : mapping, optional
        From `load_class_rules`.
    """
    raw = load_class_rules() if rules is None else rules
    positions = register.table
    n = len(positions)
    fluid = fold_text(positions["fluid"] + " " + positions["service_text"])
    seal = fold_text(positions["seal_type"] + " " + positions["status"])
    named = (positions["fluid"] != "").to_numpy()
    family = {
        name: fluid.str.contains(phrase_pattern(words), regex=True).to_numpy()
        for name, words in raw["families"].items()
    }
    service_class = np.full(n, UNCLASSIFIED, dtype=object)
    why = np.full(n, "no rule fits", dtype=object)
    missing = np.full(n, "", dtype=object)
    open_ = np.ones(n, dtype=bool)
    counts: list[tuple[int, str, str, int]] = []
    for rule in raw["rules"]:
        words = _worded(rule, family, seal, named, n)
        fits, undecided, wanted = _measured(rule, positions)
        hit = open_ & words & fits
        doubt = open_ & words & undecided
        missing[doubt & (missing == "")] = wanted
        service_class[hit], why[hit] = rule["class"], rule.get("why", "")
        open_ &= ~hit
        counts.append((len(counts) + 1, rule["class"], rule.get("why", ""), int(hit.sum())))
    by_hand = (positions["service_class"] != "").to_numpy()
    service_class[by_hand] = positions["service_class"].to_numpy()[by_hand]
    why[by_hand], missing[by_hand] = "set by hand in the register", ""
    table = pd.DataFrame(
        {
            "position_id": positions["position_id"],
            "service_class": service_class,
            "why": why,
            "sure": missing == "",
            "missing": missing,
        }
    )
    columns = ["order", "service_class", "why", "positions"]
    found = _findings(table, positions["record_id"])
    return Classes(table, pd.DataFrame(counts, columns=columns), found)


def _worded(
    rule: Mapping[str, Any], family: Mapping[str, Bools], seal: pd.Series, named: Bools, n: int
) -> Bools:
    """Do the words of fluid, service and seal fit the rule?"""
    fits = np.ones(n, dtype=bool)
    if "family" in rule:
        fits &= family[rule["family"]]
    if "seal_words" in rule:
        fits &= seal.str.contains(phrase_pattern(rule["seal_words"]), regex=True).to_numpy()
    if rule.get("named"):
        fits &= named
    return fits


def _measured(rule: Mapping[str, Any], positions: pd.DataFrame) -> tuple[Bools, Bools, str]:
    """Do the numbers fit? Undecided where one is missing and none of the others speaks against."""
    fits = np.ones(len(positions), dtype=bool)
    blank = np.zeros(len(positions), dtype=bool)
    against = np.zeros(len(positions), dtype=bool)
    wanted = []
    for word, compare in _COMPARE.items():
        for column, bound in rule.get(word, {}).items():
            values = positions[column].to_numpy(dtype=float)
            with np.errstate(invalid="ignore"):
                good = compare(values, bound)
            fits &= good
            blank |= np.isnan(values)
            against |= ~good & ~np.isnan(values)
            wanted.append(column)
    # A missing pH or solids content says nothing against a fluid that is named otherwise; only
    # rules tied to a family can be missed by it.
    undecided = blank & ~against & ("family" in rule)
    return fits, undecided, ", ".join(wanted)


def _findings(table: pd.DataFrame, record_id: pd.Series) -> pd.DataFrame:
    lost = table["service_class"] == UNCLASSIFIED
    unsure = ~table["sure"] & ~lost
    return join_findings(
        [
            make_findings(
                "no service class",
                "ask",
                record_id[lost],
                "no rule fits '{value}'; name its fluid, or set service_class by hand",
                column="fluid",
                value=table.loc[lost, "position_id"],
                action=f"shown as {UNCLASSIFIED}",
            ),
            make_findings(
                "class rests on incomplete data",
                "doubt",
                record_id[unsure],
                "a class higher up could not be judged without {value}",
                column="fluid",
                value=table.loc[unsure, "missing"],
                action="next rule used",
            ),
        ]
    )

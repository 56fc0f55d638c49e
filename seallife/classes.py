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

from seallife.errors import SettingsError, did_you_mean
from seallife.findings import join_findings, make_findings
from seallife.intake.lexicon import Lexicon, kinds_in
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
_RULE_KEYS = ("class", "why", "family", "seal_words", "named", *_COMPARE)

Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Classes:
    """Service class of each position.

    Attributes
    ----------
    table : pandas.DataFrame
        position_id, service_class, why (the rule that decided), sure (False where a rule higher
        up for another class could not be judged for want of data, and where no rule knows the
        fluid), missing (the columns it wanted).
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

    Returns
    -------
    mapping
        ``families`` (name -> words) and ``rules``, as in ``class_rules.toml``.

    Raises
    ------
    SettingsError
        The file is missing, is not TOML, or a rule holds a name or value that is not known.
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
        raise SettingsError(
            "no such file", where=name, hint="mend class_rules in fleet.toml"
        ) from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as err:
        raise SettingsError(f"is not valid TOML: {err}", where=name) from None
    _check_rules(raw, name)
    return raw


def _check_rules(raw: dict[str, Any], name: str) -> None:
    """Refuse whatever could not be meant, with its place."""
    for key in raw:
        if key not in {"families", "rules"}:
            near = did_you_mean(key, ("families", "rules"))
            raise SettingsError(f"'{key}' is neither [families] nor [[rules]]{near}", where=name)
    families = raw.setdefault("families", {})
    rules = raw.get("rules")
    if not isinstance(rules, list) or not rules:
        raise SettingsError("holds no [[rules]]", where=name)
    if not isinstance(families, dict):
        raise SettingsError("families should be a section of names and words", where=name)
    for family, words in families.items():
        _need_words(words, f"{name}, families.{family}")
    numbers = [c.name for c in TABLES["positions"].columns if c.kind == "number"]
    for i, rule in enumerate(rules, start=1):
        _check_rule(rule, f"{name}, rule {i}", families, numbers)


def _check_rule(
    rule: Mapping[str, Any], where: str, families: Mapping[str, Any], numbers: list[str]
) -> None:
    for key in rule:
        if key not in _RULE_KEYS:
            near = did_you_mean(key, _RULE_KEYS)
            raise SettingsError(f"'{key}' is not a part of a rule{near}", where=where)
    if not isinstance(rule.get("class"), str) or not rule["class"].strip():
        raise SettingsError("has no class", where=where)
    if "family" in rule and rule["family"] not in families:
        near = did_you_mean(str(rule["family"]), families)
        raise SettingsError(f"'{rule['family']}' is not under [families]{near}", where=where)
    if "seal_words" in rule:
        _need_words(rule["seal_words"], where)
    for word in _COMPARE:
        bounds = rule.get(word, {})
        if not isinstance(bounds, dict):
            raise SettingsError(f"{word} should be like {{ temp_c = 80.0 }}", where=where)
        for column, bound in bounds.items():
            if column not in numbers:
                near = did_you_mean(column, numbers)
                raise SettingsError(f"'{column}' is not a number column{near}", where=where)
            if isinstance(bound, bool) or not isinstance(bound, int | float):
                raise SettingsError(f"{column}: {bound!r} is not a number", where=where)


def _need_words(words: object, where: str) -> None:
    if not isinstance(words, list) or not all(isinstance(w, str) and w.strip() for w in words):
        raise SettingsError("should hold a list of words in quotes", where=where)


def assign_classes(register: Register, rules: Mapping[str, Any] | None = None) -> Classes:
    """Which service class does each position belong to, and which rule says so?

    Parameters
    ----------
    register : Register
    rules : mapping, optional
        From `load_class_rules`.

    Returns
    -------
    Classes
    """
    raw = load_class_rules() if rules is None else rules
    positions = register.table
    n = len(positions)
    words = _words_found(positions, raw)
    by_hand = (positions["service_class"] != "").to_numpy()
    service_class = positions["service_class"].where(by_hand, UNCLASSIFIED).to_numpy(dtype=object)
    why = np.where(by_hand, "set by hand in the register", "no rule fits").astype(object)
    wanted: list[tuple[str, pd.Series]] = []  # class -> columns it was in doubt for
    guessed = np.zeros(n, dtype=bool)  # taken by a rule that asks for no more than a name
    open_ = ~by_hand
    counts: list[tuple[int, str, str, int]] = []
    for i, rule in enumerate(raw["rules"], start=1):
        fits, missing = _measured(rule, positions)
        worded = words[i]
        hit = open_ & worded & fits
        # A missing pH or solids content says nothing against a fluid that is named otherwise;
        # only rules tied to a family can be missed by it.
        if "family" in rule:
            wanted.append((rule["class"], missing.where(open_ & worded, "")))
        service_class[hit], why[hit] = rule["class"], rule.get("why", "")
        open_ &= ~hit
        guessed |= hit & bool(rule.get("named"))
        counts.append((i, rule["class"], rule.get("why", ""), int(hit.sum())))
    missing = pd.Series("", index=positions.index, dtype=object)
    for other, columns in wanted:
        missing = missing.mask((missing == "") & (service_class != other), columns)
    guessed |= open_
    missing = missing.mask(guessed & (missing == ""), "fluid")
    table = pd.DataFrame(
        {
            "position_id": positions["position_id"],
            "service_class": service_class,
            "why": why,
            "sure": missing == "",
            "missing": missing,
        }
    )
    counted = pd.DataFrame(counts, columns=["order", "service_class", "why", "positions"])
    assert counted["positions"].sum() + by_hand.sum() + open_.sum() == n
    return Classes(table, counted, _findings(table, positions["record_id"], positions["fluid"]))


def _words_found(positions: pd.DataFrame, raw: Mapping[str, Any]) -> dict[int, Bools]:
    """Do the words of fluid, service and seal fit each rule? By number of the rule."""
    fluid = positions["fluid"] + " . " + positions["service_text"]
    seal = positions["seal_type"] + " . " + positions["pump_type"]
    families = kinds_in(fluid, Lexicon({"": raw["families"]}))
    seal_words = {str(i): r.get("seal_words", []) for i, r in enumerate(raw["rules"], start=1)}
    seals = kinds_in(seal, Lexicon({"": seal_words}))
    named = positions["fluid"] != ""
    found: dict[int, Bools] = {}
    for i, rule in enumerate(raw["rules"], start=1):
        fits = np.ones(len(positions), dtype=bool)
        if "family" in rule:
            fits &= np.array([rule["family"] in kinds for kinds in families], dtype=bool)
        if "seal_words" in rule:
            fits &= np.array([str(i) in kinds for kinds in seals], dtype=bool)
        if rule.get("named"):
            fits &= named.to_numpy()
        found[i] = fits
    return found


def _measured(rule: Mapping[str, Any], positions: pd.DataFrame) -> tuple[Bools, pd.Series]:
    """Do the numbers fit? And which are missing, where none of the others speaks against."""
    fits = np.ones(len(positions), dtype=bool)
    against = np.zeros(len(positions), dtype=bool)
    missing = pd.Series("", index=positions.index, dtype=object)
    for word, compare in _COMPARE.items():
        for column, bound in rule.get(word, {}).items():
            values = positions[column].to_numpy(dtype=float)
            blank = np.isnan(values)
            good = compare(values, bound) & ~blank
            fits &= good
            against |= ~good & ~blank
            more = missing.where(missing == "", missing + ", ") + column
            missing = missing.mask(blank, more)
    return fits, missing.mask(against, "")


def _findings(table: pd.DataFrame, record_id: pd.Series, fluid: pd.Series) -> pd.DataFrame:
    """Say which positions have no class, and which have one that rests on little."""
    lost = table["service_class"] == UNCLASSIFIED
    strange = ~lost & (table["missing"] == "fluid")
    unsure = ~table["sure"] & ~lost & ~strange
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
                "fluid not known",
                "ask",
                record_id[strange],
                "no rule knows '{value}' by name, and it was put with the chemicals; add its "
                "name to class_rules, or set service_class by hand",
                column="fluid",
                value=fluid[strange],
                action="taken as a chemical",
            ),
            make_findings(
                "class rests on incomplete data",
                "doubt",
                record_id[unsure],
                "another class could not be judged without {value}",
                column="fluid",
                value=table.loc[unsure, "missing"],
                action="next rule used",
            ),
        ]
    )

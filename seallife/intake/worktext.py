"""Read from a work order's text what happened to the seal, and on what evidence.

In: texts, order type, part drawn. Out: one reading an order. Next: `seallife.orders`.

The words stand in ``work_words.toml``, one list a kind of evidence and language. A reading
names the evidence it rests on and how sure it is; "unknown" is a valid reading.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Iterable, Mapping
from functools import lru_cache
from importlib.resources import files

import numpy as np
import pandas as pd

__all__ = ["EVIDENCE", "fold_text", "phrase_pattern", "read_evidence", "read_work"]

EVIDENCE = (
    "seal",
    "support",
    "renewed",
    "failure",
    "rising",
    "planned",
    "outage",
    "upgrade",
    "other_job",
    "early",
    "no_action",
    "de_end",
    "nde_end",
    "both_ends",
)
"""Kinds of evidence a text can hold."""


def fold_text(text: pd.Series) -> pd.Series:
    """Return texts without case and accents, each run of blanks one blank.

    Examples
    --------
    >>> fold_text(pd.Series(["Fuga en  VÁLVULA", "Kühler"])).tolist()
    ['fuga en valvula', 'kuhler']
    """
    unique = pd.unique(text)
    table = {t: _fold(t) for t in unique}
    return text.map(table)


def _fold(text: str) -> str:
    plain = unicodedata.normalize("NFKD", text.casefold())
    kept = "".join(c for c in plain if not unicodedata.combining(c))
    return " ".join(kept.split())


@lru_cache(maxsize=1)
def _word_lists() -> Mapping[str, Mapping[str, list[str]]]:
    """Read the words once: language -> kind of evidence -> phrases."""
    return tomllib.loads((files("seallife.intake") / "work_words.toml").read_text("utf-8"))


@lru_cache(maxsize=1)
def _patterns() -> Mapping[str, re.Pattern[str]]:
    """Compile each kind of evidence over all languages once."""
    kinds: dict[str, list[str]] = {}
    for words in _word_lists().values():
        for kind, phrases in words.items():
            if kind in {"de_code", "nde_code"}:
                continue
            kinds.setdefault(kind, []).extend(phrases)
    return {kind: phrase_pattern(phrases) for kind, phrases in kinds.items()}


def phrase_pattern(phrases: Iterable[str]) -> re.Pattern[str]:
    """Match any of the phrases as whole words in folded text; '*' lets a word go on.

    Examples
    --------
    >>> pattern = phrase_pattern(["leak*", "eye"])
    >>> bool(pattern.search("seal leaking")), bool(pattern.search("a dye"))
    (True, False)
    """
    parts = []
    for phrase in sorted(set(phrases), key=lambda p: (-len(p), p)):
        body = re.escape(_fold(phrase)).replace(r"\*", r"\w*").replace(r"\ ", r"\s+")
        parts.append(body)
    return re.compile(rf"(?<![\w])(?:{'|'.join(parts)})(?![\w])")


@lru_cache(maxsize=1)
def _negated() -> re.Pattern[str]:
    """A negation and the failure word it takes back, with up to two words between."""
    p = _patterns()
    negation, failure = p["negation"].pattern, p["failure"].pattern
    return re.compile(rf"{negation}(?:\s+\w+){{0,2}}?\s+{failure}")


def read_evidence(text: pd.Series) -> pd.DataFrame:
    """What kinds of evidence does each text hold?

    Parameters
    ----------
    text : pandas.Series of str, shape (n,)
        Work order texts in any of the languages of ``work_words.toml``.

    Returns
    -------
    pandas.DataFrame
        One row a text, one column of bool for each of `EVIDENCE`. A negated failure ("no leak",
        "nicht undicht", "sin fuga") counts as ``no_action``.
    """
    folded = fold_text(text)
    unique = pd.Series(pd.unique(folded), dtype=object)
    patterns = _patterns()
    rest = unique.str.replace(patterns["not_seal"], " ", regex=True)
    taken_back = rest.str.contains(_negated(), regex=True)
    rest = rest.str.replace(_negated(), " ", regex=True)
    found = pd.DataFrame({kind: rest.str.contains(patterns[kind], regex=True) for kind in EVIDENCE})
    found["no_action"] |= taken_back
    found.index = pd.Index(unique)
    out = found.reindex(folded.tolist()).set_axis(text.index)
    out["de_end"] |= _end_code(text, "de_code")
    out["nde_end"] |= _end_code(text, "nde_code")
    return out


def _end_code(text: pd.Series, kind: str) -> pd.Series:
    """Find a short name of a pump end in capitals."""
    # In a text all in capitals it proves nothing, but for NDE, which is no word of its own.
    codes = "|".join(_end_codes()[kind])
    mixed = text.str.contains(r"[a-z]", regex=True)
    code = text.str.contains(rf"\b(?:{codes})\b", regex=True)
    sure = text.str.contains(r"\bNDE\b" if kind == "nde_code" else r"\bDE (?:END|M/)", regex=True)
    return (mixed & code) | sure


@lru_cache(maxsize=1)
def _end_codes() -> Mapping[str, list[str]]:
    """Short names of the ends over all languages, as written."""
    words = _word_lists().values()
    return {k: [c for w in words for c in w.get(k, [])] for k in ("de_code", "nde_code")}


def read_work(
    text: pd.Series, wo_type: pd.Series, seal_part_drawn: pd.Series, in_outage: pd.Series
) -> pd.DataFrame:
    """What happened to the seal in each order, and how sure is that?

    Parameters
    ----------
    text : pandas.Series of str, shape (n,)
        All texts of an order joined.
    wo_type : pandas.Series of str, shape (n,)
        'corrective', 'planned', 'project', 'inspection' or ''.
    seal_part_drawn, in_outage : pandas.Series of bool, shape (n,)
        A seal or kit was drawn from the store (or a serial number put in); the work fell into
        a planned outage of the unit.

    Returns
    -------
    pandas.DataFrame
        ``kind`` : 'removal', 'seal looked at', 'seal support', 'other work';
        ``reason`` : of a removal, see `seallife.schema.REASONS`;
        ``confidence`` : share of such readings expected to be right (common practice, no
        source: 0.95 said in words, 0.8 order type or outage, 0.5 little to go by);
        ``evidence`` : the words' kinds it rests on; ``early`` : failed at fitting;
        ``end_named`` : 'DE', 'NDE', 'both' or ''.
    """
    found = read_evidence(text)
    kind = _kind(found, wo_type, seal_part_drawn)
    reason, confidence = _reason(found, wo_type, in_outage)
    end = pd.Series("", index=text.index, dtype=object)
    end[found["de_end"] & ~found["nde_end"]] = "DE"
    end[found["nde_end"] & ~found["de_end"]] = "NDE"
    end[found["both_ends"] | (found["de_end"] & found["nde_end"])] = "both"
    return pd.DataFrame(
        {
            "kind": kind,
            "reason": reason.where(kind == "removal", ""),
            "confidence": confidence.where(kind == "removal"),
            "evidence": _named(found),
            "early": found["early"] & (kind == "removal"),
            "end_named": end,
        }
    )


def _named(found: pd.DataFrame) -> pd.Series:
    """Name the kinds of evidence of each text, but for the pump's ends."""
    kinds = [c for c in EVIDENCE if not c.endswith(("_end", "_ends"))]
    bits = found[kinds].to_numpy(dtype=np.int64) @ (1 << np.arange(len(kinds)))
    names = {
        int(b): ", ".join(k for i, k in enumerate(kinds) if b >> i & 1) for b in np.unique(bits)
    }
    return pd.Series(bits, index=found.index).map(names).astype(object)


def _kind(found: pd.DataFrame, wo_type: pd.Series, part: pd.Series) -> pd.Series:
    """A removal needs a seal and a sign that it was renewed; the store's issue is such a sign."""
    seal = found["seal"] | part
    renewed = part | (found["seal"] & found["renewed"])
    # A corrective order on a leaking seal with no word of anything milder is a removal too:
    # sites often write no more than "mech seal leaking".
    bare_failure = (
        found["seal"] & found["failure"] & ~found["no_action"] & (wo_type == "corrective")
    )
    support = found["support"] & ~part & ~(found["seal"] & found["renewed"] & found["failure"])
    looked_at = found["no_action"] & ~part & ~renewed
    kind = pd.Series("other work", index=found.index, dtype=object)
    kind[seal] = "seal looked at"
    kind[renewed | bare_failure] = "removal"
    kind[seal & looked_at] = "seal looked at"
    kind[support] = "seal support"
    return kind


def _reason(
    found: pd.DataFrame, wo_type: pd.Series, in_outage: pd.Series
) -> tuple[pd.Series, pd.Series]:
    """Words of failure or plan first, then the order's type, then the outage, then nothing."""
    f = found
    reason = pd.Series("unknown", index=f.index, dtype=object)
    sure = pd.Series(0.5, index=f.index)

    def settle(mask: pd.Series, word: str, confidence: float) -> None:
        reason[mask] = word
        sure[mask] = confidence

    settle(wo_type == "corrective", "seal failed", 0.8)
    settle(in_outage & ~f["failure"], "planned in outage", 0.8)
    settle((wo_type == "planned") & ~in_outage, "planned by age", 0.8)
    settle((wo_type == "planned") & in_outage, "planned in outage", 0.9)
    settle(wo_type == "project", "upgrade", 0.8)
    settle(f["planned"], "planned by age", 0.95)
    settle(f["planned"] & in_outage, "planned in outage", 0.95)
    settle(f["outage"], "planned in outage", 0.95)
    settle(f["other_job"] & ~f["failure"], "other pump part", 0.95)
    settle(f["failure"], "seal failed", 0.95)
    settle(f["failure"] & f["other_job"], "seal failed", 0.7)
    settle(f["rising"], "pulled on rising leakage", 0.9)
    settle(f["upgrade"] & ~f["failure"], "upgrade", 0.95)
    settle(f["upgrade"] & f["failure"] & (wo_type == "project"), "upgrade", 0.8)
    return reason, sure

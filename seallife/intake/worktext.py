"""Read from a work order's text what happened to the seal, and on what evidence.

In: texts, order type, part drawn. Out: one reading an order. Next: `seallife.orders`.

A reading names the evidence it rests on and how sure it is; "unknown" is a valid reading.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from seallife.intake.evidence import ENDS_NAMED, EVIDENCE, read_evidence

__all__ = ["read_evidence", "read_work"]


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
    kind, bare = _kind(found, wo_type, seal_part_drawn)
    removal = kind == "removal"
    reason, confidence = _reason(found, wo_type, in_outage)
    failed = reason.isin(["seal failed", "pulled on rising leakage"])
    end = pd.Series("", index=text.index, dtype=object)
    end[found["de_end"] & ~found["nde_end"]] = "DE"
    end[found["nde_end"] & ~found["de_end"]] = "NDE"
    end[found["both_ends"] | (found["de_end"] & found["nde_end"])] = "both"
    return pd.DataFrame(
        {
            "kind": kind,
            "reason": reason.where(removal, ""),
            "confidence": confidence.mask(bare, 0.7).where(removal),
            "evidence": _named(found),
            "early": found["early"] & removal & failed,
            "end_named": end,
        }
    )


def _named(found: pd.DataFrame) -> pd.Series:
    """Name the kinds of evidence of each text, but for the pump's ends."""
    kinds = [c for c in EVIDENCE if c not in ENDS_NAMED]
    bits = found[kinds].to_numpy(dtype=np.int64) @ (1 << np.arange(len(kinds)))
    names = {
        int(b): ", ".join(k for i, k in enumerate(kinds) if b >> i & 1) for b in np.unique(bits)
    }
    return pd.Series(bits, index=found.index).map(names).astype(object)


def _kind(found: pd.DataFrame, wo_type: pd.Series, part: pd.Series) -> tuple[pd.Series, pd.Series]:
    """A removal needs a seal and a sign that it was renewed; the store's issue is such a sign."""
    renewed = part | (found["seal"] & found["renewed"])
    # An order on a failed seal with no word of anything milder is a removal too: sites often
    # write no more than "mech seal leaking".
    bare = (
        found["seal"]
        & (found["failure"] | found["rising"])
        & ~found["no_action"]
        & ~renewed
        & wo_type.isin(["corrective", ""])
    )
    kind = pd.Series("other work", index=found.index, dtype=object)
    kind[found["seal"]] = "seal looked at"
    kind[found["support"]] = "seal support"
    kind[renewed | bare] = "removal"
    return kind, bare


def _reason(
    found: pd.DataFrame, wo_type: pd.Series, in_outage: pd.Series
) -> tuple[pd.Series, pd.Series]:
    """Words of failure or plan first, then the order's type, then the outage, then nothing."""
    f = found
    failed = f["failure"] | f["signal"]
    reason = pd.Series("unknown", index=f.index, dtype=object)
    sure = pd.Series(0.5, index=f.index)

    def settle(mask: pd.Series, word: str, confidence: float) -> None:
        reason[mask] = word
        sure[mask] = confidence

    settle(wo_type == "corrective", "seal failed", 0.8)
    settle(in_outage, "planned in outage", 0.8)
    settle(in_outage & (wo_type == "corrective"), "planned in outage", 0.6)
    settle((wo_type == "planned") & ~in_outage, "planned by age", 0.8)
    settle((wo_type == "planned") & in_outage, "planned in outage", 0.9)
    settle(wo_type == "project", "upgrade", 0.8)
    settle(f["planned"], "planned by age", 0.95)
    settle(f["planned"] & in_outage, "planned in outage", 0.95)
    settle(f["outage"], "planned in outage", 0.95)
    settle(f["other_job"], "other pump part", 0.95)
    settle(f["other_job"] & (f["planned"] | f["outage"]), "other pump part", 0.7)
    settle(failed, "seal failed", 0.95)
    settle(failed & f["other_job"], "seal failed", 0.8)
    settle(f["rising"], "pulled on rising leakage", 0.9)
    settle(f["upgrade"] & ~failed, "upgrade", 0.95)
    settle(f["upgrade"] & failed & (wo_type == "project"), "upgrade", 0.8)
    return reason, sure

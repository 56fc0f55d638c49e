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
    text: pd.Series,
    wo_type: pd.Series,
    seal_part_drawn: pd.Series,
    in_outage: pd.Series,
    seal_part_returned: pd.Series | None = None,
    leak_coded: pd.Series | None = None,
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
    seal_part_returned : pandas.Series of bool, shape (n,), optional
        A seal or kit was drawn and went back: evidence against a removal.
    leak_coded : pandas.Series of bool, shape (n,), optional
        The order's failure code says leakage: evidence that a seal that was renewed had failed,
        where no word says otherwise.

    Returns
    -------
    pandas.DataFrame
        ``kind`` : 'removal', 'seal change mentioned' (another order's), 'rework' (the seal stayed
        in), 'pump retired', 'seal looked at', 'seal support', 'other work';
        ``reason`` : of a removal, see `seallife.schema.REASONS`;
        ``confidence`` : share of such readings expected to be right (common practice, no
        source: 0.95 said in words, 0.9 coded, 0.85 order type or outage, 0.5 to 0.7 little to go
        by);
        ``evidence`` : the words' kinds it rests on;
        ``fitting_fault`` : words say that it failed at fitting;
        ``end_named`` : 'DE', 'NDE', 'both' or '';
        ``renewed`` : something says that a seal went in, not only that one leaked;
        ``rework`` : the same job once more; ``silent`` : the text tells nothing of the work;
        ``against_type`` : words and order type speak against each other.
    """
    found = read_evidence(text)
    if seal_part_returned is None:
        seal_part_returned = pd.Series(False, index=text.index)
    if leak_coded is None:
        leak_coded = pd.Series(False, index=text.index)
    kind, renewed = _kind(found, wo_type, seal_part_drawn, seal_part_returned)
    removal = kind == "removal"
    silent = ~found[list(_TELLING)].any(axis=1)
    reason, confidence = _reason(found, wo_type, in_outage, seal_part_drawn, silent, leak_coded)
    confidence = confidence.mask(~renewed, 0.7)
    retired = kind == "pump retired"
    reason = reason.where(removal, "").mask(retired, "pump retired")
    failed = reason.isin(["seal failed", "pulled on rising leakage"])
    end = pd.Series("", index=text.index, dtype=object)
    end[found["de_end"] & ~found["nde_end"]] = "DE"
    end[found["nde_end"] & ~found["de_end"]] = "NDE"
    end[found["both_ends"] | (found["de_end"] & found["nde_end"])] = "both"
    worded = removal & (confidence >= _IN_WORDS)
    unplanned = worded & failed & (reason == "seal failed") & (wo_type == "planned")
    planned = worded & reason.isin(_TO_A_PLAN) & (wo_type == "corrective")
    return pd.DataFrame(
        {
            "kind": kind,
            "reason": reason,
            "confidence": confidence.where(removal).mask(retired, _IN_WORDS),
            "evidence": _named(found),
            "fitting_fault": found["early"] & removal & failed,
            "end_named": end,
            "renewed": renewed & removal,
            "rework": found["rework"],
            "silent": silent,
            "against_type": unplanned | planned,
        }
    )


_IN_WORDS = 0.95
_TO_A_PLAN = ("planned by age", "planned in outage", "upgrade")
_TELLING = tuple(k for k in EVIDENCE if k not in {*ENDS_NAMED, "no_action", "early"})


def _named(found: pd.DataFrame) -> pd.Series:
    """Name the kinds of evidence of each text, but for the pump's ends and other parts."""
    kinds = [c for c in EVIDENCE if c not in {*ENDS_NAMED, "part"}]
    bits = found[kinds].to_numpy(dtype=np.int64) @ (1 << np.arange(len(kinds)))
    names = {
        int(b): ", ".join(k for i, k in enumerate(kinds) if b >> i & 1) for b in np.unique(bits)
    }
    return pd.Series(bits, index=found.index).map(names).astype(object)


def _kind(
    found: pd.DataFrame, wo_type: pd.Series, part: pd.Series, returned: pd.Series
) -> tuple[pd.Series, pd.Series]:
    """A removal needs a seal and a sign that it was renewed; the store's issue is such a sign.

    An order that points to the main job is none of its own. A seal that went back to the store
    was not fitted, whatever the order set out to do, unless its words tell of failure and renewal.
    """
    said = found["seal"] & found["renewed"] & ~found["mention"]
    said &= ~(returned | found["returned"]) | found["failure"]
    renewed = part | said
    # An order on a failed seal with no word of anything milder is a removal too: sites often
    # write no more than "mech seal leaking".
    bare = (
        found["seal"]
        & (found["failure"] | found["rising"])
        & ~found["no_action"]
        & ~found["mention"]
        & ~renewed
        & ~returned
        & wo_type.isin(["corrective", ""])
    )
    kind = pd.Series("other work", index=found.index, dtype=object)
    kind[found["seal"]] = "seal looked at"
    kind[found["seal"] & (found["mention"] | found["occasion"])] = "seal change mentioned"
    kind[found["seal"] & found["rework"]] = "rework"
    kind[found["support"]] = "seal support"
    kind[found["retired"]] = "pump retired"
    kind[renewed | bare] = "removal"
    return kind, renewed


def _reason(
    found: pd.DataFrame,
    wo_type: pd.Series,
    in_outage: pd.Series,
    part: pd.Series,
    silent: pd.Series,
    leak_coded: pd.Series,
) -> tuple[pd.Series, pd.Series]:
    """Words first, then the failure code, the order's type, the outage, then nothing.

    A text that tells nothing leaves the reason unknown, whatever is usual for a repair order.
    """
    f = found
    failed = f["failure"] | f["signal"]
    reason = pd.Series("unknown", index=f.index, dtype=object)
    sure = pd.Series(0.5, index=f.index)

    def settle(mask: pd.Series, word: str, confidence: float) -> None:
        reason[mask] = word
        sure[mask] = confidence

    settle(in_outage, "planned in outage", 0.8)
    settle(wo_type == "corrective", "seal failed", 0.85)
    settle(in_outage & (wo_type == "corrective"), "seal failed", 0.6)
    settle(silent & (wo_type == "corrective"), "unknown", 0.5)
    settle((wo_type == "planned") & ~in_outage, "planned by age", 0.85)
    settle((wo_type == "planned") & in_outage, "planned in outage", 0.9)
    settle(wo_type == "project", "upgrade", 0.85)
    settle(leak_coded, "seal failed", 0.9)
    # A seal drawn for a job whose words name other parts only went in with that job.
    beside = part & f["part"] & ~f["seal"] & ~failed & (wo_type != "project")
    settle(beside, "other pump part", 0.85)
    settle(f["planned"], "planned by age", _IN_WORDS)
    settle(f["planned"] & in_outage, "planned in outage", _IN_WORDS)
    settle(f["outage"], "planned in outage", _IN_WORDS)
    settle(f["other_job"], "other pump part", _IN_WORDS)
    settle(f["other_job"] & (f["planned"] | f["outage"]), "other pump part", 0.7)
    settle(failed, "seal failed", _IN_WORDS)
    settle(failed & f["other_job"], "seal failed", 0.8)
    settle(f["rising"], "pulled on rising leakage", 0.9)
    settle(f["upgrade"] & ~failed, "upgrade", _IN_WORDS)
    settle(f["upgrade"] & failed & (wo_type == "project"), "upgrade", 0.8)
    return reason, sure

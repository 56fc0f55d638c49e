"""Pump tags as people write them, and as they mistype them.

In: a tag. Out: the tag, spoilt. Next: `seallife.demo.defects`.
"""

from __future__ import annotations

from seallife.demo import scenario as sc
from seallife.demo.draws import Draws

__all__ = ["mistype", "other_format"]


def other_format(tag: str, site: str, draws: Draws) -> str:
    """The same tag as other people write it."""
    stem, letter = tag[:-1], tag[-1]
    bare = tag.replace("-", "")
    ways = [
        bare,
        f"{stem} {letter}",
        tag.lower(),
        f"{stem}-{letter}",
        tag.replace("-", " "),
        f" {tag} ",
        tag.replace("-", "_"),
    ]
    if site == sc.SKARROW:
        ways += [f"{tag[2]}00-{tag}", tag.replace("P-", "P.", 1), f"{stem}/{letter}"]
    return draws.pick(ways)


def mistype(tag: str, draws: Draws, tags: set[str]) -> str:
    """One key stroke too many, too few or wrong; still nearest to this tag alone."""
    while True:
        at = draws.between(2, len(tag) - 2)
        way = draws.between(0, 2)
        if way == 0:
            typo = tag[:at] + tag[at] + tag[at:]
        elif way == 1:
            typo = tag[:at] + tag[at + 1 :]
        else:
            typo = tag[:at] + draws.pick("0123456789OIl") + tag[at + 1 :]
        if typo not in tags and sum(_one_edit(typo, other) for other in tags) == 1:
            return typo


def _one_edit(first: str, second: str) -> bool:
    """Are the two at most one insertion, deletion or substitution apart (dashes aside)?"""
    first, second = sorted((first.replace("-", ""), second.replace("-", "")), key=len)
    if len(second) - len(first) > 1:
        return False
    same = next(
        (i for i, (a, b) in enumerate(zip(first, second, strict=False)) if a != b), len(first)
    )
    return first[same + (len(first) == len(second)) :] == second[same + 1 :]

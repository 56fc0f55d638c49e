"""Compare the name of a site's column with the names of the schema.

In: a column name as written. Out: how near it is to each column of a table, and the unit in it.
Next: `seallife.intake.guess`.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

from seallife.schema import TABLES

__all__ = [
    "EXACT",
    "NameMatch",
    "is_known_name",
    "name_key",
    "name_matches",
    "split_unit",
    "unit_name",
]

EXACT = 1.0
_NEAR = 0.86  # likeness of spelling that a slip of the pen keeps
_NUMBER_WORD = re.compile(r"nummer$|nr$|^number$|^numero$|^num$")
_SMALL_WORDS = frozenset(
    [
        "a",
        "am",
        "d",
        "da",
        "das",
        "de",
        "del",
        "der",
        "des",
        "di",
        "do",
        "dos",
        "du",
        "en",
        "in",
        "l",
        "la",
        "le",
        "of",
        "on",
        "s",
        "the",
    ]
)
_PART = 0.45  # a name that holds ours, however much else it says

# As written without blanks, dots and brackets -> as `seallife.intake.numbers` reads it.
_UNITS = {
    alias: unit
    for unit, aliases in {
        "degC": "°c degc gradc celsius ºc c gradcelsius",
        "degF": "°f degf fahrenheit ºf f",
        "kelvin": "k kelvin",
        "barg": "barg barü barue bargauge barman bareff",
        "bara": "bara barabs barabsolute barabsolu ata",
        "bar": "bar",
        "mbar": "mbar",
        "psig": "psig",
        "psia": "psia psiabs",
        "psi": "psi",
        "kPag": "kpag",
        "kPaa": "kpaa kpaabs",
        "kPa": "kpa",
        "MPag": "mpag",
        "MPaa": "mpaa",
        "MPa": "mpa",
        "atm": "atm",
        "kg/cm2g": "kg/cm2g kgf/cm2g kg/cm²g",
        "kg/cm2a": "kg/cm2a kgf/cm2a",
        "kg/cm2": "kg/cm2 kgf/cm2 kg/cm² kgf/cm²",
        "mm": "mm millimeter millimetre milimetros",
        "cm": "cm",
        "inch": 'in inch inches zoll pouces pouce pulgadas polegadas pollici duim "',
        "rpm": "rpm 1/min min-1 u/min tr/min r/min upm giri/min omw/min rev/min min⁻¹ t/min",
        "Hz": "hz",
        "cSt": "cst mm2/s mm²/s centistokes",
        "h": "h hr hrs hours hour std stunden heures horas ore uren",
        "min": "minutes",
        "d": "d days day tage jours dias giorni dagen",
        "weeks": "wk wks week weeks wochen semaines semanas settimane weken",
        "%": "% pct percent prozent pourcent wt% gew% mass% masse%",
    }.items()
    for alias in aliases.split()
}


@dataclass(frozen=True)
class NameMatch:
    """How near a written name is to one column: score 0 to 1, and the name that it met."""

    score: float
    met: str
    exact: bool


def name_key(text: str) -> str:
    """Which letters are left without case, accents, blanks and punctuation?

    Examples
    --------
    >>> name_key("  Équip. N°_1 ")
    'equipno1'
    >>> name_key("Druck (Saug-)") == name_key("DRUCK_SAUG")
    True
    """
    return "".join(_words(text))


def _words(text: str) -> list[str]:
    """Words in plain small letters; in a name of one piece a capital begins a new one."""
    parted = (
        text if re.search(r"[\s_]", text) else re.sub(r"(?<=[a-zß-ÿ])(?=[A-Z][a-z])", " ", text)
    )
    plain = parted.casefold().replace("ø", "o").replace("œ", "oe").replace("n°", "no")
    plain = unicodedata.normalize("NFKD", plain)
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    return [_NUMBER_WORD.sub("no", w) for w in re.findall(r"[^\W_]+", plain)]


def unit_name(text: str) -> str:
    """Which unit do these letters name? Empty where none.

    Examples
    --------
    >>> unit_name("[bar (g)]"), unit_name("°F"), unit_name("U/min"), unit_name("sealed")
    ('barg', 'degF', 'rpm', '')
    """
    return _UNITS.get(re.sub(r"[\s.()\[\]{}_]", "", text.casefold()), "")


def split_unit(written: str) -> tuple[str, str]:
    """Which name and which unit stand in this column name?

    Examples
    --------
    >>> split_unit("Ps (barg)"), split_unit("Temp °F"), split_unit("shaft_mm"), split_unit("d")
    (('Ps', 'barg'), ('Temp', 'degF'), ('shaft', 'mm'), ('d', ''))
    """
    text = " ".join(written.split())
    for found in (
        re.fullmatch(r"(.*?)[\s_,;:/]*[\[({]\s*(?:in )?(.+?)\s*[\])}]+", text, re.IGNORECASE),
        re.fullmatch(r"(.*\S)[\s_,;:]+(\S+ ?(?:\([ag]\)|\b[ag]|abs)\.?)", text, re.IGNORECASE),
        re.fullmatch(r"(.*\S)[\s_,;:.]+(\S+)", text),
        re.fullmatch(r"(.*\S)(°[CF]|%)", text, re.IGNORECASE),
        re.fullmatch(r"(.*\S)[-./]+(\S+)", text),
    ):
        if found and name_key(found[1]) and unit_name(found[2]):
            return found[1].strip(" _,;:/-"), unit_name(found[2])
    return text, ""


def _readings(written: str, above: str = "") -> tuple[str, ...]:
    """Which readings of a column name are worth a try, the one in full first?"""
    bare, _ = split_unit(written)
    # What stands in brackets after a name is often its translation or a remark.
    short = re.sub(r"[\[({].*?[\])}]", " ", written).strip()
    tries = [written, bare, short] + ([f"{above} {bare}"] if above else [])
    return tuple(dict.fromkeys(t for t in tries if name_key(t)))


@lru_cache(maxsize=1)
def _names() -> dict[str, dict[str, tuple[str, str, frozenset[str]]]]:
    """Table -> key of a name -> (our column, the name as the schema writes it, its words)."""
    return {
        t.name: {
            name_key(n): (c.name, n, frozenset(_words(n)))
            for c in t.columns
            for n in (*c.synonyms, c.name)
        }
        for t in TABLES.values()
    }


def is_known_name(written: str) -> bool:
    """Is this the name of a column of any table?"""
    keys = {name_key(t) for t in _readings(written)}
    return any(not keys.isdisjoint(known) for known in _names().values())


@lru_cache(maxsize=20_000)
def name_matches(table: str, written: str, above: str = "") -> dict[str, NameMatch]:
    """Which columns of a table can this name mean?

    Parameters
    ----------
    table : str
        Table of the schema.
    written, above : str
        Column name, and the title that stands above it in a header of two rows.

    Returns
    -------
    dict
        Our column -> `NameMatch`; columns that share nothing with the name are left out.
    """
    best: dict[str, NameMatch] = {}
    for tried in _readings(written, above):
        key, words = name_key(tried), frozenset(_words(tried))
        for known, (ours, name, its_words) in _names()[table].items():
            score = _likeness(key, words, known, its_words)
            if score > (best[ours].score if ours in best else 0.0):
                best[ours] = NameMatch(score, name, key == known)
    return best


def _likeness(key: str, theirs: frozenset[str], known: str, ours: frozenset[str]) -> float:
    """1 for the same letters; less for a name that holds the other, or a slip of the pen."""
    if key == known:
        return EXACT
    shorter, longer = sorted((len(key), len(known)))
    if shorter < 3:
        return 0.0
    covered = _shared(theirs, ours)
    if covered:
        return _PART + 0.45 * covered
    if shorter >= 5 and (key in known or known in key):  # compounds: "wellendurchmessermm"
        return _PART + 0.45 * shorter / longer
    if key[0] == known[0] and longer >= 5 and longer - shorter <= 2:
        likeness = difflib.SequenceMatcher(None, key, known).ratio()
        return 0.85 * likeness if likeness >= _NEAR else 0.0
    return 0.0


def _shared(theirs: frozenset[str], ours: frozenset[str]) -> float:
    """Share of letters that both names have where one holds all words of the other, else 0."""
    theirs, ours = theirs - _SMALL_WORDS, ours - _SMALL_WORDS
    pairs = {t: o for t in sorted(theirs) for o in sorted(ours) if _same_word(t, o)}
    met = set(pairs) == theirs or set(pairs.values()) == ours
    if not met or sum(map(len, pairs.values())) < 3:
        return 0.0
    # A word cut short counts as the whole word.
    whole = sum(len(pairs.get(t, t)) for t in theirs), sum(map(len, ours))
    return sum(map(len, set(pairs.values()))) / max(whole)


def _same_word(theirs: str, ours: str) -> bool:
    """Equal, or theirs is ours cut short ("temp"), or they differ in an ending ("eje", "ejes").

    Not the other way: a word that goes on after ours is a compound with a meaning of its own.
    """
    if theirs == ours:
        return True
    if len(theirs) >= 3 and ours.startswith(theirs):
        return True
    return len(ours) >= 4 and theirs.startswith(ours) and len(theirs) - len(ours) <= 2

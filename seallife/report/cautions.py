"""What this package must never be taken for: the words that go with every figure.

In: nothing. Out: ``CAUTIONS``, ``SHORT_CAUTION``. Next: report, command line, notebooks.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["CAUTIONS", "SHORT_CAUTION", "Caution"]

SHORT_CAUTION = (
    "Figures describe groups of seals, never one seal, and are no reason to run past a leak "
    "limit, an alarm or a site rule.\n"
    "Local codes, licensed practice and the maker's instructions prevail; decisions stay with a "
    "competent engineer."
)
"""Two lines for the head of a notebook or the end of a command's output."""


@dataclass(frozen=True)
class Caution:
    """One caution: what about, and what is to be kept in mind."""

    topic: str
    text: str


CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "Not a permit to run",
        "Nothing in these pages is a reason to keep a pump running past a leak limit, an alarm or "
        "a site rule. A leak over a limit is acted on now, however likely or unlikely it was.",
    ),
    Caution(
        "Groups, not this seal",
        "All figures speak of groups of seals. None of them says that a certain seal will hold, "
        "or for how long.",
    ),
    Caution(
        "What is behind the seal",
        "Pumped liquids may be flammable, toxic (hydrogen sulphide, benzene, hydrofluoric acid, "
        "chlorine, ammonia), hotter than their ignition temperature, flashing into cold clouds "
        "that cannot be seen, caustic or acid; water of 60 °C or more scalds; nitrogen of barrier "
        "systems displaces the air one breathes. Where such a liquid is handled, the consequence "
        "decides, not the average life.",
    ),
    Caution(
        "Work on pumps",
        "Isolate, lock and tag, depressurise, drain and prove that no energy is left, under a "
        "permit to work. Barrier systems and accumulators store pressure. Test for gas. Only "
        "trained people with the right protection do this work.",
    ),
    Caution(
        "Taking readings",
        "Nobody should go near a turning coupling, or near a pump that leaks something hot or "
        "toxic, to read a drip rate for these statistics.",
    ),
    Caution(
        "Law",
        "Duties to monitor leaks, to repair within set days, to justify a delay and to keep "
        "records stay with the owner. This is not a compliance record; any limits shown are the "
        "site's own entries.",
    ),
    Caution(
        "Standards and makers",
        "The maker's instructions, site standards, local codes and the current editions of "
        "standards come before anything said here. A changed seal or flush arrangement needs the "
        "site's management of change.",
    ),
    Caution(
        "Who decides",
        "Decisions are for a competent engineer, licensed where the law asks for it, who knows "
        "the machine.",
    ),
    Caution(
        "Longer intervals",
        "Nothing here recommends lengthening an interval on an item that is critical to safety or "
        "fixed by law. That needs the sign-off of the person responsible.",
    ),
    Caution(
        "Stock",
        "Chances of running out assume that failures come independently. A bad batch, an upset or "
        "a fire can empty a shelf at once.",
    ),
    Caution(
        "Personal data",
        "Remove names of people from records before they are analysed. Give records to others "
        "only with the consent of who owns them.",
    ),
    Caution(
        "Comparing sites",
        "Where others stand is no target: they may accept other hazards, pump other liquids and "
        "count failures in another way.",
    ),
)
"""All cautions, in the order printed."""

"""From a site's exports to typed tables."""

from seallife.intake.read import Fleet, read_fleet

__all__ = ["Fleet", "read_fleet"]

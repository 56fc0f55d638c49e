"""From a site's exports to typed tables."""

from seallife.intake.read import Fleet, Progress, read_fleet, silent

__all__ = ["Fleet", "Progress", "read_fleet", "silent"]

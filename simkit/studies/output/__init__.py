"""Where a report may stand, and how its folder appears whole or not at all."""

"""The same rehearsals before and after a change."""

"""Random machines and scenarios, their references, and what the verdicts on them are worth."""

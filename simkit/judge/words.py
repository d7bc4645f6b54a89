"""The verdicts in words; apart, because whoever only says them needs nothing else."""

WORDS: dict[str, str] = {
    "within_limits": "within the limits checked",
    "over_limit": "over a limit",
    "no_verdict": "no verdict",
}

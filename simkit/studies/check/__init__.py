"""First-order design numbers, each beside its limit; no circuit run."""

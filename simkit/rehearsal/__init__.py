"""One scenario through the circuit: sampled, refined, measured and judged."""

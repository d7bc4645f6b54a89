"""What a quantity, a key or a term is, and what to change."""

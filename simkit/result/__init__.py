"""What a run comes to, as one frozen type: JSON, JSON Schema and docs follow from it."""

"""Parameters: what a person writes, checked, in SI, each value with its unit and source."""

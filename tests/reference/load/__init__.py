"""Coil and piece by finite elements: cases, the table made of them, and the comparison."""

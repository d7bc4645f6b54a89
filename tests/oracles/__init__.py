"""Formulas of the trade that only tests need: what the package's own are held against."""

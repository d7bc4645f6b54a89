"""Verdicts are reported: pages and figures from what is handed over, nothing computed anew."""

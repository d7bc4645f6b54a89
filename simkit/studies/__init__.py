"""Verdicts are reached: each study orchestrates the stages, one file each."""

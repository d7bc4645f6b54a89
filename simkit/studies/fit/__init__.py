"""Readings fed back: values with intervals, and faults that would explain them."""

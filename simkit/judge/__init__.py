"""Measurements are judged: quantities against limits give statuses, a verdict and a reason."""

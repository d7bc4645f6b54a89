"""What the tolerances of a machine do to the verdict of a run."""

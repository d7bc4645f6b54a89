"""A new machine: its folder, commented files and first scenarios."""

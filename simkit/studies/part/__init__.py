"""One part on the bench: a switch from its data sheet, a workpiece in its coil."""

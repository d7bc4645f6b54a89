"""What would have prevented an overstress: cures searched for, each verified by circuit runs."""

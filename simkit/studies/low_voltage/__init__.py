"""What the instruments show at one setting, healthy or with a fault."""

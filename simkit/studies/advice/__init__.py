"""What to change: combinations searched by the fast model, then rehearsed by circuit."""

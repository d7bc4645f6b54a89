"""What others measured, and what the package made of it before anything was fitted to it."""

"""A machine over its drive frequency, and the window its dead time must hit."""

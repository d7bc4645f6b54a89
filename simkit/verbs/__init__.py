"""The verbs of the command line: each parses its options, calls a study and prints."""

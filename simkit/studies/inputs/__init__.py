"""Machine and scenario files, loaded and held against each other; their uncertain values."""

"""The files a person writes: their schema, and the loader that checks them as a whole."""

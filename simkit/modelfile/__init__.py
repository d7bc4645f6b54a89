"""SPICE model files that a person brings: read by a whitelist, written anew before any engine.

Text -> statements (`lines`) -> numbers and expressions (`numbers`, `expressions`) -> models and
subcircuits (`reader`) -> one flat subcircuit in our own normal form (`flat`, `normal`): numbers
without letters, names of our own, no text of the file. What is not on the list is refused with its
line, the reason and what could be done.
"""

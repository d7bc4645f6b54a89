"""Parts: datasheet numbers, geometry and materials become circuit values.

Pure functions, one formula each, with its source and range of validity. Nothing here knows a
netlist, an engine or a report.
"""

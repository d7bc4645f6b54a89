"""What is timed, each figure against plain ngspice in the same run; see README.md."""

"""`python -m simkit` is the command `simkit`."""

from simkit.cli import main

if __name__ == "__main__":
    main()

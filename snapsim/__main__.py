"""`python -m snapsim` is the command `snapsim`."""

from snapsim.cli import main

if __name__ == "__main__":
    main()

"""Lets ``python -m arranger`` stand in for the ``arranger`` command."""

from arranger.cli.start import main

if __name__ == "__main__":
    main()

"""Run the command line with `python -m hvmon.cli`."""

from hvmon.cli import main

main()

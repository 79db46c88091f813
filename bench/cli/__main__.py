"""`python -m bench.cli` runs the command line."""

from bench.cli import main

main()

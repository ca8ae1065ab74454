"""``python -m grainplan`` is the command line."""

from grainplan.cli import main

main()

"""``python -m solarvent``."""

from solarvent.cli import main

main()

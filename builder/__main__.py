"""`python -m builder` is the command `millbook`."""

from builder.cli import main

main()

"""``python -m verify``: the command line."""

from verify.cli import main

main()

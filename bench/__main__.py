"""`python -m bench` is the `tapebench` command."""

import sys

from bench.cli import process

sys.exit(process())

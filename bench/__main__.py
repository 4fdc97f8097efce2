"""`python -m bench` is the `tapebench` command."""

import sys

from bench.cli import main

sys.exit(main())

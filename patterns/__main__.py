"""`python -m patterns` is the same as `evenhold`."""

import sys

from patterns.cli import main

sys.exit(main())

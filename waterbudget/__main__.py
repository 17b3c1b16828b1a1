"""``python -m waterbudget``: the command line."""

import sys

from waterbudget.cli import main

sys.exit(main())

"""``python -m desktop``: the same as ``waterbudget-desktop``."""

import sys

from desktop.app import main

if __name__ == "__main__":
    sys.exit(main())

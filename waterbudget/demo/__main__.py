"""``python -m waterbudget.demo FOLDER`` (re)writes the demo farm's files into a folder."""

from __future__ import annotations

import sys
from pathlib import Path

from waterbudget.demo.files import write_samples


def main(arguments: list[str]) -> int:
    """Write the files; 2 where no folder is named."""
    if len(arguments) != 1:
        print("Name the folder to write to: python -m waterbudget.demo FOLDER", file=sys.stderr)
        return 2
    write_samples(Path(arguments[0]))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

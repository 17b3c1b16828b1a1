"""Live the month again: draw its pictures and write its section for the README.

``python tests/desktop/draw_month.py [FILE]`` puts the pictures into ``desktop/pictures`` and the
section into FILE (else between its head and the next one of the README, where it stands there).
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
HEAD = "## A month with it"


def draw(target: Path | None) -> int:
    """Run the test with pictures on; return its exit code."""
    with tempfile.TemporaryDirectory() as folder:
        made = target or Path(folder) / "month.md"
        more = {"MONTH_PICTURES": str(ROOT / "desktop" / "pictures"), "MONTH_WORDS": str(made),
                "QT_QPA_PLATFORM": "offscreen"}  # fmt: skip
        test = ROOT / "tests" / "desktop" / "test_month.py"
        done = subprocess.run(
            [sys.executable, "-m", "pytest", "-q", str(test)], env={**os.environ, **more},
            cwd=ROOT, check=False,
        )  # fmt: skip
        if done.returncode == 0 and target is None:
            put_into_readme(made.read_text(encoding="utf-8"))
        return done.returncode


def put_into_readme(section: str) -> None:
    """Put the section in the place of the one that stands in the README."""
    path = ROOT / "README.md"
    text = path.read_text(encoding="utf-8")
    if HEAD not in text:
        print("The README has no section of that name; give a file to write it to.")
        return
    before, _, rest = text.partition(HEAD)
    end = rest.find("\n## ")
    after = rest[end + 1 :] if end >= 0 else ""
    path.write_text(before + section + ("\n" + after if after else ""), encoding="utf-8")


if __name__ == "__main__":
    sys.exit(draw(Path(sys.argv[1]) if len(sys.argv) > 1 else None))

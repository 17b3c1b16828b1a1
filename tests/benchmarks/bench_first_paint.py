"""Time from starting the process to the first paint, beside a bare PySide6 main window.

Run it with ``python tests/benchmarks/bench_first_paint.py`` (offscreen, or on the display there
is); it prints both times and their ratio, which is to stay under 2.2.  Both start as often in
turn, so that a busy machine slows both.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ROUNDS = 9
BAR = 2.2

PAINTED = """
import os, sys, time
from PySide6.QtCore import QEvent, QObject
class Painted(QObject):
    def eventFilter(self, watched, event):
        if event.type() == QEvent.Type.Paint:
            print(time.time(), flush=True)
            os._exit(0)
        return False
"""

BARE = (
    PAINTED
    + """
from PySide6.QtWidgets import QApplication, QMainWindow
app = QApplication([])
window = QMainWindow()
painted = Painted()
window.installEventFilter(painted)
window.resize(1280, 740)
window.show()
app.exec()
"""
)

OURS = (
    PAINTED
    + """
from desktop import app, main_window
build = main_window.MainWindow._build
def with_filter(self):
    build(self)
    self.painted = Painted()
    self.installEventFilter(self.painted)
main_window.MainWindow._build = with_filter
sys.exit(app.main([]))
"""
)


def once(code: str, folder: str) -> float:
    """Start one process; return the seconds to its first paint."""
    settings = {"WATERBUDGET_SETTINGS": f"{folder}/settings.ini", "XDG_DATA_HOME": folder}
    env = {**os.environ, **settings, "PYTHONPATH": str(ROOT)}
    if not (env.get("DISPLAY") or env.get("WAYLAND_DISPLAY")):
        env["QT_QPA_PLATFORM"] = "offscreen"
    began = time.time()
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=env,
                          check=False, timeout=60)  # fmt: skip
    if not done.stdout.strip():
        raise SystemExit(done.stderr)
    return float(done.stdout.split()[-1]) - began


def main() -> None:
    """Print the median times and their ratio."""
    with tempfile.TemporaryDirectory() as folder:
        once(BARE, folder), once(OURS, folder)  # files into the disk cache
        bare, ours = [], []
        for _ in range(ROUNDS):
            bare.append(once(BARE, folder))
            ours.append(once(OURS, folder))
    a, b = statistics.median(bare), statistics.median(ours)
    word = "within" if b / a <= BAR else "OVER"
    print(f"bare window {a:.3f} s, ours {b:.3f} s: ratio {b / a:.2f} ({word} {BAR})")


if __name__ == "__main__":
    main()

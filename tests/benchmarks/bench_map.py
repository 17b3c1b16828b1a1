"""How fast the map moves: 20,000 blocks over a picture of 4,000 x 4,000 pixels.

    python tests/benchmarks/bench_map.py [blocks [corners of a block]]

Pans and zooms a window of 1280 x 800 (offscreen), and prints how long frames took, how long until
the picture was crisp again after the last step of zooming (the rest of 55 ms included), a hit
test, one edited block until it is on the screen, and the memory of the process.  Then the same
with outlines of 200,000 corners in all.
"""

from __future__ import annotations

import os
import random
import resource
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import numpy as np
from PySide6.QtCore import QPointF
from PySide6.QtWidgets import QApplication
from shapely.geometry import Polygon

from desktop import theme
from desktop.mapview import MapBlock, MapCanvas
from desktop.mapview.ground import read_layer
from desktop.mapview.layers import Layer
from desktop.models.standing import Look, Standing

EPSG, EAST, NORTH = 32736, 460_000.0, 7_790_000.0
PITCH = 100.0
STEPS = 300
FRAME_MS = 16.0


def picture(folder: Path, side_m: float) -> Path:
    """Write a GeoTIFF of 4,000 x 4,000 pixels, in degrees, so that it must be warped."""
    import rasterio
    from rasterio.transform import from_origin
    from rasterio.warp import transform_bounds

    n = 4000
    rng = np.random.default_rng(4)
    rough = rng.integers(60, 200, (3, n // 40, n // 40), dtype=np.uint8)
    pixels = rough.repeat(40, axis=1).repeat(40, axis=2)
    pixels[:, ::200, :], pixels[:, :, ::200] = 20, 235
    box = transform_bounds(f"EPSG:{EPSG}", 4326, EAST, NORTH, EAST + side_m, NORTH + side_m)
    where = from_origin(box[0], box[3], (box[2] - box[0]) / n, (box[3] - box[1]) / n)
    path = folder / "air.tif"
    with rasterio.open(path, "w", driver="GTiff", width=n, height=n, count=3, dtype="uint8",
                       crs="EPSG:4326", transform=where, tiled=True) as file:  # fmt: skip
        file.write(pixels)
    return path


def blocks_of(count: int, corners: int) -> list[MapBlock]:
    """Return blocks on a square grid, of uneven outlines and every look."""
    rng = np.random.default_rng(7)
    side = int(np.ceil(np.sqrt(count)))
    looks, made = list(Look), []
    for k in range(count):
        x, y = EAST + (k % side) * PITCH + PITCH / 2, NORTH + (k // side) * PITCH + PITCH / 2
        turn = np.sort(rng.uniform(0, 2 * np.pi, corners))
        away = rng.uniform(36, 49, corners) if corners < 50 else 44 + 3 * np.sin(9 * turn)
        outline = Polygon(np.column_stack([x + away * np.cos(turn), y + away * np.sin(turn)]))
        stage = "fill" if k % 7 == 0 else "shoots"
        standing = Standing(looks[int(rng.integers(len(looks)))], stage, 0.5, 9.0, 20.0, 3)
        made.append(MapBlock(k + 1, f"Block {k + 1}", outline.buffer(0), standing, 0.5))
    return made


class Bench:
    """A map, and what its frames took."""

    def __init__(self, app: QApplication, blocks: list[MapBlock], layer: Layer) -> None:
        self.app, self.blocks = app, blocks
        self.map = MapCanvas()
        self.map.resize(1280, 800)
        self.map.show_blocks(blocks, EPSG)
        self.map.set_layers([layer])
        self.map.show()
        self.frames: list[float] = []

    def frame(self, do: Callable[[], None]) -> None:
        """Do one step as an event would, paint, and note how long the window was held up."""
        start = time.perf_counter()
        do()  # asks for a repaint, which comes with the events
        self.app.processEvents()
        took = (time.perf_counter() - start) * 1000
        self.frames.append(took)
        time.sleep(max(0.0, FRAME_MS - took) / 1000)

    def until_crisp(self) -> float:
        """Return how long it takes until everything in sight is up to date [ms]."""
        start = time.perf_counter()
        while not (self.map.backdrop.resting and self.map.backdrop.crisp()):
            self.app.processEvents()
            time.sleep(0.001)
            if time.perf_counter() - start > 20:
                return float("nan")
        self.map.repaint()
        return (time.perf_counter() - start) * 1000


def told(name: str, frames: list[float]) -> None:
    """Print what frames took."""
    late = sum(f > FRAME_MS for f in frames)
    ordered = sorted(frames)
    print(f"{name:<28} {len(frames)} frames, median {median(frames):5.1f} ms, 99 % under "
          f"{ordered[int(0.99 * len(frames))]:5.1f}, worst {ordered[-1]:5.1f}, over 16 ms: "
          f"{late} ({100 * late / len(frames):.1f} %)")  # fmt: skip


def moved(bench: Bench) -> None:
    """Pan and zoom."""
    canvas = bench.map
    rnd = random.Random(3)
    bench.until_crisp()
    canvas.zoom(6.0)
    bench.until_crisp()
    bench.frames.clear()
    angle = 0.0
    for _ in range(STEPS):
        angle += rnd.uniform(-0.3, 0.3)
        dx, dy = 24 * np.cos(angle), 24 * np.sin(angle)
        bench.frame(lambda dx=dx, dy=dy: canvas.pan(dx, dy))
    told("pans", bench.frames)
    bench.frames.clear()
    crisp: list[float] = []
    canvas.fit()
    bench.until_crisp()
    up = [1.2] * 22 + [1 / 1.2] * 22
    for k in range(STEPS):
        at = QPointF(640 + rnd.uniform(-200, 200), 400 + rnd.uniform(-120, 120))
        bench.frame(lambda k=k, at=at: canvas.zoom(up[k % 44], at))
        if k % 11 == 10:
            crisp.append(bench.until_crisp())
    told("zoom steps", bench.frames)
    print(
        f"{'crisp again after zooming':<28} median {median(crisp):.0f} ms, worst {max(crisp):.0f}"
    )


def touched(bench: Bench) -> None:
    """Hit tests, and one edited block."""
    canvas = bench.map
    canvas.fit()
    bench.until_crisp()
    spots = [QPointF(random.uniform(200, 1000), random.uniform(50, 750)) for _ in range(2000)]
    while not canvas.backdrop.idle:
        bench.app.processEvents()
    canvas.block_at(spots[0])
    start = time.perf_counter()
    hits = sum(canvas.scene.at(*canvas.camera.to_ground(spot)) is not None for spot in spots)
    took = (time.perf_counter() - start) / len(spots) * 1e6
    print(f"{'hit test':<28} {took:.0f} microseconds ({hits} of {len(spots)} on a block)")
    for name, zoom in (("everything in sight", 1.0), ("blocks of 60 px", 10.0)):
        canvas.zoom(zoom)
        bench.until_crisp()
        times = []
        for turn in range(15):
            row = len(bench.blocks) // 2 + turn * 3
            old = bench.blocks[row]
            outline = old.outline.buffer(-1.0 - turn % 3)
            bench.blocks[row] = MapBlock(old.id, old.name, outline, old.standing, old.hectares)
            start = time.perf_counter()
            canvas.show_blocks(bench.blocks, EPSG)
            bench.until_crisp()
            times.append((time.perf_counter() - start) * 1000)
        label = f"edited block, {name}"
        print(f"{label:<36} median {median(times):.0f} ms, worst {max(times):.0f}")


def main(count: int, corners: int) -> None:
    """Measure and print."""
    app = QApplication.instance() or QApplication([])
    assert isinstance(app, QApplication)
    theme.use(app, "light")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        side = np.ceil(np.sqrt(count)) * PITCH
        start = time.perf_counter()
        layer = read_layer(picture(folder, side), "picture", EPSG, folder / "cache")
        print(f"picture brought into metres once: {time.perf_counter() - start:.1f} s")
        for many, each in ((count, corners), (200, 1000)):
            print(f"\n{many} blocks, {many * each} corners, 1280 x 800")
            bench = Bench(app, blocks_of(many, each), layer)
            moved(bench)
            touched(bench)
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            now = int(Path("/proc/self/statm").read_text().split()[1]) * 4096 / 2**20
            print(f"{'memory':<28} {now:.0f} MB, at most {peak:.0f} MB")
            bench.map.backdrop.stop()
            bench.map.close()
            bench.map.deleteLater()


if __name__ == "__main__":
    given = [int(a) for a in sys.argv[1:] if a.isdigit()]
    main(given[0] if given else 20_000, given[1] if len(given) > 1 else 10)

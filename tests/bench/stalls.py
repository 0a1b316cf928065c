"""How long the desktop stands still while a county is loaded, asked and edited:  stalls.py [LINES]

Runs the dock on a window without a screen, with the event loop of the desktop. A timer is due every few milliseconds;
the longest time between two of its calls is the longest stall a user would feel. On a machine at work the CPU of the
process between two calls says more. Prints a line a phase.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
import tempfile
import time
from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS), str(TESTS / "in_qgis"), str(Path(__file__).resolve().parent)]
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

DUE_MS, CLICKS, SETTLE_S = 2, 20, 0.3


class Heart:
    """Counts how long the event loop keeps a timer waiting."""

    def __init__(self):
        from qgis.PyQt.QtCore import Qt, QTimer

        self.longest_s = self.longest_cpu_s = 0.0
        self._last, self._last_cpu = time.perf_counter(), time.process_time()
        self._timer = QTimer()
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.setInterval(DUE_MS)
        self._timer.timeout.connect(self._beat)
        self._timer.start()

    def _beat(self):
        now, cpu = time.perf_counter(), time.process_time()
        self.longest_s = max(self.longest_s, now - self._last)
        self.longest_cpu_s = max(self.longest_cpu_s, cpu - self._last_cpu)
        self._last, self._last_cpu = now, cpu

    def taken(self):
        """The longest stall since the last time this was asked: by the wall, and by the CPU of the whole process."""
        found = self.longest_s, self.longest_cpu_s
        self.longest_s = self.longest_cpu_s = 0.0
        return "{:.0f} ms ({:.0f} ms of CPU)".format(*(1000 * seconds for seconds in found))


class Run:
    def __init__(self, vector):
        from qgis.core import QgsProject, QgsVectorLayer
        from stand_in import StandIn

        self.desktop = StandIn()
        self.desktop.window.show()
        self.layers = {}
        for name in ("land", "drains", "structures", "trees", "tree_rows", "woods"):
            layer = QgsVectorLayer(f"{vector}|layername={name}", name, "ogr")
            if layer.isValid():
                self.layers[name] = QgsProject.instance().addMapLayer(layer)
        drains = self.layers["drains"]
        self.desktop.canvas.setDestinationCrs(drains.crs())
        self.desktop.canvas.setExtent(drains.extent())
        self.heart = Heart()

    def until(self, true, most_s=300.0):
        """Run the event loop until something is so; returns the seconds."""
        from qgis.PyQt.QtCore import QEventLoop, QTimer

        began, loop, asking = time.perf_counter(), QEventLoop(), QTimer()
        asking.timeout.connect(lambda: loop.quit() if true() or time.perf_counter() - began > most_s else None)
        asking.start(5)
        loop.exec()
        return time.perf_counter() - began

    def rest(self):
        began = time.perf_counter()
        self.until(lambda: time.perf_counter() - began > SETTLE_S)

    def phase(self, name, begin, done):
        self.rest()
        self.heart.taken()
        began = time.perf_counter()
        begin()
        at_once_s = time.perf_counter() - began
        took_s = self.until(done)
        self.rest()
        print(f"{name}: longest stall {self.heart.taken()}; call {1000 * at_once_s:.0f} ms; "
              f"done after {took_s:.2f} s", flush=True)

    def all(self):
        from fallkeeper.plugin.gui import settings
        from fallkeeper.plugin.gui.dock import FallkeeperDock

        settings.ACCEPT_PROPOSED.keep(True)  # the generator leaves ends apart that are meant to meet
        docks = []
        self.phase("open the dock and load", lambda: docks.append(FallkeeperDock(self.desktop, lambda *what: None)),
                   lambda: docks and docks[0].session.loaded is not None)
        dock, = docks
        self.dock, session = dock, dock.session
        dock.ask(dock.trace)
        places = self.places(session.loaded.county)
        for name, at in places.items():
            self.click(name, at)
        self.hover(list(places.values())[0])
        drains = self.layers["drains"]
        drains.startEditing()
        number = next(drains.getFeatures()).id()
        self.phase("one edit", lambda: self.move(drains, number), self.is_settled)
        self.phase("check everything", lambda: dock.findings.check(), lambda: session.findings is not None)
        self.phase("open the findings", lambda: dock.ask(dock.findings), lambda: True)
        self.phase("one edit with findings", lambda: self.move(drains, number), self.is_settled)
        self.phase("cancel a reading", self.cancel, lambda: not session.is_loading)
        drains.rollBack()
        self.phase("read all again", session.load_anew, lambda: not session.is_loading)
        dock.close_for_good()
        settings.ACCEPT_PROPOSED.keep(False)

    def is_settled(self):
        return not self.dock.session.is_loading and not self.dock.session.is_behind

    def cancel(self):
        from qgis.core import QgsApplication

        session = self.dock.session
        session.load_anew()
        self.until(lambda: QgsApplication.taskManager().countActiveTasks() > 0)
        self.rest()
        began = time.perf_counter()
        self.dock.header._cancel.click()
        said_s = time.perf_counter() - began
        ended_s = self.until(lambda: QgsApplication.taskManager().countActiveTasks() == 0)
        print(f"cancel: answered after {1000 * said_s:.0f} ms, the work has ended after {ended_s:.2f} s", flush=True)

    def click(self, name, at):
        """From the click to the highlight, and until the words are there."""
        from qgis.core import QgsPointXY

        trace, point, seconds = self.dock.trace, QgsPointXY(*at), []
        for _ in range(CLICKS):
            began = time.perf_counter()
            trace.ask(point)
            seconds.append(time.perf_counter() - began)
            self.heart.taken()
            self.until(lambda: trace._answer is not None)
        seconds.sort()
        pieces = len(trace._traced.above.pieces)
        print(f"click on {name} ({pieces:,} pieces above): to the highlight {1000 * seconds[len(seconds) // 2]:.1f} ms "
              f"(largest {1000 * seconds[-1]:.1f}); longest stall until the words {self.heart.taken()}",
              flush=True)

    def hover(self, at):
        from qgis.core import QgsPointXY

        began = time.perf_counter()
        for _ in range(CLICKS):
            self.dock.trace.say_under(QgsPointXY(*at))
        print(f"hover: {1000 * (time.perf_counter() - began) / CLICKS:.1f} ms", flush=True)

    def places(self, county):
        """On the pipe with most pipe above: in the largest system, one of median size, one of some 6,000 pieces."""
        import numpy as np

        net, above = county.network, np.nan_to_num(county.length_above_m)
        systems, size = np.unique(net.piece_system, return_counts=True)
        order = np.argsort(size)
        chosen = {"the largest system": order[-1], "a system of median size": order[len(order) // 2],
                  "a system of about 6,000 pieces": np.argmin(np.abs(size - 6000))}
        places = {}
        for name, row in chosen.items():
            rows = np.flatnonzero(net.piece_system == systems[row])
            piece = rows[np.argmax(above[rows])]
            middle = (net.pieces.from_m[piece] + net.pieces.to_m[piece]) / 2
            places[f"{name} ({size[row]:,} pieces)"] = net.lines.points_at(net.pieces.line[[piece]], [middle])[0]
        return places

    def move(self, drains, number):
        from qgis.core import QgsGeometry

        shape = QgsGeometry(drains.getFeature(number).geometry())
        shape.translate(1.0, 1.0)
        drains.changeGeometry(number, shape)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("lines", nargs="?", type=int, default=200_000)
    parser.add_argument("--vector", type=Path, help="a GeoPackage to use instead of a generated county")
    given = parser.parse_args()
    import conftest  # noqa: F401 (makes the checkout importable)
    from county import generator, provide
    from qgis.core import QgsApplication

    vector = given.vector or provide(generator(), given.lines).vector
    application = QgsApplication([], True)
    application.initQgis()
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "county.gpkg"
        shutil.copyfile(vector, copy)
        run = Run(copy)
        run.all()
        sys.stdout.flush()
        os._exit(0)  # QGIS with packages of pip may crash while it ends
    return 0


if __name__ == "__main__":
    sys.exit(main())

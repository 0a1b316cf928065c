"""Runs inside the QGIS that ../desktop.py starts: waits for the start to end, runs the steps, closes QGIS."""

import json
import os
import time
import traceback
from pathlib import Path

import qgis.utils
from qgis.core import QgsProject
from qgis.PyQt.QtCore import QEventLoop, QTimer
from qgis.PyQt.QtWidgets import QApplication
from qgis.utils import iface

TOLD = json.loads(os.environ["FALLKEEPER_DESKTOP"])
OUT = Path(TOLD["out"])


def wait(seconds):
    loop = QEventLoop()
    QTimer.singleShot(int(seconds * 1000), loop.quit)
    loop.exec()


def wait_for_map(limit_s=30):
    end = time.monotonic() + limit_s
    wait(0.3)
    while iface.mapCanvas().isDrawing() and time.monotonic() < end:
        wait(0.1)


def save(pixmap, name):
    if not pixmap.save(str(OUT / f"{name}.png"), "PNG"):
        raise RuntimeError(f"cannot save the picture {name}")


def picture(name, widget=None):
    wait(0.3)
    save((widget or iface.mainWindow()).grab(), name)


def screen(name):
    wait(0.3)
    save(QApplication.primaryScreen().grabWindow(0), name)


def while_open(open_dialog, look, after_s=0.5):
    failures = []

    def act():
        try:
            look()
        except Exception as failure:
            failures.append(failure)
        finally:
            dialog = QApplication.activeModalWidget()
            if dialog is not None:
                dialog.close()

    QTimer.singleShot(int(after_s * 1000), act)
    open_dialog()
    if failures:
        raise failures[0]


def run_steps():
    window = iface.mainWindow()
    window.showNormal()
    window.setGeometry(0, 0, *TOLD["size"])
    wait_for_map()
    script = Path(TOLD["steps"])
    names = {
        "iface": iface, "plugin": qgis.utils.plugins["fallkeeper"], "out": OUT, "picture": picture,
        "screen": screen, "wait": wait, "wait_for_map": wait_for_map, "while_open": while_open,
    }  # fmt: skip
    exec(compile(script.read_text(encoding="utf-8"), str(script), "exec"), names)
    (OUT / "passed").touch()


def main():
    try:
        run_steps()
    except BaseException:
        traceback.print_exc()
        screen("error")
    QTimer.singleShot(8000, lambda: os._exit(1))  # should something keep QGIS from closing
    iface.newProject(False)  # otherwise QGIS asks about layers that are not saved
    QgsProject.instance().setDirty(False)
    iface.actionExit().trigger()


QTimer.singleShot(500, main)

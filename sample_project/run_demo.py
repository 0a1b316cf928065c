"""The main job on the sample county, without a desktop: `run_demo.py [FOLDER]` (default: demo_output)."""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
import time
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
HERE = Path(__file__).resolve().parent
PROCESSING_FOLDERS = ("/usr/share/qgis/python/plugins", "/usr/share/qgis/python")


def main() -> int:
    """Run the demo; the exit status is 0 if every known answer was found."""
    folder = Path(sys.argv[1] if len(sys.argv) > 1 else "demo_output").resolve()
    profile = tempfile.mkdtemp(prefix="fallkeeper_demo_")  # an empty profile: no user setting changes the result
    os.environ["QGIS_CUSTOM_CONFIG_PATH"] = profile
    sys.path += [path for path in PROCESSING_FOLDERS if Path(path).is_dir() and path not in sys.path]
    from qgis.core import QgsApplication, QgsProject

    application = QgsApplication([], True)
    application.initQgis()
    try:
        return _work(folder)
    finally:
        QgsProject.instance().clear()
        application.exitQgis()
        shutil.rmtree(profile, ignore_errors=True)


def _work(folder: Path) -> int:
    sys.path.insert(0, str(HERE))
    import build_sample

    build_sample.import_checkout()
    from fallkeeper.processing_algs.provider import FallkeeperProvider
    from fallkeeper.sample_project.demo_job import Demo
    from fallkeeper.sample_project.demo_pictures import draw_pictures
    from processing.core.Processing import Processing
    from qgis.core import QgsApplication

    started, progress = time.monotonic(), Progress()
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    progress.say("Building the sample county")
    build_sample.build(folder)
    Processing.initialize()
    provider = FallkeeperProvider()
    QgsApplication.processingRegistry().addProvider(provider)
    try:
        demo = Demo(folder, progress.run, progress.say)
        demo.everything()
        progress.say("Drawing maps and profiles")
        pictures = draw_pictures(folder)
        progress.done()
    finally:
        QgsApplication.processingRegistry().removeProvider(provider)
    _print_summary(folder, demo.answers, pictures, time.monotonic() - started)
    return 0 if all(answer.agrees for answer in demo.answers) else 1


class Progress:
    """One line on the screen that says which step runs and how far it is."""

    STEPS = 8

    def __init__(self) -> None:
        self.step = 0
        self.words = ""

    def say(self, words: str) -> None:
        self.step += 1
        self.words = words
        self._show(0)

    def run(self, algorithm: str, parameters: dict) -> dict:
        import processing
        from qgis.core import QgsProcessingFeedback

        feedback = QgsProcessingFeedback(False)
        feedback.progressChanged.connect(self._show)
        return processing.run(f"fallkeeper:{algorithm}", parameters, feedback=feedback)

    def _show(self, percent: float) -> None:
        if sys.stdout.isatty():
            bar = "#" * int(percent / 5)
            print(f"\r[{self.step}/{self.STEPS}] {self.words:<52} [{bar:<20}]", end="", flush=True)
        elif percent == 0:
            print(f"[{self.step}/{self.STEPS}] {self.words}", flush=True)

    def done(self) -> None:
        if sys.stdout.isatty():
            print("\r" + " " * 90 + "\r", end="")


def _print_summary(folder: Path, answers: list, pictures: list[Path], seconds: float) -> None:
    print(f"\nOssel Flats, the sample county: {len(answers)} questions with known answers")
    print(f"  {'question':<50} {'found':>21} {'known':>21}")
    for answer in answers:
        sign = "ok" if answer.agrees else "DIFFERS"
        print(f"  {answer.question:<50} {answer.found:>21} {answer.known:>21}  {sign}")
    files = [folder / "report.html", *sorted(folder.glob("reroute_*.html")), *pictures, folder / "results.gpkg"]
    print("\nMade in " + str(folder) + ":")
    print("  " + ", ".join(path.name for path in files))
    print(f"Open report.html first, then {folder / 'ossel_flats.qgz'} in QGIS. {seconds:.0f} s.")


if __name__ == "__main__":
    sys.exit(main())

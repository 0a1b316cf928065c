"""Drives the real QGIS desktop on a screen of its own: a fresh profile, the plugin switched on, a script of steps.

    outcome = run_desktop(tmp_path, "picture('start')", project=path_of_a_project)
    assert outcome.passed, outcome.output

The steps run inside QGIS with these names: `iface`; `plugin`, the plugin object QGIS holds; `out`, the folder
for results; `picture(name, widget=None)` saves a PNG of a widget (default: the main window); `screen(name)` of the
whole screen, open menus and dialogs included; `wait(seconds)`; `wait_for_map()`; `while_open(open_dialog, look)`
calls `look` while a dialog that blocks is open, then closes it. What the steps print is in `outcome.output`.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import sysconfig
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
BOOT = ROOT / "tests" / "in_qgis" / "desktop_boot.py"
SCREEN = (1600, 1000)
SETTINGS = """\
[PythonPlugins]
processing=true
fallkeeper=true
[qgis]
checkVersion=false
showTips=false
warnOldProjectVersion=false
[app]
projections\\unknownCrsBehavior=NoAction
[locale]
overrideFlag=true
userLocale=en_US
globalLocale=en_US
"""

can_run = bool(shutil.which("qgis") and shutil.which("Xvfb"))


@dataclass(frozen=True)
class Outcome:
    """How a run of the desktop ended. `passed`: the steps came to their end; pictures are in `out`."""

    passed: bool
    output: str
    out: Path


def run_desktop(
    folder: Path,
    steps: str,
    project: Path | None = None,
    with_packages: bool = True,
    environment: dict[str, str] | None = None,
    limit_s: float = 120,
) -> Outcome:
    """Start QGIS in `folder` (its profile and results go there), run `steps` in it, and end it.

    Without `with_packages` QGIS sees no package but the system's own.
    """
    out = folder / "out"
    out.mkdir(parents=True)
    _make_profile(folder / "profiles" / "test")
    script = folder / "steps.py"
    script.write_text(steps, encoding="utf-8")
    told = {"steps": str(script), "out": str(out), "size": SCREEN}
    command = ["qgis", "--nologo", "--noversioncheck", "--profiles-path", str(folder), "--profile", "test"]
    command += ["--project", str(project)] if project else []
    with _screen() as display:
        surroundings = _environment(folder, display, with_packages)
        surroundings.update(environment or {}, FALLKEEPER_DESKTOP=json.dumps(told))
        output = _run([*command, "--code", str(BOOT)], surroundings, limit_s)
    return Outcome((out / "passed").exists(), output, out)


def _make_profile(profile: Path) -> None:
    plugins = profile / "python" / "plugins"
    plugins.mkdir(parents=True)
    (plugins / "fallkeeper").symlink_to(ROOT, target_is_directory=True)
    (profile / "QGIS").mkdir()
    (profile / "QGIS" / "QGIS3.ini").write_text(SETTINGS, encoding="utf-8")


def _environment(folder: Path, display: str, with_packages: bool) -> dict[str, str]:
    left_out = {"QT_QPA_PLATFORM", "QGIS_CUSTOM_CONFIG_PATH", "PYTHONPATH", "VIRTUAL_ENV"}
    environment = {name: value for name, value in os.environ.items() if name not in left_out}
    runtime = folder / "runtime"
    runtime.mkdir(mode=0o700)
    environment.update(
        DISPLAY=display, XDG_RUNTIME_DIR=str(runtime), LIBGL_ALWAYS_SOFTWARE="1", QGIS_DISABLE_MESSAGE_HOOKS="1",
        PYTHONDONTWRITEBYTECODE="1", PYTHONUNBUFFERED="1", PYTHONNOUSERSITE="1", HOME=str(folder),
    )  # fmt: skip
    if with_packages and sys.prefix != sys.base_prefix:
        environment["PYTHONPATH"] = sysconfig.get_path("purelib")
    return environment


@contextmanager
def _screen():
    """A screen in memory with a number nobody else has; yields its name."""
    read, write = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(write), "-screen", "0", "{}x{}x24".format(*SCREEN), "-nolisten", "tcp"],
        pass_fds=[write], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    os.close(write)
    try:
        with os.fdopen(read, encoding="ascii") as numbers:
            yield f":{numbers.readline().strip()}"
    finally:
        server.terminate()
        server.wait()


def _run(command: list[str], environment: dict[str, str], limit_s: float) -> str:
    """What the program prints until its end; it is ended when it takes longer than `limit_s`."""
    try:
        done = subprocess.run(
            command, env=environment, timeout=limit_s, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
            encoding="utf-8", errors="replace",
        )  # fmt: skip
    except subprocess.TimeoutExpired as late:
        said = late.stdout or b""
        return f"{said.decode('utf-8', 'replace')}\nQGIS had not ended after {limit_s} s"
    return f"{done.stdout}\nQGIS ended with status {done.returncode}"

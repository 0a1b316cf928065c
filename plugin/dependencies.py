"""Which Python packages the plugin needs, which are missing here, and what to tell the user.

Standard library only at the top: QGIS must be able to load the plugin, and say this, without any of them.
Versions are not parsed, since some distributions build packages that do not know theirs; what is asked is
whether the functions the engine calls are there.
"""

from __future__ import annotations

import importlib
import importlib.util
import os
import sys
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType


@dataclass(frozen=True)
class Package:
    """A package by its import name, the least version, and functions that tell an older version from it."""

    name: str
    least: str = ""
    functions: tuple[str, ...] = ()

    @property
    def requirement(self) -> str:
        """What pip is asked for."""
        return f"{self.name}>={self.least}" if self.least else self.name

    @property
    def shown(self) -> str:
        return f"{self.name} ({self.least} or newer)" if self.least else self.name


@dataclass(frozen=True)
class Missing:
    """A package that is absent, too old or broken."""

    package: Package
    why: str


NEEDED = (
    Package("numpy"),
    Package("scipy"),
    # shapely 1 has none of these
    Package("shapely", "2", ("linestrings", "get_coordinates", "force_2d", "shortest_line", "set_precision")),
    Package("geopandas", "0.14"),
    Package("networkx", "2.8"),
)


def missing_packages() -> list[Missing]:
    """What this Python lacks. Large packages are only looked for, those with functions to ask for are imported."""
    return [Missing(package, why) for package in NEEDED for why in [_fault(package)] if why]


def _fault(package: Package) -> str:
    """Why a package cannot be used; empty if it can."""
    if not _is_there(package.name):
        return "is not installed"
    if not package.functions:
        return ""
    try:
        module = import_apart(package.name)
    except ImportError as error:
        return f"cannot be loaded ({error})"
    return "" if all(hasattr(module, name) for name in package.functions) else "is too old"


def import_apart(name: str) -> ModuleType:
    """Import a package that brings compiled libraries of its own, so that they are not mixed with those of QGIS.

    The programs of QGIS on Linux hold the system's GEOS and PROJ, and functions of that name are looked up there
    first, also for wheels of shapely and pyproj. Results are right even so, but the two copies clear up after each
    other, and the program crashes when it ends. Other systems keep libraries apart by themselves.
    """
    apart = getattr(os, "RTLD_DEEPBIND", 0)
    if not apart:
        return importlib.import_module(name)
    flags = sys.getdlopenflags()
    sys.setdlopenflags(flags | apart)
    try:
        return importlib.import_module(name)
    finally:
        sys.setdlopenflags(flags)


def _is_there(name: str) -> bool:
    try:
        return importlib.util.find_spec(name) is not None
    except (ImportError, ValueError):  # a half-removed package
        return False


@dataclass(frozen=True)
class Host:
    """What decides how packages can be added to this QGIS."""

    system: str  # as sys.platform
    python: str  # the interpreter beside QGIS, for a command line
    python_version: tuple[int, int]
    has_apt: bool
    has_pip: bool
    in_flatpak: bool
    profile_python: Path  # a folder of the user's profile that QGIS has on sys.path
    numpy_version: str  # "" where there is none

    @classmethod
    def here(cls, profile_folder: Path) -> Host:
        """This computer; `profile_folder` is that of the QGIS user profile."""
        version = (sys.version_info.major, sys.version_info.minor)
        interpreter = Path(sys.base_prefix) / "bin" / "python{}.{}".format(*version)
        return cls(
            system=sys.platform,
            python=str(interpreter) if interpreter.exists() else "python3",
            python_version=version,
            has_apt=Path(sys.base_prefix, "bin", "apt").exists(),
            has_pip=_is_there("pip"),
            in_flatpak="FLATPAK_ID" in os.environ,
            profile_python=profile_folder / "python",
            numpy_version=_numpy_version(),
        )


def _numpy_version() -> str:
    try:
        return importlib.import_module("numpy").__version__
    except ImportError:
        return ""


def install_commands(missing: list[Missing], host: Host) -> list[str]:
    """The command lines that add what is missing; none where the system leaves no way."""
    if host.system == "darwin" or host.in_flatpak:
        return []
    if host.has_apt and host.python_version >= (3, 12):  # older Debian and Ubuntu carry a shapely that is too old
        return ["sudo apt install " + " ".join(f"python3-{one.package.name}" for one in missing)]
    wanted = " ".join(f'"{requirement}"' for requirement in _requirements(missing, host))
    if host.system == "win32":
        return [f"python -m pip install {wanted}"]
    pip_first = ["sudo apt install python3-pip"] if host.has_apt and not host.has_pip else []
    return [*pip_first, f'{host.python} -m pip install --target "{host.profile_python}" {wanted}']


def _requirements(missing: list[Missing], host: Host) -> list[str]:
    """What pip is asked for. The numpy QGIS was built with is pinned: a newer one would break its raster functions."""
    pinned = [f"numpy=={host.numpy_version}"] if host.numpy_version else []
    return pinned + [one.package.requirement for one in missing]


@dataclass(frozen=True)
class Complaint:
    """What is missing: a line for the message bar, the whole text, and the command to copy ("" where there is none)."""

    summary: str
    text: str
    command: str


def complaint(profile_folder: Path) -> Complaint | None:
    """What to tell the user of the QGIS profile in this folder; None if nothing is missing."""
    missing = missing_packages()
    return explain(missing, Host.here(profile_folder)) if missing else None


def explain(missing: list[Missing], host: Host) -> Complaint:
    """The text about packages that are missing on a host."""
    commands = install_commands(missing, host)
    text = [
        "Fallkeeper needs Python packages that this QGIS does not have:",
        *(f"- {one.package.shown} {one.why}" for one in missing),
        "",
        "Building, checking and tracing networks does not work without them. The archive, its forms and styles do.",
        "",
        *_remedy(commands, host),
    ]
    names = ", ".join(one.package.name for one in missing)
    return Complaint(f"Python packages are missing: {names}", "\n".join(text), "\n".join(commands))


def _remedy(commands: list[str], host: Host) -> list[str]:
    if commands:
        where = "in the OSGeo4W Shell of this QGIS (start menu)" if host.system == "win32" else "in a terminal"
        return [f"Run {where}:", "", *commands, "", "Then start QGIS again."]
    this = "The Flatpak of QGIS" if host.in_flatpak else "QGIS for macOS"
    return [f"{this} has no supported way to take further packages. Use QGIS from conda-forge together with them."]

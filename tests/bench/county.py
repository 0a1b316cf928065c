"""Generated counties for the benchmark, made once and kept in a folder that git ignores."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

GENERATOR = "FALLKEEPER_COUNTY_GENERATOR"
ROOT = Path(__file__).resolve().parents[2]
CACHE = ROOT / ".bench"
ADDITIONS = Path(__file__).resolve().with_name("additions.py")
SEED = 1
COARSE_FROM = 1_000_000  # so many lines lie on so much land that a ground of 1 m would take 10 GB


@dataclass(frozen=True)
class County:
    """A generated county: `vector` has layers under the archive's names, `ground` is its raster."""

    folder: Path
    lines: int

    @property
    def vector(self) -> Path:
        return self.folder / "county.gpkg"

    @property
    def ground(self) -> Path:
        return self.folder / "dem.tif"

    def layer(self, name: str) -> str:
        """A layer as QGIS takes it."""
        return f"{self.vector}|layername={name}"


def generator() -> Path | None:
    """The script that makes counties, where the environment names one that exists."""
    named = os.environ.get(GENERATOR, "")
    return Path(named).resolve() if named and Path(named).is_file() else None


def cell_m(lines: int) -> float:
    return 2.0 if lines >= COARSE_FROM else 1.0


def provide(script: Path, lines: int, cache: Path = CACHE) -> County:
    """The county of so many lines, made if it is not there or was made by another version of its makers."""
    county = County(cache / f"county_{lines}", lines)
    stamp, made_by = county.folder / "stamp", _version(script, lines)
    if stamp.exists() and stamp.read_text(encoding="utf-8") == made_by:
        return county
    shutil.rmtree(county.folder, ignore_errors=True)
    county.folder.mkdir(parents=True)
    order = [str(script), "--lines", str(lines), "--cell", str(cell_m(lines)), "--seed", str(SEED)]
    subprocess.run([sys.executable, *order, "--out", str(county.folder)], check=True)
    subprocess.run([sys.executable, str(ADDITIONS), str(county.vector)], check=True)
    stamp.write_text(made_by, encoding="utf-8")
    return county


def _version(script: Path, lines: int) -> str:
    made_from = script.read_bytes() + ADDITIONS.read_bytes() + f"{lines} {cell_m(lines)} {SEED}".encode()
    return hashlib.sha256(made_from).hexdigest()

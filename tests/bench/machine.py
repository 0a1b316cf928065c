"""What the figures were taken on."""

from __future__ import annotations

import os
import platform
from pathlib import Path

from county import County
from measure import Clock


def describe(county: County, clock: Clock) -> None:
    """Processor, memory and versions, and the size of the ground of this county."""
    import geopandas
    import networkx
    import numpy
    import pandas
    import scipy
    import shapely
    from osgeo import gdal
    from qgis.core import Qgis

    raster = gdal.Open(str(county.ground))
    clock.facts["cells"] = raster.RasterXSize * raster.RasterYSize
    clock.facts["ground_mb"] = county.ground.stat().st_size / 1e6
    clock.facts["vector_mb"] = county.vector.stat().st_size / 1e6
    clock.facts["machine"] = {
        "Processor": f"{_processor()}, {os.cpu_count()} cores",
        "Memory": f"{os.sysconf('SC_PAGE_SIZE') * os.sysconf('SC_PHYS_PAGES') / 2**30:.0f} GiB",
        "System": f"{_system()}, Linux {platform.release()}",
        "QGIS": Qgis.QGIS_VERSION,
        "GDAL": gdal.VersionInfo("RELEASE_NAME"),
        "Python": platform.python_version(),
        "numpy": numpy.__version__,
        "shapely": f"{shapely.__version__} (GEOS {shapely.geos_version_string})",
        "scipy": scipy.__version__,
        "geopandas": geopandas.__version__,
        "pandas": pandas.__version__,
        "networkx": networkx.__version__,
    }


def _processor() -> str:
    lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    names = {name.strip(): value.strip() for name, _, value in (line.partition(":") for line in lines)}
    return f"{names.get('model name', platform.processor())}, family {names.get('cpu family', 'unknown')}"


def _system() -> str:
    lines = Path("/etc/os-release").read_text(encoding="utf-8").splitlines()
    named = dict(line.split("=", 1) for line in lines if "=" in line)
    return named.get("PRETTY_NAME", platform.system()).strip('"')

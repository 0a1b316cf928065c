"""Small networks in feet of the US survey, put where their CRS is at home."""

from fallkeeper.sample_project import rows as sample_rows
from qgis_layers import layer

OHIO = sample_rows.CRS
ORIGIN = sample_rows.ORIGIN_FT


def in_ohio(rows, name="layer"):
    return layer(rows, OHIO, name, origin=ORIGIN)


def point(x, y, crs=OHIO):
    """A place of a network as a parameter takes it."""
    return f"{ORIGIN[0] + x},{ORIGIN[1] + y} [{crs}]"

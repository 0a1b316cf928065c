"""The invented county Ossel Flats as GeoDataFrames, without a file: what the sample archive holds.

    frames = scenario_frames(bridged=True)
    drains = Drains.from_frame(frames["drains"])
"""

import geopandas
import shapely
from fallkeeper.plugin.schema import layer
from fallkeeper.plugin.units import US, US_SURVEY_FOOT_M, Units
from fallkeeper.sample_project import rows

UNITS = Units(US, US_SURVEY_FOOT_M)


def scenario_frames(*, bridged=False, si=True, origin_ft=(0.0, 0.0)):
    """Layer -> GeoDataFrame with the archive's fields; layers without a row have none.

    `si`: planar metres and figures in SI, as the engine wants them; else feet and the figures of a us archive.
    `bridged` adds the 80 ft between the two sheets of main B (drain B-gap), which the sample leaves out.
    `origin_ft`: where local (0, 0) lies; rows.ORIGIN_FT is its place in EPSG:3734.
    """
    size = US_SURVEY_FOOT_M if si else 1.0
    return {name: _frame(layer(name), made, si, size, origin_ft) for name, made in rows.layer_rows(bridged).items()}


def _frame(declared, made, si, size, origin_ft):
    columns = {field.name: [_si(field, row.values.get(field.name), si) for row in made] for field in declared.fields}
    shapes = [_shape(declared.geometry, row.places, size, origin_ft) for row in made]
    return geopandas.GeoDataFrame(columns, geometry=shapes)


def _si(field, value, si):
    if value is None or not field.unit or not si:
        return value
    return value * UNITS.size_si(field.unit)


def _shape(kind, places, size, origin_ft):
    if places is None:
        return None

    def moved(xy):
        return ((origin_ft[0] + xy[0]) * size, (origin_ft[1] + xy[1]) * size)

    if kind == "Point":
        return shapely.Point(moved(places))
    if kind == "LineString":
        return shapely.LineString([moved(xy) for xy in places])
    shell, *holes = [[moved(xy) for xy in ring] for ring in places]
    return shapely.Polygon(shell, holes)

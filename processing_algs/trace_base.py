"""What both traces share: a point, and the piece of pipe nearest to it."""

from __future__ import annotations

from qgis.core import (
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterPoint,
)

from .network_base import NetworkAlgorithm

POINT, LAND = "POINT", "LAND"


class TraceAlgorithm(NetworkAlgorithm):
    """A trace from the pipe nearest to a point."""

    land_help, land_optional = "", True
    point_help, point_optional = "", False

    def init_further(self):
        self.add(QgsProcessingParameterPoint(POINT, self.tr("Place on a pipe (press ... to click it on the map)"),
                                             optional=self.point_optional),
                 self.point_help + "In the CRS of the drains unless it names another; the nearest pipe is taken.")
        polygon = [QgsProcessing.SourceType.TypeVectorPolygon]
        self.add(QgsProcessingParameterFeatureSource(LAND, self.tr("Land"), polygon, optional=self.land_optional),
                 self.land_help)

    def place(self, county, parameters, context, feedback):
        """The place on a pipe nearest to POINT; says how far it lies if not on it."""
        from ..plugin.network.trace import NoPipeError, place_near
        from ..plugin.qgis_layer.crs import unit_m

        crs = self.source.sourceCrs()
        point = self.parameterAsPoint(parameters, POINT, context, crs)
        size, show = unit_m(crs), county.units.show_length
        reach_m = county.limits["click_distance"]
        try:
            place = place_near(county.network, (point.x() * size, point.y() * size), reach_m)
        except NoPipeError as error:
            if error.distance_m == float("inf"):
                raise QgsProcessingException("There is no pipe in the ground in this layer.") from None
            raise QgsProcessingException(
                f"No pipe lies within {show(reach_m)} of the point, the nearest is {show(error.distance_m)} away: "
                "choose a place on a pipe, and mind the CRS of the point."
            ) from None
        name = county.network.drains.name[county.network.piece_drain[place.piece]]
        feedback.pushInfo(f"Pipe '{name}', {county.units.show_length(place.distance_m)} from the point.")
        return place

    def read_land(self, parameters, context, feedback):
        """The layer LAND as plugin.tables.Land; None where it was not given."""
        from ..plugin.tables import Land
        from .read_inputs import frame_of, read_optional

        frame = read_optional(self, parameters, LAND, "land", frame_of(self, context), context, feedback)
        return None if frame is None else Land.from_frame(frame)

    def say_what_lacks(self, county, place, feedback):
        """Say it plainly where the direction of flow is not known."""
        from ..plugin.network.trace import why_no_direction

        why = why_no_direction(county.network, place.piece)
        if why:
            feedback.pushWarning(why)

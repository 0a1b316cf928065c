"""rankpipes: which pipes to look at first."""

from __future__ import annotations

from datetime import date

from qgis.core import (
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSink,
    QgsProcessingParameterField,
)

from .base import bulk_work
from .network_base import DRAINS, NetworkAlgorithm
from .surroundings import Surroundings

RANK_BY, CHANCE_FIELD = "RANK_BY", "CHANCE_FIELD"
_DEFAULT_CHANCE_FIELD = "yearly_chance"


class RankPipes(Surroundings, NetworkAlgorithm):
    """Land lost if a pipe is plugged, times the chance of that."""

    id_ = "rankpipes"
    title = "Rank pipes"
    group_ = "Network"
    tags_ = ("rank", "risk", "plug", "blocked", "damage", "budget", "roots", "priority")
    help_ = (
        "Puts the pipes in order: how much land has no way out left if a pipe is plugged at its lower end, how likely "
        "it is to fail within a year, and what that makes on average.\n\n"
        "To do: choose the drains with their structures, the trees and the land. Run, then look at the first rows. "
        "Pipe with another way open loses only what has no other way.\n\n"
        "The chance comes from the length of the pipe and from weights: roots within reach, clay, concrete, pipe that "
        "runs backwards, a constant inflow, age. The weights are assumed (limits failure_rate and hazard_...): change "
        "them in the table limits of the archive as your own record tells. Or give the chance yourself in a field of "
        "the drains. Since the weights are assumed, the rank goes by the land lost unless chances are given or you "
        "choose the expected loss. Pipes with equal figures have the same rank.\n\n"
        "A system without an outlet on the map is taken to drain at its low end. Where nobody knows the flow there is "
        "no figure and no rank."
    )

    def init_further(self):
        self.add_trees()
        self.add_land("Fields with their owners, to say whose land is lost.")
        ways = ["auto", "area_lost", "expected_loss"]
        self.add(QgsProcessingParameterEnum(RANK_BY, self.tr("Rank by"), ways, defaultValue="auto",
                                            usesStaticStrings=True),
                 "auto: by the expected loss where drains have a chance of their own, else by the land lost.")
        self.add(QgsProcessingParameterField(CHANCE_FIELD, self.tr("Field with the chance to fail in a year"),
                                             parentLayerParameterName=DRAINS, optional=True,
                                             type=QgsProcessingParameterField.DataType.Numeric),
                 f"From 0 to 1, for the whole drain. Default: a field called {_DEFAULT_CHANCE_FIELD}, if there is one.",
                 advanced=True)

    def init_results(self):
        line = QgsProcessing.SourceType.TypeVectorLine
        self.add(QgsProcessingParameterFeatureSink("PIPES", self.tr("Ranked pipes"), line),
                 "Pieces of pipe, the first to look at first, with land lost, chance, expected loss and rank.")

    def prepareAlgorithm(self, parameters, context, feedback):
        self.prepare_trees(parameters, context)
        return super().prepareAlgorithm(parameters, context, feedback)

    @bulk_work
    def processAlgorithm(self, parameters, context, feedback):
        from ..plugin.qgis_layer.rows import Rows
        from ..plugin.ranking.hazards import find_hazards
        from ..plugin.ranking.table import RANKED_PIPES, ranked_aliases, ranked_table
        from .drain_figures import years_since
        from .write_sinks import LINE, write_sink

        county = self.read_county(parameters, context, feedback)
        feedback.setProgress(30)
        trees = self.read_trees(context, feedback)
        land = self.read_land(parameters, context, feedback)
        given = self._given(parameters, context, feedback)
        hazards = find_hazards(county, trees, years_since(self.source, "installed_on", date.today()))
        feedback.setProgress(50)
        if feedback.isCanceled():
            raise QgsProcessingException("Canceled.")
        chosen = self.parameterAsEnumString(parameters, RANK_BY, context) or "auto"
        by_chance = chosen == "expected_loss" or (chosen == "auto" and given is not None)
        columns, shapes = ranked_table(county, hazards, given, land, by_chance)
        feedback.setProgress(80)
        self._say(county, columns, by_chance, feedback)
        return {"PIPES": write_sink(self, parameters, context, feedback, "PIPES", RANKED_PIPES,
                                    ranked_aliases(county.units), Rows.of(columns, shapes), LINE, (80, 100))}

    def style_when_loaded(self, destination, result, context, aliases):
        super().style_when_loaded(destination, "RANKED_PIPES", context, aliases)

    def _given(self, parameters, context, feedback):
        """Chance of each drain as somebody gave it; None where no field holds any."""
        import numpy as np

        from .drain_figures import figures_of

        field = self.parameterAsString(parameters, CHANCE_FIELD, context) or _DEFAULT_CHANCE_FIELD
        given = figures_of(self.source, field)
        if given is None or np.isnan(given).all():
            return None
        wrong = (given < 0.0) | (given > 1.0)
        if wrong.any():
            feedback.pushWarning(f"The field '{field}' holds {int(wrong.sum()):,} figures that are no chance from 0 to "
                                 "1; they count as not given.")
        return np.where(wrong, np.nan, given)

    def _say(self, county, columns, by_chance, feedback):
        units = county.units
        first = [row for row, rank in enumerate(columns["rank"][:5]) if rank is not None]
        by = "expected loss" if by_chance else "land lost if plugged"
        feedback.pushInfo(f"Ranked by {by}. The first:")
        for row in first:
            feedback.pushInfo(
                f"{columns['rank'][row]}. {columns['name'][row]}, station {columns['station_from'][row]:,.0f} to "
                f"{columns['station_to'][row]:,.0f} {units.length_name}: {columns['area_lost'][row]:,.1f} "
                f"{units.area_name}, chance {columns['yearly_chance'][row]:.2%} a year."
            )
        unknown = sum(rank is None for rank in columns["rank"])
        if unknown:
            feedback.pushWarning(f"{unknown:,} pieces have no rank: nobody knows which way their water flows.")

"""The layers of results that the sample project shows: what the algorithms say about the sample."""

from __future__ import annotations

import sys
from pathlib import Path

RESULTS = "ossel_flats_results.gpkg"
# table -> (title, name of the output, which names its style)
RESULT_LAYERS = {
    "suspect_places": ("Suspect places", "POINT_FINDINGS"),
    "suspect_pipe": ("Suspect pipe", "LINE_FINDINGS"),
    "fall": ("Fall of the pipes", "PIPES"),
}


def write_results(archive: Path, ground: Path, results: Path) -> None:
    """Run buildnetwork and checkdrains on the archive and keep what they find in the file `results`."""
    sys.path.append("/usr/share/qgis/python/plugins")  # where Processing lies where QGIS is no desktop
    import processing
    from fallkeeper.processing_algs.provider import FallkeeperProvider
    from processing.core.Processing import Processing
    from qgis.core import QgsApplication

    Processing.initialize()
    provider = FallkeeperProvider()
    QgsApplication.processingRegistry().addProvider(provider)

    def layer(name: str) -> str:
        return f"{archive}|layername={name}"

    def table(name: str) -> str:
        return f"ogr:dbname='{results}' table=\"{name}\" (geom)"

    network = {"DRAINS": layer("drains"), "STRUCTURES": layer("structures")}
    processing.run("fallkeeper:buildnetwork", {**network, "PIPES": table("fall")})
    processing.run(
        "fallkeeper:checkdrains",
        {
            **network,
            "GROUND": str(ground),
            "TREES": [layer("tree_rows")],
            "LAND": layer("land"),
            "LINE_FINDINGS": table("suspect_pipe"),
            "POINT_FINDINGS": table("suspect_places"),
        },
    )
    QgsApplication.processingRegistry().removeProvider(provider)


def add_results(project: QgsProject, results: Path) -> dict:  # noqa: F821 (QGIS is imported when needed)
    """Show the results above everything else, with their symbols and heads; returns the layers by table."""
    from fallkeeper.plugin.qgis_layer.columns import show_result_columns
    from fallkeeper.plugin.qgis_layer.style import style_for
    from fallkeeper.plugin.result_tables import finding_aliases, pipe_aliases
    from fallkeeper.plugin.units import US, Units
    from qgis.core import QgsVectorLayer

    group = project.layerTreeRoot().insertGroup(0, "Results")
    layers = {}
    for table, (title, output) in RESULT_LAYERS.items():
        layer = layers[table] = QgsVectorLayer(f"{results}|layername={table}", title, "ogr")
        aliases = pipe_aliases(Units(US)) if output == "PIPES" else finding_aliases(Units(US))
        show_result_columns(layer, aliases)
        style_for(output)(layer)
        layer.setReadOnly(True)  # to be made anew, not corrected
        project.addMapLayer(layer, False)
        group.addLayer(layer).setExpanded(False)
    return layers

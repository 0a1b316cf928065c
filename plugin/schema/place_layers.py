"""Land, trees and landmarks."""

from __future__ import annotations

from .declare import BOOLEAN, LINE, POINT, POLYGON, Field, Layer, error, figure, key, notes, text

LAND = Layer(
    name="land",
    title="Land",
    one="piece of land",
    meaning="Fields, lots, roads and ponds with their owners.",
    geometry=POLYGON,
    shown_as='coalesce("name", "land_id")',
    fields=(
        key("land_id", "Land", "piece of land"),
        text("name", "Name", "What people call it.", "Main"),
        text("use", "Use", "What the land is used for.", "Main", values="land_use"),
        text("parcel_no", "Parcel number", "Number in the land register.", "Main"),
        figure("coefficient", "Drainage coefficient", "Depth of water to be carried away in a day.", "Main",
               "coefficient", least=0),
        text("owner", "Owner", "Whose land it is.", "Owner"),
        text("contact", "Contact", "How to reach the owner.", "Owner"),
        *notes(),
    ),
)


def _trees(name: str, title: str, one: str, meaning: str, geometry: str) -> Layer:
    return Layer(
        name=name,
        title=title,
        one=one,
        meaning=meaning,
        geometry=geometry,
        shown_as='coalesce("name", "tree_id")',
        fields=(
            key("tree_id", one[:1].upper() + one[1:], one),
            text("name", "Name", "Kind of tree, or what people call it.", "Main"),
            text("thirst", "Thirst", "How far its roots go for water.", "Main", values="thirst"),
            *notes(),
        ),
    )


TREES = _trees("trees", "Trees", "tree", "Single trees.", POINT)
TREE_ROWS = _trees("tree_rows", "Tree rows", "row of trees", "Rows of trees and hedges.", LINE)
WOODS = _trees("woods", "Woods", "wood", "Woods and groves.", POLYGON)

LANDMARKS = Layer(
    name="landmarks",
    title="Landmarks",
    one="landmark",
    meaning="Things that stand still and can be taped from.",
    geometry=POINT,
    shown_as='coalesce("name", "landmark_id")',
    fields=(
        key("landmark_id", "Landmark", "landmark"),
        text("name", "Name", "What it is, so that a stranger finds it.", "Main"),
        Field("durable", BOOLEAN, "Durable", "Whether it will still stand in twenty years.", "Main"),
        error("position_error", "Error of the place", "Standard error of its place.", "Main"),
        *notes(),
    ),
)

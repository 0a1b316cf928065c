"""Files of the sample county for tests of what works on a whole archive."""

from __future__ import annotations

from pathlib import Path

import shapely
from fallkeeper.plugin.history.batch import archive_batch
from fallkeeper.sample_project import rows
from fallkeeper.sample_project.build_sample import write_archive


def bridged_county(path: Path) -> Path:
    """The sample archive with the 80 ft of main B that it leaves out."""
    write_archive(path)
    gap, = (row for row in rows.layer_rows(bridged=True)["drains"] if row.values["drain_id"] == "B-gap")
    places = [(x + rows.ORIGIN_FT[0], y + rows.ORIGIN_FT[1]) for x, y in gap.places]
    with archive_batch(path, "test", "the bridge of main B") as batch:
        batch.insert("drains", gap.values, shapely.to_wkb(shapely.LineString(places)))
    return path

"""What people call the fields of an archive.

Names stand in small letters without signs and without a unit: `PipeSize_in` is looked up as `pipe size` and, without
the words that say nothing (pipe, tile, drain, line), as `size`. Stronger names stand first.

Besides the archive's own fields there are meanings that become several of them: `depth` and `cover` hold for both
ends, `invert_up` and `invert_down` for the ends by flow, `perforated` is one of the openings, `year` is no day.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

FILLER = frozenset(("pipe", "tile", "drain", "line", "the", "of", "drainage", "ag", "field"))

# numbers that programs make of rows and shapes: they say nothing about pipe
NO_MEANING = frozenset(
    ("fid", "ogc fid", "objectid", "oid", "gid", "shape leng", "shape length", "shape area", "shape le 1",
     "entityhandle", "subclasses", "paperspace", "extendedentity", "rawcodevalues", "tessellate", "extrude",
     "visibility", "draworder", "altitudemode", "icon", "qc id", "auxiliary storage labeling positionx", "layer id",
     "edited by")
)  # fmt: skip

DRAINS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "drain_id": ("drain id", "line id", "pipe id", "tile id", "line", "lateral id", "uuid", "guid", "globalid",
                     "global id", "lineno", "line no", "line nr", "line number", "line num", "tile no", "pipe no",
                     "lateral no", "lateral number", "run id", "run no", "run number", "id", "no", "nr", "num",
                     "number", "asset id", "key"),
        "name": ("name", "label", "line name", "title", "drain name", "tag", "line"),
        "role": ("role", "type", "kind", "class", "category", "function", "pipe type", "tile type", "line type",
                 "drain type", "layer", "level name", "folder path", "linetype", "feature type", "featuretype", "code"),
        "status": ("status", "state", "condition", "lifecycle", "phase"),
        "material": ("material", "mat", "matl", "pipe material", "pipe mat", "tile material", "product", "pipe"),
        "diameter": ("diameter", "inside diameter", "dia", "diam", "size", "pipe size", "tile size", "pipe dia",
                     "nominal size", "nominal diameter", "nom size", "nom dia", "dn", "bore"),
        "openings": ("openings", "perforation", "perforations", "perf solid"),
        "perforated": ("perforated", "perf", "is perforated", "slotted"),
        "depth_start": ("depth start", "start depth", "depth from", "from depth", "depth 1", "depth begin",
                        "begin depth", "depth beg"),
        "depth_end": ("depth end", "end depth", "depth to", "to depth", "depth 2"),
        "depth": ("depth", "avg depth", "average depth", "mean depth", "dep", "design depth", "install depth",
                  "installed depth", "invert depth", "depth to invert"),
        "cover": ("cover", "min cover", "depth of cover", "cover depth", "depth to top", "top depth"),
        "invert_start": ("invert start", "start invert", "inv start", "start inv", "invert from", "from invert",
                         "invert 1", "inv 1", "start elev", "elev start", "start elevation", "begin elev",
                         "begin invert", "from elev", "inv beg"),
        "invert_end": ("invert end", "end invert", "inv end", "end inv", "invert to", "to invert", "invert 2", "inv 2",
                       "end elev", "elev end", "end elevation", "to elev"),
        "invert_up": ("invert up", "us invert", "us inv", "up invert", "up inv", "upstream invert", "upstream inv",
                      "inv us", "invert us", "upstream elev", "upstream elevation", "us elev", "upper invert",
                      "inv up"),
        "invert_down": ("invert down", "ds invert", "ds inv", "down invert", "dn inv", "downstream invert",
                        "downstream inv", "inv ds", "invert ds", "downstream elev", "downstream elevation", "ds elev",
                        "lower invert", "inv dn", "inv down"),
        "invert_error": ("invert error", "elev error", "elevation error", "vert error", "vertical error", "vrms",
                         "vert prec", "vertical precision", "vertical accuracy", "vert acc"),
        "spacing": ("spacing", "lateral spacing", "space", "row spacing", "distance between"),
        "sock": ("sock", "filter", "wrapped", "filter sock", "socked"),
        "evidence": ("evidence", "confidence", "certainty", "reliability"),
        "located_by": ("located by", "method", "survey method", "collection method", "source", "data source",
                       "capture method", "collected by"),
        "position_error": ("position error", "accuracy", "horizontal accuracy", "horiz accuracy", "horz prec", "hrms",
                           "h acc", "precision", "position accuracy", "xy error"),
        "installed_on": ("installed on", "installed", "install date", "installation date", "date installed",
                         "inst date", "date laid", "laid", "construction date", "date built", "built", "install",
                         "year installed", "install year", "year", "year built", "yr inst"),
        "in_ground_from": ("in ground from", "valid from"),
        "in_ground_to": ("in ground to", "valid to", "date abandoned", "abandoned on"),
        "note": ("note", "notes", "comment", "comments", "remark", "remarks", "description", "desc", "cmt", "memo"),
    }
)

STRUCTURES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "structure_id": ("structure id", "struct id", "point id", "uuid", "guid", "globalid", "global id", "id", "no",
                         "nr", "number", "asset id", "point no"),
        "name": ("name", "label", "title", "tag", "structure name"),
        "kind": ("kind", "type", "structure type", "struct type", "feature", "feature type", "class", "category", "sym",
                 "symbol", "code", "layer", "block name", "blockname", "name", "description", "desc"),
        "invert": ("invert", "inv", "invert elev", "inv elev", "invert elevation", "flowline", "flow line"),
        "rim": ("rim", "rim elev", "rim elevation", "top elev", "lid"),
        "flow": ("flow", "constant inflow", "inflow"),
        "receiving_water": ("receiving water", "ditch", "stream", "outlets to"),
        "water_level": ("water level", "normal water level", "water elev"),
        "bed_level": ("bed level", "ditch bottom", "bottom elev"),
        "guard": ("guard", "animal guard", "rodent guard", "flap", "flap gate"),
        "evidence": DRAINS["evidence"],
        "photo": ("photo", "picture", "image"),
        "note": DRAINS["note"],
    }
)

SHOTS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "shot_id": ("shot id", "point id", "point no", "point", "pt", "uuid", "guid", "id", "no", "nr", "number"),
        "drain_id": ("drain id", "line id", "pipe id", "tile id", "line no", "line"),
        "elevation": ("elevation", "elev", "z", "height", "level", "el", "ortho height"),
        "of": ("of", "shot of", "code", "description", "desc", "feature", "type", "kind", "feature code", "layer"),
        "error": ("error", "vrms", "vert prec", "vertical accuracy", "vertical precision"),
        "taken_on": ("taken on", "date", "survey date", "observed on", "time", "datetime"),
        "note": DRAINS["note"],
    }
)

# columns of a list of points in order; x, y and pairs of ends also of other tables
POINTS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "x": ("x", "easting", "east", "e", "x coord", "xcoord", "coord x", "point x", "pos x", "utm e", "utm easting",
              "rw", "rechtswert"),
        "y": ("y", "northing", "north", "n", "y coord", "ycoord", "coord y", "point y", "pos y", "utm n",
              "utm northing", "hw", "hochwert"),
        "lon": ("lon", "long", "longitude", "lng", "longitude deg", "lon deg", "gps lon", "gps longitude"),
        "lat": ("lat", "latitude", "latitude deg", "lat deg", "gps lat", "gps latitude"),
        "x_start": ("x start", "start x", "x1", "x 1", "x from", "from x", "start easting", "easting start"),
        "y_start": ("y start", "start y", "y1", "y 1", "y from", "from y", "start northing", "northing start"),
        "x_end": ("x end", "end x", "x2", "x 2", "x to", "to x", "end easting", "easting end"),
        "y_end": ("y end", "end y", "y2", "y 2", "y to", "to y", "end northing", "northing end"),
        "wkt": ("wkt", "geom", "geometry", "the geom", "geometry wkt", "shape wkt"),
        "line": ("line", "line id", "lineid", "drain id", "tile id", "pipe id", "run", "run id", "tile run", "line no",
                 "line number", "lateral", "lateral id", "track fid", "route fid", "swath", "line name", "name", "id"),
        "part": ("track seg id", "segment", "seg id", "part"),
        "trip": ("pass", "pass no", "pass id", "pass number"),
        "order": ("order", "seq", "sequence", "point no", "pt no", "point id", "pt id", "point number", "point", "pt",
                  "vertex", "vertex index", "index", "idx", "record", "rec", "track seg point id", "route point id",
                  "log no", "no", "nr"),
        "time": ("time", "timestamp", "date time", "datetime", "utc", "gps time", "utc time", "time utc", "local time",
                 "time stamp", "gpstime"),
        "day": ("date", "day", "gps date", "utc date", "log date"),
        "z": ("z", "elev", "elevation", "height", "alt", "altitude", "ele", "h", "ortho height", "el", "msl",
              "gps height"),
        "invert": ("invert", "inv", "pipe invert", "invert elev", "inv elev", "invert elevation", "pipe bottom",
                   "flowline", "flow line"),
        "pipe_top": ("pipe top", "top of pipe", "crown", "obvert", "top elev"),
        "ground": ("ground", "ground elev", "surface", "ground surface", "gs", "gs elev", "surface elev",
                   "ground elevation", "surface elevation", "terrain"),
        "depth": ("depth", "install depth", "installed depth", "depth below ground", "cut", "actual depth", "dep",
                  "cut depth"),
        "cover": ("cover", "depth of cover", "depth to top"),
    }
)

OF_TARGET = MappingProxyType({"drains": DRAINS, "structures": STRUCTURES, "shots": SHOTS, "points": POINTS})

"""What people write for the values of an archive's lists.

`PHRASES` are whole entries that mean one value; `TOKENS` are words that make a value likely where an entry is longer:
all words of one tuple must be there. Both in small letters without signs. The first rule that holds counts, so the
narrower ones stand first.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

PHRASES: Mapping[str, Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "role": {
            "lateral": ("lat", "lats", "l", "laterals", "lateral line", "branch", "branches", "lateral drain"),
            "submain": ("sub main", "submains", "sub mains", "sub", "subs", "sm", "sub main line", "collector",
                        "collectors"),
            "main": ("m", "mains", "main line", "mainline", "main drain", "trunk", "trunk line", "header",
                     "county main"),
            "outlet_pipe": ("outlet", "outlet line", "outlet tile", "outlet pipes", "outfall", "outfall pipe"),
        },
        "drain_status": {
            "in_ground": ("existing", "exist", "ex", "installed", "active", "in place", "as built", "asbuilt", "built",
                          "in use", "in service", "current"),
            "proposed": ("planned", "plan", "design", "designed", "future", "new design", "not installed"),
            "abandoned": ("inactive", "disconnected", "out of service", "dead", "old abandoned", "not in use"),
            "removed": ("dug up", "dug out", "taken out", "destroyed"),
        },
        "material": {
            "corrugated_plastic": ("cpt", "cpp", "corrugated", "corrugated pe", "corrugated hdpe", "corrugated tubing",
                                   "corrugated polyethylene", "plastic tubing", "plastic tile", "single wall", "sw",
                                   "single wall plastic", "single wall hdpe"),
            "dual_wall_plastic": ("dual wall", "dualwall", "double wall", "dw", "dual wall hdpe", "double wall plastic",
                                  "dual wall pe", "smooth interior", "smooth core"),
            "smooth_plastic": ("pvc", "smooth pvc", "sdr 35", "sdr35", "sewer pipe plastic", "smooth wall plastic",
                               "smooth pe"),
            "clay": ("clay tiles", "vcp", "vitrified clay", "clay pipe", "old clay", "earthenware", "red clay"),
            "concrete": ("conc", "concrete tiles", "cement", "cement tile", "rcp", "concrete pipe"),
        },
        "openings": {
            "perforated": ("perf", "perfed", "slotted", "perforations", "perforate"),
            "none": ("solid", "non perforated", "nonperforated", "non perf", "nonperf", "unperforated", "tight",
                     "solid wall"),
            "open_joints": ("open joint", "butt joint", "butt joints", "butted", "open jointed"),
        },
        "evidence": {
            "seen": ("exposed", "excavated", "surveyed", "observed", "field verified", "verified", "dug"),
            "probed": ("probe", "probed in field"),
            "drawn": ("mapped", "map", "from map", "digitized", "digitised", "plan", "on plan"),
            "assumed": ("approx", "approximate", "estimated", "inferred", "guess", "guessed", "presumed", "unverified"),
            "disproved": ("not there", "not found", "wrong"),
        },
        "located_by": {
            "level": ("laser", "level laser", "laser level", "transit", "total station"),
            "rtk": ("rtk gps", "gps rtk", "rtk gnss", "gnss rtk", "survey grade gps"),
            "machine_log": ("machine", "plow log", "plough log", "machine control", "installer log", "as built log"),
            "probe": ("probed", "tile probe", "probing"),
            "aerial": ("aerial photo", "air photo", "imagery", "aerial imagery", "drone", "orthophoto", "satellite"),
            "scanned_map": ("map", "paper map", "scan", "old map", "plan", "blueprint", "drawing", "sketch"),
            "tape": ("taped", "tape measure", "measured"),
            "memory": ("owner", "farmer", "landowner", "word of mouth", "recollection"),
        },
        "structure_kind": {
            "outlet": ("outfall", "outlets", "tile outlet", "outlet end", "discharge"),
            "surface_inlet": ("inlet", "intake", "riser", "tile inlet", "surface intake", "open inlet", "tile riser",
                              "surface inlets", "standpipe"),
            "blind_inlet": ("french drain", "rock inlet", "gravel inlet", "stone inlet"),
            "junction_box": ("junction", "jb", "manhole", "mh", "catch basin", "cb", "box"),
            "cleanout": ("clean out", "co"),
            "breather": ("vent", "air vent", "breathers"),
            "relief_well": ("relief", "relief wells"),
            "control_structure": ("control", "water control structure", "drainage control structure", "wcs",
                                  "stoplog structure", "stop log structure", "control box"),
            "stub_end": ("stub", "capped end", "cap", "end cap"),
            "constant_inflow": ("spring", "sump", "sump pump", "spring box", "artesian well"),
            "joint": ("tee", "wye", "connection", "joints", "tie in", "coupling"),
        },
        "shot_of": {
            "invert": ("inv", "flow line", "flowline", "fl", "invert shot", "inside bottom", "bottom of pipe"),
            "pipe_top": ("top", "top of pipe", "tp", "crown", "obvert", "top of tile"),
            "ground": ("gnd", "gs", "ground surface", "surface", "ground shot", "ng", "natural ground", "grade"),
            "water": ("ws", "water surface", "water level", "wl"),
        },
    }
)

TOKENS: Mapping[str, tuple[tuple[tuple[str, ...], str], ...]] = MappingProxyType(
    {
        "role": (
            (("sub", "main"), "submain"), (("submain",), "submain"), (("sub", "mains"), "submain"),
            (("submains",), "submain"), (("collector",), "submain"), (("outlet", "pipe"), "outlet_pipe"),
            (("outlet", "tile"), "outlet_pipe"), (("outlet", "line"), "outlet_pipe"), (("main",), "main"),
            (("mains",), "main"), (("mainline",), "main"), (("lateral",), "lateral"), (("laterals",), "lateral"),
            (("lat",), "lateral"), (("lats",), "lateral"),
        ),
        "material": (
            (("dual",), "dual_wall_plastic"), (("double", "wall"), "dual_wall_plastic"),
            (("dualwall",), "dual_wall_plastic"), (("pvc",), "smooth_plastic"), (("clay",), "clay"),
            (("concrete",), "concrete"), (("cement",), "concrete"), (("conc",), "concrete"),
            (("corrugated",), "corrugated_plastic"), (("hdpe",), "corrugated_plastic"),
            (("plastic",), "corrugated_plastic"), (("poly",), "corrugated_plastic"), (("pe",), "corrugated_plastic"),
            (("polyethylene",), "corrugated_plastic"),
        ),
        "openings": (
            (("non", "perforated"), "none"), (("non", "perf"), "none"), (("unperforated",), "none"),
            (("solid",), "none"), (("perforated",), "perforated"), (("perf",), "perforated"),
            (("slotted",), "perforated"), (("open", "joint"), "open_joints"),
        ),
        "structure_kind": (
            (("blind", "inlet"), "blind_inlet"), (("french", "drain"), "blind_inlet"),
            (("surface", "inlet"), "surface_inlet"), (("surface", "intake"), "surface_inlet"),
            (("tile", "inlet"), "surface_inlet"), (("outlet",), "outlet"), (("outfall",), "outlet"),
            (("riser",), "surface_inlet"), (("intake",), "surface_inlet"), (("inlet",), "surface_inlet"),
            (("junction", "box"), "junction_box"), (("manhole",), "junction_box"), (("catch", "basin"), "junction_box"),
            (("cleanout",), "cleanout"), (("clean", "out"), "cleanout"), (("breather",), "breather"),
            (("vent",), "breather"), (("relief", "well"), "relief_well"),
            (("control", "structure"), "control_structure"),
            (("spring",), "constant_inflow"), (("sump",), "constant_inflow"), (("stub",), "stub_end"),
        ),
        "located_by": (
            (("rtk",), "rtk"), (("aerial",), "aerial"), (("imagery",), "aerial"), (("laser",), "level"),
            (("probe",), "probe"), (("machine",), "machine_log"),
        ),
        "drain_status": (
            (("abandoned",), "abandoned"), (("proposed",), "proposed"), (("removed",), "removed"),
            (("existing",), "in_ground"), (("installed",), "in_ground"),
        ),
        "evidence": ((("assumed",), "assumed"), (("approximate",), "assumed"), (("probed",), "probed")),
        "shot_of": (
            (("invert",), "invert"), (("flowline",), "invert"), (("top",), "pipe_top"), (("ground",), "ground"),
        ),
    }
)

YES = frozenset(("yes", "y", "true", "t", "1", "x", "with"))
NO = frozenset(("no", "n", "false", "f", "0", "without", "none"))

"""The main job on the sample: archive, network, traces, the bridge, checks, two reroutes; and what is known of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from fallkeeper.sample_project import rows
from qgis.core import QgsFeature, QgsGeometry, QgsPointXY, QgsVectorLayer

X0, Y0 = rows.ORIGIN_FT
ROUTES = {
    "R1 around the trees": ((1000, 1075), (900, 1075), (900, 725), (1000, 725)),
    "R2 the short cut": ((1000, 1075), (900, 600)),
}


@dataclass
class Answer:
    """A question, what was found, what is known, and whether they agree."""

    question: str
    found: str
    known: str

    @property
    def agrees(self) -> bool:
        return self.found == self.known


@dataclass
class Demo:
    """Runs the algorithms as a user does, one after another; `say` is told each step."""

    folder: Path
    run: object
    say: object
    answers: list[Answer] = field(default_factory=list)

    @property
    def archive(self) -> Path:
        return self.folder / "ossel_flats.gpkg"

    def layer(self, name: str) -> str:
        return f"{self.archive}|layername={name}"

    def sink(self, table: str) -> str:
        return f"ogr:dbname='{self.folder / 'results.gpkg'}' table=\"{table}\" (geom)"

    def network(self) -> dict:
        return {"DRAINS": self.layer("drains"), "STRUCTURES": self.layer("structures"), "SHOTS": self.layer("shots")}

    def surroundings(self) -> dict:
        trees = [self.layer(name) for name in ("trees", "tree_rows", "woods")]
        return {"GROUND": str(self.folder / "ground.tif"), "TREES": trees, "LAND": self.layer("land")}

    def note(self, question: str, found: object, known: object) -> None:
        self.answers.append(Answer(question, str(found), str(known)))

    def everything(self) -> None:
        self.before_the_bridge()
        self.cross_the_gap()
        self.after_the_bridge()
        self.check()
        for name in ROUTES:
            self.reroute(name)

    def before_the_bridge(self) -> None:
        self.say("Network as it is drawn, with a gap in main B")
        built = self.run("buildnetwork", {**self.network(), "PIPES": self.sink("pipes_with_gap"),
                                          "NODES": self.sink("nodes_with_gap")})
        laterals = built["NO_OUTLET_COUNT"] - 1  # the main above the gap is the other one
        self.note("Laterals without outlet, main B with its gap", laterals, 16)
        self.note("Land at outlet OB with the gap (acres)", self.acres_at(4000, 0), "54.000")

    def cross_the_gap(self) -> None:
        """Do what the office does when it accepts the bridge: draw the missing 80 ft, marked as assumed."""
        drains = QgsVectorLayer(self.layer("drains"), "drains", "ogr")
        bridge = next(row for row in rows.layer_rows(bridged=True)["drains"] if row.values["drain_id"] == "B-gap")
        feature = QgsFeature(drains.fields())
        for name, value in bridge.values.items():
            feature[name] = value
        feature.setGeometry(QgsGeometry.fromPolylineXY([QgsPointXY(X0 + x, Y0 + y) for x, y in bridge.places]))
        drains.startEditing()
        if not drains.addFeature(feature) or not drains.commitChanges():
            raise RuntimeError("; ".join(drains.commitErrors()))

    def after_the_bridge(self) -> None:
        self.say("Network with the bridge accepted")
        built = self.run("buildnetwork", {
            **self.network(), "PIPES": self.sink("pipes"), "NODES": self.sink("nodes"),
            "LINE_FINDINGS": self.sink("network_line_findings"), "POINT_FINDINGS": self.sink("network_point_findings"),
        })
        self.note("Drains without outlet, bridge accepted", built["NO_OUTLET_COUNT"], 0)
        self.note("Land at outlet OB, bridge accepted (acres)", self.acres_at(4000, 0), "70.000")
        self.note("Land at outlet OA (acres)", self.acres_at(1000, 0), "80.000")
        self.say("What hangs on the plug, y = 905 on main A")
        above = self.upstream(1000, 905, PIPES=self.sink("above_plug"), LAND_ABOVE=self.sink("land_above_plug"))
        self.note("Laterals above the plug", above["LATERAL_COUNT"], 46)
        self.note("Land above the plug (acres)", f"{above['AREA_ABOVE']:.3f}", "46.000")
        self.note("Constant inflow above the plug (gal/min)", f"{above['INFLOW_ABOVE']:.1f}", "4.0")
        self.note("Land above the hole in main B, y = 430 (acres)", self.acres_at(4000, 430), "56.000")
        below = self.run("tracedownstream", {**self.network(), "POINT": self.point(1000, 905),
                                             "PIPES": self.sink("below_plug")})
        self.note("Way from the plug to its outlet (ft)", f"{below['LENGTH_TO_OUTLET']:.1f} to {below['OUTLET']}",
                  "905.0 to OA")

    def check(self) -> None:
        self.say("All checks, with the ground, trees and land")
        checked = self.run("checkdrains", {
            **self.network(), **self.surroundings(), "LINE_FINDINGS": self.sink("line_findings"),
            "POINT_FINDINGS": self.sink("point_findings"), "NOT_CHECKED": str(self.folder / "not_checked.csv"),
            "REPORT": str(self.folder / "report.html"),
        })
        self.note("Checks that broke off", checked["CRASHED_COUNT"], 0)
        found = QgsVectorLayer(f"{self.folder / 'results.gpkg'}|layername=line_findings", "found", "ogr")
        by_check: dict[str, list] = {}
        for feature in found.getFeatures():
            by_check.setdefault(feature["check"], []).append(feature)
        laterals = [f for f in by_check.get("near-trees", []) if f["drain_id"].startswith("F")]
        self.note("Laterals within reach of the cottonwoods", len(laterals), 12)
        mains = [f for f in by_check.get("near-trees", []) if f["drain_id"].startswith("A")]
        self.note("Main A within reach of them (ft)",
                  f"{sum(f['station_to'] - f['station_from'] for f in mains):.1f}", "387.3")
        lots = by_check.get("under-lot", [])
        self.note("Pipe under Hall Lot (ft)", f"{sum(f['station_to'] - f['station_from'] for f in lots):.1f}", "800.0")
        smaller = ", ".join(f"{f['drain_id']} {f['value']:.0f} in" for f in by_check.get("smaller-downstream", []))
        self.note("Smaller pipe below a larger one", smaller, "B-1 10 in")
        self.note("Pipe that rises downstream", len(by_check.get("reverse-grade", [])), 0)

    def reroute(self, name: str) -> None:
        self.say(f"Reroute {name}")
        route = QgsVectorLayer(f"LineString?crs={rows.CRS}", name, "memory")
        feature = QgsFeature()
        feature.setGeometry(QgsGeometry.fromPolylineXY([QgsPointXY(X0 + x, Y0 + y) for x, y in ROUTES[name]]))
        route.dataProvider().addFeatures([feature])
        key = name.split()[0].lower()
        judged = self.run("checkreroute", {
            **self.network(), **self.surroundings(), "ROUTE": route, "INVERT_ERROR": 0.03, "DIAMETER": 15,
            "STATIONS": self.sink(f"reroute_{key}_stations"), "LINE_FINDINGS": self.sink(f"reroute_{key}_findings"),
            "REPORT": str(self.folder / f"reroute_{key}.html"),
        })
        known = {"r1": ("falls", "0.350 ft, 0.0636 %"), "r2": ("reverse", "-0.125 ft, -0.0258 %")}[key]
        self.note(f"Verdict on {name}", judged["VERDICT"], known[0])
        self.note("Its fall and grade", f"{judged['FALL']:.3f} ft, {judged['GRADE']:.4f} %", known[1])

    def point(self, x: float, y: float) -> str:
        return f"{X0 + x},{Y0 + y} [{rows.CRS}]"

    def upstream(self, x: float, y: float, **sinks: str) -> dict:
        wanted = {**self.network(), "POINT": self.point(x, y), "LAND": self.layer("land"), **sinks}
        return self.run("traceupstream", wanted)

    def acres_at(self, x: float, y: float) -> str:
        return f"{self.upstream(x, y)['AREA_ABOVE']:.3f}"

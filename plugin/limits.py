"""Every threshold of the engine: value, unit, source, and how sure the source is.

An office changes a limit by a row in the table `limits` of its archive; what it does not change keeps
the default below. Each limit is shown with its source wherever it decides something.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from .units import FOOT_M, INCH_M, METRIC, US, US_SURVEY_FOOT_M

SEEN = "seen"
MEMORY = "from memory"
COMMON = "common practice, no source"
ASSUMED = "assumed"
CHOICE = "choice"
GIVEN = "given for this run"

JOIN_TOLERANCE = MappingProxyType({US: 1.0, METRIC: 0.3})
"""Ends this near to a pipe are proposed as joints where nobody says otherwise; in the unit of lengths. A choice."""

UNIT_SI = MappingProxyType(
    {
        "m": 1.0,
        "mm": 0.001,
        "ft": FOOT_M,
        "us-ft": US_SURVEY_FOOT_M,
        "in": INCH_M,
        "m/s": 1.0,
        "ft/s": FOOT_M,
        "%": 0.01,
        "per 1,000 ft": 0.001 / FOOT_M,
        "per km": 0.001,
        "deg": math.radians(1.0),
        "": 1.0,
    }
)


class LimitError(ValueError):
    """A row of the table `limits` cannot be read; the message says which and what to do."""


@dataclass(frozen=True)
class Limit:
    """A threshold: `value` in `unit`, of a `kind` that Units can show, from `source`, so sure (`certainty`)."""

    name: str
    value: float
    unit: str
    kind: str
    source: str
    certainty: str
    meaning: str

    @property
    def si(self) -> float:
        """In SI, a foot being the international one; see Limits for the foot of the plan."""
        return self.value * UNIT_SI[self.unit]

    @property
    def shown_source(self) -> str:
        return self.source if self.certainty == self.source else f"{self.source} ({self.certainty})"


def _limit(name: str, value: float, unit: str, kind: str, source: str, certainty: str, meaning: str) -> Limit:
    return Limit(name, float(value), unit, kind, source, certainty, meaning)


_EP480 = "ASAE EP480 / NRCS NEH Part 650 ch. 14"
_TREES = "county leaflet and maintenance guides on tile drains and tree roots"
_SURVEY = "general surveying figures"
_ROUGHNESS = "NRCS NEH Part 650 ch. 14 / ASAE EP260"
_TUNED = "to be tuned by the office's own record of failures"
_OUTLET_LENGTH = "NRCS NEH Part 650 ch. 14, outlet pipe table"

DEFAULTS: Mapping[str, Limit] = MappingProxyType(
    {
        limit.name: limit
        for limit in (
            _limit("least_cover", 2.0, "ft", "length", "NRCS Conservation Practice Standard 606, mineral soil", MEMORY,
                   "least earth above the crown of a pipe; 2.5 ft in a university design course after ASAE EP480 "
                   "(seen)"),
            _limit("greatest_depth", 5.2, "ft", "length", "ASAE EP260, standard 4 in tubing in a wide trench", MEMORY,
                   "deepest invert below ground"),
            _limit("least_velocity", 0.5, "ft/s", "velocity", _EP480, SEEN,
                   "full-flow velocity that keeps a pipe clean"),
            _limit("least_velocity_fines", 1.4, "ft/s", "velocity", _EP480, SEEN,
                   "the same where fine sand or silt may enter"),
            _limit("fine_soil", 0, "", "yes_no", "asked of the user", CHOICE,
                   "1 where fine sand or silt may enter the pipe"),
            _limit("greatest_velocity", 7.0, "ft/s", "velocity", "NRCS NEH Part 650 ch. 14, clay and clay loam", MEMORY,
                   "full-flow velocity above which the bedding may wash; less in sand and silt"),
            _limit("sag_share", 0.1, "", "ratio", COMMON, COMMON,
                   "deepest standing water, as a share of the inside diameter"),
            _limit("tree_distance_high", 100, "ft", "length", _TREES, SEEN,
                   "willow, poplar, cottonwood, elm and soft maple to a pipe that water can enter"),
            _limit("tree_distance_ordinary", 50, "ft", "length", _TREES, SEEN,
                   "other trees to a pipe that water can enter"),
            _limit("outlet_above_bed", 1.0, "ft", "length", "Michigan State University, drainage outlet page", SEEN,
                   "outlet invert above the bottom of the ditch"),
            _limit("outlet_above_water", 0.10, "m", "length", "ILRI Publication 16 ch. 21", SEEN,
                   "outlet invert above the normal water of the ditch"),
            _limit("outlet_pipe_length_8in", 10, "ft", "length", _OUTLET_LENGTH, MEMORY,
                   "least rigid solid pipe at the outlet, 8 in and smaller"),
            _limit("outlet_pipe_length_12in", 12, "ft", "length", _OUTLET_LENGTH, MEMORY, "the same, 10 to 12 in"),
            _limit("outlet_pipe_length_18in", 16, "ft", "length", _OUTLET_LENGTH, MEMORY, "the same, 15 to 18 in"),
            _limit("outlet_pipe_length_larger", 20, "ft", "length", _OUTLET_LENGTH, MEMORY, "the same, over 18 in"),
            _limit("default_depth_lateral", 2.5, "ft", "length", COMMON, COMMON,
                   "ground to invert of a lateral nobody measured; laterals on clay lie 2.5 to 4 ft deep"),
            _limit("default_depth_main", 3.5, "ft", "length", COMMON, COMMON,
                   "ground to invert of a main nobody measured"),
            _limit("default_spacing", 50, "ft", "length", COMMON, COMMON,
                   "distance between laterals where no neighbour tells; older jobs 40 to 50 ft, newer ones closer"),
            _limit("default_diameter_lateral", 4, "in", "diameter", COMMON, COMMON,
                   "inside diameter proposed for a new lateral; never put in place of an unknown size"),
            _limit("topsoil_depth", 15, "in", "length", COMMON, COMMON,
                   "asked of the user; 12 to 18 in is usual on such clay"),
            _limit("ground_error", 0.10, "m", "length", "USGS Lidar Base Specification, QL2", MEMORY,
                   "standard error of one lidar height; agrees with its published accuracy figure"),
            _limit("ground_correlation_length", 30, "m", "length", ASSUMED, ASSUMED,
                   "distance over which the errors of one lidar survey fade to a third"),
            _limit("error_level", 0.005, "m", "length", _SURVEY, SEEN,
                   "standard error of an invert shot by level or laser"),
            _limit("error_rtk", 0.02, "m", "length", _SURVEY, SEEN, "standard error of an invert by RTK"),
            _limit("error_machine_log", 0.03, "m", "length", ASSUMED, ASSUMED,
                   "standard error of an invert from a machine log"),
            _limit("error_probe", 0.05, "m", "length", ASSUMED, ASSUMED,
                   "standard error of a probed depth, and of an invert nobody says how it was found"),
            _limit("error_depth_stated", 0.10, "m", "length", ASSUMED, ASSUMED, "standard error of a stated depth"),
            _limit("error_depth_default", 0.15, "m", "length", ASSUMED, ASSUMED, "standard error of a default depth"),
            _limit("misfit_errors", 1.96, "", "ratio", CHOICE, CHOICE,
                   "two figures for one thing disagree beyond this many standard errors of their difference"),
            _limit("same_place", 0.10, "m", "length", CHOICE, CHOICE,
                   "two figures for an invert closer than this are for one place"),
            _limit("shot_distance", 30.0, "m", "length", ASSUMED, ASSUMED,
                   "farthest a level shot may lie from the drain it names; a line drawn from memory may be well off"),
            _limit("fixed_distance", 3.0, "m", "length", ASSUMED, ASSUMED,
                   "farthest a point with a fixed level may lie from a planned pipe to hold for it"),
            _limit("wall_share", 0.08, "", "ratio", ASSUMED, ASSUMED,
                   "pipe wall as a share of the inside diameter, where the top of a pipe was shot"),
            _limit("implausible_depth", 5.0, "m", "length", ASSUMED, ASSUMED,
                   "greatest believable median depth of measured inverts; beyond it ground and inverts differ in unit "
                   "or datum"),
            _limit("p_reverse", 0.95, "", "ratio", CHOICE, CHOICE, "probability from which a grade is called reverse"),
            _limit("p_falls", 0.05, "", "ratio", CHOICE, CHOICE,
                   "probability of reverse up to which a grade is called falling"),
            _limit("false_wet", 0.15, "", "ratio", ASSUMED, ASSUMED, "chance that a place below the plug is found wet"),
            _limit("false_dry", 0.10, "", "ratio", ASSUMED, ASSUMED, "chance that a place above the plug is found dry"),
            _limit("failure_rate", 0.01, "per 1,000 ft", "rate", ASSUMED, _TUNED,
                   "failures a year of sound, new plastic pipe away from trees"),
            _limit("hazard_trees_near", 20, "", "ratio", ASSUMED, _TUNED,
                   "as many times likelier to fail within the distance of ordinary trees, where roots can get in"),
            _limit("hazard_trees_far", 8, "", "ratio", ASSUMED, _TUNED,
                   "the same beyond that, within the distance of thirsty trees"),
            _limit("hazard_clay", 3, "", "ratio", ASSUMED, _TUNED, "the same for clay pipe"),
            _limit("hazard_concrete", 2, "", "ratio", ASSUMED, _TUNED, "the same for concrete pipe"),
            _limit("hazard_reverse", 2, "", "ratio", ASSUMED, _TUNED, "the same where the pipe rises downstream"),
            _limit("hazard_always_wet", 1.5, "", "ratio", ASSUMED, _TUNED,
                   "the same where a constant inflow passes, which draws roots all year"),
            _limit("hazard_year", 0.02, "", "ratio", ASSUMED, _TUNED, "what each year in the ground adds to 1"),
            _limit("age_if_unknown", 30, "", "ratio", ASSUMED, ASSUMED, "years, where nobody knows when it was laid"),
            _limit("same_shape", 0.10, "m", "length", CHOICE, CHOICE,
                   "lines that lie nowhere farther apart than this are drawn alike"),
            _limit("near_duplicate_distance", 5, "ft", "length", CHOICE, CHOICE,
                   "a line of a layout this near beside a pipe of the archive is likely the same pipe; the join "
                   "tolerance, if that is more"),
            _limit("near_duplicate_share", 0.5, "", "ratio", CHOICE, CHOICE,
                   "share of a line that must run beside another to be likely the same pipe"),
            _limit("near_duplicate_bearing", 15, "deg", "angle", CHOICE, CHOICE,
                   "two lines that differ in bearing by more than this do not run beside each other"),
            _limit("layout_far", 50_000, "m", "length", CHOICE, CHOICE,
                   "a layout farther than this from all the archive holds lies in the wrong place; a county is seldom "
                   "as wide"),
            _limit("levels_apart", 10, "m", "length", ASSUMED, ASSUMED,
                   "inverts of a layout that lie farther than this above or below those around are in another unit or "
                   "datum"),
            _limit("gap_regular", 0.25, "", "ratio", CHOICE, CHOICE,
                   "scatter of the distances between laterals, as a share of them, up to which a gap among them tells"),
            _limit("gap_misfit", 0.25, "", "ratio", CHOICE, CHOICE,
                   "a wide gap may miss a whole number of spacings by this share of one"),
            _limit("gap_most_teeth", 3, "", "ratio", CHOICE, CHOICE, "most laterals that are guessed into one gap"),
            _limit("row_least", 3, "", "ratio", CHOICE, CHOICE, "fewest open ends in a row that tell of a main"),
            _limit("bridge_longest", 200, "ft", "length", ASSUMED, ASSUMED,
                   "longest gap in a main that is bridged; sheets of old plans seldom miss more"),
            _limit("bridge_bend", 20, "", "ratio", CHOICE, CHOICE,
                   "degrees by which a bridge may turn off the pipe at either end"),
            _limit("exact_joint", 0.01, "m", "length", CHOICE, CHOICE, "ends closer than this are one joint"),
            _limit("roughness_corrugated_8in", 0.015, "", "ratio", _ROUGHNESS, MEMORY,
                   "Manning n of corrugated pipe up to 8 in"),
            _limit("roughness_corrugated_12in", 0.017, "", "ratio", _ROUGHNESS, MEMORY,
                   "the same, over 8 and up to 12 in"),
            _limit("roughness_corrugated_larger", 0.020, "", "ratio", _ROUGHNESS, MEMORY, "the same, over 12 in"),
            _limit("roughness_smooth", 0.012, "", "ratio", _ROUGHNESS, MEMORY,
                   "Manning n of smooth and dual-wall plastic"),
            _limit("roughness_clay", 0.013, "", "ratio",
                   "open-channel textbook table, clay drainage tile, normal", SEEN,
                   "Manning n of clay pipe; 0.011 in good condition, 0.017 for old lines"),
            _limit("roughness_concrete", 0.013, "", "ratio", _ROUGHNESS, MEMORY, "Manning n of concrete pipe"),
            _limit("ground_step", 5.0, "m", "length", CHOICE, CHOICE, "distance between ground samples along a pipe"),
            _limit("log_repeat", 0.01, "m", "length", CHOICE, CHOICE,
                   "a logged point no farther than this from the one before repeats it"),
            _limit("log_gap_steps", 5.0, "", "ratio", CHOICE, CHOICE,
                   "a line ends where a log skips more than so many of its median steps in distance, or in time while "
                   "moving on"),
            _limit("log_gap_least", 3.0, "m", "length", CHOICE, CHOICE,
                   "no gap shorter than this ends a logged line; laterals lie farther apart"),
            _limit("pass_width", 1.0, "m", "length", ASSUMED, ASSUMED,
                   "two logged runs closer than this over most of their way are passes along one trench"),
            _limit("import_far", 10_000.0, "m", "length", CHOICE, CHOICE,
                   "a place farther than this from the archive's land and drains is doubtful"),
            _limit("import_span", 200_000.0, "m", "length", CHOICE, CHOICE,
                   "a layout is no larger than this across; no county is"),
            _limit("believed_diameter_least", 1.0, "in", "diameter", CHOICE, CHOICE,
                   "a smaller figure for an inside diameter is in another unit or wrong"),
            _limit("believed_diameter_most", 60.0, "in", "diameter", CHOICE, CHOICE,
                   "a larger figure for an inside diameter is in another unit or wrong"),
            _limit("believed_spacing_least", 5.0, "ft", "length", CHOICE, CHOICE,
                   "a smaller spacing of laterals is in another unit or wrong"),
            _limit("believed_spacing_most", 400.0, "ft", "length", CHOICE, CHOICE,
                   "a larger spacing of laterals is in another unit or wrong"),
            _limit("text_reach", 15.0, "m", "length", CHOICE, CHOICE,
                   "farthest a text of a drawing may stand from the line it is kept with"),
            _limit("accepted_near", 1.0, "m", "length", CHOICE, CHOICE,
                   "a place found no farther than this along the pipe from an accepted one is the same; it moves a "
                   "little when a line is drawn better"),
            _limit("accepted_grown", 5.0, "m", "length", CHOICE, CHOICE,
                   "an accepted stretch may reach this much farther before it comes back: the step at which the ground "
                   "is asked along a pipe"),
            _limit("accepted_worse", 0.1, "", "ratio", CHOICE, CHOICE,
                   "share of the accepted figure by which it may become worse before the finding comes back"),
            _limit("click_distance", 30.0, "m", "length", CHOICE, CHOICE,
                   "farthest a clicked point may lie from a pipe"),
        )
    }
)


class Limits(Mapping[str, float]):
    """The thresholds in force, in SI: `limits["least_cover"]` is in metres; `limits.of(name)` has unit and source.

    `foot_m`: the foot in which the plan counts, so that 100 ft is 100 of the feet people read.
    """

    def __init__(self, overrides: Iterable[Mapping[str, object]] = (), foot_m: float = FOOT_M) -> None:
        self._limits = dict(DEFAULTS)
        self._foot_m = foot_m
        for row in overrides:
            self._override(row)

    def given(self, rows: Iterable[Mapping[str, object]]) -> Limits:
        """These limits with rows given for one run, which win over the office's."""
        changed = Limits(foot_m=self._foot_m)
        changed._limits = dict(self._limits)
        for row in rows:
            changed._override({**row, "source": GIVEN})
            changed._limits[row["name"]] = replace(changed._limits[row["name"]], certainty=GIVEN)
        return changed

    def _override(self, row: Mapping[str, object]) -> None:
        name, value, unit = row.get("name"), row.get("value"), row.get("unit")
        if name == "outlet_pipe_length":  # one length for every size
            for sized in (known for known in DEFAULTS if known.startswith("outlet_pipe_length_")):
                self._override({**row, "name": sized})
            return
        if name not in self._limits:
            raise LimitError(f"The table limits has a row '{name}' that names no limit; correct the name or delete "
                             "the row.")
        default = self._limits[name]
        unit = default.unit if unit in (None, "") else str(unit)
        if unit not in UNIT_SI or (unit == "") != (default.unit == ""):
            raise LimitError(f"Limit '{name}' has the unit '{unit}'; use {default.unit or 'no unit'}.")
        try:
            number = float(value)  # type: ignore[arg-type]
        except (TypeError, ValueError):
            raise LimitError(f"Limit '{name}' has no number; give a value in {unit or 'no unit'} or delete the "
                             "row.") from None
        source = str(row.get("source") or "set by the office")
        self._limits[name] = replace(default, value=number, unit=unit, source=source, certainty="set in this archive")

    def __getitem__(self, name: str) -> float:
        limit = self._limits[name]
        return limit.si * self._foot_m / FOOT_M if limit.unit in ("ft", "ft/s") else limit.si

    def __iter__(self):
        return iter(self._limits)

    def __len__(self) -> int:
        return len(self._limits)

    def of(self, name: str) -> Limit:
        """The limit itself, with unit, source and meaning."""
        return self._limits[name]

"""The parameters of an import and what they say. Loaded with QGIS: the engine is imported when asked."""

from __future__ import annotations

from qgis.core import (
    QgsProcessingParameterBoolean,
    QgsProcessingParameterCrs,
    QgsProcessingParameterEnum,
    QgsProcessingParameterNumber,
    QgsProcessingParameterString,
)

FIELD_MAP, VALUE_MAP, CRS, OUTPUT_CRS, SWAP_AXES = "FIELD_MAP", "VALUE_MAP", "CRS", "OUTPUT_CRS", "SWAP_AXES"
_UNITS = ("ft", "us-ft", "m", "cm", "mm", "in")

# parameter -> (label, choices, what it is; asked: shown among the first)
CHOICES = {
    "ROLE": ("Role where the file says none", ("lateral", "submain", "main", "outlet_pipe"),
             "What lines are whose role the file does not say.", True),
    "LENGTH_UNIT": ("Unit of lengths and depths", _UNITS,
                    "Of depths and spacings without a unit of their own. ft is the foot of the archive.", True),
    "DIAMETER_UNIT": ("Unit of diameters", ("in", "mm", "cm", "ft", "m"), "Of sizes without a unit of their own.",
                      True),
    "ELEVATION_UNIT": ("Unit of elevations", _UNITS, "Of inverts and heights. Not set: that of lengths.", True),
    "HEIGHTS": ("Heights are of", ("invert", "pipe_top", "ground", "none"),
                "What drawn heights, or a column of elevations in a log, are of. none: they are left.", True),
    "LOCATED_BY": ("Located by", ("level", "rtk", "machine_log", "probe", "aerial", "scanned_map", "tape", "memory"),
                   "What found the places and levels. Their error follows from it where none is given.", True),
    "POINTS": ("Points are", ("lines", "structures", "shots", "none"),
               "What points are: points of lines in order (a log), structures, level shots, or nothing to take.",
               False),
    "DRAWN": ("Lines are drawn", ("downstream", "upstream"),
              "Which way lines run, where the file has levels upstream and downstream.", False),
    "DATE_ORDER": ("Order of days", ("mdy", "dmy"), "Whether 3/4/2020 is in March (mdy) or in April (dmy).", False),
    "COORDINATE_UNIT": ("Unit of the coordinates", _UNITS,
                        "Where a drawing counts in another unit than its CRS. Not set: that of the CRS.", False),
}  # fmt: skip
TEXTS = {
    "VERTICAL_DATUM": ("Vertical datum", "What elevations count from, for instance NAVD 88. Write unknown if nobody "
                       "knows.", True),
    "MADE_BY": ("Made by", "Who drew or logged it; kept with the layout.", False),
    "MADE_ON": ("Made on", "The day it was made, as 2019-05-25; kept with the layout.", False),
    "SOURCE_KIND": ("Kind of source", "Machine log, plan, sketch. Not set: the kind of file.", False),
    "ENCODING": ("Encoding", "Letters of the file, for instance utf-8 or cp1252. Not set: as the file shows.", False),
}  # fmt: skip
NUMBERS = {
    "POSITION_ERROR": ("Error of the place (ft or m)", "Standard error of the lines, sideways; of a scan what its fit "
                       "gave. A log is thinned within it."),
    "HEIGHT_ERROR": ("Error of heights (ft or m)", "Standard error of levels. Levels of a log are thinned within it."),
    "GAP_DISTANCE": ("Longest gap in a log (ft or m)", "A logged line ends where the next point is farther away. Not "
                     "set: five of its median steps, 3 m at least."),
    "GAP_TIME": ("Longest pause in a log (s)", "A logged line ends where the next point is later than that and "
                 "elsewhere. Not set: five of its median steps."),
}  # fmt: skip


def add_questions(algorithm) -> None:
    """Parameters that answer what a file does not say, those that are asked for most at the top."""
    algorithm.add(QgsProcessingParameterCrs(CRS, algorithm.tr("CRS of the file"), optional=True),
                  "Only where the file names none (DXF, CSV) or a wrong one.")
    _add_choices_and_texts(algorithm, True)
    multiline = {"optional": True, "multiLine": True}
    algorithm.add(QgsProcessingParameterString(FIELD_MAP, algorithm.tr("Field map"), **multiline),
                  "What fields of the file mean, one a line: diameter = SIZE. A value for all in quotes: status = "
                  "'proposed'. Nothing after the sign: leave it empty. Other layers: structures.kind = TYPE, points.x "
                  "= E. "
                  "What is not said is guessed from the names and shown in the report.")
    algorithm.add(QgsProcessingParameterString(VALUE_MAP, algorithm.tr("Value map"), **multiline),
                  "What entries of the file mean, one a line: role: T1 = lateral. Nothing after the sign: it means "
                  "nothing.")
    _add_choices_and_texts(algorithm, False)
    for name, (label, help_text) in NUMBERS.items():
        number = QgsProcessingParameterNumber(name, algorithm.tr(label), QgsProcessingParameterNumber.Type.Double,
                                              optional=True, minValue=0.0)
        algorithm.add(number, help_text, advanced=True)
    algorithm.add(QgsProcessingParameterBoolean(SWAP_AXES, algorithm.tr("Swap x and y"), False),
                  "Where the file has them the wrong way round.", advanced=True)
    algorithm.add(QgsProcessingParameterCrs(OUTPUT_CRS, algorithm.tr("CRS to keep it in"), optional=True),
                  "Projected, in feet or metres. Not set: that of the archive, else that of the file.", advanced=True)


def _add_choices_and_texts(algorithm, first: bool) -> None:
    for name, (label, choices, help_text, asked) in CHOICES.items():
        if asked == first:
            parameter = QgsProcessingParameterEnum(name, algorithm.tr(label), list(choices), optional=True,
                                                   usesStaticStrings=True)
            algorithm.add(parameter, help_text, advanced=not first)
    for name, (label, help_text, asked) in TEXTS.items():
        if asked == first:
            algorithm.add(QgsProcessingParameterString(name, algorithm.tr(label), optional=True), help_text,
                          advanced=not first)


def answers_said(algorithm, parameters, context, length_m: float):
    """What the parameters say as plugin.importing.answers.Answers; lengths are in units of `length_m` metres.

    Raises FieldMapError.
    """
    from ..plugin.importing.answers import Answers, parse_field_map, parse_value_map
    from ..plugin.importing.dates import parse_date
    from ..plugin.importing.guess_fields import FieldMapError

    said = {name: algorithm.parameterAsEnumString(parameters, name, context) if parameters.get(name) else ""
            for name in CHOICES}  # fmt: skip
    said.update({name: algorithm.parameterAsString(parameters, name, context).strip() for name in TEXTS})
    figures = {
        name: algorithm.parameterAsDouble(parameters, name,
                                          context) if parameters.get(name) is not None else float("nan")
        for name in NUMBERS
    }
    if said["MADE_ON"]:
        day = parse_date(said["MADE_ON"])
        if day is None:
            raise FieldMapError(f"MADE_ON is '{said['MADE_ON']}', which is no day: write it as 2019-05-25.")
        said["MADE_ON"] = day.isoformat()
    crs = algorithm.parameterAsCrs(parameters, CRS, context)
    return Answers(
        fields=parse_field_map(algorithm.parameterAsString(parameters, FIELD_MAP, context)),
        values=parse_value_map(algorithm.parameterAsString(parameters, VALUE_MAP, context)),
        crs=(crs.authid() or crs.toWkt()) if crs.isValid() else "",
        swap_axes="yes" if algorithm.parameterAsBoolean(parameters, SWAP_AXES, context) else "",
        position_error_m=figures["POSITION_ERROR"] * length_m,
        height_error_m=figures["HEIGHT_ERROR"] * length_m,
        gap_distance_m=figures["GAP_DISTANCE"] * length_m,
        gap_time_s=figures["GAP_TIME"],
        **{name.lower(): value for name, value in said.items()},
    )

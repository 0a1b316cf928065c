"""What an import works by: the answers, the units and plan it goes into, and what the file says of itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from ..limits import Limits
from ..units import INCH_M, US, US_SURVEY_FOOT_M, Units
from .answers import Answers
from .issues import Issues, Question

_PROPER_NAMES = {"length": "lengths and depths", "diameter": "diameters", "elevation": "elevations"}


@dataclass(frozen=True)
class UnitTaken:
    """The unit a column without written units is read in, and why: "said", "field name", "archive form" or "guess"."""

    unit: str
    how: str


@dataclass
class Setting:
    """`units` are those figures come out in, `plan_m` metres a unit of the plan's coordinates, `file_units` the system
    the file declares ("" where none), `datum` the vertical datum of the archive to come ("" where not known).
    """

    answers: Answers
    units: Units
    plan_m: float
    limits: Limits
    issues: Issues
    file_units: str = ""
    file_datum: str = ""
    archive_datum: str = ""
    asked: dict[str, list[str]] = field(default_factory=dict)

    def size_m(self, unit: str) -> float:
        """Metres of a unit. A plain foot is the foot of the archive, which may be the US survey foot."""
        sizes = {"m": 1.0, "cm": 0.01, "mm": 0.001, "in": INCH_M, "ft": self.units.foot_m, "us-ft": US_SURVEY_FOOT_M}
        return sizes[unit]

    def factor(self, unit: str, kind: str) -> float:
        """From figures in `unit` to the unit in which `kind` (length, diameter) comes out; exactly 1 for the same."""
        out = self.units.diameter_name if kind == "diameter" else self.units.length_name
        return 1.0 if unit == out else self.size_m(unit) / self.size_m(out)

    def unit_of(self, kind: str, name_unit: str, guess: str, field_name: str) -> UnitTaken:
        """The unit of the figures of a column that carry none; a guess is asked about.

        `kind` is length, diameter or elevation; `name_unit` the unit in the name of the field.
        """
        if name_unit:
            return UnitTaken(name_unit, "field name")
        said = {"length": self.answers.length_unit, "diameter": self.answers.diameter_unit,
                "elevation": self.answers.elevation_unit or self.answers.length_unit}[kind]  # fmt: skip
        if said:
            return UnitTaken(said, "said")
        if self.file_units:
            us = self.file_units == US
            return UnitTaken(("in" if us else "mm") if kind == "diameter" else ("ft" if us else "m"), "archive form")
        names = self.asked.setdefault(kind, [])
        if field_name not in names:
            names.append(field_name)
        parameter = f"{kind.upper()}_UNIT"
        self.issues.questions[parameter] = Question(
            parameter,
            f"In which unit are the {_PROPER_NAMES[kind]} ({', '.join(names)})? The file does not say.",
            parameter,
            f"{guess}, which is only a guess from the figures" if guess else "nothing",
        )
        return UnitTaken(guess, "guess")

    @property
    def datum(self) -> str:
        """The vertical datum of the file's elevations as far as it is known."""
        return self.answers.vertical_datum or self.file_datum

    def ask_about_datum(self) -> None:
        """Elevations come in: what do they count from?"""
        if not self.datum:
            self.issues.ask(Question(
                "VERTICAL_DATUM", "What do the elevations of the file count from (vertical datum)? It does not say.",
                "VERTICAL_DATUM, for instance NAVD 88; write 'unknown' if nobody knows",
                "as they are",
            ))
        elif self.archive_datum and _plain(self.datum) not in (_plain(self.archive_datum), "unknown"):
            self.issues.ask(Question(
                "VERTICAL_DATUM",
                f"The file's elevations count from {self.datum}, the archive's from {self.archive_datum}: they cannot "
                "stand side by side.",
                "VERTICAL_DATUM, if it is wrong; else convert the elevations before the import",
                "as they are",
            ))

    def fields_told(self, target: str, names: Mapping[str, object]) -> dict[str, str]:
        """The field map for rows of `target`, without entries whose field a layer with `names` does not have."""
        lower = {name.lower() for name in names}
        told = self.answers.fields_of(target)
        return {m: own for m, own in told.items() if not own or own[:1] in "'\"" or own.lower() in lower}


def _plain(words: str) -> str:
    return "".join(letter for letter in words.lower() if letter.isalnum())

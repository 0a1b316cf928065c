"""What is wrong or doubtful about rows of a file, and what the user has to say before anything is written."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from .source import SourceLayer

LEFT_OUT, DOUBTFUL, REMARK = "left out", "doubtful", "remark"


@dataclass(frozen=True)
class IssueKind:
    """One kind of fault: its state (left out, doubtful, remark), what it is and what to do, for people."""

    id: str
    state: str
    title: str
    remedy: str


def _kinds(*rows: tuple[str, str, str, str]) -> dict[str, IssueKind]:
    return {row[0]: IssueKind(*row) for row in rows}


ISSUES = _kinds(
    ("no-place", LEFT_OUT, "The row has no place.", "Draw it in the file, or leave it out."),
    ("no-such-place", LEFT_OUT, "The CRS has no place with such coordinates.", "Is it the right CRS? Name it (CRS)."),
    ("no-line", LEFT_OUT, "What is drawn is no line.", "Draw the pipe as a line; areas and loose marks are not taken."),
    ("bad-line", LEFT_OUT, "The line cannot be used as it is drawn.", "Redraw it in the file."),
    ("unknown-point", LEFT_OUT, "Nothing says what this point is.",
     "Say what points are (POINTS), or which field says their kind (structures.kind)."),
    ("unknown-role", LEFT_OUT, "Nothing says whether it is a lateral, a main or an outlet pipe.",
     "Say the role of such lines (ROLE), which field says it (role = FIELD), or what its entries mean (VALUE_MAP)."),
    ("no-level", LEFT_OUT, "The point has no elevation, so it is no level shot.", "Say which field holds it."),
    ("lone-point", LEFT_OUT, "The point stands alone between gaps.", "Look at the gaps, or leave it out."),
    ("jump", LEFT_OUT, "The log jumps here and back.", "Nothing, if the machine was not there."),
    ("repeated-point", REMARK, "The log repeats the point before; one of them is used.", "Nothing."),
    ("text-alone", LEFT_OUT, "A text of the drawing stands near no line.", "Read it; it is kept in the file only."),
    ("wrong-place", DOUBTFUL, "It lies where it cannot be.", "See the reason."),
    ("far-away", DOUBTFUL, "It lies far from everything else.", "Check its coordinates, or leave it out."),
    ("no-crs", DOUBTFUL, "The file does not say where its coordinates count from.",
     "Say the CRS it was drawn in (CRS)."),
    ("other-foot", DOUBTFUL, "The file counts in another foot than the archive.",
     "Ask who made the file which foot it was drawn in, and name that CRS (CRS)."),
    ("same-line", DOUBTFUL, "The same line is there twice.", "Leave one out."),
    ("closed-line", DOUBTFUL, "The line ends where it begins, as a boundary does.", "Leave it out if it is no pipe."),
    ("earlier-pass", DOUBTFUL, "The log goes over the same way again later.",
     "The later pass is taken; check that it is the one that laid the pipe."),
    ("turns-back", DOUBTFUL, "The logged line turns back on itself.", "Look at it: was the machine backed up?"),
    ("hard-to-believe", DOUBTFUL, "A figure is hard to believe.", "Check the unit that was taken, and the figure."),
    ("changes-along", DOUBTFUL, "A figure changes along the line; a drain has one.", "Split the line in the file."),
    ("several-parts", REMARK, "The line is drawn in several parts.", "Each part becomes a drain of its own."),
    ("parts-joined", REMARK, "Parts that follow one another were joined to one line.", "Nothing."),
    ("part-left", REMARK, "A part of it could not be used.", "Look at it in the file."),
    ("key-twice", REMARK, "The key is used before.", "It got a number; its own key stands in the note."),
    ("value-unread", REMARK, "An entry means nothing known.", "Say what it means (VALUE_MAP); it is kept in the note."),
    ("no-such-figure", REMARK, "An archive takes no such figure.", "It counts as unknown and is kept in the note."),
    ("figure-unread", REMARK, "An entry is no figure.", "It is kept in the note."),
    ("zero-unknown", REMARK, "A 0 stands where nobody knew.", "It counts as unknown."),
    ("date-unread", REMARK, "An entry is no day.", "It is kept in the note; a year alone is no day."),
    ("heights-left", REMARK, "Heights of the line were not taken.", "Say what they are of (HEIGHTS)."),
    ("ends-unsure", REMARK, "Levels upstream and downstream could not be put to the ends.",
     "Say which way the lines are drawn (DRAWN); they are kept in the note."),
    ("cover-kept", REMARK, "A cover without a diameter gives no depth.", "It is kept in the note."),
)  # fmt: skip


@dataclass(frozen=True)
class Question:
    """Something only the user knows: `parameter` is where to say it, `meanwhile` what the dry run takes for it."""

    id: str
    sentence: str
    parameter: str
    meanwhile: str


@dataclass(frozen=True)
class Issue:
    """Rows of one layer with one kind of fault; `detail` is a sentence for each."""

    kind: IssueKind
    layer: str
    row_word: str
    number: np.ndarray
    detail: np.ndarray

    def __len__(self) -> int:
        return len(self.number)


class Issues:
    """Collects faults of rows and questions, each once."""

    def __init__(self) -> None:
        self.found: list[Issue] = []
        self.questions: dict[str, Question] = {}
        self.said: list[str] = []

    def add(self, kind: str, layer: SourceLayer, rows: Iterable[int], detail: object = "") -> None:
        """Rows (indices into `layer`) with a fault; `detail` is one sentence or one a row."""
        rows = np.asarray(rows, dtype=np.int64)
        if not len(rows):
            return
        details = np.full(len(rows), detail, dtype=object) if isinstance(detail, str) else np.asarray(detail, object)
        self.found.append(Issue(ISSUES[kind], layer.name, layer.row_word, layer.number[rows], details))

    def ask(self, question: Question) -> None:
        self.questions.setdefault(question.id, question)

    def say(self, sentence: str) -> None:
        """Something about the file as a whole."""
        if sentence not in self.said:
            self.said.append(sentence)

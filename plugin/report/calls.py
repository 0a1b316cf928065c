"""How a call is said and drawn: words, colour, dash and hatching, the same in every drawing and table.

No two calls share a dash or a hatching, so that they stay apart in grey and for people who see few colours.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from ..checks.declare import CANNOT_TELL, FOUND, REVERSE, UNKNOWN

FALLS = "falls"
NOT_JUDGED = "not_judged"


@dataclass(frozen=True)
class CallStyle:
    """`dash` is an SVG dash array ('' solid); `hatch` a kind `Drawing.hatch` knows; `fill` a light ground."""

    words: str
    colour: str
    dash: str
    width: float
    hatch: str
    fill: str


STYLES: Mapping[str, CallStyle] = MappingProxyType(
    {
        FALLS: CallStyle("falls", "#0b5c8a", "", 3.0, "", "#e4f0f7"),
        REVERSE: CallStyle("reverse", "#a8141b", "12 5", 4.5, "diagonal", "#fbe3e1"),
        CANNOT_TELL: CallStyle("cannot tell", "#7a4b00", "2 5", 4.5, "dots", "#fff3d6"),
        UNKNOWN: CallStyle("unknown", "#4d4d4d", "16 4 3 4 3 4", 2.5, "cross", "#ffffff"),
        FOUND: CallStyle("found", "#8c1264", "9 3", 4.5, "", "#ffffff"),
        NOT_JUDGED: CallStyle("not judged", "#333333", "10 4 2 4", 2.0, "", "#ffffff"),
    }
)


def style_of(call: str) -> CallStyle:
    """The style of a call; a call nobody knows is drawn as unknown, never as good."""
    return STYLES.get(call, STYLES[UNKNOWN])

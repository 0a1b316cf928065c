"""What a reader must know before acting on a page, and what this version does not check."""

from __future__ import annotations

from ..checks.catalogue import NOT_YET
from .content import Caution, Missed

CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "Locate buried utilities before digging or probing",
        "Call the one-call centre (811 in the United States) and dig only while the ticket is valid; most states count "
        "drain work as excavation. This page knows farm drains only, no gas, power, water or telephone.",
    ),
    Caution(
        "Protect people in trenches",
        "29 CFR 1926 Subpart P asks for: a ladder or ramp within 25 ft from 4 ft of depth; spoil 2 ft back from the "
        "edge; protection against cave-in from 5 ft, and in shallower trenches whose sides may give way; a design by "
        "an engineer above 20 ft. Wet or seeping ground is Type C: slopes of 1.5 to 1. The competent person on site "
        "classifies the soil, not the map. Elsewhere the local rule holds.",
    ),
    Caution(
        "Ask owners and the road authority",
        "Get the permission of every owner whose land the work, the spoil or the machine touches, and of the road "
        "authority in a road strip. Backing water into another owner's drain needs that owner's written permission.",
    ),
    Caution(
        "Ask before changing drainage near a wetland",
        "7 CFR 12.33: drains may be kept as they were on 23 December 1985; more capacity needs approval by NRCS first. "
        "A reroute or a larger pipe may be more capacity.",
    ),
    Caution(
        "Local codes and licensed practice come first",
        "Where a code, a drainage district, or a licensed engineer or surveyor says otherwise, follow them.",
    ),
    Caution(
        "No result is surer than the data",
        "'Cannot tell', 'unknown' and 'not checked' do not mean good. Limits marked 'from memory', 'assumed' or "
        "'common practice' are no standards. Ground from the air is not the pipe: shoot levels before pipe is ordered "
        "or laid.",
    ),
)

OF_A_LAYOUT: tuple[Caution, ...] = (
    Caution(
        "A line that is taken is not yet a pipe that was seen",
        "Accepting takes the layout at its word. Probe or shoot a place before anybody digs or pays by this map.",
    ),
    CAUTIONS[2],
    CAUTIONS[-1],
)

NOT_IN_THIS_VERSION: tuple[Missed, ...] = (
    *(Missed(one.title, one.why) for one in NOT_YET),
    Missed(
        "What is left behind: water that stands in old pipe that is kept; drains cut off where no reroute is drawn",
        "This version cannot check it.",
    ),
)

"""What must be said first about a network, in sentences."""

from __future__ import annotations

import numpy as np

from .network import Network


def say_first(network: Network, settled_by: str = "ACCEPT_PROPOSED") -> list[str]:
    """Sentences in order of weight: what reaches no outlet and how to change that, guesses, lines left out."""
    sentences = []
    drains, lacking = len(network.drains_in_network), len(network.drains_without_outlet)
    waiting = len(network.drains_waiting)
    if waiting:
        sentences.append(
            f"{waiting:,} of {drains:,} drains reach no outlet until the proposed joints are accepted. Accept them "
            f"all with {settled_by}, or one by one with a structure of kind joint, evidence seen or drawn."
        )
    if lacking > waiting:
        sentences.append(
            f"{lacking - waiting:,} of {drains:,} drains reach no outlet{' even then' if waiting else ''}: see the "
            "findings no-outlet and loose-end."
        )
    assumed = int(network.outlets.assumed.sum())
    if assumed:
        sentences.append(
            f"No outlet is marked; the free end of the main was taken in {assumed:,} "
            f"{'system' if assumed == 1 else 'systems'}. Mark outlets with structures of kind outlet."
        )
    sentences += _left_out(network)
    return sentences


def _left_out(network: Network, most: int = 5) -> list[str]:
    """One sentence a line that could not be used, up to `most`, then how many more."""
    ids = network.drains.drain_id
    said = [
        f"Drain '{ids[fault.drain]}': {fault.why}; "
        f"{'the drain is used all the same' if fault.used else 'it is left out: redraw it'}."
        for fault in network.unusable
    ]
    said += [
        f"Drain '{network.drains.name[d]}' is drawn on drain '{network.drains.name[o]}' and carries nothing: remove "
        "one."
        for d, o in zip(network.lines.drain[network.duplicates.line], network.lines.drain[network.duplicates.of])
    ]
    ids_text = ids.astype(str)
    key, count = np.unique(ids_text, return_counts=True)
    twice = zip(key[count > 1], count[count > 1])
    said += [f"The key '{k}' is used by {c} drains: give each its own." for k, c in twice]
    said += [
        f"Outlet '{network.structures.name[row]}' lies on no pipe within the join tolerance: move it onto the pipe."
        for row in network.off_pipe_outlets
    ]
    said += [
        f"Level shot '{network.shots.shot_id[unused.shot]}' is not used: {unused.why}."
        for unused in network.levels.points.unused_shots
    ]
    keyless = ids[network.drains.id_missing]
    if len(keyless):
        others = f" and {len(keyless) - 1:,} more have no keys and are" if len(keyless) > 1 else " has no key and is"
        said.append(f"Drain '{keyless[0]}'{others} called by the number of the feature: give each a key of its own.")
    more = len(said) - most
    return said[:most] + ([f"{more:,} more of this kind are listed in the findings."] if more > 0 else [])

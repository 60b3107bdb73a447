"""The bare pass that a plan is measured against: a walk over integers and index lists, with no calendar, people or places.

Frozen: a plan's figure is its time over the time of these twelve lines, so a change to them would change what figures mean.
"""

from collections.abc import Sequence


def forward_pass(
    order: Sequence[int], follows: Sequence[Sequence[int]], work: Sequence[int], cure: Sequence[int]
) -> tuple[list[int], list[int]]:
    """When each stage starts and ends at the earliest; ``order`` puts none before what it follows."""
    starts = [0] * len(work)
    ends = [0] * len(work)
    for stage in order:
        start = 0
        for earlier in follows[stage]:
            cured = ends[earlier] + cure[earlier]
            if cured > start:
                start = cured
        starts[stage] = start
        ends[stage] = start + work[stage]
    return starts, ends

"""The critical path on calendars: when each stage could be at its earliest and must be at its latest, if there were always
room and hands enough. Work runs while anybody who can do it is there; cures run through nights and weekends.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from studio.craft.network import Network


@dataclass(frozen=True, slots=True)
class Float:
    """All in slots of the grid: the work's first and its end, at the earliest and at the latest.

    ``slack``  open slots of the shop from the earliest start to the latest, negative when it is late already
    Before the grid each slot counts as open. What does not fit into the grid ends ``beyond`` it.
    """

    earliest_start: int
    earliest_end: int
    latest_start: int
    latest_end: int
    slack: int


def slack(network: Network) -> dict[str, Float]:
    """By stage id. At the latest: counted back from a stage's own due slot and its job's, whichever is hardest; a job
    without one is due at its own earliest end.
    """
    starts, ends = earliest(network)
    due: dict[str, int] = {}
    for stage, end, cure in zip(network.stages, ends, network.cure, strict=True):
        due[stage.job] = max(due.get(stage.job, 0), end + cure)
    due |= {job.id: job.due for job in network.shop.jobs if job.due is not None}
    last_starts, last_ends = latest(network, due)
    shop = network.shop.calendar
    return {
        stage.id: Float(start, end, last_start, last_end, shop.worked(start, last_start) + min(last_start, 0))
        for stage, start, end, last_start, last_end in zip(
            network.stages, starts, ends, last_starts, last_ends, strict=True
        )
    }


def earliest(network: Network) -> tuple[list[int], list[int]]:
    """When each stage's work can start and end at the earliest."""
    starts, ends = [0] * len(network.stages), [0] * len(network.stages)
    for stage, follows in enumerate(network.follows):
        calendar = network.needs[network.need[stage]].calendar
        free = max([network.release[stage], *(ends[i] + network.cure[i] for i in follows)])
        starts[stage] = calendar.next_open(free)
        ends[stage] = calendar.end(starts[stage], network.work[stage])
    return starts, ends


def latest(network: Network, due: Mapping[str, int]) -> tuple[list[int], list[int]]:
    """When each stage's work must start and end at the latest, with the due slots of jobs; a job that has none never ends."""
    never = network.shop.grid.slots
    starts, ends = [0] * len(network.stages), [0] * len(network.stages)
    for stage in reversed(range(len(network.stages))):
        own, job = network.stages[stage].due, due.get(network.stages[stage].job, never)
        cured = min(job, never if own is None else own, *(starts[i] for i in network.followers[stage]))
        ends[stage] = cured - network.cure[stage]
        starts[stage] = network.needs[network.need[stage]].calendar.start(ends[stage], network.work[stage])
    return starts, ends

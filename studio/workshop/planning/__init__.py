"""From the rows of the record to a plan, and back to what a screen says of it.

``following``  which stages each stage waits for
``spent``      when somebody was at a stage, by what was logged
``facts``      all that a plan is made from, as plain JSON, and its hash
``shop``       those facts as the craft wants them
``helps``      what would bring a job back, tried
``drawing``    the plan itself, as it is kept
``answer``     that plan, as a screen reads it
"""

from studio.workshop.planning.answer import (
    CauseTold,
    EndTold,
    ProblemTold,
    StageTold,
    Told,
    newest,
    stale,
    word,
)
from studio.workshop.planning.helps import Act, Help, Longer
from studio.workshop.planning.shop import LOGGED_AHEAD

__all__ = [
    "LOGGED_AHEAD",
    "Act",
    "CauseTold",
    "EndTold",
    "Help",
    "Longer",
    "ProblemTold",
    "StageTold",
    "Told",
    "newest",
    "stale",
    "word",
]

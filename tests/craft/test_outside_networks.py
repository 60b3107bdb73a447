"""The critical path, and the plan when there are hands and room enough, against textbooks and networkx's longest path."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from studio.craft.network import lay_out
from studio.craft.plan import plan
from studio.craft.slack import Float, slack
from studio.craft.stages import Done, Job, Maker, Shop, Stage
from studio.craft.workdays import Grid, always
from tests.conftest import need_shared

pytestmark = pytest.mark.once

GRID = Grid(ZoneInfo("UTC"), date(2026, 3, 9), 30)
ALWAYS = always(GRID)
TRAIL = "Snail trail"


def shop(
    stages: tuple[Stage, ...], *, makers: int = 0, now: int = 0, done: tuple[Done, ...] = (), due: int | None = None
) -> Shop:
    """A shop that never closes, so that slots are the unit of the network; without makers, nobody has to be free."""
    return Shop(
        grid=GRID,
        now=now,
        calendar=ALWAYS,
        ordinary=ALWAYS,
        makers=tuple(Maker(f"maker {number:02}", ALWAYS) for number in range(makers)),
        jobs=(Job(TRAIL, due),),
        stages=stages,
        done=done,
    )


# --- textbooks


@dataclass(frozen=True)
class Activity:
    """What it follows, its three estimates, and what the book makes of them, to two places."""

    after: str
    estimates: tuple[int, int, int]
    expected: float
    start: float
    end: float
    slack: float

    @property
    def sixths(self) -> int:
        """The expected time by the beta-PERT formula, (a + 4 m + b) / 6, in sixths, which are whole."""
        low, likely, high = self.estimates
        return low + 4 * likely + high


@dataclass(frozen=True)
class Book:
    duration: float
    critical: str
    activities: Mapping[str, Activity]


BOOKS = {
    # Wikipedia, "Program evaluation and review technique", its worked example (from memory). It adds rounded times: 19.51.
    "wikipedia_pert": Book(
        19.5,
        "ACEG",
        {
            "A": Activity("", (2, 4, 6), 4.00, 0.00, 4.00, 0.00),
            "B": Activity("", (3, 5, 9), 5.33, 0.00, 5.33, 3.83),
            "C": Activity("A", (4, 5, 7), 5.17, 4.00, 9.17, 0.00),
            "D": Activity("A", (4, 6, 10), 6.33, 4.00, 10.33, 4.67),
            "E": Activity("BC", (4, 5, 7), 5.17, 9.17, 14.33, 0.00),
            "F": Activity("D", (3, 4, 8), 4.50, 10.33, 14.83, 4.67),
            "G": Activity("E", (3, 5, 8), 5.17, 14.33, 19.50, 0.00),
        },
    ),
    # justaaa.com/advanced-math/460263-a-partially-solved-pert-problem-is-detailed-in, in weeks. Read: activities, what they
    # follow, estimates; ADEHK is among its answers, and it asks what can be late by 1.67 weeks. The rest is taken over from the open data beside this checkout.
    "weeks_AK": Book(
        28.67,
        "ADEHK",
        {
            "A": Activity("", (8, 10, 15), 10.50, 0.00, 10.50, 0.00),
            "B": Activity("", (7, 8, 9), 8.00, 0.00, 8.00, 5.50),
            "C": Activity("A", (5, 6, 10), 6.50, 10.50, 17.00, 4.17),
            "D": Activity("A", (3, 3, 3), 3.00, 10.50, 13.50, 0.00),
            "E": Activity("BD", (1, 5, 9), 5.00, 13.50, 18.50, 0.00),
            "F": Activity("BD", (4, 7, 10), 7.00, 13.50, 20.50, 3.17),
            "G": Activity("C", (3, 8, 10), 7.50, 17.00, 24.50, 4.17),
            "H": Activity("E", (5, 7, 9), 7.00, 18.50, 25.50, 0.00),
            "I": Activity("E", (4, 5, 8), 5.33, 18.50, 23.83, 1.67),
            "J": Activity("F", (2, 5, 8), 5.00, 20.50, 25.50, 3.17),
            "K": Activity("HI", (1, 3, 6), 3.17, 25.50, 28.67, 0.00),
        },
    ),
    # wizedu.com/questions/717873/time-days-immediate-time-days-immediate-activity, in days. Read: activities, what they
    # follow, estimates, every expected time, and start, end and slack of A to F. The rest is taken over from the open data beside this checkout.
    "days_AN": Book(
        50.83,
        "ACEHIKMN",
        {
            "A": Activity("", (5, 5, 7), 5.33, 0.00, 5.33, 0.00),
            "B": Activity("", (1, 2, 5), 2.33, 0.00, 2.33, 8.00),
            "C": Activity("A", (5, 5, 5), 5.00, 5.33, 10.33, 0.00),
            "D": Activity("A", (4, 8, 13), 8.17, 5.33, 13.50, 1.83),
            "E": Activity("BC", (1, 10, 17), 9.67, 10.33, 20.00, 0.00),
            "F": Activity("D", (1, 5, 7), 4.67, 13.50, 18.17, 1.83),
            "G": Activity("D", (2, 6, 9), 5.83, 13.50, 19.33, 5.00),
            "H": Activity("EF", (4, 4, 6), 4.33, 20.00, 24.33, 0.00),
            "I": Activity("GH", (2, 7, 10), 6.67, 24.33, 31.00, 0.00),
            "J": Activity("I", (2, 4, 7), 4.17, 31.00, 35.17, 2.50),
            "K": Activity("I", (6, 10, 13), 9.83, 31.00, 40.83, 0.00),
            "L": Activity("J", (2, 6, 6), 5.33, 35.17, 40.50, 2.50),
            "M": Activity("K", (2, 2, 3), 2.17, 40.83, 43.00, 0.00),
            "N": Activity("LM", (7, 7, 12), 7.83, 43.00, 50.83, 0.00),
        },
    ),
    # brainmass.com/business/project-management/quantitative-analysis-pert-cpm-368694, in days, one estimate each (not read again).
    "cpm_days_AG": Book(
        24.0,
        "ACDEG",
        {
            "A": Activity("", (7, 7, 7), 7.0, 0.0, 7.0, 0.0),
            "B": Activity("A", (2, 2, 2), 2.0, 7.0, 9.0, 2.0),
            "C": Activity("A", (4, 4, 4), 4.0, 7.0, 11.0, 0.0),
            "D": Activity("BC", (4, 4, 4), 4.0, 11.0, 15.0, 0.0),
            "E": Activity("D", (4, 4, 4), 4.0, 15.0, 19.0, 0.0),
            "F": Activity("E", (3, 3, 3), 3.0, 19.0, 22.0, 2.0),
            "G": Activity("E", (5, 5, 5), 5.0, 19.0, 24.0, 0.0),
        },
    ),
}

each_book = pytest.mark.parametrize("book", BOOKS.values(), ids=BOOKS)


def as_stages(book: Book) -> tuple[Stage, ...]:
    return tuple(Stage(name, TRAIL, it.sixths, after=tuple(it.after)) for name, it in book.activities.items())


def in_units(slots: int) -> float:
    return round(slots / 6, 2)


@each_book
def test_the_expected_times_are_the_books(book: Book) -> None:
    assert {name: in_units(it.sixths) for name, it in book.activities.items()} == {
        name: it.expected for name, it in book.activities.items()
    }


@each_book
def test_the_critical_path_is_the_books(book: Book) -> None:
    found = slack(lay_out(shop(as_stages(book))))
    assert {
        name: (in_units(it.earliest_start), in_units(it.earliest_end), in_units(it.slack)) for name, it in found.items()
    } == {name: (it.start, it.end, it.slack) for name, it in book.activities.items()}
    assert in_units(max(it.earliest_end for it in found.values())) == book.duration
    assert "".join(sorted(name for name, it in found.items() if it.slack == 0)) == book.critical


@each_book
def test_with_hands_enough_the_plan_is_the_books(book: Book) -> None:
    found = plan(lay_out(shop(as_stages(book), makers=len(book.activities))))
    assert not found.problems
    assert {name: (in_units(it.start), in_units(it.end)) for name, it in found.placed.items()} == {
        name: (it.start, it.end) for name, it in book.activities.items()
    }


def test_a_chain_takes_as_long_as_its_links() -> None:
    """scribd.com 560744547: the critical path 1-2, 2-3, 3-5, 5-8 with times 7, 14, 11 and 4 takes 36 (not read again)."""
    times = {"1-2": 7, "2-3": 14, "3-5": 11, "5-8": 4}
    before = dict(zip(times, [(), *((name,) for name in times)], strict=False))
    found = slack(lay_out(shop(tuple(Stage(name, TRAIL, time, after=before[name]) for name, time in times.items()))))
    assert [found[name].earliest_end for name in times] == [7, 21, 32, 36]
    assert {it.slack for it in found.values()} == {0}


@pytest.mark.shared
def test_the_facts_here_are_those_of_the_open_data() -> None:
    kept = json.loads(need_shared("planning/cpm_pert_examples.json").read_text())
    chain = kept.pop("scribd_1258")
    assert (chain["te"], chain["duration"], chain["critical"]) == ([7, 14, 11, 4], 36, "1-2,2-3,3-5,5-8")
    assert {
        name: Book(
            round(book["duration"], 2),
            "".join(book["critical"]),
            {
                letter: Activity(
                    "".join(it["pred"]),
                    (it["o"], it["m"], it["p"]),
                    *(round(float(it[key]), 2) for key in ("te", "ES", "EF", "slack")),
                )
                for letter, it in book["activities"].items()
            },
        )
        for name, book in kept.items()
    } == BOOKS


# --- any network


@dataclass(frozen=True)
class Drawn:
    """Stages that follow each other without a ring, in any order of ids, some held back and some after one that is done."""

    stages: tuple[Stage, ...]
    now: int
    done: tuple[Done, ...]


@st.composite
def networks(draw: st.DrawFn) -> Drawn:
    count, now = draw(st.integers(1, 12)), draw(st.integers(0, 50))
    names = draw(st.permutations([f"stage {number:02}" for number in range(count)]))
    before = Done("armature", TRAIL, at=draw(st.integers(0, 50)), cure=draw(st.integers(0, 100)))
    stages = []
    for number, name in enumerate(names):
        after = draw(st.sets(st.sampled_from(names[:number]), max_size=4)) if number else set()
        stages.append(
            Stage(
                name,
                TRAIL,
                work=draw(st.integers(1, 30)),
                cure=draw(st.sampled_from((0, 0, 1, 20))),
                after=(*sorted(after), *draw(st.sampled_from(((), ("armature",))))),
                not_before=draw(st.sampled_from((0, 0, 40, 120))),
            )
        )
    return Drawn(tuple(draw(st.permutations(stages))), now, (before,))


def as_graph(drawn: Drawn) -> "nx.DiGraph[str]":
    """From "now" through the stages to "out": the length of an edge is the time from one start to the next at least."""
    graph = nx.DiGraph()
    for stage in drawn.stages:
        graph.add_edge("now", stage.id, length=max(drawn.now, stage.not_before))
        graph.add_edge(stage.id, "out", length=stage.work + stage.cure)
    times = {stage.id: stage.work + stage.cure for stage in drawn.stages}
    for stage in drawn.stages:
        for before in stage.after:
            if before in times:
                graph.add_edge(before, stage.id, length=times[before])
            else:
                length = max(done.at + done.cure for done in drawn.done)
                graph["now"][stage.id]["length"] = max(length, graph["now"][stage.id]["length"])
    return graph


def longest(graph: "nx.DiGraph[str]", first: str, last: str) -> int:
    between = (nx.descendants(graph, first) | {first}) & (nx.ancestors(graph, last) | {last})
    length: int = nx.dag_longest_path_length(graph.subgraph(between), weight="length")
    return length


@settings(deadline=None)
@given(networks(), st.none() | st.integers(0, 600))
def test_the_critical_path_is_the_longest(drawn: Drawn, due: int | None) -> None:
    """Without a due slot the longest path is the time there is; with one there may be too little, and slots before the grid."""
    graph, found = as_graph(drawn), slack(lay_out(shop(drawn.stages, now=drawn.now, done=drawn.done, due=due)))
    length = longest(graph, "now", "out")
    assert max(found[stage.id].earliest_end + stage.cure for stage in drawn.stages) == length
    for stage in drawn.stages:
        start = longest(graph, "now", stage.id)
        last = (length if due is None else due) - longest(graph, stage.id, "out")
        assert found[stage.id] == Float(start, start + stage.work, last, last + stage.work, last - start)


@settings(deadline=None)
@given(networks())
def test_with_hands_enough_the_plan_takes_the_longest_path(drawn: Drawn) -> None:
    graph = as_graph(drawn)
    found = plan(lay_out(shop(drawn.stages, makers=len(drawn.stages), now=drawn.now, done=drawn.done)))
    assert not found.problems
    assert max(it.cured for it in found.placed.values()) == longest(graph, "now", "out")
    assert {name: it.start for name, it in found.placed.items()} == {
        stage.id: longest(graph, "now", stage.id) for stage in drawn.stages
    }

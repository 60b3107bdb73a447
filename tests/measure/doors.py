"""All doors, tried: every route and every photo, by every method, by everybody for whom they are not.

    python -m tests.measure.doors [--broker redis|folder] [--keep]

A studio runs as anybody starts it. ``tries`` counts the distinct triples of a route with its method, an object and somebody;
``leaks`` what was not the right refusal, showed anything of what is behind, or wrote a row. ``timing_spread`` is, at the
client's door where it is worst, how far the medians of 200 interleaved requests for each kind of failure lie apart.
"""

import argparse
import random
import sys
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING

from tests.measure.phone import Phone
from tests.measure.up import Up, missed, own_folder, running, settle_in, table, told

if TYPE_CHECKING:
    from tests.measure.intruders import Answered, Place

ROUNDS = 200
QUIET_WITHIN_S = 60.0
MOST_TOLD = 30
MOST = {"leaks": 0, "rightful_not_200": 0, "timing_spread": 0.2}
LEAST = {"routes": 80, "tries": 2000}
Figures = dict[str, float]


class Visitors:
    """Everybody, each with a browser of their own: who works here has signed in, and everyone has a form's secret."""

    def __init__(self, url: str) -> None:
        from tests.measure.intruders import CLIENT, EXPIRED, OTHER, REVOKED, STAFF
        from tests.measure.yard import PASSWORD
        from tests.test_doors_roles import NOBODY

        strangers = (NOBODY, CLIENT, OTHER, REVOKED, EXPIRED)
        self.phones = {who: Phone(url) for who in (*strangers, *STAFF)}
        for who, email in STAFF.items():
            self.phones[who].sign_in(email, PASSWORD)
        for who in strangers:
            self.phones[who].get("/sign-in/")

    def ask(self, who: str, method: str, address: str) -> "Answered":
        from django.conf import settings

        from tests.measure.intruders import Answered

        phone = self.phones[who]
        answer = phone.ask(method, address, headers={"X-CSRFToken": phone.cookies[settings.CSRF_COOKIE_NAME]})
        headers = {name: value for name, value in answer.headers.items() if name not in {"Date", "Connection"}}
        return Answered(answer.status, headers, answer.body)


def measure(broker: str, folder: Path) -> Figures:
    settle_in(folder)
    import django
    from django.core.management import call_command
    from django.db import connections
    from django.utils import timezone

    django.setup()
    from tests import doors
    from tests.measure import intruders

    call_command("migrate", verbosity=0)
    places = intruders.set_out(timezone.now())
    connections.close_all()
    with running(folder, broker) as up:
        _wait_for_quiet()
        visitors, routes = Visitors(up.url), doors.routes()
        before = intruders.record()
        tries, leaks = intruders.leaks(intruders.tries(routes, places), visitors.ask)
        leaks += intruders.written(before, intruders.record())
        opened, shut = intruders.not_let_in(intruders.rightful(routes, places), visitors.ask)
        of_clients = [route for route in routes if route.path.startswith(intruders.PORTAL)]
        times = {
            route.name: _medians(up, intruders.failures(route, places[0], places[1]), ROUNDS) for route in of_clients
        }
        leaks += _tokens_in_log(up, places)
    _tell("Leaks", leaks)
    _tell("Shut to whom they are for", shut)
    print(f"{opened} doors opened for those they are for.")
    print(table([("route", "kind of failure", "median"), *_lines(times)]))
    return {
        "routes": len(routes),
        "tries": tries,
        "leaks": len(leaks),
        "rightful_not_200": len(shut),
        "timing_spread": round(max(spread(list(kinds.values())) for kinds in times.values()), 3),
    }


def _wait_for_quiet() -> None:
    """Until no worker has anything to do, so that what is written afterwards was written by somebody's try."""
    from tests.measure import yard

    until = time.monotonic() + QUIET_WITHIN_S
    while yard.due_errands() or yard.at_work():
        if time.monotonic() > until:
            raise RuntimeError("The workers are still at work.")
        time.sleep(0.2)


def _medians(up: Up, addresses: Mapping[str, str], rounds: int) -> dict[str, float]:
    """Of each kind of failure the median time to the first byte of its answer, in ms; all kinds take turns."""
    phone, taken = Phone(up.url), {kind: list[float]() for kind in addresses}
    order = list(addresses)
    for _ in range(rounds):
        random.shuffle(order)
        for kind in order:
            answer = phone.get(addresses[kind])
            if answer.status != 404:
                raise RuntimeError(f"A failure ({kind}) was answered with {answer.status}.")
            taken[kind].append((answer.first_byte_at - answer.sent_at) * 1000)
    return {kind: median(times) for kind, times in taken.items()}


def spread(medians: Sequence[float]) -> float:
    """How much longer the slowest takes than the quickest, as a part of the quickest."""
    return (max(medians) - min(medians)) / min(medians)


def _tokens_in_log(up: Up, places: Sequence["Place"]) -> list[str]:
    log = up.log.read_text(errors="replace")
    tokens = [token for place in places for token in (place.token, place.revoked, place.expired)]
    return [f"the log holds a token of {token.partition('.')[0]}" for token in tokens if token.partition(".")[2] in log]


def _tell(heading: str, sentences: Sequence[str]) -> None:
    for sentence in sentences[:MOST_TOLD]:
        print(f"{heading}: {sentence}")
    if len(sentences) > MOST_TOLD:
        print(f"{heading}: and {len(sentences) - MOST_TOLD} more")


def _lines(times: Mapping[str, Mapping[str, float]]) -> list[tuple[str, str, str]]:
    return [(route, kind, f"{took:.2f} ms") for route, kinds in times.items() for kind, took in kinds.items()]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--broker", choices=("redis", "folder"), default="folder")
    parser.add_argument("--keep", action="store_true", help="leaves the data folder and the log, and says where")
    options = parser.parse_args()
    with own_folder(options.keep) as folder:
        figures = measure(options.broker, folder)
    return told(figures, missed(figures, MOST, LEAST))


if __name__ == "__main__":
    sys.exit(main())

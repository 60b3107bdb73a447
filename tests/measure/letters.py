"""Letters, measured: five hundred contacts, one stage each, and a mail server that delays, defers, refuses and drops.

    python -m tests.measure.letters [--broker redis|folder] [--keep]

All stages are logged when the studio starts. ``accepted``, ``refused`` and ``unknown`` are what its own record says in the
end; ``cut_after_dot`` is how often the server went away after the final dot without a word, with the letter kept or lost.
``twice`` counts what the server took once too often; ``never`` what it would have taken in the end and was never given, or what
the record calls sent and is not. ``per_minute`` is from the moment when the studio is ready until nothing is under way.
"""

import argparse
import sys
import time
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path

from tests.mail_sink import CUTS, REFUSES, How, Sink, how_of, mailbox, sink
from tests.measure.up import missed, own_folder, running, settle_in, table, told

MIX = {
    How.OK: 250,
    How.SLOW: 20,
    How.DEFER_RCPT: 60,
    How.DEFER_DOT: 40,
    How.REFUSE_RCPT: 30,
    How.REFUSE_DOT: 20,
    How.BUSY: 5,
    How.DROP_EARLY: 30,
    How.DROP_AT_RCPT: 15,
    How.CUT_KEPT: 15,
    How.CUT_LOST: 15,
}
CONTACTS = sum(MIX.values())
WITHIN_S = 600.0
MOST = {"twice": 0, "never": 0}
LEAST = {"contacts": CONTACTS, "settled": CONTACTS, "per_minute": 120}
Figures = dict[str, float]


def reckon(ended: Mapping[str, str], took: Sequence[str], cut_after_dot: int) -> Figures:
    """``ended`` is what the record says of each address (sent, refused, unknown or anything else), ``took`` the addresses
    of all that the server kept, once for each time."""
    states, counts = Counter(ended.values()), Counter(took)
    never = [
        address
        for address, state in ended.items()
        if (state == "sent" or how_of(address) not in REFUSES | CUTS) and not counts[address]
    ]
    return {
        "contacts": len(ended),
        "accepted": states["sent"],
        "refused": states["refused"],
        "unknown": states["unknown"],
        "cut_after_dot": cut_after_dot,
        "twice": sum(count - 1 for count in counts.values()),
        "never": len(never),
    }


def log_all(addresses: Sequence[str]) -> None:
    """A job with one stage that is done, for each."""
    from uuid import uuid4

    from django.utils import timezone

    from studio.workshop import actions
    from studio.workshop.models import Release, Role, Says, StageKind, Studio

    now = timezone.now()
    actions.set_out_studio()
    lead = actions.add_person(
        name="Greta", email="greta@measured.example", role=Role.LEAD, password=None, by=None, now=now
    )
    Studio.objects.update(undo_minutes=0)
    kind = StageKind.objects.get(name="lay-up")
    for number, address in enumerate(addresses):
        client = actions.add_client(name=f"Garden trail {number}", by=lead, now=now)
        job = actions.add_job(client=client, name=f"Garden snail {number}", release=Release.STRAIGHT, by=lead, now=now)
        piece = actions.add_piece(job, name=f"Snail {number}", by=lead, now=now)
        stage = actions.add_stage(piece, kind=kind, by=lead, now=now)
        contact = actions.add_contact(client, name="Priya", email=address, by=lead, now=now)
        actions.give_link(contact, job, by=lead, now=now)
        actions.log_at_bench(
            entry_id=uuid4(), stage=stage, says=Says.DONE, photos=(), sentence="", for_client=True, by=lead, now=now
        )


def how_it_ended() -> dict[str, str]:
    """What the record says of each address."""
    from studio.workshop.models import Errand, Kind, LetterState, Notice

    errands = {errand.subject: errand.state for errand in Errand.objects.filter(kind=Kind.SEND_LETTER)}
    words = {"failed": "refused", "unknown": "unknown"}
    return {
        notice.contact.email: "sent"
        if hasattr(notice, "letter") and notice.letter.state == LetterState.SENT
        else words.get(errands.get(str(notice.pk), ""), "under way")
        for notice in Notice.objects.select_related("contact", "letter")
    }


def measure(broker: str, folder: Path, server: Sink) -> Figures:
    settle_in(folder)
    import django
    from django.core.management import call_command
    from django.db import connections

    django.setup()
    call_command("migrate", verbosity=0)
    log_all([mailbox(how, number) for how, count in MIX.items() for number in range(count)])
    connections.close_all()
    with running(folder, broker, STUDIO_SMTP_URL=f"smtp+plain://127.0.0.1:{server.port}"):
        began = time.monotonic()
        while "under way" in (ended := how_it_ended()).values() and time.monotonic() - began < WITHIN_S:
            time.sleep(0.5)
        minutes = (time.monotonic() - began) / 60
    figures = reckon(ended, [address for address, _ in server.accepted], server.cut_after_dot)
    by_how = Counter((how_of(address), state) for address, state in ended.items())
    print(
        table([("what the server does", "in the record", "letters"), *((*key, by_how[key]) for key in sorted(by_how))])
    )
    print(f"{minutes * 60:.0f} s, {server.tries.total()} tries, on {broker}")
    return {**figures, "per_minute": round(len(ended) / minutes)}


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--broker", choices=("redis", "folder"), default="redis")
    parser.add_argument("--keep", action="store_true", help="leaves the data folder and the log, and says where")
    options = parser.parse_args()
    with own_folder(options.keep) as folder, sink() as server:
        figures = measure(options.broker, folder, server)
    settled = sum(figures[name] for name in ("accepted", "refused", "unknown"))
    most = {**MOST, "unknown": figures["cut_after_dot"]}
    return told(figures, missed({**figures, "settled": settled}, most, LEAST))


if __name__ == "__main__":
    sys.exit(main())

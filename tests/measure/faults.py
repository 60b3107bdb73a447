"""Faults, measured: processes are killed and the broker is emptied while photos and letters go through.

    python -m tests.measure.faults --broker redis|folder [--seconds 60] [--seed 1] [--keep]

The table tells each fault; the last line is JSON. ``recovered``: from a fault to the end of each errand that it cut
off, or, where it was the broker's, of each that was due then. ``stuck``: due and not done 180 s after the last fault.
``lost`` and ``twice``: by the rows, the files, the letters in the outbox and what the clients' pages show in the end.
The photos are as large as those of the main job, twelve megapixels.
"""

import argparse
import sys
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from http.client import HTTPException
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urljoin

from tests.measure.phone import Phone
from tests.measure.photos import draw_photos
from tests.measure.up import missed, own_folder, p95, running, table, told

if TYPE_CHECKING:
    from tests.measure.vandal import Fault
    from tests.measure.yard import Order

PHOTOS = 60
GIVE_UP_S = 180.0
TRIES_AGAIN_S = 0.5
MOST = {"lost": 0, "twice": 0, "stuck": 0, "unknown": 0, "recovered_s_p95": 60}
LEAST = {"kills": 8}
Figures = dict[str, float]


@dataclass(eq=False)  # a thread is told from another by itself
class Maker(threading.Thread):
    """A phone that sends one photo after the other, and the same form again until somebody answers."""

    url: str
    email: str
    orders: Sequence["Order"]
    seconds: float
    stopped: threading.Event
    waited_s: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__(daemon=True)

    def run(self) -> None:
        from tests.measure.yard import PASSWORD

        began, phone = time.monotonic(), Phone(self.url)
        until_it_works(self.stopped, lambda: phone.sign_in(self.email, PASSWORD))
        for place, order in enumerate(self.orders):
            # All makers at the same moment, so that something waits whenever something is killed.
            self.stopped.wait(max(0.0, began + place * self.seconds / len(self.orders) - time.monotonic()))
            started = time.monotonic()
            self._log(phone, order)
            self.waited_s.append(time.monotonic() - started)

    def _log(self, phone: Phone, order: "Order") -> None:
        path, photo = f"/bench/{order.stage_id}/", order.photo.read_bytes()
        forms = []
        until_it_works(self.stopped, lambda: forms.append(phone.get(path).page.camera()))

        def send() -> None:
            answer = phone.send_photo(
                urljoin(path, forms[0].action), forms[0].saying("says", "done"), forms[0].files[0], photo
            )
            if answer.status not in {302, 303}:
                raise HTTPException(f"answered with {answer.status}")

        until_it_works(self.stopped, send)


def until_it_works(stopped: threading.Event, ask: Callable[[], object]) -> None:
    while not stopped.is_set():
        try:
            ask()
        except (OSError, HTTPException, StopIteration):  # no answer, or not the page that was asked for
            stopped.wait(TRIES_AGAIN_S)
        else:
            return


def measure(broker: str, seconds: float, seed: int, folder: Path, photos: Sequence[Path]) -> Figures:
    with running(folder, broker) as up:
        import django

        django.setup()
        from tests.measure import yard
        from tests.measure.vandal import EMPTIED, Vandal

        orders, stopped = yard.set_out(photos), threading.Event()
        makers = [
            Maker(up.url, email, [order for order in orders if order.maker_email == email], seconds, stopped)
            for email in sorted({order.maker_email for order in orders})
        ]
        for maker in makers:
            maker.start()
        vandal = Vandal(up.pid, broker, folder / "data", seed)
        vandal.run(seconds)
        until = vandal.faults[-1].at + GIVE_UP_S
        while time.time() < until and (yard.letters_there(orders) < len(orders) or yard.not_done()):
            time.sleep(0.2)
        settled_s = time.time() - vandal.faults[-1].at
        until_it_works(stopped, lambda: Phone(up.url).get("/robots.txt"))  # the last one killed may have been the web
        stopped.set()
        for maker in makers:
            maker.join()
        done_at = yard.when_done()
        for fault in vandal.faults:
            ends = [done_at.get(errand, fault.at + GIVE_UP_S) for errand in fault.errands]
            fault.recovered_s = [end - fault.at for end in ends if end > fault.at]  # not what was done just before it
        stuck, unknown = yard.not_done(), yard.unknown()
        found = yard.reckon(orders, yard.look(up.url, orders))
    print(_told(vandal.faults))
    waited_s = [wait for maker in makers for wait in maker.waited_s]
    print(f"{broker}, seed {seed}: all done {settled_s:.1f} s after the last fault; {found}")
    print(f"A maker waited for an answer {p95(waited_s):.1f} s (p95), {max(waited_s, default=0):.1f} s at most.")
    return {
        "kills": sum(fault.kind != EMPTIED for fault in vandal.faults),
        "lost": found.lost,
        "twice": found.twice,
        "stuck": stuck,
        "unknown": unknown,
        "recovered_s_p95": round(p95([time for fault in vandal.faults for time in fault.recovered_s]), 1),
    }


def _told(faults: Sequence["Fault"]) -> str:
    heads = ("at", "what", "errands cut off", "the last of them done after")
    rows = [
        (f"{fault.at - faults[0].at:.1f} s", fault.kind, len(fault.recovered_s), f"{max(fault.recovered_s):.1f} s")
        if fault.recovered_s
        else (f"{fault.at - faults[0].at:.1f} s", fault.kind, 0, "")
        for fault in faults
    ]
    return table([heads, *rows])


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--broker", choices=("redis", "folder"), required=True)
    parser.add_argument("--seconds", type=float, default=60.0, help="how long photos are sent and processes killed")
    parser.add_argument("--seed", type=int, default=1, help="which processes are killed when")
    parser.add_argument("--keep", action="store_true", help="leaves the data folder and the log, and says where")
    parser.add_argument("--photos", type=Path, help="a folder of photos from an earlier run, filled where it is empty")
    options = parser.parse_args()
    with own_folder(options.keep) as folder:
        photos = draw_photos(options.photos or folder / "photos", PHOTOS)
        figures = measure(options.broker, options.seconds, options.seed, folder, photos)
    return told(figures, missed(figures, MOST, LEAST))


if __name__ == "__main__":
    sys.exit(main())

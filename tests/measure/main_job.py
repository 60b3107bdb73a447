"""The main job, measured: four makers at once log forty stages with photos, and clients look for them.

    python -m tests.measure.main_job [--broker redis|folder|both] [--keep]

The table tells each broker's figures; the last line is JSON, for both brokers with the worse of each figure.
``ack``: from the last byte of the form sent to the first byte of the answer. ``client sees``: from that first byte to
the first 200 of the photo's 960 px copy, found on the client's page by one poller of at most 20 requests a second.
"""

import argparse
import json
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urljoin

from tests.measure.phone import Phone
from tests.measure.photos import draw_photos, shows
from tests.measure.up import ROOT, missed, p95, running, table

if TYPE_CHECKING:
    from tests.measure.yard import Order

STAGES = 40
POLLS_A_SECOND = 20
LETTERS_WITHIN_S = 120.0
MOST = {"lost": 0, "twice": 0, "ack_ms_p95": 300, "client_sees_s_p95": 10}
LEAST = {"stages": STAGES, "photos": STAGES, "letters": STAGES}
HEADS = ("broker", "ack p50", "p95", "max", "up ready", "client sees p50", "p95", "max", "all logged", "all told")
Figures = dict[str, float]


def measure(broker: str, folder: Path, photos: Sequence[Path]) -> Figures:
    with running(folder, broker) as up:
        import django

        django.setup()
        from tests.measure import yard

        orders = yard.set_out(photos)
        acks: dict[Order, float] = {}  # when each form was answered
        ack_s: list[float] = []
        pages = Poller(up.url, orders, acks)
        pages.start()
        makers = sorted({order.maker_email for order in orders})
        ready = threading.Barrier(len(makers))

        def log_stages(email: str) -> None:
            phone = Phone(up.url)
            phone.sign_in(email, yard.PASSWORD)
            ready.wait()
            for order in orders:
                if order.maker_email == email:
                    photo = order.photo.read_bytes()
                    path = f"/bench/{order.stage_id}/"
                    form = phone.get(path).page.camera()
                    answer = phone.send_photo(
                        urljoin(path, form.action), form.saying("says", "done"), form.files[0], photo
                    )
                    if answer.status not in {302, 303}:
                        raise RuntimeError(f"Logging a stage was answered with {answer.status}.")
                    acks[order] = answer.first_byte_at
                    ack_s.append(answer.first_byte_at - answer.sent_at)

        began = time.monotonic()
        with ThreadPoolExecutor(len(makers)) as pool:
            list(pool.map(log_stages, makers))
        logged_s = time.monotonic() - began
        until = time.monotonic() + LETTERS_WITHIN_S
        while time.monotonic() < until and (pages.is_alive() or yard.letters_there(orders) < STAGES):
            time.sleep(0.2)
        pages.stop()
        all_s = time.monotonic() - began
        seen = [order for order in orders if order in pages.copies and shows(order.photo, pages.copies[order])]
        found = yard.reckon(orders, seen)
    sees_s = [pages.seen_at[order] - acks[order] for order in seen]
    acked = [f"{value * 1000:.0f} ms" for value in _spread(ack_s)]
    told = [f"{value:.1f} s" for value in (up.ready_s, *_spread(sees_s), logged_s, all_s)]
    print(table([HEADS, (broker, *acked, *told)]))
    return {
        **vars(found),
        "ack_ms_p95": round(p95(ack_s) * 1000, 1),
        "client_sees_s_p95": round(p95(sees_s), 2),
    }


def _spread(values: Sequence[float]) -> tuple[float, float, float]:
    return (sorted(values)[len(values) // 2] if values else 0.0, p95(values), max(values, default=0.0))


class Poller(threading.Thread):
    """All the clients' browsers in one: looks at the pages in turn until each shows its photo."""

    def __init__(self, url: str, orders: Sequence["Order"], acks: dict["Order", float]) -> None:
        super().__init__(daemon=True)
        self.copies: dict[Order, bytes] = {}
        self.seen_at: dict[Order, float] = {}
        self._client, self._orders, self._acks = Phone(url), orders, acks
        self._stopped = threading.Event()
        self._last = 0.0

    def run(self) -> None:
        from tests.measure.yard import middle_picture

        while len(self.copies) < len(self._orders) and not self._stopped.is_set():
            waiting = [order for order in self._orders if order in self._acks and order not in self.copies]
            for order in waiting:
                self._pace()
                address = middle_picture(self._client, order.client_path)
                if address:
                    self._pace()
                    answer = self._client.get(address)
                    if answer.status == 200:
                        self.copies[order], self.seen_at[order] = answer.body, answer.first_byte_at
            if not waiting:
                time.sleep(0.01)

    def _pace(self) -> None:
        time.sleep(max(0.0, self._last + 1 / POLLS_A_SECOND - time.monotonic()))
        self._last = time.monotonic()

    def stop(self) -> None:
        self._stopped.set()
        self.join()


def worse(figures: Sequence[Figures]) -> Figures:
    """Of each figure the worse one."""
    return {name: (max if name in MOST else min)(each[name] for each in figures) for name in figures[0]}


def measure_both(photo_folder: Path, keep: bool) -> Figures:
    """Each in a process of its own, since one process knows one data folder."""
    figures = []
    for broker in ("redis", "folder"):
        command = [sys.executable, "-m", "tests.measure.main_job", "--broker", broker, "--photos", str(photo_folder)]
        done = subprocess.run(
            [*command, "--keep"] if keep else command, cwd=ROOT, stdout=subprocess.PIPE, text=True, check=False
        )
        *lines, last = done.stdout.strip().splitlines() or [""]
        print("\n".join(lines), flush=True)
        if not last.startswith("{"):
            raise SystemExit(f"The run on {broker} broke off.")
        figures.append(json.loads(last))
    return worse(figures)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--broker", choices=("redis", "folder", "both"), default="both")
    parser.add_argument("--keep", action="store_true", help="leaves the data folder and the log, and says where")
    parser.add_argument("--photos", type=Path, help="a folder of photos from an earlier run, filled where it is empty")
    options = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="natch-measure-"))
    photo_folder = options.photos or folder / "photos"
    try:
        photos = draw_photos(photo_folder, STAGES)
        if options.broker == "both":
            figures = measure_both(photo_folder, options.keep)
        else:
            figures = measure(options.broker, folder, photos)
            for sentence in missed(figures, MOST, LEAST):
                print(f"Not reached: {sentence}.")
    finally:
        if options.keep:
            print(f"Kept: {folder}")
        else:
            shutil.rmtree(folder, ignore_errors=True)
    print(json.dumps(figures))
    return 1 if missed(figures, MOST, LEAST) else 0


if __name__ == "__main__":
    sys.exit(main())

"""What the studio takes: its memory when it idles, and how long it takes to come up.

    python -m tests.measure.footprint [--keep]

A fresh clone of this checkout's newest commit, without .venv, is started as README says, by the python3 of the machine. The
first start is the cold one: it makes .venv, from pip's own cache where there is one, and loads the demo; that of the other broker
has .venv and loads the demo only. Each later one on the same data folder is a warm one. Both last until the ready file is there. Then each page of the office, the bench and a client
is fetched once, as a browser finds them: by the links. Memory is read 30 s after the ready file: the proportional set size (PSS, what
proc(5) says of smaps_rollup: shared pages are divided among those that share them) of ``up`` and all its descendants, with a
private Redis and two prefork children, and on the folder with two solo workers, in turn. The last line is JSON, the worst of each.
"""

import argparse
import json
import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from urllib.parse import urlsplit

from tests.measure.phone import Phone
from tests.measure.up import ROOT, Up, missed, own_folder, running, table, told

ROUNDS = 2
IDLE_AFTER_S = 30.0
COLD_READY_S = 300.0
MOST_PAGES = 400
MOST = {"idle_mb": 320, "cold_start_s": 60, "warm_start_s": 5}
_LINK = re.compile(r"""\b(?:href|src)="(/[^"#]*)""")
_LEADS_OUT = ("/admin/", "/static/")


def descendants(parents: dict[int, int], of: int) -> list[int]:
    """``of`` and all below it. ``parents``: each process and the one that started it."""
    found = [of]
    for pid in found:
        found += [child for child, parent in parents.items() if parent == pid]
    return found


def pss_kb(smaps_rollup: str) -> int:
    """What is in memory, and what was swapped out of it."""
    lines = (line.split() for line in smaps_rollup.splitlines())
    return sum(int(words[1]) for words in lines if words[0] in {"Pss:", "SwapPss:"})


def links(html: str) -> list[str]:
    """Addresses of this site, each once, in the order in which they stand."""
    found = (unescape(address) for address in _LINK.findall(html))
    return [address for address in dict.fromkeys(found) if not address.startswith(("//", *_LEADS_OUT))]


def route(address: str) -> str:
    """The page that it is, whichever of its rows it shows."""
    return re.sub(r"/(?:\d+|[0-9a-f-]{36}|[0-9a-f]{64}\.jpg)(?=/|$)", "/*", urlsplit(address).path)


def _parents() -> Iterator[tuple[int, int]]:
    for folder in Path("/proc").iterdir():
        if folder.name.isdecimal():
            try:
                stat = (folder / "stat").read_text()
            except OSError:  # it has ended
                continue
            yield int(folder.name), int(stat.rpartition(")")[2].split()[1])


def memory(pid: int) -> dict[str, float]:
    """MB of each process, by its number and what it is."""
    found = {}
    for one in descendants(dict(_parents()), pid):
        try:
            arguments = Path(f"/proc/{one}/cmdline").read_text().rstrip("\0").split("\0")
            found[f"{one} {_name(arguments)}"] = pss_kb(Path(f"/proc/{one}/smaps_rollup").read_text()) * 1024 / 1e6
        except OSError:
            continue
    return found


def _name(arguments: list[str]) -> str:
    for name in ("worker", "beat", "studio.running.web", "redis-server", "valkey-server", "manage.py"):
        if any(word in {name, f"{name} unixsocket"} or word.endswith(f"/{name}") for word in arguments):
            return name.removeprefix("studio.running.")
    return Path(arguments[-1]).name[:20]


def fetch_each_page(ready: dict[str, str]) -> int:
    """As the lead, the maker and the client of the demo. Returns how many there were."""
    seen: set[str] = set()
    for who in ("lead", "maker", "client"):
        phone, waiting = Phone(ready["url"]), [ready[who].removeprefix(ready["url"])]
        while waiting and len(seen) < MOST_PAGES:
            address = waiting.pop(0)
            if route(address) in seen:
                continue
            answer = phone.get(address)
            if answer.status in {301, 302, 303}:
                waiting.insert(0, urlsplit(answer.location).path)
                continue
            if answer.status != 200:
                raise RuntimeError(f"{address} was answered with {answer.status}.")
            seen.add(route(address))
            if "text/html" in str(answer.headers.get("Content-Type")):
                waiting += links(answer.body.decode())
    return len(seen)


def measure(folder: Path) -> tuple[dict[str, float], list[list[object]]]:
    clone = folder / "clone"
    subprocess.run(["git", "clone", "-q", "--no-hardlinks", str(ROOT), str(clone)], check=True)
    python = str(Path(sys.base_prefix) / "bin/python3")
    os.environ["PATH"] = os.pathsep.join(
        part for part in os.environ["PATH"].split(os.pathsep) if part != str(Path(sys.prefix) / "bin")
    )
    for name in ("STUDIO_NO_VENV", "VIRTUAL_ENV", "PYTHONPATH"):
        os.environ.pop(name, None)
    cold: list[float] = []
    warm: list[float] = []
    idle: list[float] = []
    rows: list[list[object]] = [["broker", "start s", "pages", "idle MB", "of which"]]
    for number in range(ROUNDS):
        for broker in ("redis", "folder"):
            place = folder / broker
            place.mkdir(exist_ok=True)
            starts = ("first", "warm") if number == 0 else ("warm",)
            for start in starts:
                with running(place, broker, root=clone, python=python, ready_s=COLD_READY_S) as up:
                    (warm if start == "warm" else cold).append(up.ready_s)
                    pages, used = _idle(place, up)
                idle.append(sum(used.values()))
                parts = ", ".join(f"{name.partition(' ')[2]} {mb:.0f}" for name, mb in used.items())
                rows.append([broker, f"{up.ready_s:.2f} {start}", pages, f"{idle[-1]:.0f}", parts])
    figures = {"idle_mb": max(idle), "cold_start_s": max(cold), "warm_start_s": max(warm)}
    return {name: round(figure, 1) for name, figure in figures.items()}, rows


def _idle(place: Path, up: Up) -> tuple[int, dict[str, float]]:
    began = time.monotonic()
    pages = fetch_each_page(json.loads((place / "ready.json").read_text()))
    time.sleep(max(0.0, IDLE_AFTER_S - (time.monotonic() - began)))
    return pages, memory(up.pid)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--keep", action="store_true", help="keep the clone and the data folders")
    with own_folder(parser.parse_args().keep) as folder:
        figures, rows = measure(folder)
        print(table(rows))
    return told(figures, missed(figures, MOST, {}))


if __name__ == "__main__":
    sys.exit(main())

"""What the measurement of memory and starts reckons with."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.measure import footprint
from tests.measure.up import ROOT

pytestmark = pytest.mark.once


def test_descendants_are_all_below_and_nobody_else() -> None:
    assert sorted(footprint.descendants({2: 1, 3: 2, 4: 3, 5: 1, 6: 5}, 2)) == [2, 3, 4]
    own = dict(footprint._parents())
    assert own[os.getpid()] == os.getppid()


def test_what_is_shared_is_divided_and_what_was_swapped_out_counts() -> None:
    """Lines as the kernel writes them (proc(5), /proc/pid/smaps_rollup)."""
    rollup = (
        "55d0-7ffc ---p 00000000 00:00 0  [rollup]\nRss:  9000 kB\nPss:  4000 kB\nPss_Anon: 3000 kB\nSwapPss:  5 kB\n"
    )
    assert footprint.pss_kb(rollup) == 4005


def test_memory_grows_by_what_a_child_takes() -> None:
    take = "import sys; kept = b'x' * 50_000_000; print('there', flush=True); sys.stdin.read()"
    with subprocess.Popen([sys.executable, "-c", take], stdin=subprocess.PIPE, stdout=subprocess.PIPE) as child:
        assert child.stdout
        child.stdout.readline()
        (used,) = footprint.memory(child.pid).values()
        child.communicate(b"")
    assert 50 < used < 75


def test_each_page_is_told_from_its_rows() -> None:
    html = '<a href="/office/jobs/7/">a</a><a href="/office/jobs/8/#top">b</a><a href="//other/">c</a><img src="/media/x.jpg?a=1&amp;b=2">'
    assert footprint.links(html) == ["/office/jobs/7/", "/office/jobs/8/", "/media/x.jpg?a=1&b=2"]
    assert footprint.route("/office/jobs/7/") == footprint.route("/office/jobs/812/?q=a") == "/office/jobs/*/"
    assert footprint.route("/bench/kept/0b9f3f4e-1d5b-4b0e-8c39-7a4f4f0a3a11/") == "/bench/kept/*/"


LOADS = {
    "studio.running.web": "from django.urls import reverse; reverse('office')",  # and with it each page
    "studio.running.beat": "app = studio.running.beat.app; app.loader.init_worker(); app.finalize()",
}


@pytest.mark.parametrize("program", LOADS)
def test_what_opens_no_picture_does_not_load_what_does(program: str, tmp_path: Path) -> None:
    load = f"import sys, {program}; {LOADS[program]}; print(*sys.modules)"
    environment = {**os.environ, "STUDIO_DATA": str(tmp_path), "CELERY_SKIP_CHECKS": "true"}
    command = [sys.executable, "-c", load]
    said = subprocess.run(command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, text=True, check=True)
    loaded = set(said.stdout.split())
    assert "studio.workshop.models" in loaded
    assert not {"PIL", "holidays", "prompt_toolkit", "studio.workshop.tasks"} & loaded

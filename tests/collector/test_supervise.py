"""The supervisor keeps real processes alive, ends them all, and leaves none behind when it is killed itself."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from collector import supervise
from collector.supervise import Stop, Supervisor, python_command
from tests.services import wait_until

# A child as ours are: it ends by itself when the pipe on its standard input does.
CHILD = (
    "import sys, pathlib; from collector.supervise import Stop;"
    "stop = Stop().on_signals().when_supervisor_ends();"
    "pathlib.Path(sys.argv[1]).write_text('here');"
    "stop.wait(60); pathlib.Path(sys.argv[1]).write_text('ended well')"
)


def alive(pid: int) -> bool:
    """True while the process runs; a zombie has ended."""
    try:
        state = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rsplit(")", 1)[1].split()[0]
    except OSError:
        return False
    return state != "Z"


def test_a_killed_child_is_started_again_and_stop_ends_all(tmp_path: Path) -> None:
    """kill -9, and another process takes its place; stop ends both children with their work done."""
    started: list[tuple[str, int]] = []
    marks = {name: tmp_path / name for name in ("one", "two")}
    commands = {name: python_command(CHILD, [str(mark)]) for name, mark in marks.items()}
    supervisor = Supervisor(commands, on_start=lambda name, pid: started.append((name, pid)))
    stop = Stop()
    thread = threading.Thread(target=supervisor.run, args=(stop,))
    thread.start()
    try:
        wait_until(lambda: all(mark.exists() for mark in marks.values()), "both children have started")
        first = dict(started)["one"]
        marks["one"].unlink()
        os.kill(first, signal.SIGKILL)
        wait_until(marks["one"].exists, "the killed child was started again")
        assert [name for name, _ in started] == ["one", "two", "one"]
    finally:
        stop.set()
        thread.join(20)
    assert not any(alive(pid) for _, pid in started)
    assert {mark.read_text() for mark in marks.values()} == {"ended well"}


def test_children_end_when_the_supervisor_is_killed(tmp_path: Path) -> None:
    """kill -9 of `run` itself: the child reads end-of-file and ends, so that no lock is held by an orphan."""
    mark = tmp_path / "child"
    pids = tmp_path / "pids"
    code = (
        "import sys, pathlib; from collector.supervise import Stop, Supervisor, python_command;"
        f"command = python_command({CHILD!r}, [sys.argv[1]]);"
        "note = lambda name, pid: pathlib.Path(sys.argv[2]).write_text(str(pid));"
        "Supervisor({'child': command}, on_start=note).run(Stop().on_signals())"
    )
    process = subprocess.Popen([sys.executable, "-P", "-c", code, str(mark), str(pids)])
    wait_until(lambda: mark.exists() and mark.read_text() == "here", "the child has started")
    child = int(pids.read_text())
    assert alive(child)
    process.kill()
    process.wait(20)
    wait_until(lambda: not alive(child), "the orphan ends by itself")
    assert mark.read_text() == "ended well"


def test_a_child_that_always_fails_is_started_ever_more_slowly() -> None:
    """The wait doubles up to half a minute; a broken settings file does not burn a core."""
    command = python_command("raise SystemExit(3)", [])
    supervisor, child, waits = Supervisor({"bad": command}), supervise._Child("bad", command), []
    for _ in range(8):
        child.process = subprocess.Popen(command)
        child.process.wait(20)
        child.started = supervise.time.monotonic()
        supervisor._tend(child, 0)
        waits.append(child.wait)
    assert waits == [1.0, 2.0, 4.0, 8.0, 16.0, 30.0, 30.0, 30.0]


def test_a_second_signal_while_the_first_is_handled_does_not_hang_the_process() -> None:
    """Ctrl-C reaches a whole group, and impatient people press it twice.

    The second signal is raised at the worst moment, while a lock that telling others would take is held.
    """
    code = (
        "import signal, threading\n"
        "from collector.supervise import Stop\n"
        "told = threading.Condition.notify_all\n"
        "def tell(self):\n"
        "    threading.Condition.notify_all = told\n"
        "    signal.raise_signal(signal.SIGTERM)\n"
        "    told(self)\n"
        "stop = Stop().on_signals()\n"
        "threading.Condition.notify_all = tell\n"
        "signal.raise_signal(signal.SIGTERM)\n"
        "raise SystemExit(0 if stop.wait(5) else 3)\n"
    )
    process = subprocess.Popen(python_command(code, []))
    try:
        assert process.wait(20) == 0
    finally:
        process.kill()
        process.wait()


def test_a_child_that_hangs_before_it_ever_turned_is_given_more_time_and_collect_the_most(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Bringing a large file to a new version takes minutes; whatever else has not begun by then never will."""
    monkeypatch.setattr(supervise, "STARTS_S", 0.0)
    command = python_command("import sys; sys.stdin.read()", [])
    hold, give = os.pipe()
    supervisor = Supervisor({})
    serve, collect = (supervise._Child(name, command) for name in ("serve", "collect"))
    supervisor._children = [serve, collect]
    try:
        for child in (serve, collect):
            supervisor._tend(child, hold)
            supervisor._tend(child, hold)
        assert serve.process is not None
        assert collect.process is not None
        assert serve.process.wait(20) == -signal.SIGKILL
        assert collect.process.poll() is None
    finally:
        supervisor._end_all()
        os.close(hold)
        os.close(give)


PATIENT = """
import os, sys
from collector.heartbeat import Heartbeat
beat = Heartbeat.of_environment()
beat.turned()
beat.allow(float(sys.argv[1]))
sys.stdin.read()
"""


def test_a_child_that_asks_for_patience_is_waited_for_and_no_longer_than_it_asked() -> None:
    """One reads in a large file, the other hangs; neither turns."""
    commands = {
        name: python_command(PATIENT, [longer]) for name, longer in (("reads", "600"), ("hangs", "0"))
    }
    started: list[str] = []
    supervisor = Supervisor(commands, on_start=lambda name, pid: started.append(name), hangs_s=1.0)
    stop = Stop()
    thread = threading.Thread(target=supervisor.run, args=(stop,))
    thread.start()
    try:
        wait_until(lambda: started.count("hangs") > 1, "the one that hangs is started again")
    finally:
        stop.set()
        thread.join(20)
    assert started.count("reads") == 1

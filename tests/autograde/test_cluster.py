"""Grading on a real Dask cluster: scheduler and workers are processes of their own, on the loopback address."""

import contextlib
import copy
import json
import os
import signal
import subprocess
import sys
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from distributed import Client

sys.path.insert(0, str(Path(__file__).parents[1] / "submissions"))
from lesson import fill, right_answers, write
from made_course import COURSE, new_course

from autograde import journal, pool
from autograde.fence import why_no_fence
from autograde.grading import GRADED, grade
from autograde.records import all_marks, read
from autograde.trouble import Trouble
from halfcycle.variants import circuit

WHY_NOT = why_no_fence()
pytestmark = pytest.mark.skipif(bool(WHY_NOT), reason=WHY_NOT or "bubblewrap is there")
NUMBER, LEARNERS = "03", ("amara", "bo", "chen", "dalia")


class Cluster:
    """One scheduler and its workers; ``address`` is where it answers."""

    def __init__(self, place):
        self.file, self.place, self.processes = place / "scheduler.json", place, []
        self._start("scheduler", "--host", "127.0.0.1", "--port", "0", "--scheduler-file", str(self.file))
        while not self.file.exists():
            time.sleep(0.1)
        self.address = json.loads(self.file.read_text(encoding="utf-8"))["address"]

    def worker(self):
        options = ("--nthreads", "1", "--no-nanny", "--host", "127.0.0.1", "--local-directory", str(self.place))
        return self._start("worker", self.address, *options)

    def workers(self, count):
        """``count`` workers, as soon as the scheduler knows all of them."""
        started = [self.worker() for _ in range(count)]
        with Client(self.address, set_as_default=False) as client:
            client.wait_for_workers(count, timeout=60)
        return started

    def kill_one_at_work(self, keys):
        """Kill a worker that has one of the tasks ``keys`` at hand, and not for long; return its process."""
        with Client(self.address, set_as_default=False) as client:
            name = _just_begun(client, keys)
            pid = client.run(os.getpid, workers=[name])[name]
            os.kill(pid, signal.SIGKILL)
            return next(one for one in self.processes if one.pid == pid)

    def close(self):
        for process in self.processes:
            with contextlib.suppress(ProcessLookupError):
                process.terminate()
            process.wait()

    def _start(self, kind, *options):
        command = [sys.executable, "-m", f"distributed.cli.dask_{kind}", *options, "--no-dashboard"]
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        self.processes.append(subprocess.Popen(command, **quiet))
        return self.processes[-1]


def _just_begun(client, keys):
    """The worker that is given one of ``keys`` next; after a while, one that has had it all along."""
    begun = {key for tasks in client.processing().values() for key in tasks}
    for patience in range(500):
        for name, tasks in client.processing().items():
            if set(tasks) & set(keys) - (begun if patience < 50 else set()):
                return name
        time.sleep(0.02)
    raise AssertionError("no worker is at work")


@pytest.fixture(scope="module")
def cluster(tmp_path_factory):
    made = Cluster(tmp_path_factory.mktemp("cluster"))
    yield made
    made.close()


def _course(place, first_cell):
    course, lesson, released = new_course(place, NUMBER, LEARNERS)
    for number, learner in enumerate(LEARNERS):
        right = right_answers(NUMBER, circuit(COURSE, lesson, learner))
        nb = fill(copy.deepcopy(released), dict(list(right.items())[number:]))
        nb.cells[2].source = first_cell
        write(course / "submitted" / learner / lesson / f"{lesson}.ipynb", nb)
    return course


def _marks(course):
    return {str(path.relative_to(course)): {**read(path), "when": ""} for path in all_marks(course)}


def _results(course):
    return {
        path.parent.name: json.loads(path.read_text(encoding="utf-8")) for path in (course / "executed").rglob("*.json")
    }


@pytest.fixture
def sent(monkeypatch):
    """Dask's names of the tasks that are sent, with whose they are: ``{key: learner}``."""
    keys, submit = {}, Client.submit

    def recorded(client, function, task, *how, **options):
        future = submit(client, function, task, *how, **options)
        keys[future.key] = json.loads(task)["who"][1]
        return future

    monkeypatch.setattr(Client, "submit", recorded)
    return keys


def _given_out(cluster, keys):
    """How often each learner's task was given to a worker, by the scheduler's own record of its transitions."""
    with Client(cluster.address, set_as_default=False) as client:
        story = client.sync(client.scheduler.get_story, keys_or_stimuli=list(keys))
    return Counter(keys[key] for key, _, state, *_ in story if key in keys and state == "processing")


def test_without_workers_there_is_one_sentence(cluster, monkeypatch, tmp_path):
    monkeypatch.setattr("autograde.cluster._PATIENCE_SECONDS", 1)
    course = _course(tmp_path, "1")
    with pytest.raises(Trouble, match="no workers"):
        grade(course, cluster=cluster.address)
    with pytest.raises(Trouble, match="No Dask scheduler answers"):
        grade(course, cluster="tcp://127.0.0.1:9")


def test_without_the_package_there_is_one_sentence(monkeypatch, tmp_path):
    monkeypatch.setitem(sys.modules, "autograde.cluster", None)
    with pytest.raises(Trouble, match="dask"), pool.pool(None, cluster="tcp://127.0.0.1:9"):
        pass


def test_the_same_results_and_a_lost_worker_costs_a_retry_and_nothing_else(cluster, tmp_path, sent):
    there, here = (tmp_path / name for name in ("there", "here"))
    course, alone = _course(there, "import time; time.sleep(2)"), _course(here, "import time; time.sleep(2)")
    workers, lost = cluster.workers(2), []

    def told(event, **facts):
        """As soon as one result is there, a worker that is busy with another is killed outright."""
        if event == "executed" and not lost:
            lost.extend([facts["learner"], killer.submit(cluster.kill_one_at_work, sent)])

    with ThreadPoolExecutor(1) as killer:  # grading waits until it is told
        summary = grade(course, cluster=cluster.address, told=told)
        killed = lost[1].result()
    assert killed in workers
    assert killed.wait() == -signal.SIGKILL
    assert [one.status for one in summary.outcomes] == [GRADED] * len(LEARNERS)
    assert summary.person == []
    grade(alone)
    assert _marks(course) == _marks(alone)
    assert _results(course) == _results(alone)
    lines = [json.loads(line) for line in (course / journal.NAME).read_text(encoding="utf-8").splitlines()]
    ended = [line["learner"] for line in lines if line["event"] == "executed"]
    assert sorted(ended) == sorted(LEARNERS)
    given_out = _given_out(cluster, sent)
    assert sorted(given_out.values()) == [1] * (len(LEARNERS) - 1) + [2]
    assert given_out[lost[0]] == 1  # what was finished is not executed again
    assert [line["cluster"] for line in lines if line["event"] == "begin"] == [cluster.address]


def test_a_worker_of_another_version_is_one_sentence(cluster, tmp_path, monkeypatch):
    monkeypatch.setattr("autograde.cluster.library_hash", lambda: "another")
    summary = grade(_course(tmp_path, "1"), cluster=cluster.address, learner="amara")
    assert "another version of halfcycle" in summary.person[0]

"""What grows when a class grows: a college's evening of mixed hand-ins, collected, graded, reported and exported.

    uv run python tests/benchmarks/bench_cohorts.py FOLDER [--sizes 100,1000,10000] [--lessons 10] [--workers 2]

A size is a number of hand-ins: that many learners divided by the lessons, each of whom hands in every lesson. The work
is mixed as `mixed_cohort.SHARES` says. Each step is the command of the instructor, measured as a whole: wall time,
processor time of all its processes, the largest memory that all of them have to themselves, and how much of this
computer's processors others took meanwhile. FOLDER keeps the courses and ``measured.json``; what is measured is not
measured again, and a step that was stopped goes on where it was, its time added. At the end FOLDER holds
``cohorts.json``, ``cohorts.csv`` and ``cohorts.svg``.
"""

import argparse
import csv
import json
import os
import platform
import shutil
import subprocess
import sys
import time
from pathlib import Path

import nbformat
from bench_grading import compiled, family, proportional
from mixed_cohort import DUE, SHARES, hand_in, learner

from autograde import course as courses
from autograde import release
from autograde.fence import Limits

_TICK = os.sysconf("SC_CLK_TCK")
STEPS = {
    "collect": ("collect", "{course}", "{inbox}"),
    "grade": ("grade", "{course}", "--workers", "{workers}"),
    "grade again": ("grade", "{course}", "--workers", "{workers}"),
    "report": ("report", "{course}", "--no-feedback"),
    "export": ("export", "{course}"),
    "feedback": ("report", "{course}"),
}
_MOST_FEEDBACK = 1000  # pages are written one by one, so that ten times as many take ten times as long


class Meter:
    """Measures a command while it runs, and adds it to what was measured of it before."""

    def __init__(self, place):
        self._place = place
        self._all = json.loads(place.read_text()) if place.exists() else {}

    def of(self, size, step):
        """What is measured of a step so far."""
        return self._all.setdefault(str(size), {}).setdefault(step, {"ended": False, "runs": 0, "seconds": 0.0, "cpu": 0.0, "peak": 0, "others": 0.0})  # fmt: skip

    def note(self, size, **facts):
        """Keep further facts about a size."""
        self._all.setdefault(str(size), {}).update(facts)
        self._save()

    def facts(self):
        """Everything that was measured."""
        return self._all

    def run(self, size, step, command, folder):
        """Run ``command``; its exit code 1 is no failure: some hand-ins need a person."""
        so_far = dict(self.of(size, step))
        with (folder.parent / f"{step.replace(' ', '-')}.txt").open("w") as said:
            process = subprocess.Popen(command, cwd=folder, env=compiled(), stdout=said, stderr=subprocess.STDOUT)
            began, cpu, peak, busy = time.perf_counter(), 0.0, 0, _busy()
            while process.poll() is None:
                time.sleep(0.25)
                cpu, peak = max(cpu, _cpu(process.pid)), max(peak, proportional(process.pid))
                seconds = time.perf_counter() - began
                now = {
                    "runs": so_far["runs"] + 1, "seconds": so_far["seconds"] + seconds, "cpu": so_far["cpu"] + cpu,
                    "peak": max(so_far["peak"], peak), "others": so_far["others"] + max(0.0, _busy() - busy - cpu),
                }  # fmt: skip
                self.of(size, step).update(now)
                self._save()
        if process.returncode not in (0, 1):
            raise SystemExit(f"{' '.join(command)} ended with {process.returncode}; see {said.name}")
        self.of(size, step)["ended"] = True
        self._save()

    def _save(self):
        part = self._place.with_suffix(".part")
        part.write_text(json.dumps(self._all, indent=1))
        part.replace(self._place)


def _cpu(pid):
    """Processor seconds of ``pid``, of every process below it, and of those of them that have ended."""
    found = 0
    for one in family(pid):
        try:
            found += sum(map(int, Path(f"/proc/{one}/stat").read_text().rpartition(")")[2].split()[11:15]))
        except (OSError, ValueError):
            continue
    return found / _TICK


def _busy():
    """Processor seconds that this computer has worked, all cores together."""
    user, nice, system, _, _, irq, soft, *_ = map(int, Path("/proc/stat").read_text().split("\n")[0].split()[1:])
    return (user + nice + system + irq + soft) / _TICK


def made(place, lessons, count):
    """A released course in ``place``/course for ``count`` learners, and what they hand in in ``place``/inbox; made once."""
    course, inbox = place / "course", place / "inbox"
    if inbox.exists():
        return course, inbox
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir(parents=True)
    (place / "roster.csv").write_text(
        "id,group\n" + "".join(f"{learner(n)},group-{n // 24:03d}\n" for n in range(count))
    )
    _command("new", course)
    _command("enrol", course, place / "roster.csv")
    chosen = [word for name in lessons for word in ("--lesson", name[:2], "--due", f"{name[:2]}={DUE.isoformat()}")]
    _command("release", course, *chosen)
    part = place / "inbox.part"
    for lesson in lessons:
        released = nbformat.read(course / "release" / lesson / f"{lesson}.ipynb", as_version=4)
        for number in range(count):
            hand_in(part, courses.DEFAULT_COURSE, lesson, released, number)
    part.rename(inbox)
    return course, inbox


def _command(*words):
    subprocess.run([sys.executable, "-m", "autograde.cli", *map(str, words)], check=True, stdout=subprocess.DEVNULL)


def measure(folder, size, lessons, workers, meter):
    """Every step of one size, as far as it has not been measured."""
    place = folder / f"of-{size}"
    course, inbox = made(place, lessons, max(1, size // len(lessons)))
    meter.note(size, learners=max(1, size // len(lessons)), lessons=len(lessons), workers=workers)
    for step, words in STEPS.items():
        if meter.of(size, step)["ended"] or (step == "feedback" and size > _MOST_FEEDBACK):
            continue
        told = [word.format(course=course, inbox=inbox, workers=workers) for word in words]
        meter.run(size, step, [sys.executable, "-m", "autograde.cli", *told], course)
        print(f"{size}: {step}: {meter.of(size, step)['seconds']:.1f} s", flush=True)
    meter.note(size, **weights(course))


def weights(course):
    """What a graded course weighs on the disk, in bytes, and how its hand-ins ended."""
    with (course / "grading.jsonl").open() as lines:
        last = {}
        for line in map(json.loads, lines):
            if line["event"] == "outcome" and line["status"] != "unchanged":
                last[line["learner"], line["lesson"]] = line["status"], bool(line["person"])
    ended = {f"ended {status}": sum(one == status for one, _ in last.values()) for status in ("graded", "not graded")}
    return {
        **ended,
        "ended for a person": sum(person for _, person in last.values()),
        "gradebook bytes": (course / "gradebook.db").stat().st_size,
        "course bytes": sum(path.stat().st_blocks * 512 for path in course.rglob("*") if path.is_file()),
    }


def table(facts):
    """One row a size, from what was measured."""
    rows = []
    for size, found in sorted(facts.items(), key=lambda one: int(one[0])):
        count, row = int(size), {"hand-ins": int(size), "learners": found["learners"]}
        for step in STEPS:
            if found.get(step, {}).get("ended"):
                one = found[step]
                row |= {f"{step} s": round(one["seconds"], 1), f"{step} cpu s": round(one["cpu"], 1), f"{step} MB": round(one["peak"] / 2**20)}  # fmt: skip
        if "grade s" in row:
            row["graded a second"] = round(count / row["grade s"], 2)
            row["graded a cpu second"] = round(count / row["grade cpu s"], 2)
            row["cores taken by others"] = round(found["grade"]["others"] / found["grade"]["seconds"], 2)
        for name in ("gradebook bytes", "course bytes"):
            if name in found:
                row[name.replace("bytes", "MB")] = round(found[name] / 2**20, 1)
        rows.append(row)
    return rows


def draw(rows, place):
    """What each step takes for one hand-in, against how many there are: a straight cost is a level line."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    figure, axes = plt.subplots(2, 2, figsize=(10, 7), sharex=True, layout="constrained")
    for step in STEPS:
        there = [row for row in rows if f"{step} cpu s" in row]
        axes[0, 0].plot([row["hand-ins"] for row in there], [row[f"{step} cpu s"] / row["hand-ins"] * 1000 for row in there], "o-", label=step)  # fmt: skip
        axes[0, 1].plot([row["hand-ins"] for row in there], [row[f"{step} MB"] for row in there], "o-", label=step)
    for name, at in (("graded a second", (1, 0)), ("graded a cpu second", (1, 0)), ("gradebook MB", (1, 1)), ("course MB", (1, 1))):  # fmt: skip
        there = [row for row in rows if name in row]
        axes[at].plot([row["hand-ins"] for row in there], [row[name] for row in there], "o-", label=name)
    titles = ("processor time a hand-in (ms)", "largest memory (MB)", "hand-ins graded", "on the disk (MB)")
    for one, title in zip(axes.flat, titles, strict=True):
        one.set(title=title, xscale="log")
        one.legend(fontsize="small")
        one.grid(alpha=0.3)
    axes[0, 0].set_yscale("log")
    axes[1, 1].set_yscale("log")
    axes[0, 1].set_ylim(bottom=0)
    axes[1, 0].set_ylim(bottom=0)
    for one in axes[1]:
        one.set_xlabel("hand-ins")
    figure.savefig(place / "cohorts.svg")
    figure.savefig(place / "cohorts.png", dpi=110)
    plt.close(figure)


def write(folder, facts):
    """The figures as JSON, as a table and as a picture."""
    where = {
        "python": platform.python_version(),
        "cores": os.cpu_count(),
        "machine": platform.machine(),
        "shares": SHARES,
    }
    limits = {"memory_bytes": Limits().memory_bytes, "notebook_seconds": Limits().notebook_seconds}
    (folder / "cohorts.json").write_text(
        json.dumps({"measured on": where, "limits": limits, "sizes": facts}, indent=1) + "\n"
    )
    rows = table(facts)
    heads = list(dict.fromkeys(name for row in rows for name in row))
    with (folder / "cohorts.csv").open("w", newline="") as file:
        out = csv.DictWriter(file, heads, lineterminator="\n")
        out.writeheader()
        out.writerows(rows)
    draw(rows, folder)
    for name in heads:
        print(f"{name:24}", *(f"{row.get(name, ''):>10}" for row in rows))


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--sizes", default="100,1000,10000")
    parser.add_argument("--lessons", type=int, default=10, help="how many, from lesson 01 on")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    args = parser.parse_args()
    folder = args.folder.resolve()
    folder.mkdir(parents=True, exist_ok=True)
    meter = Meter(folder / "measured.json")
    lessons = [name for name in release.sources([]) if name[:2] != "00"][: args.lessons]
    try:
        for size in map(int, args.sizes.split(",")):
            measure(folder, size, lessons, args.workers, meter)
    finally:
        write(folder, meter.facts())


if __name__ == "__main__":
    main()

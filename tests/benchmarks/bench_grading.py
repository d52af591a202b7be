"""How long grading takes beside stock `nbgrader autograde` on the same submissions, in one run, and how it grows.

    uv run python tests/benchmarks/bench_grading.py [--quick] [--all-lessons] [--learners 30] [--grow 10,100,1000]

Both grade copies of one course. Stock is the command `nbgrader autograde`, with its own steps and its own kernel, and
with the course's marking as one more step, so that marks can be compared; it has no fence, no restoring of cells, and
believes what a notebook prints. Ours is the command `autograde grade`. Both find Python's compiled files, as on any
computer where they ran before: without them every kernel of stock's would compile all that it imports. Wall time and the largest resident memory of
the command with all its processes are those of the whole command. Then the same lesson for cohorts that grow, and
where the time of one submission goes.
"""

import argparse
import copy
import functools
import os
import subprocess
import sys
import sysconfig
import tempfile
import threading
import time
from pathlib import Path

import nbformat

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "submissions"))
from lesson import fill, right_answers, write

from autograde import course as courses
from autograde import release
from autograde.new import new, opened
from autograde.watch import resident_bytes
from halfcycle.variants import circuit

GOAL = 15.0
ROOT = Path(__file__).resolve().parents[2]
STOCK_CONFIG = """
from autograde.course import configure
from nbconvert.preprocessors import ClearMetadataPreprocessor
from nbgrader import preprocessors as stock
from autograde import preprocessors as ours
c = get_config()
configure(c, __file__)

class MarkFromOutputs(ours.MarkSlips):
    def preprocess(self, nb, resources):
        cells = [cell for cell in nb.cells if cell.metadata.get("nbgrader", {}).get("grade")]
        evidence = {cell.metadata.nbgrader["grade_id"]: cell.get("outputs", []) for cell in cells}
        return super().preprocess(nb, {**resources, "halfcycle": {"evidence": evidence}})

class Execute(stock.Execute):
    def preprocess(self, nb, resources):
        import os
        os.environ["HALFCYCLE_COURSE"], os.environ["HALFCYCLE_LEARNER"] = c.MarkSlips.course_id, resources["nbgrader"]["student"]
        return super().preprocess(nb, resources)

c.MarkFromOutputs.course_id, c.MarkFromOutputs.course_folder = c.MarkSlips.course_id, c.MarkSlips.course_folder
c.Autograde.sanitize_preprocessors = [
    stock.ClearOutput, stock.DeduplicateIds, stock.OverwriteKernelspec, stock.OverwriteCells, stock.CheckCellMetadata]
c.Autograde.autograde_preprocessors = [
    Execute, stock.IgnorePattern, ClearMetadataPreprocessor, stock.LimitOutput, MarkFromOutputs,
    stock.SaveAutoGrades, stock.AssignLatePenalties, stock.CheckCellMetadata]
"""


def made(place: Path, lessons: list[str], learners: list[str]) -> Path:
    """A released course in which everybody has handed everything in, half of it right."""
    course = place / "course"
    new(course, name=courses.DEFAULT_COURSE, title="")
    (course / "roster.csv").write_text("\n".join(["id", *learners]))
    with opened(course) as book:
        for learner in learners:
            book.add_student(learner)
    for lesson in lessons:
        release.release(course, lesson)
        released = nbformat.read(course / "release" / lesson / f"{lesson}.ipynb", as_version=4)
        for number, learner in enumerate(learners):
            right = right_answers(lesson[:2], circuit(courses.DEFAULT_COURSE, lesson, learner))
            given = {item: value for at, (item, value) in enumerate(right.items()) if (at + number) % 2}
            write(course / "submitted" / learner / lesson / f"{lesson}.ipynb", fill(copy.deepcopy(released), given))
    return course


@functools.cache
def compiled() -> dict[str, str]:
    """Compile what is imported, where that has not been done, and return an environment in which it stays so."""
    places = [
        sysconfig.get_path("stdlib"),
        sysconfig.get_path("purelib"),
        *map(str, (ROOT / "autograde", ROOT / "shared_lib")),
    ]
    subprocess.run(
        [sys.executable, "-m", "compileall", "-q", "-j", "0", *places], stdout=subprocess.DEVNULL, check=False
    )
    return {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}


def measured(command: list[str], folder: Path) -> tuple[float, int]:
    """Seconds of ``command``, and the most bytes that it and all its processes had resident at one time."""
    compiled()
    most, began = 0, time.perf_counter()
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.STDOUT, "text": True}
    with subprocess.Popen(command, cwd=folder, env=compiled(), **pipes) as process:
        said = []
        reader = threading.Thread(target=lambda: said.append(process.stdout.read()))
        reader.start()
        while process.poll() is None:
            most = max(most, proportional(process.pid))
            time.sleep(0.1)
        reader.join()
    if process.returncode:
        raise SystemExit(f"{' '.join(command)} ended with {process.returncode}:\n{said[0][-3000:]}")
    return time.perf_counter() - began, most


def proportional(pid: int) -> int:
    """Memory that forks share counts once: what each has to itself and its share, where this system says so."""
    if not Path("/proc/self/smaps_rollup").exists():
        return resident_bytes(pid)
    return sum(map(pss, family(pid)))


def pss(pid: int) -> int:
    try:
        lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    except OSError:  # it has ended meanwhile
        return 0
    return next((int(line.split()[1]) * 1024 for line in lines if line.startswith("Pss:")), 0)


def family(pid: int) -> list[int]:
    parents = {}
    for place in Path("/proc").glob("[0-9]*/stat"):
        try:
            parents.setdefault(int(place.read_text().rpartition(")")[2].split()[1]), []).append(int(place.parent.name))
        except (OSError, ValueError):
            continue
    found = [pid]
    for one in found:
        found += parents.get(one, [])
    return found


def marks(course: Path) -> dict:
    with courses.gradebook(course) as book:
        return {
            (one.student.id, assignment.name): one.score
            for assignment in book.assignments
            for one in assignment.submissions
        }


def ours(course: Path, workers: int) -> tuple[float, int]:
    return measured([sys.executable, "-m", "autograde.cli", "grade", str(course), "--workers", str(workers)], course)


def stock(course: Path, lessons: list[str]) -> tuple[float, int]:
    (course / "nbgrader_config.py").write_text(STOCK_CONFIG)
    took = [measured([sys.executable, "-m", "nbgrader", "autograde", lesson], course) for lesson in lessons]
    return sum(seconds for seconds, _ in took), max(most for _, most in took)


def beside_stock(place: Path, lessons: list[str], learners: list[str], workers: int) -> None:
    mine, theirs = made(place / "ours", lessons, learners), made(place / "stock", lessons, learners)
    seconds, most = ours(mine, workers)
    stock_seconds, stock_most = stock(theirs, lessons)
    equal = marks(mine) == marks(theirs)
    count = len(lessons) * len(learners)
    ratio = stock_seconds / seconds
    print(f"{len(lessons)} lesson(s), {len(learners)} learners, {workers} workers, {os.cpu_count()} cores:")
    print(f"  ours  {seconds / count:7.3f} s a submission, {most / 2**20:6.0f} MB")
    print(f"  stock {stock_seconds / count:7.3f} s a submission, {stock_most / 2**20:6.0f} MB")
    print(
        f"  {ratio:.1f} times faster (goal {GOAL:g}), {stock_most / most:.2f} times the memory of ours, equal marks: {equal}"
    )
    if not equal:
        raise SystemExit("The marks are not equal.")


def growing(place: Path, lesson: str, sizes: list[int], workers: int) -> None:
    """Cost a submission beyond what starting costs, which the smallest cohort and a cohort of one tell apart."""
    alone, _ = ours(made(place / "one", [lesson], ["p0000"]), workers)
    first = None
    for size in sizes:
        seconds, most = ours(made(place / f"of-{size}", [lesson], [f"p{n:04d}" for n in range(size)]), workers)
        each = (seconds - alone) / (size - 1)
        first = first or each
        print(
            f"  {size:5d} learners: {each:.3f} s a submission ({each / first:.2f} of the first), "
            f"{seconds / size:.3f} s with the start, {most / 2**20:.0f} MB"
        )


def where(place: Path, lesson: str, learners: list[str]) -> None:
    """One worker, in this process: what waiting for the fence, nbgrader's steps and the gradebook take."""
    from autograde import grading
    from autograde.book import Book
    from autograde.preparing import Prepared, Preparer
    from autograde.writer import Writer

    course, spent = made(place / "where", [lesson], learners), {}

    def timed(owner, name, words):
        kept = getattr(owner, name)

        def wrapped(*args, **kwargs):
            began = time.perf_counter()
            try:
                return kept(*args, **kwargs)
            finally:
                spent[words] = spent.get(words, 0.0) + time.perf_counter() - began

        setattr(owner, name, wrapped)

    timed(Preparer, "prepare", "reading and restoring it")
    timed(Prepared, "wait", "waiting for its cells behind the fence")
    timed(Writer, "write", "taming, marking, writing, gradebook")
    timed(Book, "save", "  of that the gradebook")
    began = time.perf_counter()
    grading.grade(course)
    spent["all"] = time.perf_counter() - began
    print("One submission, one worker (the first one waits for the warm interpreter):")
    for words, seconds in spent.items():
        print(f"  {seconds / len(learners) * 1000:8.1f} ms  {words}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--quick", action="store_true", help="six learners, cohorts of 10 and 30")
    parser.add_argument("--all-lessons", action="store_true", help="every lesson instead of lesson 01")
    parser.add_argument("--learners", type=int, default=30)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--grow", default="10,100,1000", help="sizes of cohorts, or 0 for none")
    args = parser.parse_args()
    learners = [f"p{n:04d}" for n in range(6 if args.quick else args.learners)]
    sizes = [10, 30] if args.quick else [int(size) for size in args.grow.split(",")]
    every = release.sources([])
    lessons = every if args.all_lessons else [name for name in every if name.startswith("01")]
    with tempfile.TemporaryDirectory() as place:
        beside_stock(Path(place), lessons, learners, args.workers)
        if any(sizes):
            growing(Path(place), lessons[0], sizes, args.workers)
        where(Path(place), lessons[0], learners)


if __name__ == "__main__":
    main()

"""What a college and a state programme need, worked out from what was measured: writes the page beside this file.

    uv run python -m autograde.hub.planning [--from FOLDER]

``figures.json`` holds what was measured; ``--from FOLDER`` renews it from a folder of ``bench_cohorts.py`` (and
``server.json`` of ``bench_server.py`` in it). Every number on the page comes from it or is called an assumption, and is
rounded where it is shown, so that the page can be reckoned again with pencil and paper.
"""

from __future__ import annotations

import argparse
import json
import math
import shutil
from dataclasses import dataclass
from pathlib import Path

__all__ = ["FIGURES", "PAGE", "Programme", "figures_from", "page"]

HERE = Path(__file__).resolve().parent
FIGURES, PAGE, PICTURE = HERE / "figures.json", HERE / "planning.md", HERE / "cohorts.svg"
_STEPS = ("collect", "grade", "grade again", "report", "export", "feedback")
_MB = 1e6
_DIGITS = 3


@dataclass(frozen=True)
class Programme:
    """Who is planned for. Shares are of all learners; ``courses`` is how many course folders they are divided among."""

    name: str
    learners: int
    courses: int
    at_once: float
    an_evening: float
    hours: float


COLLEGE = Programme("A college", 1_000, 1, 0.3, 1.0, 1.0)
STATE = Programme("A state programme", 50_000, 50, 0.1, 0.2, 8.0)
LESSONS, MACHINE_GB, MACHINE_CORES, USABLE, WORKING = 11, 64, 16, 0.8, 0.05


class Sums:
    """Lines of arithmetic: each result is rounded as it is shown, and goes on as it is shown."""

    def __init__(self):
        self.lines = []

    def given(self, words, value, unit="", assumed=False):
        """A number that is measured, or an assumption."""
        value = _rounded(value)
        self.lines.append(f"| {words}{' (assumption)' if assumed else ''} | | {_shown(value)} {unit} |")
        return value

    def times(self, words, *factors, unit="", up=False):
        """The product of ``factors``, ``up`` to a whole number."""
        return self._line(words, " × ".join(map(_shown, factors)), math.prod(factors), unit, up)

    def over(self, words, one, *others, unit="", up=False):
        """``one`` divided by the ``others``."""
        return self._line(words, " ÷ ".join(map(_shown, (one, *others))), one / math.prod(others), unit, up)

    def plus(self, words, *parts, unit=""):
        """The sum of ``parts``."""
        return self._line(words, " + ".join(map(_shown, parts)), sum(parts), unit, False)

    def _line(self, words, how, value, unit, up):
        value = math.ceil(value) if up else _rounded(value)
        self.lines.append(f"| {words}{', rounded up' if up else ''} | {how} = | {_shown(value)} {unit} |")
        return value

    def __str__(self):
        return "\n".join(["| what | how | result |", "| --- | --- | --- |", *self.lines])


def _rounded(value):
    return float(f"{value:.{_DIGITS}g}") if value else 0.0


def _shown(value):
    """A number as it stands on the page.

    >>> _shown(12300.0), _shown(0.0123), _shown(3)
    ('12300', '0.0123', '3')
    """
    return f"{value:.0f}" if value == int(value) else f"{value:.10f}".rstrip("0")


def per_hand_in(figures):
    """What one hand-in takes, by the largest size for which each step was measured to its end."""
    found = {}
    for size, facts in sorted(figures["sizes"].items(), key=lambda one: int(one[0])):
        for step in _STEPS:
            if facts.get(step, {}).get("ended"):
                found[step] = facts[step]["cpu"] / int(size)
                found[f"{step} peak"] = facts[step]["peak"]
        if facts.get("grade", {}).get("ended") and "gradebook bytes" in facts:
            found |= {name: facts[f"{name} bytes"] / int(size) for name in ("gradebook", "course")}
    return found


def plan(who, figures):
    """The arithmetic for one programme, as a table."""
    each, sums = per_hand_in(figures), Sums()
    heavy = max(figures["server"].values(), key=lambda one: one["kernel, bytes"])
    at_once = sums.times("learners at work at once (share: assumption)", who.learners, who.at_once, unit="learners")
    server = sums.given("one JupyterLab server", heavy["server, bytes"] / _MB, "MB")
    kernel = sums.given("its kernel after the heaviest lesson measured", heavy["kernel, bytes"] / _MB, "MB")
    one = sums.plus("one learner at work", server, kernel, unit="MB")
    memory = sums.times("memory for all at work", at_once, one, 0.001, unit="GB")
    cores = sums.times("cores for all at work (share of a core each: assumption)", at_once, WORKING, unit="cores")
    usable = sums.times("usable of one hub machine (share: assumption)", MACHINE_GB, USABLE, unit="GB")
    sums.over("hub machines by memory", memory, usable, unit="machines", up=True)
    sums.over("hub machines by cores", cores, MACHINE_CORES, unit="machines", up=True)
    evening = sums.times("hand-ins of the fullest evening (share: assumption)", who.learners, who.an_evening, unit="hand-ins")  # fmt: skip
    cpu = sums.given("grading one hand-in, processor time", each["grade"], "s")
    work = sums.times("grading that evening, processor time", evening, cpu, unit="s")
    sums.over("on two cores like those that were measured", work, 2, 60, unit="min")
    time = sums.given("to be done within", who.hours, "h", assumed=True)
    grading = sums.over("cores for grading", work, time, 3600, USABLE, unit="cores", up=True)
    if who.courses > 1:
        sums.over("Dask workers of four threads", grading, 4, unit="workers", up=True)
    sums.given("memory of a grading with two workers, at most", each["grade peak"] / _MB, "MB")
    whole = sums.times("hand-ins of a whole course of lessons", who.learners, LESSONS, unit="hand-ins")
    _disk_and_reports(sums, who, each, whole)
    return str(sums)


def _disk_and_reports(sums, who, each, whole):
    book = sums.given("gradebook, one hand-in", each["gradebook"] / 1e3, "kB")
    sums.times("gradebooks on the disk", whole, book, 1e-6, unit="GB")
    kept = sums.given("course folder, one hand-in (all that is kept of it)", each["course"] / _MB, "MB")
    sums.times("course folders on the disk", whole, kept, 0.001, unit="GB")
    here = (
        whole if who.courses == 1 else sums.over("hand-ins of one course folder", whole, who.courses, unit="hand-ins")
    )
    for step, words in (("report", "report"), ("export", "export"), ("feedback", "report with all feedback pages")):
        one = sums.given(f"{words}, one hand-in, processor time", each[step] * 1000, "ms")
        all_of_it = sums.times(f"{words}, one course folder", here, one, 0.001, unit="s")
        sums.over("the same", all_of_it, 60, unit="min")


def measured(figures):
    """What was measured, as a table of one row a step."""
    sizes = sorted(figures["sizes"], key=int)
    lines = ["| hand-ins | " + " | ".join(sizes) + " |", "| --- |" + " --- |" * len(sizes)]
    rows = [("learners", lambda one, _: one["learners"])]
    rows += [(f"{step}, s", _of(step, lambda found, _: f"{found['seconds']:.0f}")) for step in _STEPS]
    rows += [(f"{step}, processor ms a hand-in", _of(step, lambda found, size: f"{found['cpu'] / size * 1000:.0f}")) for step in _STEPS]  # fmt: skip
    rows += [
        (f"{step}, most memory, MB", _of(step, lambda found, _: f"{found['peak'] / 2**20:.0f}")) for step in _STEPS
    ]
    rows += [
        ("graded a second", _of("grade", lambda found, size: f"{size / found['seconds']:.2f}")),
        ("graded a processor second", _of("grade", lambda found, size: f"{size / found['cpu']:.2f}")),
        ("cores that others took meanwhile", _of("grade", lambda found, _: f"{found['others'] / found['seconds']:.2f}")),
        ("gradebook, kB a hand-in", lambda one, size: f"{one['gradebook bytes'] / size / 1000:.1f}" if "gradebook bytes" in one else "–"),
    ]  # fmt: skip
    for words, tell in rows:
        lines.append(
            f"| {words} | " + " | ".join(str(tell(figures["sizes"][size], int(size))) for size in sizes) + " |"
        )
    return "\n".join(lines)


def _of(step, tell):
    return lambda one, size: tell(one[step], size) if one.get(step, {}).get("ended") else "–"


def page(figures):
    """The whole page, in Markdown."""
    on = figures["measured on"]
    shares = ", ".join(f"{share} {kind}" for kind, share in on["shares"].items())
    text = (HERE / "planning_words.md").read_text(encoding="utf-8")
    parts = {
        "MEASURED": measured(figures),
        "SHARES": shares,
        "MACHINE": f"{on['cores']} cores, {on['machine']}, Python {on['python']}",
        "COLLEGE": plan(COLLEGE, figures),
        "STATE": plan(STATE, figures),
        "HUB": f"{MACHINE_GB} GB and {MACHINE_CORES} cores",
    }
    for name, part in parts.items():
        text = text.replace("{" + name + "}", part)
    return text


def figures_from(folder):
    """The figures that the benchmarks left in ``folder``, without what is not planned from."""
    found = json.loads((folder / "cohorts.json").read_text(encoding="utf-8"))
    server = folder / "server.json"
    kept = json.loads(FIGURES.read_text(encoding="utf-8")).get("server", {}) if FIGURES.exists() else {}
    return {**found, "server": json.loads(server.read_text(encoding="utf-8")) if server.exists() else kept}


def main() -> None:
    """Write the page, from new figures where they are given."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--from", dest="folder", type=Path, help="a folder that bench_cohorts.py has written")
    args = parser.parse_args()
    if args.folder:
        FIGURES.write_text(json.dumps(figures_from(args.folder), indent=1) + "\n", encoding="utf-8")
        shutil.copy(args.folder / "cohorts.svg", PICTURE)
    PAGE.write_text(page(json.loads(FIGURES.read_text(encoding="utf-8"))), encoding="utf-8")


if __name__ == "__main__":
    main()

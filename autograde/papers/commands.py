"""What the commands that write papers do; exit codes as in `autograde.commands`."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path

from tqdm import tqdm

from autograde import hours
from autograde.files import write_whole
from autograde.new import opened
from autograde.papers import certificate, gradebook, oneroster, signing, training
from autograde.papers.standing import PASSED, Standing, released, standings
from autograde.reports import title
from autograde.roster import Learner, learners
from autograde.trouble import Trouble

__all__ = ["COMMANDS"]


def _bar(things, what: str):
    return tqdm(things, desc=what, unit="", disable=None, leave=False, file=sys.stderr)


def _chosen(course: Path, wanted: str | None) -> dict[str, Learner]:
    people = learners(course)
    if wanted and wanted not in people:
        raise Trouble(
            f"There is no learner {wanted!r} on the roster of {course}; there are: {', '.join(people) or 'none'}."
        )
    if not people:
        raise Trouble(f"Nobody is enrolled in {course} yet; run: autograde enrol {course} ROSTER.csv")
    return {wanted: people[wanted]} if wanted else people


def _standings(course: Path, book, people) -> dict[str, list[Standing]]:
    if not released(course):
        raise Trouble(f"Nothing has been released from {course} yet; run: autograde release {course}")
    return standings(course, book, people)


def _hours(args) -> int:
    with opened(args.course):
        planned = dict(map(hours.parse_plan, args.plan))
    if not planned and args.log is None:
        raise Trouble("There is nothing to take in; give HOURS.csv, or --plan NN=HOURS.")
    lines = [f"Lesson {number}: {each:g} h planned" for number, each in sorted(planned.items())]
    if args.log:
        lines = hours.take(args.course, args.log, learners(args.course), released(args.course)) + lines
    if planned:
        hours.set_plan(args.course, planned)
    print("\n".join(lines))
    return 0


def _export(args) -> int:
    with opened(args.course) as book:
        found = _standings(args.course, book, _chosen(args.course, None))
        folder, name, now = args.course / "exports", title(args.course), datetime.now(UTC)
        places = [gradebook.write(book, folder / "gradebook.csv")]
    for file, text in oneroster.files(name, found, now).items():
        write_whole(folder / "oneroster" / file, text)
        places.append(folder / "oneroster" / file)
    write_whole(folder / "oneroster.zip", oneroster.packed(name, found, now))
    print("\n".join(map(str, [*places, folder / "oneroster.zip"])))
    return 0


def _record(args) -> int:
    from autograde.papers.training_page import page

    with opened(args.course) as book:
        people = _chosen(args.course, args.learner)
        found = _standings(args.course, book, people)
    folder, name, now = args.course / "records", title(args.course), datetime.now(UTC)
    table = "training.csv" if args.learner is None else f"{args.learner}.csv"
    write_whole(folder / table, training.as_csv(people, found, args.at_least))
    for learner, own in _bar(list(found.items()), "Records"):
        made = page(people[learner], own, course=name, paper=args.paper, at_least=args.at_least, now=now)
        write_whole(folder / f"{learner}.pdf", made)
    print(f"{folder / table}\n{len(found)} record{'' if len(found) == 1 else 's'} as PDF: {folder}")
    return 0


def _certify(args) -> int:
    with opened(args.course) as book:
        people = _chosen(args.course, args.learner)
        found = _standings(args.course, book, people)
    folder = args.course / "certificates"
    key = signing.private_key(folder)
    lacking = []
    for learner, own in found.items():
        open_lessons = [
            f"{one.lesson[:2]} {one.result(args.at_least)}" for one in own if one.result(args.at_least) != PASSED
        ]
        if open_lessons:
            lacking.append(f"{learner}: no certificate yet ({', '.join(open_lessons)})")
        else:
            print(_sign(folder, key, _award(args, people[learner], own)))
    print(
        "\n".join([*lacking, f"Anyone can check one with: autograde verify FILE.jwt --key {folder / signing.PUBLIC}"])
    )
    if args.learner and lacking:
        raise Trouble(f"{args.learner} has not passed every released lesson; no certificate was signed.")
    return 0


def _award(args, learner: Learner, own: list[Standing]) -> certificate.Award:
    points, most = sum(one.points for one in own), sum(one.most for one in own)
    rule = (
        f"Every one of the {len(own)} released lessons handed in and marked, with at least {args.at_least:g} % of the points of each: "
        f"lessons {', '.join(one.lesson[:2] for one in own)}. Work on equipment is decided by local code and a licensed person; this is no licence."
    )
    now = datetime.now(UTC).replace(microsecond=0)
    if args.valid_until and args.valid_until <= now:
        raise Trouble(f"--valid-until {args.valid_until:%Y-%m-%d} is past; give a day to come.")
    return certificate.Award(
        learner.id, learner.name, title(args.course), 100 * points / most if most else 0.0, rule, now, args.valid_until
    )


def _sign(folder: Path, key, award: certificate.Award) -> str:
    """Write the certificate, or leave a good one that says the same as it is."""
    place, jwk = folder / f"{award.learner}.jwt", signing.read_jwk(folder / signing.PUBLIC)
    fresh = certificate.payload(certificate.credential(award, jwk))
    if place.exists() and _says_the_same(place, jwk, fresh):
        return f"{place}: already signed"
    write_whole(place, signing.sign(fresh, key) + "\n")
    return f"{place}: signed"


def _says_the_same(place: Path, jwk, fresh) -> bool:
    try:
        old = certificate.verify(certificate.read(place), jwk)
    except Trouble:
        return False
    apart = {"id", "jti", "validFrom", "nbf"}
    return {k: v for k, v in old.items() if k not in apart} == {k: v for k, v in fresh.items() if k not in apart}


def _verify(args) -> int:
    jwk = signing.read_jwk(args.key)
    found = certificate.verify(certificate.read(args.certificate), jwk)
    subject = found["credentialSubject"]
    print(f"Valid: {subject['identifier'][0]['identityHash']}, {subject['achievement']['name']}")
    print(f"  share of the points: {subject['result'][0]['value']} %")
    print(f"  {subject['achievement']['criteria']['narrative']}")
    print(
        f"  issued {found['validFrom']} by {found['issuer']['name']}"
        + (f", until {found['validUntil']}" if "validUntil" in found else "")
    )
    print(f"  signed with the key {signing.thumbprint(jwk)}; is that the key which the course has published?")
    return 0


COMMANDS = {"hours": _hours, "export": _export, "record": _record, "certify": _certify, "verify": _verify}

"""The words of the commands that write papers, for the parser alone: light to import."""

from __future__ import annotations

import argparse
import math
from datetime import UTC, date, datetime, time
from pathlib import Path

__all__ = ["add"]


def add(commands, command) -> None:
    """Add hours, export, record, certify and verify to ``commands``; ``command`` makes one that takes a course folder."""
    hours = command(commands, "hours", "take in the signed log of hours, or plan the hours of a lesson")
    hours.add_argument("log", type=Path, nargs="?", metavar="HOURS.csv", help="columns: learner, lesson, date, hours")
    hours.add_argument(
        "--plan", action="append", default=[], metavar="NN=HOURS", help="planned hours of one lesson (may be repeated)"
    )
    command(commands, "export", "write the gradebook as CSV, and OneRoster 1.2 line items and results")
    record = command(commands, "record", "write each apprentice's training record, as CSV and one-page PDF")
    record.add_argument(
        "--paper", choices=("letter", "a4"), default="letter", help="the size of the page (default: %(default)s)"
    )
    certify = command(commands, "certify", "sign a certificate for whoever has passed every released lesson")
    certify.add_argument(
        "--valid-until", type=_day, metavar="DAY", help="the last day on which it counts (default: no end)"
    )
    for each in (record, certify):
        each.add_argument("--learner", metavar="ID", help="only this learner")
        each.add_argument(
            "--at-least",
            type=_percent,
            default=70.0,
            metavar="PERCENT",
            help="points of a lesson that pass it (default: %(default)g)",
        )
    _verify(commands)


def _verify(commands) -> None:
    words = "check a certificate with the key that the course has published"
    verify = commands.add_parser(
        "verify", help=words, description=f"{words.capitalize()}. Needs no course and no network."
    )
    verify.add_argument("certificate", type=Path, metavar="FILE.jwt", help="the certificate")
    verify.add_argument(
        "--key", type=Path, required=True, metavar="KEY.json", help="the published key: COURSE/certificates/key.json"
    )


def _percent(text: str) -> float:
    try:
        found = float(text)
    except ValueError:
        found = math.nan
    if not 0 <= found <= 100:
        raise argparse.ArgumentTypeError(f"{text!r} is no number from 0 to 100")
    return found


def _day(text: str) -> datetime:
    try:
        return datetime.combine(date.fromisoformat(text), time(23, 59, 59), UTC)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no day; write it like 2030-12-31") from None

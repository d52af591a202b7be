"""Collecting: every shape of inbox, every bad file, and the rule for which hand-in counts."""

import io
import json
import os
import stat
import zipfile
from datetime import UTC, datetime

import nbformat
import pytest
from nbformat import v4

from autograde import collect as collecting
from autograde.collect import collect, counting, history
from autograde.trouble import Trouble

ONE, THREE = "01_what_24_volts_means", "03_one_diode"
DUE = datetime(2026, 3, 2, 18, tzinfo=UTC)


def lesson(number, *, answer="...", drop=0):
    """A small notebook with the cells of an invented lesson, as a learner would hand it in."""
    cells = [v4.new_code_cell("from halfcycle.lesson import begin", id="begin")]
    for item in ("peak", "period", "current"):
        name = f"{number}-{item}"
        marking = {"grade": True, "locked": True, "solution": False, "points": 1, "schema_version": 3, "grade_id": name}
        cells.append(v4.new_code_cell(f"{item} = {answer}", id=f"{name}-answer"))
        cells.append(v4.new_code_cell(f'hand_in("{name}", {item}, "V")', id=name, metadata={"nbgrader": marking}))
    return nbformat.writes(v4.new_notebook(cells=cells[drop:])).encode()


@pytest.fixture
def course(tmp_path):
    folder = tmp_path / "course"
    for name in (ONE, THREE):
        (folder / "release" / name).mkdir(parents=True)
        (folder / "release" / name / f"{name}.ipynb").write_bytes(lesson(name[:2]))
    (folder / "roster.csv").write_text("id,first\namara,Amara\nben_2,Ben\nben,Ben\n")
    return folder


def put(inbox, place, data, when=None):
    path = inbox / place
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    if when:
        os.utime(path, (when.timestamp(), when.timestamp()))
    return path


def submitted(course):
    return sorted(str(path.relative_to(course / "submitted")) for path in (course / "submitted").rglob("*.ipynb"))


def time_of(course, learner, name):
    return (course / "submitted" / learner / name / "timestamp.txt").read_text().strip()


def test_every_shape_of_inbox_gives_the_same_folder(course, tmp_path):
    inbox = tmp_path / "inbox"
    put(inbox, f"amara/{ONE}.ipynb", lesson("01", answer=1))
    put(inbox, f"amara/{THREE}/{THREE}.ipynb", lesson("03", answer=2))
    put(inbox, f"ben_{ONE}.ipynb", lesson("01", answer=3))
    put(inbox, f"ben_2_{THREE}.ipynb", lesson("03", answer=4))
    done = collect(course, inbox, {})
    assert not done.troubles
    want = [f"amara/{ONE}/{ONE}.ipynb", f"amara/{THREE}/{THREE}.ipynb"]
    want += [f"ben/{ONE}/{ONE}.ipynb", f"ben_2/{THREE}/{THREE}.ipynb"]
    assert submitted(course) == want


def test_a_zip_reads_like_the_folder_in_it(course, tmp_path):
    place = tmp_path / "handed-in.zip"
    with zipfile.ZipFile(place, "w") as box:
        box.writestr(f"class/amara/{ONE}/{ONE}.ipynb", lesson("01", answer=1))
        box.writestr(f"class/amara/{ONE}/timestamp.txt", "2026-03-01 09:30:00 UTC")
        box.writestr("__MACOSX/class/amara/._x.ipynb", b"junk")
    assert not collect(course, place, {}).troubles
    assert time_of(course, "amara", ONE) == "2026-03-01 09:30:00 UTC"


def test_a_zip_inside_the_inbox_belongs_to_whom_it_is_named_for(course, tmp_path):
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    with zipfile.ZipFile(inbox / "ben.zip", "w") as box:
        box.writestr("amara/work.ipynb", lesson("01"))
    assert not collect(course, inbox, {}).troubles
    assert submitted(course) == [f"ben/{ONE}/{ONE}.ipynb"]


def test_a_renamed_notebook_is_known_by_its_cells(course, tmp_path):
    inbox = tmp_path / "inbox"
    put(inbox, "amara/homework final (2).ipynb", lesson("03"))
    put(inbox, f"ben/{ONE}.ipynb", lesson("03"))
    done = collect(course, inbox, {})
    assert submitted(course) == [f"amara/{THREE}/{THREE}.ipynb", f"ben/{THREE}/{THREE}.ipynb"]
    assert all("(known by its cells)" in line for line in done.taken)


def test_a_notebook_with_most_cells_deleted_is_still_known(course, tmp_path):
    put(tmp_path / "inbox", "amara/x.ipynb", lesson("03", drop=5))
    assert not collect(course, tmp_path / "inbox", {}).troubles
    assert submitted(course) == [f"amara/{THREE}/{THREE}.ipynb"]


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"{",
        b"[]",
        b"\xff\xfe\x00",
        b'{"cells": 3, "nbformat": 4, "nbformat_minor": 5, "metadata": {}}',
        b'{"cells": [{"id": 1}], "nbformat": 4, "nbformat_minor": 5, "metadata": {}}',
        b'{"nbformat": 99}',
        b"[" * 200_000,
        json.dumps({"cells": [], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}).encode(),
    ],
)
def test_a_broken_notebook_is_one_sentence_and_holds_nobody_up(course, tmp_path, data):
    inbox = tmp_path / "inbox"
    put(inbox, f"amara/{ONE}.ipynb", data)
    put(inbox, f"ben/{ONE}.ipynb", lesson("01"))
    (sentence,) = collect(course, inbox, {}).troubles
    assert f"amara/{ONE}.ipynb" in sentence and sentence.endswith(".") and "\n" not in sentence
    assert submitted(course) == [f"ben/{ONE}/{ONE}.ipynb"]


def test_an_unknown_learner_is_named_with_the_nearest_known(course, tmp_path):
    put(tmp_path / "inbox", f"amarra/{ONE}.ipynb", lesson("01"))
    put(tmp_path / "inbox", f"ben/{ONE}.ipynb", lesson("01"))
    (sentence,) = collect(course, tmp_path / "inbox", {}).troubles
    assert "did you mean amara?" in sentence and f"amarra/{ONE}.ipynb" in sentence
    assert submitted(course) == [f"ben/{ONE}/{ONE}.ipynb"]


def test_an_unknown_lesson_is_named(course, tmp_path):
    put(tmp_path / "inbox", "amara/09.ipynb", lesson("09"))
    (sentence,) = collect(course, tmp_path / "inbox", {}).troubles
    assert "holds no lesson of this course" in sentence and ONE in sentence


def test_the_newest_in_time_counts_and_all_are_kept(course, tmp_path):
    inbox = tmp_path / "inbox"
    for number, when in enumerate([datetime(2026, 3, day, tzinfo=UTC) for day in (1, 2, 4)]):
        put(inbox, f"amara/try {number}/{ONE}.ipynb", lesson("01", answer=number), when)
    done = collect(course, inbox, {ONE: DUE})
    assert time_of(course, "amara", ONE) == "2026-03-02 00:00:00 UTC"
    assert b"peak = 1" in (course / "submitted/amara" / ONE / f"{ONE}.ipynb").read_bytes()
    assert len(history(course, "amara", ONE)) == 3
    assert any("3 hand-ins kept" in line for line in done.taken)


def test_only_late_work_counts_as_late(course, tmp_path):
    put(tmp_path / "inbox", f"amara/{ONE}.ipynb", lesson("01"), datetime(2026, 3, 5, tzinfo=UTC))
    done = collect(course, tmp_path / "inbox", {ONE: DUE})
    assert any(": late, it came 2026-03-05 00:00 UTC" in line for line in done.taken)
    assert counting(history(course, "amara", ONE), DUE).late(DUE)


def test_collecting_again_changes_nothing_and_a_copy_made_later_stays_in_time(course, tmp_path):
    path = put(tmp_path / "inbox", f"amara/{ONE}.ipynb", lesson("01"), datetime(2026, 3, 1, tzinfo=UTC))
    collect(course, tmp_path / "inbox", {ONE: DUE})
    before = {each: each.stat().st_mtime_ns for each in course.rglob("*") if each.is_file()}
    os.utime(path, (DUE.timestamp() + 9000,) * 2)
    done = collect(course, tmp_path / "inbox", {ONE: DUE})
    assert {each: each.stat().st_mtime_ns for each in course.rglob("*") if each.is_file()} == before
    assert done.taken == [f"amara/{ONE}.ipynb: amara, {ONE}: already collected"]


def test_an_earlier_copy_found_later_gives_the_earlier_time(course, tmp_path):
    path = put(tmp_path / "inbox", f"amara/{ONE}.ipynb", lesson("01"), datetime(2026, 3, 5, tzinfo=UTC))
    collect(course, tmp_path / "inbox", {ONE: DUE})
    os.utime(path, (DUE.timestamp() - 60,) * 2)
    collect(course, tmp_path / "inbox", {ONE: DUE})
    assert time_of(course, "amara", ONE) == "2026-03-02 17:59:00 UTC"
    assert len(history(course, "amara", ONE)) == 1


def test_links_are_never_followed(course, tmp_path):
    secret = put(tmp_path, f"elsewhere/{ONE}.ipynb", lesson("01", answer="secret"))
    inbox = tmp_path / "inbox"
    (inbox / "amara").mkdir(parents=True)
    (inbox / "amara" / f"{ONE}.ipynb").symlink_to(secret)
    (inbox / "ben").symlink_to(secret.parent)
    done = collect(course, inbox, {})
    assert len(done.troubles) == 2 and all("is a link" in sentence for sentence in done.troubles)
    assert not (course / "submitted").exists()


def test_a_zip_that_points_outside_writes_nothing_outside(course, tmp_path):
    place = tmp_path / "handed-in.zip"
    link = zipfile.ZipInfo(f"amara/{THREE}.ipynb")
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    with zipfile.ZipFile(place, "w") as box:
        box.writestr(f"../../amara/{ONE}.ipynb", lesson("01"))
        box.writestr(f"/etc/amara/{ONE}.ipynb", lesson("01"))
        box.writestr(f"..\\amara\\{ONE}.ipynb", lesson("01"))
        box.writestr(link, "/etc/passwd")
    before = sorted(tmp_path.rglob("*"))
    done = collect(course, place, {})
    assert len(done.troubles) == 4 and sorted(tmp_path.rglob("*")) == before


def test_a_zip_bomb_stops_at_the_limit(course, tmp_path, monkeypatch):
    monkeypatch.setattr("autograde.inbox.LARGEST_BYTES", 1000)
    place = tmp_path / "handed-in.zip"
    with zipfile.ZipFile(place, "w", zipfile.ZIP_DEFLATED) as box:
        box.writestr(f"amara/{ONE}.ipynb", b" " * 50_000)
    (sentence,) = collect(course, place, {}).troubles
    assert f"amara/{ONE}.ipynb" in sentence and "MB" in sentence


@pytest.mark.parametrize(
    "spoil", [lambda data: data[: len(data) // 2], lambda data: b"PK" + data[2:40], lambda data: b""]
)
def test_a_damaged_zip_is_one_sentence(course, tmp_path, spoil):
    place = tmp_path / "inbox" / "amara.zip"
    place.parent.mkdir()
    with zipfile.ZipFile(place, "w") as box:
        box.writestr(f"{ONE}.ipynb", lesson("01"))
    place.write_bytes(spoil(place.read_bytes()))
    put(tmp_path / "inbox", f"ben/{ONE}.ipynb", lesson("01"))
    (sentence,) = collect(course, tmp_path / "inbox", {}).troubles
    assert sentence == "amara.zip is not a readable zip file; ask for it again."
    assert submitted(course) == [f"ben/{ONE}/{ONE}.ipynb"]


def test_a_file_that_cannot_be_read_is_named_and_the_rest_collected(course, tmp_path, monkeypatch):
    bad = put(tmp_path / "inbox", f"amara/{ONE}.ipynb", lesson("01"))
    put(tmp_path / "inbox", f"ben/{ONE}.ipynb", lesson("01"))
    real = type(bad).read_bytes

    def refuse(path):
        if path == bad:
            raise PermissionError(13, "Permission denied")
        return real(path)

    monkeypatch.setattr(type(bad), "read_bytes", refuse)
    (sentence,) = collect(course, tmp_path / "inbox", {}).troubles
    assert sentence.startswith(f"amara/{ONE}.ipynb cannot be read (permission denied)")
    assert submitted(course) == [f"ben/{ONE}/{ONE}.ipynb"]


def test_a_course_folder_that_refuses_loses_nothing(course, tmp_path, monkeypatch):
    put(tmp_path / "inbox", f"amara/{ONE}.ipynb", lesson("01", answer=1), datetime(2026, 3, 1, tzinfo=UTC))
    collect(course, tmp_path / "inbox", {})
    kept = (course / "submitted/amara" / ONE / f"{ONE}.ipynb").read_bytes()
    put(tmp_path / "inbox", f"amara/{ONE}.ipynb", lesson("01", answer=2), datetime(2026, 3, 2, tzinfo=UTC))

    def refuse(*_, **__):
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr("tempfile.mkstemp", refuse)
    (sentence,) = collect(course, tmp_path / "inbox", {}).troubles
    assert "cannot be written (read-only file system)" in sentence
    assert (course / "submitted/amara" / ONE / f"{ONE}.ipynb").read_bytes() == kept


def test_what_is_not_a_notebook_is_passed_over_by_name(course, tmp_path):
    put(tmp_path / "inbox", "amara/photo.jpg", b"x")
    assert collect(course, tmp_path / "inbox", {}).taken == ["amara/photo.jpg: not a notebook, passed over"]


@pytest.mark.parametrize("place", ["nowhere", "file.txt"])
def test_no_such_inbox(course, tmp_path, place):
    (tmp_path / "file.txt").write_text("x")
    with pytest.raises(Trouble, match="give the folder or zip file"):
        collect(course, tmp_path / place, {})


def test_a_course_without_release_or_roster_says_what_to_run(course, tmp_path):
    (course / "roster.csv").unlink()
    with pytest.raises(Trouble, match="autograde enrol"):
        collect(course, tmp_path, {})
    with pytest.raises(Trouble, match="autograde release"):
        collecting.collect(tmp_path / "empty", tmp_path, {})


def zipped(members):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as box:
        for name, data in members.items():
            box.writestr(name, data)
    return out.getvalue()


@pytest.fixture
def crowd(course):
    """A course whose learners have names, e-mail addresses and ids that are numbers."""
    rows = ["id,first,last,email", "7,Zoë,Núñez,", "30551,Ben,Lindqvist,ben@example.org", "amara,Amara,Okafor,"]
    rows += ["diode,Dalia,Haddad,", "a1,Amara,Reyes,", "b1,Kwame,Adjei,", "b2,Kwame,Adjei,"]
    (course / "roster.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return course


@pytest.mark.parametrize(
    ("place", "learner"),
    [
        ("Nunez Zoe_4410_file_/work.ipynb", "7"),
        ("NúñezZoë_late_4410_88_03_one_diode-1.ipynb", "7"),
        ("7_03_one_diode.ipynb", "7"),
        ("crew_30551_attempt.ipynb", "30551"),
        ("export/lindqvist, ben/x.ipynb", "30551"),
        ("x-ben@example.org-03.ipynb", "30551"),
        ("Amara Okafor - 12 March - work (2).ipynb", "amara"),
        ("03_one_diode_diode.ipynb", "diode"),
        ("Amara_03.ipynb", "amara"),
    ],
)
def test_files_named_by_a_learning_system_are_told_apart(crowd, tmp_path, place, learner):
    put(tmp_path / "inbox", place, lesson("03"))
    done = collect(crowd, tmp_path / "inbox", {})
    assert not done.troubles and submitted(crowd) == [f"{learner}/{THREE}/{THREE}.ipynb"]
    assert f"{learner}, {THREE}" in done.taken[0] and place in done.taken[0]


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ("crew_7_03.ipynb", []),
        ("03_one_diode.ipynb", []),
        ("Kwame Adjei_1_work.ipynb", ["b1 or b2"]),
        ("Amara Okafor and Ben Lindqvist.ipynb", ["30551 or amara"]),
        ("Rubenlindqvistson.ipynb", []),
    ],
)
def test_whose_it_is_is_never_guessed(crowd, tmp_path, place, words):
    put(tmp_path / "inbox", place, lesson("03"))
    (sentence,) = collect(crowd, tmp_path / "inbox", {}).troubles
    assert place in sentence and all(word in sentence for word in words or ["could not be told whose"])
    assert submitted(crowd) == []


def test_a_zip_of_zips_is_read_to_the_bottom_and_every_file_is_accounted_for(course, tmp_path):
    inner = zipped({f"{ONE}.ipynb": lesson("01", answer=2), "photo.jpg": b"x"})
    middle = zipped({"amara.zip": inner, f"ben_{ONE}.ipynb": lesson("01"), "broken.zip": b"PK"})
    (tmp_path / "all.zip").write_bytes(zipped({"week 1.zip": middle}))
    done = collect(course, tmp_path / "all.zip", {})
    assert submitted(course) == [f"amara/{ONE}/{ONE}.ipynb", f"ben/{ONE}/{ONE}.ipynb"]
    assert done.troubles == ["all.zip/week 1.zip/broken.zip is not a readable zip file; ask for it again."]
    assert "all.zip/week 1.zip/amara.zip/photo.jpg: not a notebook, passed over" in done.taken


def test_zips_without_end_are_left_alone(course, tmp_path):
    data = zipped({f"amara/{ONE}.ipynb": lesson("01")})
    for _ in range(6):
        data = zipped({"more.zip": data})
    (tmp_path / "deep.zip").write_bytes(data)
    (sentence,) = collect(course, tmp_path / "deep.zip", {}).troubles
    assert "5 deep" in sentence and submitted(course) == []


def test_a_zip_inside_a_zip_that_points_outside_writes_nothing_outside(course, tmp_path):
    (tmp_path / "all.zip").write_bytes(zipped({"amara.zip": zipped({f"../../{ONE}.ipynb": lesson("01")})}))
    before = sorted(tmp_path.rglob("*"))
    (sentence,) = collect(course, tmp_path / "all.zip", {}).troubles
    assert "points outside" in sentence and sorted(tmp_path.rglob("*")) == before


def test_the_time_in_a_name_is_the_time_of_the_hand_in(course, tmp_path):
    names = ("amara_2026-03-02T17-00-00Z_x.ipynb", "amara_20260303T090000Z.ipynb", "amara_12345678901234.ipynb")
    for number, name in enumerate(names):
        put(tmp_path / "inbox", name, lesson("01", answer=number), datetime(2026, 3, 9, tzinfo=UTC))
    collect(course, tmp_path / "inbox", {ONE: DUE})
    assert [f"{each.when:%d %H}" for each in history(course, "amara", ONE)] == ["02 17", "03 09", "09 00"]
    assert time_of(course, "amara", ONE) == "2026-03-02 17:00:00 UTC"

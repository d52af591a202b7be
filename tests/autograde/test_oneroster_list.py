"""A class as a register exports it: columns and order as in 1EdTech, OneRoster 1.2 CSV binding (seen in two open implementations)."""

import zipfile
from datetime import date

import pytest

from autograde import oneroster_list, roster
from autograde.trouble import Trouble

USERS = (
    "sourcedId,status,dateLastModified,enabledUser,username,userIds,givenName,familyName,middleName,identifier,email,sms,"
    "phone,agentSourcedIds,grades,password,userMasterIdentifier,resourceSourcedIds,preferredGivenName,"
    "preferredMiddleName,preferredFamilyName,primaryOrgSourcedId,pronouns"
)
ROLES = (
    "sourcedId,status,dateLastModified,userSourcedId,roleType,role,beginDate,endDate,orgSourcedId,userProfileSourcedId"
)
ENROLLED = (
    "sourcedId,status,dateLastModified,classSourcedId,schoolSourcedId,userSourcedId,role,primary,beginDate,endDate"
)
CLASSES = "sourcedId,status,dateLastModified,title,grades,courseSourcedId,classCode,classType,location,schoolSourcedId"
TODAY = date(2026, 3, 2)


def user(name, first, last, *, status="", enabled="true"):
    return f"{name},{status},,{enabled},{first.lower()},,{first},{last},,,{first.lower()}@example.org,,,,,,,,,,,school,"


def role(name, kind, *, status="", begin="", end=""):
    return f"r-{name},{status},,{name},primary,{kind},{begin},{end},school,"


def enrolled(name, to, kind="student", *, status=""):
    return f"e-{name}-{to},{status},,{to},school,{name},{kind},false,,"


FILES = {
    "users.csv": [
        USERS,
        user("u1", "Amara", "Okafor"),
        user("u2", "Ben", "Lindqvist", status="tobedeleted"),
        user("u3", "Chen", "Wei", enabled="false"),
        user("u4", "Theo", "Lake"),
        user("u5", "Dalia", "Haddad"),
        user("u6", "Esi", "Mensah"),
        user("u7", "Fionn", "Gallagher", status="active"),
    ],
    "roles.csv": [ROLES, *(role(f"u{n}", "student") for n in (1, 2, 3, 7)), role("u4", "teacher"),
                  role("u5", "student", end="2025-12-31"), role("u6", "student", begin="2026-01-01", end="2026-03-02")],
    "enrollments.csv": [ENROLLED, enrolled("u1", "c1"), enrolled("u6", "c2"), enrolled("u7", "c1"), enrolled("u7", "c2"),
                        enrolled("u4", "c1", "teacher"), enrolled("u6", "c1", status="tobedeleted")],
    "classes.csv": [CLASSES, "c1,,,Blue crew,,,BL,scheduled,,school", "c2,,,Red crew,,,RD,scheduled,,school"],
}  # fmt: skip


def folder(place, files=FILES):
    place.mkdir(exist_ok=True)
    for name, lines in files.items():
        (place / name).write_bytes(("\ufeff" + "\r\n".join(lines) + "\r\n").encode())
    return place


def taken(given):
    return [(cells["id"], cells["first"], cells["group"]) for _, cells in given.people]


def test_active_students_alone_are_taken_and_every_other_line_is_named(tmp_path):
    given = oneroster_list.people(folder(tmp_path / "export"), today=TODAY)
    assert taken(given) == [("u1", "Amara", "Blue crew"), ("u6", "Esi", "Red crew"), ("u7", "Fionn", "")]
    assert given.notes == [
        "line 3: u2 is not active, passed over",
        "line 4: u3 is not enabled, passed over",
        "line 5: u4 is no active student, passed over",
        "line 6: u5 is no active student, passed over",
        "line 8: u7 is in 2 classes (Blue crew, Red crew) and gets no group; choose with --class",
    ]


@pytest.mark.parametrize("inside", ["", "export 2026/"])
def test_a_zip_reads_like_the_folder(tmp_path, inside):
    with zipfile.ZipFile(tmp_path / "export.zip", "w") as box:
        for path in folder(tmp_path / "export").iterdir():
            box.write(path, inside + path.name)
    read = [oneroster_list.people(tmp_path / name, today=TODAY) for name in ("export", "export.zip")]
    assert taken(read[0]) == taken(read[1]) and read[0].notes == read[1].notes


@pytest.mark.parametrize("name", ["c2", "Red crew", "RD"])
def test_one_class_of_many(tmp_path, name):
    given = oneroster_list.people(folder(tmp_path / "export"), only_class=name, today=TODAY)
    assert taken(given) == [("u6", "Esi", "Red crew"), ("u7", "Fionn", "Red crew")]
    with pytest.raises(Trouble, match="there are: Blue crew, Red crew"):
        oneroster_list.people(tmp_path / "export", only_class="Green crew", today=TODAY)


def test_the_id_may_be_another_column(tmp_path):
    given = oneroster_list.people(folder(tmp_path / "export"), id_column="username", today=TODAY)
    assert [cells["id"] for _, cells in given.people] == ["amara", "esi", "fionn"]


def test_the_role_of_an_older_export_stands_in_users(tmp_path):
    lines = [
        "sourcedId,givenName,familyName,role,enabledUser",
        "a,Amara,Okafor,student,true",
        "t,Theo,Lake,teacher,true",
    ]
    given = oneroster_list.people(folder(tmp_path / "export", {"users.csv": lines}), today=TODAY)
    assert taken(given) == [("a", "Amara", "")] and "t is no active student" in given.notes[0]


@pytest.mark.parametrize(
    ("files", "words"),
    [
        ({}, "no users.csv"),
        ({"users.csv": ["sourcedId,givenName", "u1,Amara"]}, "no column 'familyname'"),
        ({"users.csv": [USERS, user("u1", "A", "B", enabled="false")]}, "names no learners"),
        ({"users.csv": [USERS, user("u1", "A", "B"), user("U1", "C", "D")]}, "repeats the id 'U1'"),
    ],
)
def test_a_bad_export_is_one_sentence(tmp_path, files, words):
    with pytest.raises(Trouble, match=words) as trouble:
        roster.read(folder(tmp_path / "export", files))
    assert str(trouble.value).endswith(".") and "\n" not in str(trouble.value)


def test_a_damaged_zip_is_one_sentence(tmp_path):
    (tmp_path / "export.zip").write_bytes(b"PK\x03\x04 and no more")
    with pytest.raises(Trouble, match="not a readable zip"):
        roster.read(tmp_path / "export.zip")

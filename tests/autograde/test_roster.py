"""The roster reads any list an office has, and refuses a bad one before anything is written."""

import pytest

from autograde import roster
from autograde.trouble import Trouble


class Gradebook:
    """As much of nbgrader's Gradebook as enrolling uses, held in memory."""

    def __init__(self):
        self.students, self.saved = [], []
        self.db = self

    def add(self, student):
        self.students = [each for each in self.students if each.id != student.id] + [student]

    def commit(self):
        self.saved = [(each.id, each.first_name, each.last_name, each.email) for each in self.students]


def write(folder, text, *, encoding="utf-8"):
    path = folder / "list.csv"
    path.write_bytes(text.encode(encoding))
    return path


def ids(path):
    return [learner.id for _, learner in roster.read(path)]


@pytest.mark.parametrize(
    "text",
    [
        "id,first,last,email,group\namara,Amara,Okafor,a@example.org,blue\n",
        "Group;E-mail;Surname;First name;Learner ID\nblue;a@example.org;Okafor;Amara;amara\n",
        "\ufeffemail\tlast_name\tfirst_name\tstudent_id\tclass\na@example.org\tOkafor\tAmara\tamara\tblue\n",
        "sep=;\nGivenName;FamilyName;E-Mail Address;Cohort;StudentID\nAmara;Okafor;a@example.org;blue;amara\n",
        'Full name,Email,Group,User ID\n"Okafor, Amara",a@example.org,blue,amara\n',
        '\n"id" , "last", "first","email","group"\r\n\r\namara, "Okafor", Amara,a@example.org,blue\r\n',
    ],
)
def test_any_order_heading_and_separator_reads_the_same(tmp_path, text):
    (only,) = [learner for _, learner in roster.read(write(tmp_path, text))]
    assert only == roster.Learner("amara", "Amara", "Okafor", "a@example.org", "blue")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_every_encoding_a_spreadsheet_writes(tmp_path, encoding):
    path = write(tmp_path, "id,first,last\nzoe,Zoë,Núñez\n", encoding=encoding)
    assert roster.read(path)[0][1].name == "Zoë Núñez"


def test_accents_have_one_spelling(tmp_path):
    assert ids(write(tmp_path, "id\nzoe\u0308\n")) == ["zoë"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("id,first\namara,Amara\n\nben,Ben\namara,Other\n", ["Line 5", "line 2", "'amara'"]),
        ("id,first\namara,Amara\nAmara,Other\n", ["Line 3", "line 2"]),
        ("id,first\namara,Amara\n,Ben\n", ["Line 3", "no id", "Ben"]),
        ("id,first\n../amara,Amara\n", ["Line 2", "cannot name a folder"]),
        ("id,first\n.amara,Amara\n", ["Line 2", "cannot name a folder"]),
        ("id,first\nam*,Amara\n", ["Line 2", "cannot name a folder"]),
        ("first,last\nAmara,Okafor\n", ["no id column", "first, last"]),
        ("id,last\namara,Okafor, Jr\n", ["Line 2", "more cells"]),
        ("", ["empty"]),
        ("id,first\n", ["no learners"]),
        ("id,id,first\namara,amara,Amara\n", ["“id” twice"]),
        ("id,first\namara.,Amara\n", ["Line 2", "cannot name a folder"]),
        ("id,first\nCON,Amara\n", ["Line 2", "cannot name a folder"]),
    ],
)
def test_a_bad_list_is_one_sentence_and_writes_nothing(tmp_path, text, words):
    path, gradebook = write(tmp_path, text), Gradebook()
    with pytest.raises(Trouble) as trouble:
        roster.enrol(tmp_path, path, gradebook)
    message = str(trouble.value)
    assert all(word in message for word in [*words, str(path)])
    assert "\n" not in message and message.endswith(".")
    assert not (tmp_path / "roster.csv").exists() and not gradebook.saved


def test_enrolling_says_per_line_what_it_did_and_adds_to_what_was_there(tmp_path):
    gradebook = Gradebook()
    first = write(tmp_path, "id,first,last,email\namara,Amara,Okafor,a@example.org\nben,Ben,Lindqvist,\n")
    assert roster.enrol(tmp_path, first, gradebook) == [
        "line 2: amara (Amara Okafor) enrolled",
        "line 3: ben (Ben Lindqvist) enrolled",
    ]
    second = write(tmp_path, "id,last\nchen,Chen\namara,Okafor\nben,Lindquist\n")
    assert roster.enrol(tmp_path, second, gradebook) == [
        "line 2: chen (Chen) enrolled",
        "line 3: amara (Amara Okafor) already enrolled",
        "line 4: ben (Ben Lindquist) updated (last name Lindqvist → Lindquist)",
    ]
    third = write(tmp_path, "id\nchen\n")
    assert roster.enrol(tmp_path, third, gradebook)[1:] == [
        "amara is not in this list and stays enrolled",
        "ben is not in this list and stays enrolled",
    ]
    assert [each.name for each in roster.learners(tmp_path).values()] == ["Amara Okafor", "Ben Lindquist", "Chen"]
    assert ("amara", "Amara", "Okafor", "a@example.org") in gradebook.saved


def test_the_same_id_in_other_letters_is_refused_later_too(tmp_path):
    roster.enrol(tmp_path, write(tmp_path, "id\namara\n"), Gradebook())
    with pytest.raises(Trouble, match="'amara' is enrolled"):
        roster.enrol(tmp_path, write(tmp_path, "id\nAMARA\n"), Gradebook())


def test_a_missing_list_and_a_folder_that_refuses(tmp_path, monkeypatch):
    with pytest.raises(Trouble, match="no roster file"):
        roster.read(tmp_path / "none.csv")
    with pytest.raises(Trouble, match=r"no users\.csv"):
        roster.read(tmp_path)
    path = write(tmp_path, "id\namara\n")

    def refuse(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("tempfile.mkstemp", refuse)
    with pytest.raises(Trouble, match=r"roster\.csv cannot be written \(permission denied\)"):
        roster.enrol(tmp_path, path, Gradebook())
    assert not (tmp_path / "roster.csv").exists()


def test_letters_that_cannot_be_read_are_never_guessed_at(tmp_path):
    (tmp_path / "list.csv").write_bytes(b"id,first\nzoe,Zo\x81\n")
    with pytest.raises(Trouble, match="letters that cannot be read"):
        roster.read(tmp_path / "list.csv")


def test_which_of_two_id_columns_counts_is_said_and_can_be_chosen(tmp_path):
    path = write(tmp_path, "username,student id,first\nao77,amara,Amara\n")
    lines = roster.enrol(tmp_path, path, Gradebook())
    assert "line 2: amara (Amara) enrolled" in lines and any("“username” is passed over" in line for line in lines)
    assert [one.id for _, one in roster.read(path, "Username")] == ["ao77"]
    with pytest.raises(Trouble, match="no id column"):
        roster.read(path, "badge")


def test_an_id_is_never_handed_on_to_somebody_else_unasked(tmp_path):
    roster.enrol(tmp_path, write(tmp_path, "id,first,last\nben,Ben,Lindqvist\n"), Gradebook())
    before, other = (tmp_path / "roster.csv").read_bytes(), write(tmp_path, "id,first,last\nben,Chen,Wei\n")
    gradebook = Gradebook()
    with pytest.raises(Trouble, match="gives the id 'ben' to Chen Wei, but it is Ben Lindqvist's"):
        roster.enrol(tmp_path, other, gradebook)
    assert (tmp_path / "roster.csv").read_bytes() == before and not gradebook.saved
    assert roster.enrol(tmp_path, other, gradebook, rename=True) == [
        "line 2: ben (Chen Wei) updated (first name Ben → Chen, last name Lindqvist → Wei)"
    ]


@pytest.mark.parametrize(("rest", "what"), [("Ben,L,b@example.org", "e-mail"), ("Amara,Okafor,c@example.org", "name")])
def test_two_who_look_like_one_stay_two_and_it_is_said(tmp_path, rest, what):
    text = f"id,first,last,email\namara,Amara,Okafor,b@example.org\nben,{rest}\n"
    lines = roster.enrol(tmp_path, write(tmp_path, text), Gradebook())
    assert lines[1].endswith(f"enrolled; amara has the same {what}, and they stay two learners")
    assert list(roster.learners(tmp_path)) == ["amara", "ben"]

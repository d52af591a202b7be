"""A learner's own capture in a lesson: read where it can be, and one sentence where it cannot."""

import pytest

from halfcycle.captures import write_capture
from halfcycle.waveforms import Waveform
from halfcycle.workbook.own_capture import own_capture

LESSONS = Waveform.sine(volts_peak=34.0)


def test_a_file_beside_the_notebook_is_read(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    mine = Waveform.sine(volts_peak=30.0, samples_per_cycle=100)
    write_capture(mine, tmp_path / "boiler room.csv")
    found = own_capture(" boiler room.csv ", LESSONS)
    assert found.values.tolist() == mine.values.tolist()
    said = capsys.readouterr().out
    assert "101 samples" in said and "30.0" in said


@pytest.mark.parametrize("name", ["notes.csv", "absent.csv", ".", 7])
def test_what_cannot_be_read_leaves_the_lessons_capture_and_says_why(tmp_path, monkeypatch, capsys, name):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "notes.csv").write_text("the meter is in the van", encoding="utf-8")
    assert own_capture(name, LESSONS) is LESSONS
    said = capsys.readouterr().out.strip()
    assert said.startswith("The lesson's own capture is used. ") and "\n" not in said and len(said) > 50


@pytest.mark.parametrize("name", [..., None, "", "  "])
def test_nothing_named_is_no_mistake(capsys, name):
    assert own_capture(name, LESSONS) is LESSONS
    assert "in place of the three dots" in capsys.readouterr().out

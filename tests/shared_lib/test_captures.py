"""Captures in whatever way a scope may write them, and what is said about files that are none."""

import codecs
import io
import math
import os
import tracemalloc

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from halfcycle import Waveform, captures, read_capture
from halfcycle.captures import CaptureError, write_capture

SEPARATORS = {"comma": ",", "comma and blank": ", ", "semicolon": ";", "tab": "\t", "blanks": "   "}
TIMES = {"s": 1.0, "ms": 1e-3, "µs": 1e-6, "us": 1e-6, "μs": 1e-6, "MS": 1e-3}
VALUES = {"V": 1.0, "mV": 1e-3, "kV": 1e3, "MV": 1e-3}
HEADINGS = [
    "time ({t}){sep}channel 1 ({v})\n",
    "Time [{t}]{sep}[{v}]\n",
    "t/{t}{sep}U/{v}\n",
    "TIME{sep}CH1\n{t}{sep}{v}\n",
    "Horizontal units{sep}{t}\nVertical units{sep}{v}\nRecord length{sep}2500\nTIME{sep}CH1\n",
    '"Time in {t}"{sep}"CH2 in {v}"\n',
    "Model{sep}Fennel 2\n\n# boiler room, us and them\ntime {t}{sep}volts {v}\n\n",
]
WRITERS = [repr, "{:+.17e}".format, "{:.17G}".format]
ENCODINGS = ["utf-8", "utf-8-sig", "utf-16", "cp1252", "utf-16-be with mark"]


def encoded(text, encoding):
    if encoding == "cp1252":
        return text.replace("μ", "µ").encode(encoding)
    return codecs.BOM_UTF16_BE + text.encode("utf-16-be") if "mark" in encoding else text.encode(encoding)


@st.composite
def variants(draw):
    """A record, and the bytes of a file that holds it."""
    count = draw(st.integers(2, 12))
    numbers = st.floats(-1e6, 1e6).map(lambda x: 0.0 if abs(x) < 1e-9 else x)
    times = sorted(draw(st.lists(numbers, min_size=count, max_size=count, unique=True)))
    values = draw(st.lists(numbers, min_size=count, max_size=count))
    decimal = draw(st.sampled_from(".,"))
    sep = SEPARATORS[draw(st.sampled_from([name for name in SEPARATORS if decimal == "." or "comma" not in name]))]
    t, v, write = (
        draw(st.sampled_from(list(TIMES))),
        draw(st.sampled_from(list(VALUES))),
        draw(st.sampled_from(WRITERS)),
    )
    heading = draw(st.one_of(st.none(), st.sampled_from(HEADINGS)))
    end, last = draw(st.sampled_from(["\n", "\r\n", "\r"])), draw(st.sampled_from(["", "\n", "\n\n \n"]))
    tail = draw(st.sampled_from(["", sep])) if sep != "   " else ""
    rows = [
        f"{write(a)}{sep}{write(b)}".replace(*(("_", "_") if decimal == "." else (".", ",")))
        for a, b in zip(times, values, strict=True)
    ]
    top = heading.format(t=t, v=v, sep=sep) if heading else ""
    text = (top + "\n".join(row + tail for row in rows) + last).replace("\n", end)
    scales = (TIMES[t], VALUES[v]) if heading else (1.0, 1.0)
    return (
        np.multiply(times, scales[0]),
        np.multiply(values, scales[1]),
        encoded(text, draw(st.sampled_from(ENCODINGS))),
    )


@settings(max_examples=400, deadline=None)
@given(variants())
def test_every_way_of_writing_reads_the_same(variant):
    times, values, content = variant
    wave = read_capture(io.BytesIO(content))
    assert np.array_equal(wave.seconds, times)
    assert np.array_equal(wave.values, values)


class Dripping(io.BytesIO):
    """A file that gives a few bytes at a time, whatever it is asked for."""

    def __init__(self, content, size):
        super().__init__(content)
        self.size = size

    def read(self, size=-1):
        return super().read(self.size)


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.floats(-1e9, 1e9), st.floats(-1e9, 1e9)), min_size=2, max_size=50))
def test_what_is_written_is_read_to_the_last_digit(tmp_path, rows):
    times = np.sort([time for time, _ in rows])
    if times[0] == times[-1]:
        times[-1] += 1.0 + abs(times[-1])
    wave = Waveform(times, [value for _, value in rows])
    write_capture(wave, tmp_path / "saved.csv")
    again = read_capture(tmp_path / "saved.csv")
    assert np.array_equal(again.seconds, wave.seconds) and np.array_equal(again.values, wave.values)


def test_rows_come_together_however_the_file_is_cut():
    wave = Waveform(np.arange(5000) / 1e6, np.arange(5000) % 251 - 125.0)
    file = io.StringIO()
    write_capture(wave, file)
    for size in (64, 1000, 4097):
        again = read_capture(Dripping(file.getvalue().replace("\n", "\r\n").encode("utf-16"), size))
        assert np.array_equal(again.seconds, wave.seconds) and np.array_equal(again.values, wave.values)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r\r\n"])
@pytest.mark.parametrize("sep", [",", ";", "\t", ",\t"])
def test_a_sound_file_is_read_all_at_once(monkeypatch, sep, end):
    """Row by row would take minutes for ten million rows: nothing that is sound may need it."""
    monkeypatch.setattr(captures, "trouble_of", None)
    content = end.join(f"{k}{sep}{k % 7}.5" for k in range(3000)) + 3 * end
    wave = read_capture(io.BytesIO(f"time (s){sep}volts{end}{content}".encode()))
    assert np.array_equal(wave.seconds, np.arange(3000.0)) and wave.values[5] == 5.5


def test_what_the_quick_reader_refuses_is_read_row_by_row(monkeypatch):
    def refuse(*_, **__):
        raise ValueError("no")

    monkeypatch.setattr(np, "loadtxt", refuse)
    wave = read_capture(io.StringIO("time;volts\n0;1,5\n\n0,5;-2\n"))
    assert wave.seconds.tolist() == [0.0, 0.5] and wave.values.tolist() == [1.5, -2.0]


def test_time_that_runs_backwards_is_seen_wherever_the_file_is_cut():
    for place in range(1, 40):
        rows = [f"{k + (k < place) * 100:04d},1\n" for k in range(50)]
        with pytest.raises(CaptureError, match=f"at line {place + 1} the time runs backwards"):
            read_capture(Dripping("".join(rows).encode(), 7 * 8))


@pytest.mark.parametrize(
    ("heading", "scales"),
    [
        ("time (s),channel V (mV)", (1.0, 1e-3)),
        ("Contact us\ntime,volts", (1.0, 1.0)),
        ("Delay (ms),0 V\nMode,auto\nt,U (V)\n", (1.0, 1.0)),
        ("Microseconds,Millivolts", (1e-6, 1e-3)),
        ("Time[ns];[kV]", (1e-9, 1e3)),
    ],
)
def test_units_are_taken_from_the_heading_of_the_columns(heading, scales):
    wave = read_capture(io.StringIO(f"{heading}\n0;0\n1;1\n".replace(";", ";" if ";" in heading else ",")))
    assert (wave.seconds[1], wave.values[1]) == scales


def test_a_current_clamp_is_read_in_amperes_and_a_probe_on_volts_is_not():
    file = "time (s),clamp (mA)\n0,250\n1,500\n"
    assert read_capture(io.StringIO(file), unit="A").values.tolist() == [0.25, 0.5]
    assert read_capture(io.StringIO(file.replace("mA", "milliamps")), unit="A").values.tolist() == [0.25, 0.5]
    with pytest.raises(CaptureError, match="values in A by its heading, and V is asked for"):
        read_capture(io.StringIO(file))


def test_a_path_a_text_and_an_open_file_are_all_read(tmp_path):
    path = tmp_path / "bus.csv"
    path.write_text("0,1\n1,2\n")
    with path.open() as text, path.open("rb") as content:
        for source in (path, str(path), text, content):
            assert read_capture(source).values.tolist() == [1.0, 2.0]
        assert not text.closed and not content.closed


FAULTS = {
    "": "is empty",
    "\n \n\n": "is empty",
    "time,volts\n": "no row of two numbers",
    "the boiler room\nno data here\n": "no row of two numbers",
    "1.5\n2.5\n3.5\n": "only one column",
    "volts\n1.5\n2.5\n": "only one column",
    "t,v\n0.1,\n0.2,\n": "times but no values",
    "t;v\n0,1;\n0,2;\n": "times but no values",
    "t,a,b\n0,1,2\n1,2,3\n": "3 columns; export the time and one channel only",
    "0,1;0,2;0,3\n": "3 columns",
    "0,1,0,2\n": "4 columns",
    "t,v\n0.1,3\n": "only one row",
    "t,v\n0,1\n1,2\nend,of,file\n": 'line 4 holds "end", which is not a number',
    "t,v\n0,1\n1,x\n2,3\n": 'line 3 holds "x", which is not a number',
    "t,v\n0,x\n1,2\n2,3\n": 'line 2 holds "x", which is not a number',
    "t,v\n0,\n1,2\n2,3\n": "line 2 has no value behind its time",
    "t,v\n0,1\n1,\n2,3\n": "line 3 has no value behind its time",
    "t,v\n0,1\n,2\n2,3\n": "line 3 has no time before its value",
    "t,v\n0,1\n1,nan\n2,3\n": 'line 3 holds "nan"',
    "t,v\n0,1\n1,-inf\n2,3\n": 'line 3 holds "-inf"',
    "t,v\n0,1\n1,2,3\n2\n": "line 3 holds 3 numbers, not a time and one value",
    "t,v\n0,1\n\n2,5\n1,3\n": "at line 5 the time runs backwards",
    "t,v\n5,1\n5,2\n5,3\n": "same time in every row",
    "t,v\n0,1e999\n1,2\n": "too large",
}


@pytest.mark.parametrize("content", FAULTS)
def test_what_is_wrong_is_said_in_one_sentence(tmp_path, content):
    path = tmp_path / "bad.csv"
    path.write_text(content)
    with pytest.raises(CaptureError, match=FAULTS[content].replace("(", r"\(")) as caught:
        read_capture(path)
    told = str(caught.value)
    assert told.startswith('The file "bad.csv" ') and told.endswith(".") and "\n" not in told and ". " not in told
    assert caught.value.__cause__ is None


def test_a_fault_far_down_names_its_line():
    rows = [f"{k},{k % 7}" for k in range(200_000)]
    rows[150_000] = "150000,seven"
    with pytest.raises(CaptureError, match='The capture cannot be read: line 150001 holds "seven"'):
        read_capture(Dripping("\n".join(rows).encode(), 1 << 16))
    rows[150_000] = "149000,7"
    with pytest.raises(CaptureError, match="at line 150001 the time runs backwards"):
        read_capture(Dripping("\n".join(rows).encode(), 1 << 16))


@pytest.mark.parametrize(
    "content",
    [
        b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR",
        b"PK\x03\x04\x14\0\x06\0",
        bytes(range(256)) * 20,
        b"\xff\xfe1\0,\0002\0\n\0\xd8",
        b"\x81\x8d\x8f 1,2",
    ],
)
def test_what_is_no_text_is_called_so(content):
    with pytest.raises(CaptureError, match="not a text file"):
        read_capture(io.BytesIO(content))


def test_a_folder_a_missing_file_and_a_locked_one(tmp_path):
    with pytest.raises(CaptureError, match="is a folder"):
        read_capture(tmp_path)
    with pytest.raises(CaptureError, match=r'"none.csv" is not there'):
        read_capture(tmp_path / "none.csv")
    looped = tmp_path / "loop.csv"
    os.symlink(looped, looped)
    with pytest.raises(CaptureError, match="cannot be opened"):
        read_capture(looped)


def test_more_rows_than_fit_are_refused(monkeypatch):
    monkeypatch.setattr(captures, "MOST_ROWS", 1000)
    content = "\n".join(f"{k},{k}" for k in range(1000))
    assert len(read_capture(io.StringIO(content))) == 1000
    with pytest.raises(CaptureError, match="more than 1,000 rows"):
        read_capture(io.StringIO(content + "\n1000,1\n"))


def test_memory_goes_with_the_record_and_not_with_its_text():
    """A float is 8 bytes, a row 16: parts, whole, scaled and the waveform's own copy are at most five of those at once."""
    count = 1_000_000
    content = "".join(f"{k:.12e},{k % 7:.12e}\n" for k in range(count)).encode()
    tracemalloc.start()
    wave = read_capture(io.BytesIO(content))
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert len(wave) == count and math.isclose(wave.values.mean(), 3.0, rel_tol=1e-3)
    assert most < 5 * 16 * count + 12 * captures._PIECE

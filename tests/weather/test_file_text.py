"""The text of weather files: what is read, and what is refused before it can fill the memory."""

import gzip

import pytest

from solarvent.base.errors import WeatherError
from solarvent.weather.csv_file import LARGEST_FILE, LONGEST_LINE, MOST_LINES, decode, read_raw


@pytest.mark.parametrize(
    "raw",
    [
        b"time\n1\n",
        b"time\r\n1\r\n",
        b"time\r1\r",
        b"\xef\xbb\xbftime\n1\n",
        gzip.compress(b"\xef\xbb\xbftime\r\n1\r\n", mtime=0),
    ],
)
def test_a_text_reads_alike_from_every_system(raw):
    assert decode(raw, "file") == "time\n1\n"


@pytest.mark.parametrize(
    ("raw", "message"),
    [
        (b"caf\xe9\n", "^file line 1: the text is not UTF-8; save the file as UTF-8$"),
        ("one\ntwo\n".encode("utf-16"), "line 1: the text is not UTF-8"),
        (b"\n\n\xff", "line 3: the text is not UTF-8"),
        (gzip.compress(b"time\n" * 100, mtime=0)[:-12], "the gzip file is damaged"),
        (gzip.compress(b"time\n" * 100, mtime=0)[:10] + b"\x07" * 40, "the gzip file is damaged"),
        (b"\n" * (MOST_LINES + 1), "^file: the file has over 150,000 lines; give a year of hours"),
        (b"\r" * (MOST_LINES + 1), "over 150,000 lines"),
        (b"a\nb\n" + b"c" * (LONGEST_LINE + 1), "^file line 3: a line of over 20,000 bytes; is it a weather file"),
        (b"c" * (LONGEST_LINE + 1) + b"\nb", "^file line 1: a line of over 20,000 bytes"),
        (b"a\r\nb\r\n" + b"c" * (LONGEST_LINE + 1) + b"\r\nd", "^file line 3: a line"),
        (bytes(LARGEST_FILE + 1), "^file: the file has over 50,000,000 bytes; give one year of hours"),
        (gzip.compress(bytes(LARGEST_FILE + 1), 1, mtime=0), "the file has over 50,000,000 bytes"),
    ],
    ids=[
        "latin-1", "utf-16", "third line", "cut gzip", "damaged gzip", "lines", "old line ends", "long line",
        "long first line", "long line, two line ends", "large", "large when unpacked",
    ],
)  # fmt: skip
def test_what_is_no_weather_file_is_refused(raw, message):
    with pytest.raises(WeatherError, match=message):
        decode(raw, "file")


def test_the_largest_file_is_taken():
    assert len(decode(b"x" * (LONGEST_LINE - 1) + b"\n" * MOST_LINES, "file")) == LONGEST_LINE - 1 + MOST_LINES


def test_a_file_is_read_as_far_as_shows_that_it_is_too_large(tmp_path, monkeypatch):
    monkeypatch.setattr("solarvent.weather.csv_file.LARGEST_FILE", 1000)
    path = tmp_path / "endless"
    path.write_bytes(bytes(5000))
    assert len(read_raw(path)) == 1001


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("nowhere.csv", "nowhere.csv: there is no such file; check the path"),
        (".", "this is a folder; name a weather file in it"),
        ("a\0b", "the file cannot be read; embedded null byte"),
        ("n" * 300, "the file cannot be read; File name too long"),
    ],
)
def test_a_file_that_cannot_be_read_is_told(tmp_path, name, message):
    with pytest.raises(WeatherError, match=message):
        read_raw(tmp_path / name)

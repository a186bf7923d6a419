import json
import tomllib

import pytest

from solarvent.cli import main
from solarvent.plan.plan import embedded_plan_path


def run(capsys, *args):
    with pytest.raises(SystemExit) as left:
        main(["meter", *map(str, args)])
    out = capsys.readouterr()
    return left.value.code, out.out, out.err


@pytest.fixture
def plan(tmp_path):
    """The worked example as a person's own file, with line ends as Windows writes them."""
    file = tmp_path / "my plan.toml"
    file.write_bytes(embedded_plan_path().read_bytes().replace(b"\n", b"\r\n"))
    return file


def test_without_readings_it_says_what_to_expect(capsys):
    code, out, _ = run(capsys, "--irradiance", 600, "--temp-cell", 45, "--format", "json")
    data = json.loads(out)
    assert code == 0
    assert data["schema"] == "solarvent.meter/1"
    assert (data["irradiance"], data["temp_cell"]) == (600, 45)
    assert {"open_circuit", "short_circuit", "standing", "turning", "start_irradiance"} <= data.keys()


def test_what_the_rows_mean_stands_above_them(capsys):
    _, out, _ = run(capsys, "--irradiance", 600)
    words = " ".join(out.split())
    assert words.index("Rotors held: no blade turns") < words.index("rotors held: panel")


def test_a_moment_gives_the_light_of_a_clear_sky(capsys):
    code, out, _ = run(capsys, "--at", "2026-07-15 14:30", "--format", "json")
    assert code == 0
    assert 700 < json.loads(out)["irradiance"] < 1050


def test_a_short_ends_with_three(capsys):
    code, out, _ = run(capsys, "--panel-short", "0.9A", "--fan", "bench=0.4V/0.9A")
    assert code == 3
    assert "a short, or a reversed fan" in out


def test_sound_readings_end_with_zero(capsys):
    code, out, _ = run(capsys, "--panel-open", "20.4V", "--format", "json")
    data = json.loads(out)
    assert (code, data["schema"]) == (0, "solarvent.diagnosis/1")
    assert data["circuits"][0]["ranking"][0]["fault"] == "normal"


@pytest.mark.parametrize(
    ("readings", "after"),
    [
        (("--panel-open", "20.4V"), "--write"),
        (("--fan", "bench=20V/0A"), "with that reading in it"),
        (("--panel-short", "0.9A", "--fan", "bench=0.4V/0.9A"), "put that right"),
        (("--panel-open", "0V", "--panel-short", "0A"), "put right what is told first"),
    ],
)
def test_what_readings_mean_ends_with_what_comes_next(capsys, plan, readings, after):
    last = run(capsys, plan, *readings)[1].rpartition("Next: ")[2]
    assert after in " ".join(last.split())


def test_write_changes_those_lines_and_nothing_else(capsys, plan):
    before = plan.read_bytes()
    args = ("--irradiance", 900, "--temp-cell", 48, "--panel-short", "1.3A", "--fan", "bench=19.2V/0.098A", "--write")
    code, _, err = run(capsys, plan, *args)
    assert code == 0
    assert "plate_factor = 0.79" in err
    assert "readings = [[19.2, 0.098]]" in err
    after = plan.read_bytes()
    added = [line for line in after.splitlines(keepends=True) if line not in before.splitlines(keepends=True)]
    assert [line.split(b" ")[0] for line in added] == [b"plate_factor", b"readings"]
    assert all(line.endswith(b"\r\n") for line in added)
    assert b"".join(line for line in after.splitlines(keepends=True) if line not in added) == before
    content = tomllib.loads(after.decode().replace("\r\n", "\n"))
    assert content["fan"][2]["readings"] == [[19.2, 0.098]]


def test_a_byte_order_mark_stays(capsys, plan):
    plan.write_bytes(b"\xef\xbb\xbf" + plan.read_bytes())
    assert run(capsys, plan, "--fan", "bench=19.2V/0.098A", "--write")[0] == 0
    assert plan.read_bytes().startswith(b"\xef\xbb\xbf#")
    assert b"readings = [[19.2, 0.098]]" in plan.read_bytes()


def test_write_without_a_measured_light_is_refused_and_leaves_the_file(capsys, plan):
    before = plan.read_bytes()
    code, _, err = run(capsys, plan, "--panel-short", "1.3A", "--at", "2026-07-15 14:30", "--write")
    assert code == 1
    assert "the light at the reading is not known" in err
    assert plan.read_bytes() == before


def test_write_leaves_out_a_fan_that_stands(capsys, plan):
    before = plan.read_bytes()
    code, _, err = run(capsys, plan, "--fan", "bench=20V/0A/stands", "--write")
    assert code == 0
    assert "not written: bench" in err
    assert plan.read_bytes() == before


@pytest.mark.parametrize(
    ("args", "code", "words"),
    [
        (("--irradiance", "0"), 2, "0"),
        (("--irradiance", "500", "--at", "2026-07-15 14:30"), 2, "one of them"),
        (("--at", "noon"), 2, "noon"),
        (("--at", "2026-07-15 02:30"), 1, "the sun is down"),
        (("--temp-air", "99"), 2, "99"),
        (("--write",), 2, "--write needs a PLAN"),
        (("--write", "--panel-open", "20V"), 2, "--write needs a PLAN"),
        (("--panel-open", "20"), 1, "has no unit"),
        (("--panel-short", "1e9A"), 1, "more than such a circuit can have"),
        (("--fan", "bench"), 1, "does not say where"),
        (("--fan", "shelf=1V"), 1, 'no "shelf" in the plan'),
        (("--fan", "bench=1V/flies"), 1, "flies"),
        (("--fan", "bench=nanV"), 1, "does not begin with a number"),
        (("--panel-open", "9" * 400 + "V"), 1, "too long"),
    ],
)
def test_every_bad_value_is_one_clear_line(capsys, args, code, words):
    found, out, err = run(capsys, *args)
    assert (found, out) == (code, "")
    assert words in err
    assert "Traceback" not in err

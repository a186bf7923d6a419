"""Writing files: whole or not at all, even when the program is killed in the middle."""

import os
import signal
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from solarvent.base.errors import OutputError
from solarvent.report.files import refuse_to_clobber, write_whole

OLD, NEW = "old\n" * 50_000, "new\n" * 70_000
posix = pytest.mark.skipif(os.name == "nt", reason="the signals and links of POSIX")

#: A process that dies at one point of writing, as of a power cut; nothing of Python is run any more after it.
_DYING = """
import os, signal, sys, tempfile
from pathlib import Path
from solarvent.report import files
target, point = Path(sys.argv[1]), sys.argv[2]
def die(*args, **options):
    os.kill(os.getpid(), signal.SIGKILL)
def after(real):
    def then_die(*args, **options):
        real(*args, **options)
        die()
    return then_die
if point == "before writing":
    tempfile.mkstemp = after(tempfile.mkstemp)
elif point == "half-way":
    class Half:
        def __init__(self, file):
            self.file = file
        def __enter__(self):
            return self
        def __exit__(self, *reason):
            self.file.close()
        def write(self, text):
            self.file.write(text[: len(text) // 2])
            self.file.flush()
            die()
    real = os.fdopen
    os.fdopen = lambda *args, **options: Half(real(*args, **options))
elif point == "written":
    os.fsync = die
elif point == "on the disk":
    os.replace = die
elif point == "in its place":
    os.replace = after(os.replace)
files.write_whole(target, "new\\n" * 70_000, force=True)
"""


def python(code, *args, **options):
    path = os.pathsep.join(os.path.abspath(part) for part in sys.path if part)
    return subprocess.Popen(
        [sys.executable, "-c", code, *map(str, args)], env=os.environ | {"PYTHONPATH": path}, text=True, **options
    )


@posix
@pytest.mark.parametrize("old", [OLD, None], ids=["over a file", "a new file"])
@pytest.mark.parametrize("point", ["before writing", "half-way", "written", "on the disk", "in its place"])
def test_killed_in_the_middle_the_old_file_stays_or_the_new_one_is_whole(tmp_path, point, old):
    target = tmp_path / "answer.txt"
    if old is not None:
        target.write_text(old)
    with python(_DYING, target, point) as process:
        assert process.wait(timeout=60) == -signal.SIGKILL
    content = target.read_text() if target.exists() else None
    assert content == (NEW if point == "in its place" else old)
    # What may be left is hidden, says whose it is, and is in nobody's way.
    litter = [name for name in os.listdir(tmp_path) if name != "answer.txt"]
    assert len(litter) <= 1
    assert all(name.startswith(".answer.txt.") and name.endswith(".part") for name in litter)
    write_whole(target, "again\n", force=True)
    assert target.read_text() == "again\n"


_WRITING_ON = """
import sys
from pathlib import Path
from solarvent.report.files import write_whole
write_whole(Path(sys.argv[1]), "old\\n" * 50_000, force=True)
print("begun", flush=True)
while True:
    write_whole(Path(sys.argv[1]), "new\\n" * 70_000, force=True)
    write_whole(Path(sys.argv[1]), "old\\n" * 50_000, force=True)
"""


@posix
def test_whoever_reads_meanwhile_and_whenever_it_is_killed_a_file_is_whole(tmp_path):
    target = tmp_path / "answer.txt"
    for more_looks in range(6):
        with python(_WRITING_ON, target, stdout=subprocess.PIPE) as process:
            assert process.stdout.readline() == "begun\n"
            while (content := target.read_text()) != NEW:
                assert content == OLD
            for _ in range(more_looks):
                assert target.read_text() in (OLD, NEW)
            process.kill()
        assert target.read_text() in (OLD, NEW)


_HOLDING = """
import sys
from solarvent.report.files import _claim
with open(sys.argv[1], "rb") as file:
    _claim(file.fileno())
    print("held", flush=True)
    sys.stdin.read()
"""


@posix
def test_what_a_kill_has_left_goes_with_the_next_write_and_what_another_still_writes_stays(tmp_path):
    target, left, living = tmp_path / "answer.txt", tmp_path / ".answer.txt.a1.part", tmp_path / ".answer.txt.b2.part"
    left.write_text("half")
    living.write_text("half")
    with python(_HOLDING, living, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdout.readline() == "held\n"
        write_whole(target, NEW)
        assert sorted(os.listdir(tmp_path)) == [".answer.txt.b2.part", "answer.txt"]
        process.kill()
    write_whole(target, OLD, force=True)
    assert os.listdir(tmp_path) == ["answer.txt"]


@pytest.mark.parametrize("reason", [KeyboardInterrupt, OSError(28, "No space left on device")], ids=["Ctrl-C", "full"])
@pytest.mark.parametrize("step", ["fsync", "replace", "chmod"])
def test_stopped_while_writing_nothing_is_left_and_the_old_file_stays(tmp_path, monkeypatch, step, reason):
    target = tmp_path / "answer.txt"
    target.write_text(OLD)

    def stop(*args):
        raise reason

    monkeypatch.setattr(os, step, stop)
    with pytest.raises((KeyboardInterrupt, OutputError), match=r"^$|No space left on device; choose another place"):
        write_whole(target, NEW, force=True)
    monkeypatch.undo()
    assert target.read_text() == OLD
    assert os.listdir(tmp_path) == ["answer.txt"]


def test_a_file_that_is_there_is_kept_unless_forced(tmp_path):
    target = tmp_path / "answer.txt"
    write_whole(target, "one\n")
    with pytest.raises(OutputError, match="the file is there already; choose another name, or add --force"):
        write_whole(target, "two\n")
    assert target.read_text() == "one\n"
    write_whole(target, "two\n", force=True)
    assert target.read_bytes() == b"two\n"


@posix
def test_permissions_stay_and_new_files_get_the_usual_ones(tmp_path):
    target, new = tmp_path / "old.txt", tmp_path / "new.txt"
    target.write_text("one\n")
    target.chmod(0o640)
    write_whole(target, "two\n", force=True)
    assert stat.S_IMODE(target.stat().st_mode) == 0o640
    plain = tmp_path / "plain.txt"
    plain.touch()
    write_whole(new, "one\n")
    assert stat.S_IMODE(new.stat().st_mode) == stat.S_IMODE(plain.stat().st_mode)


@posix
def test_a_link_stays_and_what_it_points_to_is_replaced(tmp_path):
    (tmp_path / "far").mkdir()
    target, link = tmp_path / "far" / "answer.txt", tmp_path / "link.txt"
    link.symlink_to(target)
    write_whole(link, "one\n")
    assert link.is_symlink()
    assert target.read_text() == "one\n"
    with pytest.raises(OutputError, match=r"link\.txt: the file is there already"):
        write_whole(link, "two\n")
    write_whole(link, "two\n", force=True)
    assert link.is_symlink()
    assert target.read_text() == "two\n"
    assert os.listdir(tmp_path / "far") == ["answer.txt"]


@posix
def test_a_pipe_is_written_to_and_stays_a_pipe(tmp_path):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    write_whole(pipe, "through\n", force=True)
    assert os.read(reader, 100) == b"through\n"
    os.close(reader)
    assert stat.S_ISFIFO(pipe.stat().st_mode)


@posix
def test_a_device_is_written_to_and_stays_a_device():
    # Never replaced, not even with --force: a plain file in its place would break it for everybody.
    before = os.stat(os.devnull).st_rdev
    for force in (False, True):
        write_whole(Path(os.devnull), "gone\n", force=force)
    after = os.stat(os.devnull)
    assert stat.S_ISCHR(after.st_mode)
    assert after.st_rdev == before


@pytest.mark.parametrize(
    ("place", "message"),
    [
        (".", "this is a folder; name a file in it"),
        ("nowhere/answer.txt", "its folder is not there; make it first, or choose another place"),
        pytest.param("answer.txt\0", "the file cannot be written: .*null", id="a name with a null"),
        pytest.param("n" * 300, "the file cannot be written: ", id="a long name", marks=posix),
        pytest.param("one", "the file cannot be written: Too many levels of symbolic links", id="a loop", marks=posix),
        pytest.param("file/answer.txt", "the file cannot be written: Not a directory", id="below a file", marks=posix),
    ],
)
def test_a_place_that_cannot_be_is_told_before_any_work(tmp_path, place, message):
    (tmp_path / "file").touch()
    if os.name != "nt":
        (tmp_path / "one").symlink_to("two")
        (tmp_path / "two").symlink_to("one")
    for force in (False, True):
        with pytest.raises(OutputError, match=message):
            refuse_to_clobber(tmp_path / place, force=force)
        with pytest.raises(OutputError, match=message):
            write_whole(tmp_path / place, "text\n", force=force)


@pytest.mark.skipif(not os.path.isdir("/proc/self"), reason="a folder that takes no files, not even of root")
def test_a_folder_that_takes_no_files_is_told():
    with pytest.raises(OutputError, match=r"/proc/answer\.txt: the file cannot be written: "):
        write_whole(Path("/proc/answer.txt"), "text\n")


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="root may write everywhere")
def test_a_folder_without_the_right_to_write_is_told(tmp_path):
    target = tmp_path / "kept" / "answer.txt"
    target.parent.mkdir()
    target.write_text("one\n")
    target.parent.chmod(0o555)
    try:
        with pytest.raises(OutputError, match="the file cannot be written: Permission denied"):
            write_whole(target, "two\n", force=True)
    finally:
        target.parent.chmod(0o755)
    assert target.read_text() == "one\n"


@pytest.mark.parametrize("name", ["CON", "nul.txt", "Com1.plan.toml"])
def test_names_that_windows_keeps_to_itself_are_refused_there(tmp_path, monkeypatch, name):
    refuse_to_clobber(tmp_path / name)
    monkeypatch.setattr("solarvent.report.files.sys.platform", "win32")
    with pytest.raises(OutputError, match="name of a device; choose another name"):
        refuse_to_clobber(tmp_path / name)
    refuse_to_clobber(tmp_path / "console.txt")

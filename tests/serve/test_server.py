"""The program as a process: what it prints, how it ends, what it survives, what a kill in the middle leaves behind."""

import concurrent.futures
import os
import random
import re
import signal
import socket
import sys
import time
import tomllib
from pathlib import Path

import httpx
import pytest
from hands import Served

MANY = 2000 if os.environ.get("SOLARVENT_FUZZ") == "long" else 200
MOST_MEMORY = 500e6

on_linux = pytest.mark.skipif(sys.platform != "linux", reason="reads /proc, and kills as only Linux does")


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    running = Served(tmp_path_factory.mktemp("garden"))
    yield running
    running.end(signal.SIGTERM)


@pytest.fixture
def client(served):
    with httpx.Client(base_url=served.base, follow_redirects=True, timeout=120) as client:
        assert client.get(served.address).status_code == 200
        yield client


def begin(client, served, name):
    answer = client.post("/begin", data={"name": name, "way": "example"}, headers={"origin": served.base})
    assert answer.status_code == 200


def test_it_prints_one_line_and_ends_cleanly_on_an_interrupt(tmp_path):
    running = Served(tmp_path)
    assert re.fullmatch(r"http://127\.0\.0\.1:\d+/\?key=[\w-]{20,}", running.address)
    code, said = running.end(signal.SIGINT)
    assert (code, said) == (0, "")
    assert list(tmp_path.iterdir()) == []


def test_a_port_that_is_taken_and_a_folder_that_is_not_there_are_told(tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        refused = Served(tmp_path, "--port", str(taken.getsockname()[1]))
        said = refused.process.communicate(timeout=60)[1]
        assert refused.process.returncode == 1
        assert "choose another with --port" in said
    refused = Served(tmp_path, "--parts", str(tmp_path / "missing"))
    assert "not a folder of parts" in refused.process.communicate(timeout=60)[1]
    assert refused.process.returncode == 1
    refused = Served(tmp_path / "missing")
    assert "no such folder" in refused.process.communicate(timeout=60)[1]
    assert refused.process.returncode == 1


def test_a_folder_of_own_parts_reaches_the_workers(tmp_path):
    parts = tmp_path / "parts"
    parts.mkdir()
    panel = '[shed-roof]\nname = "from the shed roof"\nsource = "typical"\nwatts = "25 W"\n'
    (parts / "panels.toml").write_text(f"parts_version = 1\n{panel}", encoding="utf-8")
    running = Served(tmp_path, "--parts", str(parts))
    with httpx.Client(base_url=running.base, timeout=120, follow_redirects=True) as client:
        client.get(running.address)
        begin(client, running, "mine")
        form = {"room": "kit", "panel.0.part": "shed-roof"}
        answer = client.post("/plan/mine/change", data=form, headers={"origin": running.base})
        assert "No answer yet" not in answer.text
        assert '<option value="shed-roof" selected>from the shed roof</option>' in answer.text
    running.end(signal.SIGTERM)


def test_a_phone_is_let_in_on_purpose_and_told_what_that_means(tmp_path):
    running = Served(tmp_path, "--phone")
    code, said = running.end(signal.SIGINT)
    if not running.address:
        assert "no network" in said
        assert code == 1
        return
    assert running.address.startswith("http://127.0.0.1:")
    address = re.search(r"http://(?!127)[\d.]+:\d+/\?key=[\w-]+", said)[0]
    assert address.partition("?")[2] == running.address.partition("?")[2]
    assert "unencrypted" in said


def hostile(served, name):
    """Requests that no page of ours sends, the same ones every time: method, address, headers, body."""
    dice = random.Random(7)
    here = {"origin": served.base, "content-type": "application/x-www-form-urlencoded"}
    bombs = [
        b"a" * 500_000,
        b"text=" + b"%5B" * 100_000,
        b"text=" + b"a." * 60_000 + b"b%3D1",
        b"text=a%3D" + b"%7Ba%3D" * 30_000,
        b"text=x%3D" + b"9" * 100_000,
        b"&".join(b"f%d=1" % number for number in range(5000)),
        b"\xff\xfe\x00=%zz&=&&===",
        b"house.length=" + b"9" * 5000,
        b"house.length=9**9**9**9+m&version=-1",
        b"slide.fans=1e308&was.slide.fans=1",
        b"slide.tilt=nan&was.slide.tilt=1",
        b"version=99999999999999999999999999&house.length=5+m",
        b"version=x&house.length=5+m",
        b"fan.99999999999.part=x",
        b"fan.-1.part=x",
        b"fan.0.part=%3Cscript%3Ealert(1)%3C/script%3E",
        b"weather=file:/etc/passwd",
        b"weather=climate:" + b"x" * 1000,
        b"oktas=9e9",
        b"title=%00%01%02%E2%80%AE",
        b"kind=fan&part=../../etc&count=9&end.inlet=__class__/plug",
        b"kind=panel&count=60&box=99999999999999999999",
        b"add=__init__",
        b"remove=fan.99",
        b"remove=9999/fan.0",
        b"code=over-voltage%27%22",
        b"step.x=done",
        b"read.volts.bench=1e400&read.light=nan",
        b"text=plan_version%3D1%0A%5Bweather%5D%0Afile%3D%22/etc/passwd%22",
        b"name=..%2F..%2Fetc%2Fx&way=example",
        b"name=%3Cimg+src%3Dx%3E&way=plan%3A../../etc/passwd",
    ]
    paths = [
        "/begin", "/units", f"/plan/{name}/change", f"/plan/{name}/do/undo", f"/plan/{name}/do/box",
        f"/plan/{name}/do/part", f"/plan/{name}/do/pin", f"/plan/{name}/do/reread", f"/plan/{name}/do/mend",
        f"/plan/{name}/do/none", f"/plan/{name}/do/duplicate", "/plan/../../etc/passwd/change", "/plan/%2e%2e/do/save",
    ]  # fmt: skip
    reads = [
        "/plan/..%2f..%2fetc%2fpasswd/file", "/plan/%2e%2e%2f/place", f"/plan/{name}/../../file", "/..;/", "//", "/%00",
        "/plan/.ssh/file", f"/plan/{name}/box/99999", f"/plan/{name}/box/-1", f"/plan/{name}/part/none?room=answer",
        f"/plan/{name}/part/days?room=%3Cscript%3E", "/plan/" + "x" * 1900, "/look.css/..", "/static/", "/favicon.ico",
        f"/plan/{name}/%3Cscript%3Ealert(1)%3C%2Fscript%3E", f"/plan/{name}/place?said=%3Cscript%3Ealert(1)",
    ]  # fmt: skip
    tricks = [
        {"host": "evil.example"}, {"origin": "http://evil.example"}, {"origin": "null"}, {"cookie": "solarvent=x"},
        {"content-type": "multipart/form-data; boundary=x"}, {"content-type": "application/json"},
        {"x-part": "yes", "x-tab": "y" * 500}, {"cookie": "units=%00; units=us; " + "a=b; " * 300},
    ]  # fmt: skip
    for number in range(MANY):
        method = dice.choice(("POST", "POST", "POST", "GET", "PUT", "DELETE", "OPTIONS", "TRACE"))
        body = dice.choice(bombs) if method == "POST" else b""
        if dice.random() < 0.3:
            body = bytes(dice.randrange(256) for _ in range(dice.randrange(200)))
        headers = here | (dice.choice(tricks) if dice.random() < 0.4 else {})
        yield method, paths[number % len(paths)] if method == "POST" else dice.choice(reads), headers, body


@on_linux
def test_hostile_requests_get_a_short_refusal_and_the_server_lives(served, client):
    begin(client, served, "victim")
    before = client.get("/plan/victim/file").text
    for method, path, headers, body in hostile(served, "victim"):
        try:
            answer = client.request(method, path, headers=headers, content=body or None, follow_redirects=False)
        except (httpx.HTTPError, httpx.InvalidURL):
            continue  # the client itself would not send it, or the server hung up on it
        assert answer.status_code != 500, (method, path, body[:80])
        assert "Traceback" not in answer.text
        assert "<script>alert" not in answer.text
        assert "root:" not in answer.text
        if answer.status_code in (400, 403, 405, 413, 414, 421):
            assert len(answer.content) < 4000, (method, path)
    assert client.get("/plan/victim/place").status_code == 200
    changed = tomllib.loads(client.get("/plan/victim/file").text)
    assert changed.keys() >= tomllib.loads(before).keys() - {"title"}
    assert resident(served.process.pid) < MOST_MEMORY


def resident(pid):
    """Memory that a process holds. [bytes]"""
    return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")


@on_linux
def test_a_kill_in_the_middle_of_saving_loses_nothing(tmp_path):
    running = Served(tmp_path)
    seen = []

    def change_and_save(client, number):
        head = {"origin": running.base}
        client.post("/plan/mine/change", data={"house.length": f"{number}.5 m"}, headers=head | {"x-part": "yes"})
        client.post("/plan/mine/do/save", headers=head | {"content-type": "application/x-www-form-urlencoded"})
        seen.append(number)

    with httpx.Client(base_url=running.base, timeout=60) as client:
        client.get(running.address)
        client.post("/begin", data={"name": "mine", "way": "example"}, headers={"origin": running.base})
        with concurrent.futures.ThreadPoolExecutor(1) as pool:
            work = pool.submit(lambda: [change_and_save(client, number) for number in range(3, 400)])
            while len(seen) < 5:
                time.sleep(0.01)
            running.end(signal.SIGKILL)
            assert isinstance(work.exception(), httpx.HTTPError)
    saved = tomllib.loads((tmp_path / "mine.toml").read_text(encoding="utf-8"))["house"]["length"]
    assert float(saved.removesuffix(" m")) >= seen[-1] + 0.5
    again = Served(tmp_path)
    with httpx.Client(base_url=again.base, timeout=60, follow_redirects=True) as client:
        client.get(again.address)
        draft = tomllib.loads(client.get("/plan/mine/file").text)["house"]["length"]
        assert float(draft.removesuffix(" m")) >= float(saved.removesuffix(" m"))
        assert (
            client.post("/plan/mine/do/undo", headers={"origin": again.base}, data={"room": "place"}).status_code == 200
        )
    again.end(signal.SIGTERM)


def test_the_workers_end_with_the_server(tmp_path):
    running = Served(tmp_path)
    time.sleep(0.5)
    children = Path(f"/proc/{running.process.pid}/task/{running.process.pid}/children")
    own = children.read_text().split() if children.exists() else []
    running.end(signal.SIGTERM)
    time.sleep(0.5)
    assert not [
        pid
        for pid in own
        if Path(f"/proc/{pid}/status").exists() and "zombie" not in Path(f"/proc/{pid}/status").read_text()
    ]

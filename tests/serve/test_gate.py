"""Who may come in: the address, the key, the origin, the size; a refusal is short and plain."""

import asyncio

import pytest

from solarvent.serve import gate
from solarvent.serve.gate import LARGEST_BODY, LONGEST_ADDRESS, POLICY, Keeper

HERE = {"origin": "http://127.0.0.1:8000"}


@pytest.fixture
def stranger(visitor):
    """Somebody without the key."""
    caller = visitor.stranger()
    yield caller
    caller.close()


def test_the_key_goes_from_the_address_into_a_cookie_that_no_other_site_can_send(visitor, stranger):
    answer = stranger.request("GET", f"/plan/x/kit?key={visitor.keeper.key}&said=saved")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/plan/x/kit?said=saved"
    cookie = answer.headers["set-cookie"]
    assert "SameSite=Strict" in cookie
    assert "HttpOnly" in cookie
    assert stranger.request("GET", "/").status_code == 200


@pytest.mark.parametrize("address", ["/", "/plan/x/place", "/look.css", "/live.js", "/?key=wrong", "/?key=", "/?key=é"])
def test_nothing_is_shown_without_the_key(stranger, address):
    answer = stranger.request("GET", address)
    assert answer.status_code == 403
    assert "with the key at its end" in answer.text
    assert len(answer.content) < 600


def test_a_redirect_with_the_key_never_leads_to_another_host(visitor, stranger):
    answer = stranger.request("GET", f"http://127.0.0.1:8000//evil.example/x?key={visitor.keeper.key}")
    assert answer.headers["location"].startswith("/evil.example")


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "127.0.0.1:9", "localhost.evil.example:8000", ""])
def test_another_host_is_refused(visitor, host):
    assert visitor.get("/", host=host).status_code == 421


def test_this_machine_may_be_called_by_its_name_and_one_in_the_network_may_not(visitor):
    assert visitor.get("/", host="localhost:8000").status_code == 200
    keeper = Keeper()
    keeper.open_at("192.168.1.5", 8000)
    assert keeper.hosts == {"192.168.1.5:8000"}


def test_an_answer_that_takes_too_long_is_given_up_in_words(visitor, monkeypatch):
    async def stuck(*_, **more):
        await asyncio.sleep(60)

    visitor.begin("mine")
    monkeypatch.setattr("visitor.Inline.ask", stuck)
    monkeypatch.setattr(gate, "TIME_TO_ANSWER", 0.2)
    answer = visitor.get("/plan/mine/part/year?room=answer")
    assert answer.status_code == 503
    assert "took too long and was given up" in answer.text


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "http://127.0.0.1:9", "https://127.0.0.1:8000"])
def test_a_form_from_elsewhere_is_refused(visitor, origin):
    answer = visitor.send("POST", "/begin", data={"name": "x", "way": "example"}, headers={"origin": origin})
    assert answer.status_code == 403
    assert "not sent from the page" in answer.text
    assert visitor.send("POST", "/begin", data={"name": "x", "way": "example"}).status_code == 403
    assert visitor.get("/", origin=origin).status_code == 403


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "PROPFIND", "CONNECT"])
def test_other_methods_are_refused(visitor, method):
    assert visitor.send(method, "/", headers=HERE).status_code == 405


def test_what_is_too_large_is_refused(visitor):
    answer = visitor.send("POST", "/begin", content=b"text=" + b"a" * LARGEST_BODY, headers=HERE)
    assert answer.status_code == 413
    answer = visitor.send("POST", "/begin", content=b"a", headers=HERE | {"content-length": "99999999999"})
    assert answer.status_code == 413
    assert visitor.get("/" + "a" * LONGEST_ADDRESS).status_code == 414
    assert visitor.get("/" + "a" * (LONGEST_ADDRESS - 1)).status_code == 404


def read(*messages, length=0):
    """The body that a request of some messages brings."""
    waiting = iter(messages)

    async def receive():
        return next(waiting)

    scope = {"headers": [(b"content-length", str(length).encode())]}
    return asyncio.run(gate._body(scope, receive))


def test_the_largest_body_is_read_and_one_byte_more_is_not():
    most = b"a" * LARGEST_BODY
    assert read({"type": "http.request", "body": most}, length=LARGEST_BODY) == most
    with pytest.raises(gate.RefusalError, match="too large"):
        read({"type": "http.request", "body": most + b"a"}, length=0)
    with pytest.raises(gate.RefusalError, match="too large"):
        read(length=LARGEST_BODY + 1)


def test_a_request_that_breaks_off_is_refused_and_an_empty_message_is_none():
    with pytest.raises(gate.RefusalError, match="broke off"):
        read({"type": "http.request", "body": b"te", "more_body": True}, {"type": "http.disconnect"})
    assert read({"type": "http.request", "more_body": True}, {"type": "http.request", "body": b"x"}) == b"x"


def test_what_comes_in_pieces_is_put_together_and_refused_once_it_is_too_large(visitor):
    async def pieces(*content):
        for piece in content:
            yield piece

    form = HERE | {"content-type": "application/x-www-form-urlencoded"}
    answer = visitor.send("POST", "/begin", content=pieces(b"way=exa", b"mple&na", b"me=mine"), headers=form)
    assert answer.status_code == 200
    assert visitor.file("mine")
    answer = visitor.send("POST", "/begin", content=pieces(*[b"a" * (LARGEST_BODY // 2)] * 3), headers=form)
    assert answer.status_code == 413
    assert "too large to be a plan" in answer.text


@pytest.mark.parametrize("name", ["host", "origin", "content-length"])
def test_a_request_that_says_one_thing_twice_is_refused(visitor, name):
    said = {"host": "127.0.0.1:8000", "origin": HERE["origin"], "content-length": "9"}
    twice = [*said.items(), (name, said[name])]
    answer = visitor.send("POST", "/begin", content=b"way=empty", headers=twice)
    assert answer.status_code == 400
    assert "twice" in answer.text


def test_a_body_that_is_no_form_is_refused(visitor):
    for content, kind in ((b"{}", "application/json"), (b"\xff\xfe=%zz", "application/x-www-form-urlencoded")):
        answer = visitor.send("POST", "/begin", content=content, headers=HERE | {"content-type": kind})
        assert answer.status_code == 400, content
        assert "form" in answer.text


def test_every_answer_carries_the_policy_and_is_kept_nowhere(visitor):
    for address in ("/", "/look.css", "/live.js", "/nothing", "/plan/none/place"):
        headers = visitor.get(address).headers
        assert headers["content-security-policy"] == POLICY, address
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["cache-control"] == "no-store"
    assert "unsafe" not in POLICY


def test_nothing_of_a_page_stands_in_the_way_of_its_policy(visitor):
    visitor.begin("mine")
    for room in ("place", "kit", "answer", "bench"):
        html = visitor.get(f"/plan/mine/{room}").text
        assert " style=" not in html
        assert "<style" not in html
        assert " onclick" not in html
        assert "<script>" not in html
        assert "http" not in html.replace("http://www.w3.org/", "")

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
    answer = visitor.send(method, "/", headers=HERE)
    assert answer.status_code == 405
    # RFC 9110, section 15.5.6: such an answer names the methods that there are.
    assert answer.headers["allow"] == "GET, HEAD, POST"


def test_what_is_too_large_is_refused(visitor):
    answer = visitor.send("POST", "/begin", content=b"text=" + b"a" * LARGEST_BODY, headers=HERE)
    assert answer.status_code == 413
    answer = visitor.send("POST", "/begin", content=b"a", headers=HERE | {"content-length": "99999999999"})
    assert answer.status_code == 413
    assert visitor.get("/" + "a" * LONGEST_ADDRESS).status_code == 414
    assert visitor.get("/" + "a" * (LONGEST_ADDRESS - 1)).status_code == 404
    assert visitor.get("/?" + "a" * LONGEST_ADDRESS).status_code == 414


KEEPER = Keeper({"here"}, "the-key")


def through(app, receive=None, **scope):
    """What the door sends for a request, with an application behind it."""
    sent = []

    async def send(message):
        sent.append(message)

    door = gate.Gate(app, KEEPER, lambda status, words: f"{status} {words}")
    asyncio.run(door(scope, receive, send))
    return sent


def asked(method="GET", path="/", query="", **headers):
    """A request as a server hands it on, by somebody who has the key."""
    said = {"host": "here", "cookie": f"{KEEPER.cookie}={KEEPER.key}"} | headers
    return {"type": "http", "method": method, "path": path, "query_string": query.encode(),
            "headers": [(key.encode(), value.encode("latin-1")) for key, value in said.items() if value]}  # fmt: skip


async def nothing_more():
    return {"type": "http.request", "body": b"", "more_body": False}


def test_the_life_of_the_server_passes_the_door_and_other_talk_does_not():
    # The ASGI specification: lifespan beside http; a connection that is never accepted is refused by the server.
    async def app(scope, receive, send):
        assert (await receive())["type"] == "lifespan.startup"
        await send({"type": "lifespan.startup.complete"})

    async def begin():
        return {"type": "lifespan.startup"}

    assert through(app, begin, type="lifespan") == [{"type": "lifespan.startup.complete"}]
    assert through(app, begin, type="websocket") == []


def answering(*headers, then=None):
    async def app(scope, receive, send):
        await send({"type": "http.response.start", "status": 200, "headers": list(headers)})
        if then is not None:
            await then
        await send({"type": "http.response.body", "body": b"read " + (await receive())["body"]})

    return app


def test_what_an_answer_says_of_itself_stands_and_the_rest_is_added_once():
    start, body = through(answering((b"cache-control", b"max-age=9")), nothing_more, **asked())
    names = [name for name, _ in start["headers"]]
    assert dict(start["headers"])[b"cache-control"] == b"max-age=9"
    assert len(names) == len(set(names)) == 7
    assert body["body"] == b"read "


def test_an_answer_that_stops_half_way_is_not_begun_again(monkeypatch):
    monkeypatch.setattr(gate, "TIME_TO_ANSWER", 0.05)
    [start] = through(answering(then=asyncio.sleep(60)), nothing_more, **asked())
    assert start["status"] == 200


def test_a_request_that_dawdles_is_given_up(monkeypatch):
    monkeypatch.setattr(gate, "TIME_TO_READ", 0.05)
    start, _ = through(answering(), lambda: asyncio.sleep(60), **asked())
    assert start["status"] == 408


def test_the_application_reads_the_body_and_then_hears_that_the_browser_has_gone():
    heard = []

    async def app(scope, receive, send):
        heard.extend([await receive(), await receive()])

    messages = iter([{"type": "http.request", "body": b"a"}, {"type": "http.disconnect"}])

    async def receive():
        return next(messages)

    assert through(app, receive, **asked()) == []
    assert heard == [{"type": "http.request", "body": b"a", "more_body": False}, {"type": "http.disconnect"}]


def test_the_key_in_an_address_opens_a_page_and_sends_no_form():
    def status(method, query, **headers):
        return through(answering(), nothing_more, **asked(method, query=query, cookie=None, **headers))[0]["status"]

    assert status("GET", "key=the-key") == 303
    assert status("GET", "key=the-kez") == 403
    assert status("POST", "key=the-key", origin="http://here") == 403
    assert status("POST", "key=the-key") == 403


def test_a_redirect_tells_its_length_and_goes_to_the_start_where_no_address_is_told():
    # The raw path is optional (ASGI specification).
    start, body = through(answering(), nothing_more, **asked(query="key=the-key&a=b%26c", cookie=None))
    headers = dict(start["headers"])
    assert headers[b"location"] == b"/?a=b%26c"
    assert headers[b"content-length"] == b"0"
    assert body["body"] == b""
    raw = asked(query="key=the-key", cookie=None) | {"raw_path": b"//x/y%20z?key=the-key"}
    assert dict(through(answering(), nothing_more, **raw)[0]["headers"])[b"location"] == b"/x/y%20z"


@pytest.mark.parametrize("cookie", ["", "x", "a=b", "=;;=", "solarvent-the-ke=other", 'solarvent-the-ke="', "é=1"])
def test_a_cookie_without_the_key_is_none(cookie):
    start, body = through(answering(), nothing_more, **asked(cookie=cookie))
    assert start["status"] == 403
    assert dict(start["headers"])[b"content-length"] == str(len(body["body"])).encode()
    assert dict(start["headers"])[b"connection"] == b"close"


@pytest.mark.parametrize("other", ["a:b=1", "x", '"', "{}=1", "é=1", "=", "path=/"])
def test_cookies_of_other_programs_of_this_machine_shut_nobody_out(other):
    # RFC 6265, section 8.5: cookies do not keep to a port, so those of other programs come along.
    own = f"{KEEPER.cookie}={KEEPER.key}"
    for cookie in (f"{other}; {own}", f"{own}; {other}"):
        assert through(answering(), nothing_more, **asked(cookie=cookie))[0]["status"] == 200


def test_a_key_cannot_be_guessed():
    # OWASP ASVS 5.0, 7.2.3 (from memory): a session token has at least 128 bits of entropy; base64 has six a letter.
    first, second = Keeper(), Keeper()
    assert 6 * len(first.key) >= 128
    assert first.key != second.key
    assert first.is_key(first.key)
    assert not first.is_key(second.key)
    assert first.cookie != second.cookie


def read(*messages, length=0):
    """The body that a request of some messages brings."""
    waiting = iter(messages)

    async def receive():
        return next(waiting)

    scope = {"headers": [(b"content-length", str(length).encode("latin-1"))]}
    return asyncio.run(gate._body(scope, receive))


@pytest.mark.parametrize("length", ["+5", "-5", "5.0", "0x5", "5, 5", "", "²"])
def test_a_length_is_digits_alone(length):
    # RFC 9110, section 8.6.
    with pytest.raises(gate.RefusalError, match="too large"):
        read({"type": "http.request", "body": b"a"}, length=length)


def test_the_largest_body_is_read_and_one_byte_more_is_not():
    most = b"a" * LARGEST_BODY
    assert read({"type": "http.request", "body": most}, length=LARGEST_BODY) == most
    with pytest.raises(gate.RefusalError, match="too large") as refused:
        read({"type": "http.request", "body": most + b"a"}, length=0)
    assert refused.value.args[0] == 413
    with pytest.raises(gate.RefusalError, match="too large") as refused:
        read(length=LARGEST_BODY + 1)
    assert refused.value.args[0] == 413


def test_a_request_that_breaks_off_is_refused_and_an_empty_message_is_none():
    with pytest.raises(gate.RefusalError, match="broke off") as refused:
        read({"type": "http.request", "body": b"te", "more_body": True}, {"type": "http.disconnect"})
    # RFC 9110, sections 15.5.1 and 15.5.14: a request that is not whole, and content that is too large.
    assert refused.value.args[0] == 400
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

"""Somebody at the page without a script and without a server: requests go straight to the application."""

import asyncio
import re
from html.parser import HTMLParser

import httpx

from solarvent.serve.app import application
from solarvent.serve.gate import Keeper

ADDRESS = "http://127.0.0.1:8000"


class Inline:
    """Workers that work where they are asked."""

    async def ask(self, function, *arguments, home="", lane="", urgency=1, state=None):
        return function(*arguments)

    def end(self):
        pass


class Caller:
    """Sends requests to an application, one after the other."""

    def __init__(self, app, follow=True):
        self._runner = asyncio.Runner()
        self._client = httpx.AsyncClient(
            transport=httpx.ASGITransport(app), base_url=ADDRESS, follow_redirects=follow, timeout=300
        )

    def request(self, method, address, **more):
        return self._runner.run(self._client.request(method, address, **more))

    def close(self):
        self._runner.run(self._client.aclose())
        self._runner.close()


class Visitor:
    """A browser without a script: it keeps its cookies, sends its forms from the page, and follows what it is told."""

    def __init__(self, folder, first=""):
        self.keeper = Keeper()
        self.keeper.open_at("127.0.0.1", 8000)
        self.app = application(folder, first, self.keeper, Inline())
        self._caller = Caller(self.app)
        self.close = self._caller.close
        self.get(f"/?key={self.keeper.key}")

    def stranger(self):
        """Somebody else, who has no key and follows nothing."""
        return Caller(self.app, follow=False)

    def get(self, address, **headers):
        return self._caller.request("GET", address, headers=headers)

    def send(self, method, address, **more):
        return self._caller.request(method, address, **more)

    def post(self, address, headers=None, **form):
        """Send a form; in the names of its fields two low lines stand for a point."""
        form = {key.replace("__", "."): value for key, value in form.items()}
        return self.send("POST", address, data=form, headers={"origin": ADDRESS, **(headers or {})})

    def begin(self, name, way="example"):
        answer = self.post("/begin", name=name, way=way)
        assert answer.status_code == 200, answer.text
        return answer

    def change(self, name, seen=False, room="place", **fields):
        """Send a change as the script does, or, to see the whole room after it, as it is sent without."""
        return self.post(f"/plan/{name}/change", None if seen else {"x-part": "yes"}, room=room, **fields)

    def do(self, name, deed, seen=False, room="place", **fields):
        """Press a button."""
        return self.post(f"/plan/{name}/do/{deed}", None if seen else {"x-part": "yes"}, room=room, **fields)

    def part(self, name, part, room="answer"):
        """One part of a room, worked out alone."""
        return self.get(f"/plan/{name}/part/{part}?room={room}").text

    def version(self, name):
        return re.search(r'name="version" value="(\d+)"', self.do(name, "none").text)[1]

    def file(self, name):
        return self.get(f"/plan/{name}/file").text

    def press(self, page, words, **typed):
        """Press the first button of these words on a page that was got, with something typed into its fields."""
        sheet = Sheet(page)
        return self.post(sheet.buttons[words][0], **(sheet.fields | typed))


class Sheet(HTMLParser):
    """What a browser sends of the one form of a room, and the addresses to which its buttons send it."""

    def __init__(self, page):
        super().__init__()
        self.fields, self.buttons, self.can_undo = {}, {}, False
        self._form = self._open = ""
        self._name = self._words = self._to = None
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        told = dict(attrs)
        if tag == "form":
            self._form = told.get("id")
        elif tag == "option" and self._open == "select":
            if "selected" in told or self._name not in self.fields:
                self.fields[self._name] = told["value"]
        elif told.get("form", self._form) != "plan":
            return
        elif tag == "input" and "name" in told:
            if told.get("type") not in ("radio", "checkbox") or "checked" in told:
                self.fields[told["name"]] = told.get("value", "")
        elif tag in ("select", "textarea", "button"):
            self._open, self._name, self._words = tag, told.get("name"), ""
            self._to = told.get("formaction")
            self.can_undo |= "do/undo" in str(self._to) and "disabled" not in told

    def handle_data(self, data):
        if self._open:
            self._words += data

    def handle_endtag(self, tag):
        if tag == "form":
            self._form = ""
        elif tag == self._open:
            if tag == "textarea":
                self.fields[self._name] = self._words.removeprefix("\n").replace("\n", "\r\n")
            elif tag == "button":
                self.buttons.setdefault(self._words, []).append(self._to)
            self._open = ""

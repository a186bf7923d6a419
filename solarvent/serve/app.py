"""The routes: what each address of the page does. It reads forms, changes drafts, and asks the workers."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, quote

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from solarvent.base.errors import PlanError, Problem, SolarventError
from solarvent.report.page import POLICY as REPORT_POLICY
from solarvent.serve import answers, boxes, deeds, forms, pages
from solarvent.serve.drafts import Draft, Shelf
from solarvent.serve.gate import App, Gate, Keeper
from solarvent.serve.workers import SupersededError, Workers, WorkFailedError

#: Fields of a form, and places at the bench, that one request may bring.
_MOST_FIELDS = 4000
_STOPPED = Problem(
    "", "This was given up: it took too long, or needed too much memory", "a plan with fewer parts may do"
)


class Page:
    """The page of one folder: its drafts and its workers, and an answer to every address."""

    def __init__(self, shelf: Shelf, workers: Workers, first: str = "") -> None:
        self.shelf, self.workers, self.first = shelf, workers, first

    def routes(self) -> list[Route]:
        """Every address that is answered."""
        addresses: dict[str, dict[str, Any]] = {
            "GET": {
                "/": self.start, "/look.css": self.look, "/live.js": self.script, "/plan/{name}": self.room,
                "/plan/{name}/file": self.file, "/plan/{name}/report": self.report,
                "/plan/{name}/box/{number:int}": self.box_file, "/plan/{name}/part/{part}": self.part,
                "/plan/{name}/{room}": self.room,
            },
            "POST": {
                "/begin": self.begin, "/units": self.units, "/plan/{name}/change": self.change,
                "/plan/{name}/do/{deed}": self.change,
            },
        }  # fmt: skip
        return [
            Route(path, self._told(endpoint), methods=[method])
            for method, those in addresses.items()
            for path, endpoint in those.items()
        ]

    def _told(self, endpoint: Callable[[Request], Awaitable[Response]]) -> Callable[[Request], Awaitable[Response]]:
        """Answer mistakes in plain words, and never with what happened inside."""

        async def told(request: Request) -> Response:
            try:
                return await endpoint(request)
            except SolarventError as error:
                return HTMLResponse(pages.refusal(400, "", error.problems), 400)
            except SupersededError:
                return HTMLResponse("", 409)
            except WorkFailedError:
                return HTMLResponse(pages.refusal(503, "", (_STOPPED,)), 503)

        return told

    # What the person sees.

    async def start(self, request: Request) -> Response:
        """The list of plans, and the ways to begin one."""
        if self.first and not request.query_params.get("list"):
            return RedirectResponse(f"/plan/{quote(self.first, safe='')}", 303)
        page = pages.templates().get_template("start.html")
        return HTMLResponse(page.render(plans=self.shelf.plans(), beginnings=deeds.BEGINNINGS,
                                        folder=self.shelf.folder.name,
                                        system=_system(request, None)))  # fmt: skip

    async def look(self, _: Request) -> Response:
        """The style sheet."""
        return Response(pages.look(), media_type="text/css")

    async def script(self, _: Request) -> Response:
        """The script."""
        return Response(pages.script(), media_type="text/javascript")

    async def room(self, request: Request) -> Response:
        """One of the rooms of a plan."""
        if "room" not in request.path_params:
            return RedirectResponse(_address(request.path_params["name"], "answer" if self.first else "place"), 303)
        room = request.path_params["room"]
        if room not in pages.ROOMS:
            return HTMLResponse(pages.refusal(404, "There is no such room."), 404)
        draft = self.shelf.draft(request.path_params["name"])
        return await self._show(request, draft, room, request.query_params.get("said", ""))

    async def _show(
        self, request: Request, draft: Draft, room: str, notice: str = "",
        typed: Mapping[str, str] | None = None, problems: tuple[Problem, ...] = (),
    ) -> Response:  # fmt: skip
        """A room with everything in it, as it is without a script."""
        system = _system(request, draft)
        fields = pages.fields_of(draft, typed, problems)
        parts = await asyncio.gather(*(self._part_or_why(draft, name, system) for name in _PARTS[room]))
        page = pages.templates().get_template(f"room_{room}.html")
        html = page.render(
            draft=draft,
            room=room,
            fields=fields,
            system=system,
            bar=self._bar(draft, room, notice, problems),
            parts=dict(zip(_PARTS[room], parts, strict=True)),
            sliders=None if fields is None else deeds.sliders(fields, draft),
            **self._own_of(room, draft, fields),
        )
        return HTMLResponse(html, 422 if problems else 200)

    def _bar(self, draft: Draft, room: str, notice: str = "", problems: tuple[Problem, ...] = ()) -> str:
        return pages.bar(draft, room, notice, problems, self.shelf.file_has_changed(draft))

    def _own_of(self, room: str, draft: Draft, fields: Any) -> dict[str, Any]:
        """What one room alone shows."""
        if room == "kit":
            return {"pool": boxes.Pool(draft.content.boxes), "faces": pages.faces(forms.library())}
        if room == "place" and fields is not None:
            found = (path.name for ending in ("csv", "epw") for path in self.shelf.folder.glob(f"*.{ending}"))
            return dict(zip(("weathers", "weather"), pages.weathers(fields, sorted(found)[:40]), strict=True))
        return {}

    async def part(self, request: Request) -> Response:
        """One part of a room, for the script; the address of the next one stands in it."""
        draft = self.shelf.draft(request.path_params["name"])
        name, room = request.path_params["part"], request.query_params.get("room", "answer")
        if name not in _PARTS.get(room, ()):
            return HTMLResponse("", 404)
        html = await self._part(draft, name, _system(request, draft), request.headers.get("x-tab", ""))
        return HTMLResponse(html + _then(draft, room, name))

    async def _part_or_why(self, draft: Draft, name: str, system: str) -> str:
        """One part of a whole room, or in its place that it was given up: the others stand."""
        try:
            return await self._part(draft, name, system, "")
        except WorkFailedError:
            cannot = pages.templates().get_template("cannot.html")
            return str(cannot.render(part=name, title="No answer here", problems=(_STOPPED,)))

    async def _part(self, draft: Draft, name: str, system: str, tab: str) -> str:
        """Work one part out; what a tab no longer waits for is dropped."""
        folder = str(self.shelf.folder)
        same: tuple[Any, ...] = (draft.text, folder, draft.name, system)
        read = tuple(sorted(draft.readings.items()))
        work: dict[str, tuple[Callable[..., Any], tuple[Any, ...], int]] = {
            "days": (answers.days, same, 0),
            "verdict": (answers.year, same, 1),
            "year": (answers.year, same, 1),
            "pictures": (answers.pictures, same, 2),
            "cloud": (answers.cloud, (*same, int(draft.view.get("oktas", "0"))), 1),
            "difference": (answers.difference, (draft.pinned, *same), 2),
            "bench": (answers.bench, (*same, tuple(draft.ticks), read), 1),
            "checklist": (answers.bench, (*same, tuple(draft.ticks), read), 1),
            "meaning": (answers.meaning, (*same, read), 1),
            "pairing": (answers.pairing, (draft.content.boxes, draft.name), 0),
            "joined": (answers.joined, same, 1),
        }
        if name == "house":
            return pages.house_part(draft, self._plan(draft), system)
        if name == "difference" and not draft.pinned:
            return '<section id="part-difference" hidden></section>'
        function, arguments, urgency = work[name]
        lane = f"{tab}|{name}" if tab else ""
        state = answers.weather_state(folder, draft.text, draft.pinned if name == "difference" else "")
        found = await self.workers.ask(function, *arguments, home=draft.name, lane=lane, urgency=urgency, state=state)
        # Some are worked out together.
        return str(found[name in ("year", "checklist")]) if isinstance(found, tuple) else str(found)

    def _plan(self, draft: Draft) -> Any:
        try:
            return answers.plan_of(draft.text, str(self.shelf.folder), draft.name)
        except SolarventError:
            return None

    # What the person does.

    async def begin(self, request: Request) -> Response:
        """Begin a plan, from nothing, from one of the folder, or from a text."""
        form = await _form(request)
        name, way = form.get("name", "").strip() or "my-plan", form.get("way", "example")
        text = form.get("text", "").replace("\r\n", "\n")
        if way == "text":
            answers.plan_of(text, str(self.shelf.folder), name)
        elif way.startswith("plan:"):
            text = self.shelf.draft(way.removeprefix("plan:")).text
        else:
            text = deeds.text_of(way, _system(request, None))
        return self._begun(name, text, "kit" if way == "boxes" else "answer" if way == "text" else "place")

    def _begun(self, name: str, text: str, room: str) -> Response:
        self.shelf.begin(name, text)
        return RedirectResponse(_address(name, room), 303)

    async def units(self, request: Request) -> Response:
        """Choose the units of this person, on all plans."""
        form = await _form(request)
        back = form.get("back", "/")
        answer = RedirectResponse(back if back.startswith("/plan/") and "//" not in back else "/", 303)
        if form.get("units") in ("metric", "us"):
            answer.set_cookie("units", form["units"], httponly=True, samesite="strict", max_age=31_536_000)
        return answer

    async def change(self, request: Request) -> Response:
        """Take a form over into the draft, and do what its button says; answer with what there is to be seen of it."""
        form, name = await _form(request), request.path_params["name"]
        draft, deed = self.shelf.draft(name), request.path_params.get("deed", "")
        other_tab = (forms.counted(form.get("version", "")) or draft.version) < draft.version
        notice = deed or ("other-tab" if other_tab else "")
        typed: Mapping[str, str] = form
        try:
            self.shelf.change(name, lambda one: deeds.take(one, form, _system(request, one), str(self.shelf.folder)))
            # A thing that does not go into its box is shown as it was picked.
            typed = {key: value for key, value in form.items() if key == "kind" or key.startswith("box.")}
            if deed == "duplicate":
                return self._begun(form.get("name", "").strip(), self.shelf.draft(name).text, "place")
            if deed == "mend":
                form |= await self._mended(name, form.get("code", ""))
            if deed:
                deeds.do(deed, name, form, self.shelf)
        except SolarventError as error:
            return await self._after(request, form, error.problems, typed=typed)
        return await self._after(request, form, notice=notice)

    async def _after(
        self, request: Request, form: Mapping[str, str], problems: tuple[Problem, ...] = (), notice: str = "",
        typed: Mapping[str, str] | None = None,
    ) -> Response:  # fmt: skip
        """Answer a form: for the script with the bar and what changes first, else with the room."""
        draft, room = self.shelf.draft(request.path_params["name"]), _room(form)
        if "x-part" not in request.headers:
            if problems:
                return await self._show(request, draft, room, typed=typed, problems=problems)
            return RedirectResponse(_address(draft.name, room, notice, form.get("at", "")), 303)
        bar = self._bar(draft, room, notice, problems)
        if problems:
            return HTMLResponse(bar)
        first = _PARTS[room][0]
        html = await self._part(draft, first, _system(request, draft), request.headers.get("x-tab", ""))
        # At the bench what is typed changes nothing but its meaning, and somebody is typing in the parts that follow.
        return HTMLResponse(bar + html + ("" if room == "bench" else _then(draft, room, first)))

    async def _mended(self, name: str, code: str) -> dict[str, str]:
        """Have a way found that mends a finding; each is tried, which takes its time. PlanError if there is none."""
        draft = self.shelf.draft(name)
        folder = str(self.shelf.folder)
        state = answers.weather_state(folder, draft.text)
        found = await self.workers.ask(
            answers.mended, draft.text, folder, name, code, home=name, urgency=2, state=state
        )
        if isinstance(found[0], Problem):
            raise PlanError(found)
        return {"told": found[0], "mended": found[1], "from": draft.text}

    # What the person takes away.

    async def file(self, request: Request) -> Response:
        """The plan as a file, as the draft has it."""
        draft = self.shelf.draft(request.path_params["name"])
        return _download(draft.text, f"{draft.name}.toml", "application/toml")

    async def box_file(self, request: Request) -> Response:
        """A box as a file, as ``solarvent pair`` reads it."""
        draft, number = self.shelf.draft(request.path_params["name"]), request.path_params["number"]
        if not 0 <= number < len(draft.content.boxes):
            return HTMLResponse(pages.refusal(404, "There is no such box."), 404)
        return _download(draft.content.boxes[number], f"{draft.name}-box-{number + 1}.toml", "application/toml")

    async def report(self, request: Request) -> Response:
        """The one-file report."""
        draft = self.shelf.draft(request.path_params["name"])
        same = (draft.text, str(self.shelf.folder), draft.name, _system(request, draft))
        state = answers.weather_state(same[1], draft.text)
        html = await self.workers.ask(answers.report, *same, home=draft.name, urgency=2, state=state)
        headers = {"content-security-policy": REPORT_POLICY}
        if request.query_params.get("download"):
            headers["content-disposition"] = f"attachment; filename*=UTF-8''{quote(draft.name)}.html"
        return HTMLResponse(html, headers=headers)


#: The parts of each room that are worked out, in the order in which they come.
_PARTS = {
    "place": ("house", "verdict"),
    "kit": ("pairing", "joined", "verdict"),
    "answer": ("days", "verdict", "year", "cloud", "pictures", "difference"),
    "bench": ("meaning", "bench", "checklist", "verdict"),
}


def _then(draft: Draft, room: str, name: str) -> str:
    """Tell the script which part comes next."""
    order = _PARTS[room]
    place = order.index(name) + 1
    if place >= len(order):
        return ""
    return f'<i id="next" hidden data-then="/plan/{quote(draft.name, safe="")}/part/{order[place]}?room={room}"></i>'


def _address(name: str, room: str, notice: str = "", at: str = "") -> str:
    said = f"?said={notice}" if notice in pages.NOTICES else ""
    place = f"#{at}" if at.replace("-", "").isalnum() else ""
    return f"/plan/{quote(name, safe='')}/{room}{said}{place}"


def _room(form: Mapping[str, str]) -> str:
    """The room in which a form stood."""
    room = form.get("room", "place")
    return room if room in pages.ROOMS else "place"


def _system(request: Request, draft: Draft | None) -> str:
    """Units of this person, or else of the plan."""
    chosen = request.cookies.get("units", "")
    if chosen in ("metric", "us"):
        return chosen
    try:
        of_plan = None if draft is None else forms.content_of(draft.text).get("units")
    except PlanError:
        of_plan = None
    return "us" if of_plan == "us" else "metric"


async def _form(request: Request) -> dict[str, str]:
    """Read a form and what its button's address says.

    Of a field that comes twice the last one counts, as a box that is ticked over its own blank.
    """
    if not request.headers.get("content-type", "").startswith("application/x-www-form-urlencoded"):
        raise PlanError.single("", "this is no form", "use the page itself")
    try:
        text = (await request.body()).decode("ascii")
        form = dict(parse_qsl(text, keep_blank_values=True, max_num_fields=_MOST_FIELDS, errors="strict"))
        return form | dict(request.query_params)
    except ValueError:
        raise PlanError.single("", "this form cannot be read", "use the page itself") from None


def _download(text: str, name: str, kind: str) -> Response:
    return Response(
        text, media_type=kind, headers={"content-disposition": f"attachment; filename*=UTF-8''{quote(name)}"}
    )


def application(folder: Path, first: str, keeper: Keeper, workers: Workers) -> App:
    """Make the page of a folder, which begins with the plan `first` if there is one, behind its gate.

    The workers are ended with the page.
    """
    page = Page(Shelf(folder), workers, first)

    @asynccontextmanager
    async def life(_: Starlette) -> AsyncIterator[None]:
        yield
        workers.end()

    async def missing(_: Request, __: Exception) -> Response:
        return HTMLResponse(pages.refusal(404, "There is nothing at this address."), 404)

    async def broken(_: Request, __: Exception) -> Response:
        return HTMLResponse(pages.refusal(500, "Something went wrong here; nothing was lost."), 500)

    inner = Starlette(routes=page.routes(), lifespan=life, exception_handlers={404: missing, 405: missing, 500: broken})
    return Gate(inner, keeper, pages.refusal)

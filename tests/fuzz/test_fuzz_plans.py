"""Plan, kit and parts files, spoilt at key, value, type, unit, depth and byte."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from fuzzing import cases, check_error, guard, strict_json
from hypothesis import given
from hypothesis import strategies as st
from mutations import TOML_TOKENS, mangled, spoilt, toml

from solarvent.base.errors import PartError, PlanError, SolarventError
from solarvent.plan.boxes import Kit, check_kit, load_box
from solarvent.plan.checking import check_plan
from solarvent.plan.connectors import read_families
from solarvent.plan.library import KINDS, Library, profiles, shipped
from solarvent.plan.parts import RECORDS
from solarvent.plan.plan import Plan, load_plan
from solarvent.plan.plan_record import PlanRecord
from solarvent.report.data import to_json
from solarvent.report.parts import pairing_data, pairing_text
from solarvent.studies.pair import pair
from solarvent.wiring.harness import build_harness

HERE = Path(__file__).parent
PLAN_TEXTS = [
    *((profiles() / "plans" / f"{name}.toml").read_bytes() for name in ("default", "faulty")),
    *((HERE.parent / "data" / f"{name}.toml").read_bytes() for name in ("good_plan", "good_runs", "hobby_house")),
    (HERE / "rich_plan.toml").read_bytes(),
]
PLANS = [tomllib.loads(raw.decode("utf-8")) for raw in PLAN_TEXTS]
KITS = [tomllib.loads((profiles() / "kits" / f"{name}.toml").read_text("utf-8")) for name in shipped("kits")]


@pytest.fixture(scope="module")
def library() -> Library:
    return Library()


def test_what_is_spoilt_was_sound(library):
    for content in PLANS:
        check_plan(tomllib.loads(toml(content).decode("utf-8")), library)


@cases("plan text")
@given(mangled(PLAN_TEXTS, TOML_TOKENS))
def test_a_plan_file_is_read_or_its_mistakes_are_told(tmp_path_factory, raw):
    path = tmp_path_factory.getbasetemp() / "plan.toml"
    path.write_bytes(raw)
    with guard("plan text"):
        try:
            assert isinstance(load_plan(path), Plan)
        except (PlanError, PartError) as error:
            check_error(error)


@cases("plan structure")
@given(spoilt(PLANS))
def test_a_plan_is_taken_or_its_mistakes_are_told(library, content):
    with guard("plan structure"):
        try:
            plan = check_plan(content, library)
        except PlanError as error:
            check_error(error)
            return
        assert isinstance(plan, PlanRecord)
        try:
            build_harness(Plan(plan, library))
        except (PlanError, PartError) as error:
            check_error(error)


@cases("kits")
@given(spoilt(KITS))
def test_a_kit_is_taken_or_its_mistakes_are_told(library, content):
    families = read_families(library)
    with guard("kits"):
        try:
            assert isinstance(check_kit(content, library, families), Kit)
        except PlanError as error:
            check_error(error)


_PART_FILES = {kind: (profiles() / f"{kind}.toml").read_bytes() for kind in KINDS}
#: A few entries of each kind: a file as a person would write it.
_SHORT = {kind: b"\n".join(re.split(rb"\n(?=\[)", raw)[:4]) for kind, raw in _PART_FILES.items()}


@st.composite
def folders(draw: st.DrawFn) -> dict[str, bytes]:
    """Give one or two files of a folder of parts, spoilt."""
    kinds = draw(st.lists(st.sampled_from(KINDS), min_size=1, max_size=2, unique=True))
    return {kind: draw(mangled([_SHORT[kind]], TOML_TOKENS, most=2)) for kind in kinds}


@cases("parts")
@given(folders())
def test_own_parts_are_taken_or_their_mistakes_are_told(tmp_path_factory, files):
    folder = tmp_path_factory.getbasetemp() / "parts"
    folder.mkdir(exist_ok=True)
    for old in folder.iterdir():
        old.unlink()
    for kind, raw in files.items():
        (folder / f"{kind}.toml").write_bytes(raw)
    with guard("parts"):
        for name in ("default", HERE / "rich_plan.toml"):
            try:
                load_plan(name, folder)
            except SolarventError as error:
                check_error(error)
        try:
            library = Library(folder)
        except PartError as error:
            # A file that cannot be used is told when the folder is opened.
            check_error(error)
            return
        for kind in files:
            assert RECORDS.keys() >= {kind} or library.entries(kind)


@st.composite
def boxes(draw: st.DrawFn) -> dict[str, Any]:
    """Give a box with parts of several kits, some of them spoilt."""
    content: dict[str, Any] = {"kit_version": 1}
    for _ in range(draw(st.integers(1, 3))):
        kit = draw(spoilt(KITS, most=1))
        for section in ("panel", "battery", "fan", "lead", "splitter"):
            if isinstance(found := kit.get(section), list):
                content.setdefault(section, []).extend(found)
    return content


@cases("pairings")
@given(boxes())
def test_boxes_are_paired_or_their_mistakes_are_told(tmp_path_factory, content):
    path = tmp_path_factory.getbasetemp() / "box.toml"
    path.write_bytes(toml(content))
    with guard("pairings"):
        try:
            answer = pair(load_box([str(path)]))
        except PlanError as error:
            check_error(error)
            return
        assert answer.feasible in ("yes", "after_metering", "no")
        assert pairing_text(answer)
        strict_json(to_json(pairing_data(answer)))

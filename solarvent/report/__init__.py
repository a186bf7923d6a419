"""How an answer looks: text, one-file page, data; it works nothing out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from solarvent.base import lazy

if TYPE_CHECKING:
    from solarvent.report.data import run_json, to_json
    from solarvent.report.page import render_page
    from solarvent.report.run_text import render_run

__all__ = ["render_page", "render_run", "run_json", "to_json"]

__getattr__ = lazy(__name__, {"render_page": "page", "render_run": "run_text", "run_json": "data", "to_json": "data"})

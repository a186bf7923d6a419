"""What a person should know of a plan, one module a subject, each code raised in one place; and the verdict."""

from __future__ import annotations

from typing import TYPE_CHECKING

from solarvent.base import lazy

if TYPE_CHECKING:
    from solarvent.findings.house import night_findings
    from solarvent.findings.verdicts import find, verdict

__all__ = ["find", "night_findings", "verdict"]

__getattr__ = lazy(__name__, {"find": "verdicts", "night_findings": "house", "verdict": "verdicts"})

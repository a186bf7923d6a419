"""Questions asked of the chain: sizing, air under a named sky, orientation, pairing, comparing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from solarvent.base import lazy

if TYPE_CHECKING:
    from solarvent.studies.orientation import orientations
    from solarvent.studies.size_designs import Design, designs
    from solarvent.studies.size_option import Sizing
    from solarvent.studies.sizing import size
    from solarvent.studies.sky_day import under_sky

__all__ = ["Design", "Sizing", "designs", "orientations", "size", "under_sky"]

__getattr__ = lazy(
    __name__,
    {
        "Design": "size_designs",
        "Sizing": "size_option",
        "designs": "size_designs",
        "orientations": "orientation",
        "size": "sizing",
        "under_sky": "sky_day",
    },
)

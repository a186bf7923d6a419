"""Tables of rows as many places give them, with a letter for each verdict, and their summary."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from solarvent.studies.many_summary import ManySummary, summarise_places


def rows(**designs: tuple[float, str]) -> pd.DataFrame:
    """A row a place and design: a letter a place, f(its), s(hort), x (stop), - (failed)."""
    levels = {"f": "fits", "s": "short", "x": "stop", "-": "failed"}
    places = range(len(next(iter(designs.values()))[1]))
    return pd.DataFrame(
        [
            {
                "row": number + 2, "id": f"p{number}", "design": name, "panel_watts": watts,
                "latitude": 40.0 + number, "longitude": -number,
                "verdict": levels[given[number]], "reason": "because", "do": "", "weather_by": "named",
                "cause": {"f": "", "s": "light", "x": "over-voltage", "-": "table"}[given[number]],
                "share_at_target": {"f": 0.9, "s": 0.5}.get(given[number], np.nan),
            }
            for number in places
            for name, (watts, given) in designs.items()
        ]
    )  # fmt: skip


def summary(table: pd.DataFrame, pieces: int = 1) -> ManySummary:
    """Sum rows up that come in pieces."""
    size = -(-len(table) // pieces)

    def read(columns: Sequence[str]) -> Iterator[pd.DataFrame]:
        return (table.iloc[first : first + size][list(columns)] for first in range(0, len(table), size))

    return summarise_places(read, list(dict.fromkeys(table["design"])))

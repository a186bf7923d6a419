"""Small logs of a house as a logger or a notebook has them, the same every time."""

import numpy as np
import pandas as pd


def a_log(path, days=6, light=True):
    """Hours of a house that warms by day and keeps some of it at night; the same every time."""
    times = pd.date_range("2025-04-10", periods=24 * days, freq="h", tz="UTC")
    hour = times.hour.to_numpy()
    sun = np.maximum(np.sin((hour - 5.5) * np.pi / 13), 0) * ((hour > 5) & (hour < 19))
    outside = 8 + 4 * np.sin((hour - 9) * np.pi / 12) + np.repeat(np.linspace(0, 2, days), 24)
    inside = outside + 1.5 + 16 * sun + 0.4 * np.sin(7.1 * np.arange(len(hour)))
    table = pd.DataFrame({"time": times.strftime("%Y-%m-%dT%H:%MZ"), "outside [degC]": outside.round(2),
                          "inside [degC]": inside.round(2)})  # fmt: skip
    if light:
        table["sun [W/m2]"] = (680 * sun).round(0)
    table.to_csv(path, index=False)
    return path


def least_and_most(path, days=9):
    """A notebook: each morning the least and the most of two thermometers."""
    lines = ["date,outside min [degC],outside max [degC],inside min [degC],inside max [degC]"]
    lines += [
        f"2025-04-{day:02d} 08:00,{3 + day % 3},{12 + day % 4},{5 + day % 3},{26 + day % 5}"
        for day in range(10, 10 + days)
    ]
    path.write_text("\n".join(lines), encoding="utf-8")
    return path

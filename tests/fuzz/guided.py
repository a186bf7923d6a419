"""Fuzz one reader guided by coverage: ``python tests/fuzz/guided.py plan -max_total_time=300``.

Not part of the tests: it needs atheris (``pip install atheris``), which has wheels for Linux only. The readers are
plan, quantity, weather and parts; what follows the name goes to libFuzzer. A reader may refuse its input in words;
anything else that it raises is a finding.
"""

from __future__ import annotations

import sys
import tempfile
import warnings
from collections.abc import Callable
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["solarvent", "tomllib"]):
    from solarvent.base.errors import SolarventError
    from solarvent.base.quantities import EXAMPLES, parse
    from solarvent.plan.library import KINDS, Library, profiles
    from solarvent.plan.plan import load_plan
    from solarvent.weather.reading import read_weather

FOLDER = Path(tempfile.mkdtemp())


def plan(raw: bytes) -> None:
    """Read a plan."""
    path = FOLDER / "plan.toml"
    path.write_bytes(raw)
    load_plan(path)


def quantity(raw: bytes) -> None:
    """Read a quantity of any kind."""
    text = raw[1:].decode("utf-8", "replace")
    kinds = tuple(EXAMPLES)
    parse(text, kinds[raw[0] % len(kinds)] if raw else kinds[0])


def weather(raw: bytes) -> None:
    """Read a weather file."""
    path = FOLDER / "year.csv"
    path.write_bytes(raw)
    read_weather(path)


def parts(raw: bytes) -> None:
    """Read a file of parts, its kind by the first byte."""
    kind = KINDS[raw[0] % len(KINDS)] if raw else KINDS[0]
    for old in FOLDER.iterdir():
        old.unlink()
    (FOLDER / f"{kind}.toml").write_bytes(raw[1:])
    Library(FOLDER).entries(kind)


READERS: dict[str, Callable[[bytes], None]] = {
    "plan": plan, "quantity": quantity, "weather": weather, "parts": parts,
}  # fmt: skip


_CSV = b"""# latitude: 36.1
# longitude: -79.95
# altitude: 273
# stamp: end
time,ghi [W/m2],dni [W/m2],dhi [W/m2],temp_air [degC]
2023-06-01T01:00-05:00,0,0,0,20
2023-06-01T02:00-05:00,0,0,0,20.5
"""
_EPW = b"LOCATION,a,-,b,c,999999,36.10,-79.95,-5.0,273.0\n" + b"A,0\n" * 6
_EPW += (
    b"DATA PERIODS,1,1,Data,Sunday, 1/ 1,12/31\n1998,1,1,1,60,?9,9.4,5.0,80,98000,0,0,320,0,0,0,0,0,0,0,200,3.1,5,4,16,"
)
_EPW += b"77777,9,99,20,0.1,0,88,0.2,0,1\n"


def _seeds(name: str) -> list[bytes]:
    """Give sound input to begin from."""
    data = profiles()
    if name == "plan":
        here = Path(__file__).with_name("rich_plan.toml")
        return [(data / "plans" / "default.toml").read_bytes(), here.read_bytes()]
    if name == "quantity":
        return [bytes([kind]) + text for kind, text in enumerate([b"3.6 m", b"250 cfm", b"-4 degF", b"1e3 mohm"])]
    if name == "weather":
        return [_CSV, _EPW]
    return [bytes([number]) + (data / f"{kind}.toml").read_bytes()[:2000] for number, kind in enumerate(KINDS)]


def main() -> None:
    """Fuzz the reader that is named."""
    warnings.simplefilter("error")
    warnings.filterwarnings("ignore", "DatetimeIndex.dayofyear is deprecated")
    name = sys.argv[1]
    reader = READERS[name]

    def once(raw: bytes) -> None:
        try:
            reader(raw)
        except SolarventError as error:
            if not error.problems or not str(error).replace("\n", "").isprintable():
                raise RuntimeError("a mistake that is not told in words") from error

    corpus = Path(tempfile.mkdtemp())
    for number, seed in enumerate(_seeds(name)):
        # Once before the clock runs, for the readers load pandas and pvlib when they first need them.
        once(seed)
        (corpus / f"seed-{number}").write_bytes(seed)
    atheris.Setup([sys.argv[0], *sys.argv[2:], str(corpus)], once)
    atheris.Fuzz()


if __name__ == "__main__":
    main()

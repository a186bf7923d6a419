"""A function of the package that gives twice the tolerance too much or too little turns its checks red.

The functions that a calculation calls itself are found by watching it run; then one of them at a time is wrapped so
that all its numbers are scaled, and the calculation is run anew. Whole chains are left out here, for they take long,
and what a factor does to the first link of a chain need not show at its end.
"""

import sys
from contextlib import contextmanager
from dataclasses import fields, is_dataclass, replace

import numpy as np
import pandas as pd
import pytest
from all_checks import calculations
from reference_table import HERE, WHOLE, called_functions, results_of

# pvlib uses a name of pandas that pandas 4 will drop.
pytestmark = [pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear:DeprecationWarning"), pytest.mark.long]

#: Their numbers are data of the library, read and converted; there is nothing to scale but the number itself.
READERS = {"Library.__init__", "Library.get", "wire_id"}
#: A common factor leaves these as they are: the air mass is found from a ratio, the best voltage is the place of a
#: highest point, a sky near 0 degC has no number to scale, and soil is data of the library.
UNMOVED = {"SOL-10", "SOL-10b", "SOL-10c", "SOL-12", "NIGHT-2", "NIGHT-3", "PV-04c", "TM-03a"}
#: Searches through days for an angle: scaled, it is met at another hour, or not at all.
LEFT_OUT = {"SOL-04a1", "SOL-07a"}

SIMPLE = [one for one in calculations() if one.kind != WHOLE and one.rows[0].id not in LEFT_OUT]


def scaled(value, factor):
    """Every real number in a result, times a factor."""
    if isinstance(value, float | np.floating | pd.DataFrame):
        return value * factor
    if isinstance(value, np.ndarray):
        return value * factor if value.dtype.kind == "f" else value
    if isinstance(value, tuple):
        parts = [scaled(part, factor) for part in value]
        return type(value)(*parts) if hasattr(value, "_fields") else tuple(parts)
    if is_dataclass(value):
        return replace(
            value, **{field.name: scaled(getattr(value, field.name), factor) for field in fields(value) if field.init}
        )
    return value


@contextmanager
def giving(module, name, factor):
    """The package with one function, method or property whose results are scaled."""
    with pytest.MonkeyPatch.context() as patch:
        origin = sys.modules[module]
        owner, _, last = name.rpartition(".")
        if owner:
            real = vars(getattr(origin, owner))[last]
            if isinstance(real, property):
                patch.setattr(getattr(origin, owner), last, property(lambda one: scaled(real.fget(one), factor)))
            else:
                patch.setattr(getattr(origin, owner), last, lambda *args, **more: scaled(real(*args, **more), factor))
        else:
            real = getattr(origin, name)
            for place in list(sys.modules.values()):
                # Where it is, and under the name by which the calculations know it.
                known = place is origin or (getattr(place, "__file__", None) or "").startswith(HERE)
                if known and getattr(place, name, None) is real:
                    patch.setattr(place, name, lambda *args, **more: scaled(real(*args, **more), factor))
        yield


@pytest.mark.parametrize("calculation", SIMPLE, ids=lambda one: one.rows[0].id)
def test_a_function_that_is_off_by_twice_the_tolerance_is_seen(calculation):
    functions = [function for function in called_functions(calculation) if function[1] not in READERS]
    if not functions:
        return
    for number, result in enumerate(results_of(calculation)):
        if result.row.why_missed or result.row.id in UNMOVED:
            continue
        seen = set()
        for function in functions:
            for sign in (1, -1):
                with giving(*function, 1 + 2 * sign * result.row.tolerance):
                    if not result.holds(float(list(calculation.run())[number])):
                        seen.add((function, sign))
        assert {sign for _, sign in seen} == {1, -1}, f"{result.row.id}: {seen}"

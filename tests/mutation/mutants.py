"""Small faults are put into the physics and the wiring one by one; of each the module's own tests must fail.

    python tests/mutation/mutants.py --sample 300 --seed 4     a random sample of all faults: survivors, then scores
    python tests/mutation/mutants.py --only air/opening       all faults of one module

A fault changes an operator, a comparison, a number (1.1 times a float, one more than a whole one), a truth value, a
condition or a return value, turns a minimum into a maximum, or drops an argument or a statement. Words are left alone:
strings, docstrings, annotations, decorators; and `strict` of a zip. A survivor is the same program in other words, or a
gap in the tests.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import copy
import ctypes
import importlib.abc
import importlib.util
import math
import os
import random
import resource
import signal
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, settings

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
PACKAGE = ROOT / "solarvent"
FOLDERS = ("weather", "electrical", "air", "house", "wiring")
#: Of other folders what judges a log, and who may come in.
OTHERS = ["serve/gate.py", *(f"studies/{name}.py" for name in ("calibrate", "house_fit", "log_checks", "log_span"))]
MODULES = sorted(path.relative_to(PACKAGE).as_posix() for name in FOLDERS for path in PACKAGE.glob(f"{name}/[a-z]*.py"))
MODULES += OTHERS
#: Test files of modules that have none of their own name, or more than one.
OWN_TESTS = {
    "air/network": ("flow_network", "ventilation"), "weather/conditions": ("flow_network", "conditions", "panel_light"),
    "electrical/battery": ("battery", "battery_budget"), "electrical/battery_circuit": ("battery_budget",),
    "electrical/branches": ("load", "settle", "operation"),
    "electrical/circuit_parts": ("bands", "operating_curves"),
    "electrical/single_diode": ("single_diode", "curve"), "electrical/motor": ("fan",),
    "electrical/joined_sources": ("curve", "bypass_diodes", "operation"),
    "electrical/unlike_sources": ("curve", "bypass_diodes", "operation"), "electrical/load": ("load", "settle"),
    "electrical/intersection": ("settle", "converter", "curve"),
    "electrical/operating_point": ("settle", "size_fans", "operation"),
    "electrical/panel_model": ("bands", "operating_curves", "bypass_diodes", "best_point"),
    "electrical/panel_source": ("curve", "size_fans", "operating_points_outside"),
    "electrical/roots": ("roots", "curve", "converter"),
    "electrical/running_sets": ("running_sets", "pass_in_time", "operation"),
    "electrical/running_states": ("running_sets", "settle", "pass_in_time", "size_fans"),
    "electrical/source_side": ("bypass_diodes", "settle"), "electrical/start_light": ("unusual_fans", "trade_tables"),
    "house/heat_balance": ("heat_balance", "coupling"),
    "house/house_run": ("house_run", "coupling", "thermostat", "line_thermostat"),
    "house/model": ("model",), "house/moisture": ("moisture", "air_need"),
    "house/sunlight": ("model", "house_run"), "studies/house_fit": ("house_fit", "calibrate"),
    "studies/calibrate": ("what_a_log_tells", "calibrate"),
    "studies/log_checks": ("log_checks", "calibrate"), "studies/log_span": ("log_span", "calibrate", "house_log"),
    "weather/csv_file": ("reading",), "weather/log_times": ("house_log",),
    "weather/planes": ("orientation", "conditions"),
    "weather/table_checks": ("reading", "station_files"), "weather/reading": ("reading", "near"),
    "weather/station_files": ("reading", "station_files"),
    "weather/sky": ("sky", "cloud"), "wiring/circuit": ("circuit", "operating_curves", "joints", "pair"),
    "wiring/pairing_search": ("pairing_search", "pair"), "wiring/joints": ("mating", "polarity", "joints", "pair"),
    "wiring/pairing_program": ("pairing_program", "pairing_search"),
    "wiring/remedies": ("remedies", "pair", "joints"),
}  # fmt: skip
HEAVY = """numpy pandas scipy.optimize scipy.interpolate scipy.special scipy.integrate pvlib pydantic mpmath
    psychrolib ht fluids"""
SWAPS = {
    ast.Add: [ast.Sub], ast.Sub: [ast.Add], ast.Mult: [ast.Div], ast.Div: [ast.Mult], ast.Pow: [ast.Mult],
    ast.FloorDiv: [ast.Div], ast.Mod: [ast.FloorDiv], ast.BitAnd: [ast.BitOr], ast.BitOr: [ast.BitAnd],
    ast.And: [ast.Or], ast.Or: [ast.And], ast.Lt: [ast.LtE, ast.GtE], ast.LtE: [ast.Lt, ast.Gt],
    ast.Gt: [ast.GtE, ast.LtE], ast.GtE: [ast.Gt, ast.Lt], ast.Eq: [ast.NotEq], ast.NotEq: [ast.Eq],
    ast.Is: [ast.IsNot], ast.IsNot: [ast.Is], ast.In: [ast.NotIn], ast.NotIn: [ast.In],
}  # fmt: skip
NAMES = {"min": "max", "minimum": "maximum", "any": "all", "sin": "cos", "floor": "ceil", "argmin": "argmax",
         "cumsum": "cumprod", "zeros": "ones", "nanmin": "nanmax"}  # fmt: skip
NAMES |= {new: old for old, new in NAMES.items()} | {"flatnonzero": "ravel"}


def changed(node, **fields):
    one = copy.deepcopy(node)
    for name, value in fields.items():
        setattr(one, name, value)
    return one


def faults(node):
    """Yield the kind of each fault that a node may have, and what then stands in its place."""
    if isinstance(node, ast.BinOp | ast.BoolOp | ast.AugAssign):
        for new in SWAPS.get(type(node.op), []):
            yield "boolean" if isinstance(node, ast.BoolOp) else "operator", changed(node, op=new())
    elif isinstance(node, ast.Compare):
        for place, old in enumerate(node.ops):
            for new in SWAPS[type(old)]:
                yield "comparison", changed(node, ops=[*node.ops[:place], new(), *node.ops[place + 1 :]])
    elif isinstance(node, ast.UnaryOp):
        yield "operator", node.operand
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool | int | float):
        value = node.value
        new = not value if isinstance(value, bool) else value + 1 if isinstance(value, int) else 1.1 * value or 1.0
        yield "number", changed(node, value=new)
    elif isinstance(node, ast.If | ast.While | ast.IfExp) and not isinstance(node.test, ast.Compare | ast.BoolOp):
        yield "condition", changed(node, test=ast.UnaryOp(ast.Not(), node.test))
    elif isinstance(node, ast.Return) and not (node.value is None or ast.unparse(node.value) == "None"):
        yield "return", changed(node, value=ast.Constant(None))
    elif isinstance(node, ast.Break | ast.Continue):
        yield "statement", ast.Continue() if isinstance(node, ast.Break) else ast.Break()
    elif isinstance(node, ast.Raise) or (isinstance(node, ast.Expr) and isinstance(node.value, ast.Call)):
        yield "statement", ast.Pass()
    elif isinstance(node, ast.Call):
        if ast.unparse(node.func) == "np.asarray":
            return  # what is given is numbers already: without a dtype it is the same array
        for place, key in enumerate(node.keywords):
            if key.arg is not None and not inert(key):
                yield "argument", changed(node, keywords=[*node.keywords[:place], *node.keywords[place + 1 :]])
        if len(node.args) > 1 and not isinstance(node.args[-1], ast.Starred):
            yield "argument", changed(node, args=node.args[:-1])
        field = "attr" if isinstance(node.func, ast.Attribute) else "id"
        if (new := NAMES.get(getattr(node.func, field, None))) is not None:
            yield "operator", changed(node, func=changed(node.func, **{field: new}))


def inert(node):
    """Tell what no sound run of the program hangs on: what is there for the checker of types, and `strict` of a zip."""
    if isinstance(node, ast.If):
        return ast.unparse(node.test) == "TYPE_CHECKING"
    if isinstance(node, ast.keyword):
        return node.arg == "strict"
    return isinstance(node, ast.Assign) and ast.unparse(node.value).startswith("NDArray[")


def nodes(tree):
    """Yield every node that may be changed, with where it hangs."""
    waiting = [tree]
    while waiting:
        parent = waiting.pop(0)
        for field, value in ast.iter_fields(parent):
            if field in ("annotation", "returns", "decorator_list", "bases", "format_spec"):
                continue
            for index, node in enumerate(value if isinstance(value, list) else [value]):
                if isinstance(node, ast.AST) and not inert(node):
                    waiting.append(node)
                    yield node, parent, field, index


def mutants(module):
    """List all faults of a module: module, line, kind, in words, and where to find it again."""
    tree = ast.parse((PACKAGE / module).read_text(encoding="utf-8"))
    found = []
    for place, (node, *_) in enumerate(nodes(tree)):
        for number, (kind, new) in enumerate(faults(node)):
            words = f"{ast.unparse(node)}  ->  {ast.unparse(ast.fix_missing_locations(new))}"
            found.append((module, node.lineno, kind, words, place, number))
    return found


class Faulty(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Loads one module of the package with a fault."""

    def __init__(self, module, place, number):
        self.path, self.name = str(PACKAGE / module), "solarvent." + module[:-3].replace("/", ".")
        tree = ast.parse(Path(self.path).read_text(encoding="utf-8"))
        node, parent, field, index = list(nodes(tree))[place]
        new = ast.copy_location(list(faults(node))[number][1], node)
        if isinstance(getattr(parent, field), list):
            getattr(parent, field)[index] = new
        else:
            setattr(parent, field, new)
        self.code = compile(ast.fix_missing_locations(tree), self.path, "exec")

    def find_spec(self, name, path=None, target=None):
        return importlib.util.spec_from_file_location(name, self.path, loader=self) if name == self.name else None

    def exec_module(self, module):
        exec(self.code, module.__dict__)


def killed(module, place, number, seconds):
    """Tell whether the tests of a module fail, or go on for ever, with a fault in it; in a fork of this process."""
    child = os.fork()
    if not child:
        with contextlib.suppress(BaseException):
            ctypes.CDLL(None).prctl(1, signal.SIGKILL)  # no child outlives the run
            resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))
            resource.setrlimit(resource.RLIMIT_AS, (8 << 30, 8 << 30))
            null = os.open(os.devnull, os.O_RDWR)
            for stream in (0, 1, 2):
                os.dup2(null, stream)
            if place is not None:
                sys.meta_path.insert(0, Faulty(module, place, number))
            folder, name = (ROOT / "tests" / module).parent, Path(module).stem
            others = [folder.parent.glob(f"*/test_{other}.py") for other in OWN_TESTS.get(module[:-3], ())]
            files = [path for paths in others or [folder.glob(f"test_{name}.py")] for path in paths]
            assert files, module
            options = ["-x", "-q", "-p", "no:cacheprovider", "-o", "addopts=", "--rootdir", str(ROOT)]
            os._exit(pytest.main([*options, *map(str, files)]))
        os._exit(99)
    return os.waitpid(child, 0)[1] != 0


def warm_up():
    """Load what no fault can touch, and make hypothesis quick and the same every time."""
    os.chdir(ROOT)
    below = [path for folder in ("base", "plan") for path in PACKAGE.glob(f"{folder}/[a-z]*.py")]
    inner = [".".join(path.relative_to(ROOT).with_suffix("").parts) for path in below]
    for name in [*HEAVY.split(), *inner]:
        importlib.import_module(name)
    phases, checks = (Phase.explicit, Phase.generate), list(HealthCheck)
    settings.register_profile("quick", database=None, derandomize=True, phases=phases, suppress_health_check=checks)
    settings.load_profile("quick")
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"  # they cost more than most tests


def scores(results, place):
    """Print shares of killed with their 95 % interval (Wilson's score)."""
    for name in sorted({result[place] for result in results}):
        fate = [not result[-1] for result in results if result[place] == name]
        total, share = len(fate), sum(fate) / len(fate)
        middle, half = share + 1.92 / total, 1.96 * math.sqrt(share * (1 - share) / total + 0.96 / total**2)
        low, high = (100 * (middle + sign * half) / (1 + 3.84 / total) for sign in (-1, 1))
        print(f"{name:30} {sum(fate):5} of {total:5} {100 * share:5.1f} %   {low:.0f} to {high:.0f} %")


def main():
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--only", default="", help="part of a module's path")
    parser.add_argument("--sample", type=int, default=0, help="how many, drawn by chance; all if left out")
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    warm_up()
    every = [mutant for module in MODULES if args.only in module for mutant in mutants(module)]
    if args.sample:
        every = random.Random(args.seed).sample(every, min(args.sample, len(every)))
    limits, results = {}, []
    for module, line, kind, words, place, number in sorted(every):
        if module not in limits:
            began = os.times()
            if killed(module, None, None, 600):
                raise SystemExit(f"the tests of {module} fail without a fault")
            limits[module] = 5 + round(3 * (os.times().children_user - began.children_user))
        alive = not killed(module, place, number, limits[module])
        results.append((module, kind, module.partition("/")[0], alive))
        if alive:
            print(f"{module}:{line}  {words}", flush=True)
    for place in (1, 0, 2):
        scores(results, place)


if __name__ == "__main__":
    main()

"""Small faults put into the code one at a time: the tests of the faulty module must fail for nearly all of them.

    python -m tests.mutants --mutants 200 --seed 1 [--only calculation/bores]

Each mutant changes one operator, comparison, number or function name of one module, in memory, in a process of its own
that then runs the tests of that module. Printed at the end: the share killed, and every survivor with its place.
"""

import argparse
import ast
import contextlib
import importlib.abc
import importlib.util
import os
import random
import signal
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
LIMIT_S = 300  # a mutant whose tests run longer hangs, which counts as killed

# the modules that make numbers, and the tests that speak for each
TESTS = {
    **{
        f"calculation/{name}": f"calculation/test_{name}.py"
        for name in ("bores", "charts", "depths", "grip", "holes", "loose", "ovals", "rims", "sections", "sphere")
    },
    "calculation/inners": "calculation/test_bores.py",
    "measures/lengths": "measures",
    "measures/pairs": "measures",
    "measures/pitches": "measures",
    "services/depths": "services/test_visitors.py",
    "services/checks": "services/test_bench.py",
    "services/sits": "services/test_sits.py",
    "services/bits": "services/test_bits.py",
}

# faults that once passed every test: (what they are, module, source, faulty source, tests that must fail)
TURN = "((fitted.notch_deg or 0.0) - (made.notch_deg or 0.0)) % 360"
NAMED = (
    ("wrong line told for the sleeve's bore", "services/routes", '"bore_line": _line("bore")', '"bore_line": _line("thumb")', "services/test_bench.py"),
    ("inner turned the other way", "services/sittings", f"turn = {TURN}", f"turn = -{TURN}", "services/test_sits.py"),
    ("crown depth used as collar", "calculation/bores", ' - (height_in(bore, datum) - height_in(bore, "collar"))', "", "calculation/test_bores.py"),
    ("lower for higher", "services/sits", "'lower' if best.lower_in > 0 else 'higher'", "'higher' if best.lower_in > 0 else 'lower'", "services/test_sits.py"),
    ("felt tilt of the other sign", "services/sittings", "(float(of.forward_in), float(of.right_in))", "(float(of.forward_in), -float(of.right_in))", "services/test_sits.py"),
    ("interval by the larger of two", "services/sittings", "(made.half_width_in**2 + fitted.half_width_in**2) ** 0.5", "max(made.half_width_in, fitted.half_width_in)", "services/test_sits.py"),
    ("unknown datum's term ÷ 100", "services/depths", "half**2 / 3", "half**2 / 30000", "services/test_depths.py"),
    ("met datum lost", "services/bench", 'depths.datum_of(depth.datum, "unknown")', '"unknown"', "services/test_bench.py"),
    ("chart ignores the datum", "services/bits", ' and step.met_datum in {"collar", "rim_high"}', "", "services/test_bits.py"),
    ("chart without its floor", "calculation/charts", "max(statistics.stdev(first), stated_sigma)", "statistics.stdev(first)", "calculation/test_charts.py"),
    ("notch remedy at ten times the limit", "services/sits", "abs(straight.lowest_in)) <= lip_in", "abs(straight.lowest_in)) <= 10 * lip_in", "services/test_sits.py"),
    ("wrong freedom for one more trial", "calculation/depths", "repeatability_freedom + count, resolution_in", "repeatability_freedom, resolution_in", "calculation/test_depths.py"),
    ("loose pitch with the smaller uncertainty", "calculation/loose", "max(inverse[1][1], inverse[2][2])", "min(inverse[1][1], inverse[2][2])", "calculation/test_loose.py"),
)  # fmt: skip

SWAPS = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult,
    ast.Lt: ast.GtE, ast.LtE: ast.Gt, ast.Gt: ast.LtE, ast.GtE: ast.Lt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.And: ast.Or, ast.Or: ast.And, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.USub: ast.UAdd,
}  # fmt: skip
NAMES = {"min": "max", "max": "min", "sin": "cos", "cos": "sin", "floor": "ceil", "ceil": "floor"}


@dataclass(frozen=True)
class Mutant:
    """One fault: the module, the line, what it was and became, the faulty source, and the tests that must fail."""

    module: str
    line: int
    words: str
    source: str
    tests: str


def named_mutants() -> list[Mutant]:
    """The faults of `NAMED`; each must still be found in the source."""
    made = []
    for words, module, source, faulty, tests in NAMED:
        text = (ROOT / "app" / f"{module}.py").read_text()
        assert text.count(source) == 1, f"{words}: not found once in {module}"
        line = text[: text.index(source)].count("\n") + 1
        made.append(Mutant(module, line, words, text.replace(source, faulty), tests))
    return made


def mutants_of(module: str) -> Iterator[Mutant]:
    """Every small fault of one module, none in its docstrings, annotations or decorators."""
    text = (ROOT / "app" / f"{module}.py").read_text()
    count = sum(1 for _ in _places(ast.parse(text)))
    for i in range(count):
        tree = ast.parse(text)
        node, change = list(_places(tree))[i]
        words = change(node)
        yield Mutant(module, node.lineno, words, ast.unparse(ast.fix_missing_locations(tree)), TESTS[module])


def _places(tree: ast.Module) -> Iterator[tuple]:
    for function in (n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)):
        for statement in function.body:
            if isinstance(statement, ast.Raise | ast.Assert | ast.FunctionDef):
                continue
            for node in ast.walk(statement):
                if isinstance(node, ast.BinOp | ast.UnaryOp | ast.BoolOp) and type(node.op) in SWAPS:
                    yield node, _swap_operator
                elif isinstance(node, ast.Compare) and type(node.ops[0]) in SWAPS:
                    yield node, _swap_comparison
                elif isinstance(node, ast.Constant) and type(node.value) in {int, float} and node.value:
                    yield node, _change_number
                elif isinstance(node, ast.Name | ast.Attribute) and _name(node) in NAMES:
                    yield node, _swap_name


def _name(node: ast.Name | ast.Attribute) -> str:
    return node.id if isinstance(node, ast.Name) else node.attr


def _swap_operator(node) -> str:
    old = type(node.op)
    node.op = SWAPS[old]()
    return f"{old.__name__} → {SWAPS[old].__name__}"


def _swap_comparison(node) -> str:
    old = type(node.ops[0])
    node.ops[0] = SWAPS[old]()
    return f"{old.__name__} → {SWAPS[old].__name__}"


def _change_number(node) -> str:
    old = node.value
    node.value = old + 1 if isinstance(old, int) else old * 1.5
    return f"{old} → {node.value}"


def _swap_name(node) -> str:
    old = _name(node)
    setattr(node, "id" if isinstance(node, ast.Name) else "attr", NAMES[old])
    return f"{old} → {NAMES[old]}"


class _Source(importlib.abc.MetaPathFinder, importlib.abc.InspectLoader):
    """Gives one module of the app another source."""

    def __init__(self, name: str, source: str) -> None:
        self.name, self.source = name, source

    def find_spec(self, fullname, path, target=None):
        return importlib.util.spec_from_loader(fullname, self) if fullname == self.name else None

    def get_source(self, fullname: str) -> str:
        return self.source

    def exec_module(self, module) -> None:
        module.__file__ = str(ROOT / (self.name.replace(".", "/") + ".py"))
        exec(compile(self.source, module.__file__, "exec"), module.__dict__)


def _run(mutant: Mutant) -> None:
    """In a process of its own: exits with what pytest says of the faulty module."""
    import pytest

    sys.meta_path.insert(0, _Source(f"app.{mutant.module.replace('/', '.')}", mutant.source))
    signal.alarm(LIMIT_S)
    tests = [str(ROOT / "tests" / path) for path in mutant.tests.split()]
    with open(os.devnull, "w") as nowhere, contextlib.redirect_stdout(nowhere), contextlib.redirect_stderr(nowhere):
        code = pytest.main(["-x", "-p", "no:cacheprovider", *tests])
    os._exit(int(code))


def is_killed(mutant: Mutant) -> bool:
    """Whether the tests of the mutant's module fail, or hang, on it."""
    process = get_context("fork").Process(target=_run, args=(mutant,))
    process.start()
    process.join()
    return process.exitcode != 0


def main() -> None:
    told = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    told.add_argument("--mutants", type=int, default=200)
    told.add_argument("--seed", type=int, default=1)
    told.add_argument("--only", default="")
    told.add_argument("--at-once", type=int, default=os.cpu_count() or 1)
    asked = told.parse_args()
    all_of_them = [m for module in TESTS if asked.only in module for m in mutants_of(module)]
    chosen = [mutant for mutant in named_mutants() if asked.only in mutant.module]
    chosen += random.Random(asked.seed).sample(all_of_them, min(asked.mutants, len(all_of_them)))
    with ThreadPoolExecutor(asked.at_once) as pool:
        sources = {(c.module, c.tests): (ROOT / "app" / f"{c.module}.py").read_text() for c in chosen}
        whole = [Mutant(module, 0, "unchanged", text, tests) for (module, tests), text in sources.items()]
        failing = [m.module for m, fails in zip(whole, pool.map(is_killed, whole), strict=True) if fails]
        if failing:
            sys.exit(f"the tests fail without any fault: {', '.join(failing)}")
        killed = list(pool.map(is_killed, chosen))
    for mutant, was_killed in zip(chosen, killed, strict=True):
        if not was_killed:
            print(f"survived: app/{mutant.module}.py:{mutant.line} {mutant.words}")
    print(
        f"{sum(killed)} of {len(killed)} mutants killed ({sum(killed) / len(killed):.1%}), of {len(all_of_them)} possible"
    )


if __name__ == "__main__":
    main()

"""Small faults of the app's functions, one at a time, and how a loaded function gets the faulty code; for `mutants`."""

import ast
import functools
import gc
import importlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import CodeType, FunctionType, ModuleType

import pytest
from hypothesis import Phase
from hypothesis import settings as hypothesis_settings

ROOT = Path(__file__).resolve().parent.parent
TOLERANCE = 1e-6  # a number no larger is one of floating point and not of the trade: half as much again is the same
EXAMPLES = 15  # of hypothesis in one test
TABLE = "a table"  # in place of a function's name, for a fault in a dictionary of the module

SWAPS: dict[type[ast.AST], type[ast.AST]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult,
    ast.Lt: ast.GtE, ast.LtE: ast.Gt, ast.Gt: ast.LtE, ast.GtE: ast.Lt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.And: ast.Or, ast.Or: ast.And, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.USub: ast.UAdd,
}  # fmt: skip
NAMES = {"min": "max", "max": "min", "sin": "cos", "cos": "sin", "floor": "ceil", "ceil": "floor"}


@dataclass(frozen=True)
class Mutant:
    """One fault: the module, function, line and its text, what it was and became, and the module's faulty code."""

    module: str
    function: str
    line: int
    text: str
    words: str
    code: CodeType

    @property
    def key(self) -> tuple[str, str, str]:
        """What it is told by wherever its line has moved to."""
        return self.module, self.text, self.words


def _path(module: str) -> Path:
    return ROOT / "app" / f"{module}.py"


def named_mutant(words: str, module: str, source: str, faulty: str) -> Mutant:
    """A fault told by its text, which must stand once in the source of the module."""
    text = _path(module).read_text()
    assert text.count(source) == 1, f"{words}: not found once in {module}"
    line = text[: text.index(source)].count("\n") + 1
    around = [name for name, of in _functions(ast.parse(text)) if of.lineno <= line <= (of.end_lineno or 0)]
    code = compile(text.replace(source, faulty), str(_path(module)), "exec")
    return Mutant(module, around[0] if around else TABLE, line, source, words, code)


def mutants_of(module: str) -> Iterator[Callable[[], Mutant]]:
    """A maker of every small fault of one module, none in docstrings, annotations, defaults or refusals."""
    text = _path(module).read_text()
    for i in range(len(list(_places(ast.parse(text))))):
        yield functools.partial(_make, module, text, i)


def _make(module: str, text: str, i: int) -> Mutant:
    """The i-th fault of a module."""
    tree = ast.parse(text)
    function, node, change = list(_places(tree))[i]
    words = change(node)
    line = text.splitlines()[node.lineno - 1].strip()
    return Mutant(module, function, node.lineno, line, words, compile(tree, str(_path(module)), "exec"))


def _functions(tree: ast.Module) -> Iterator[tuple[str, ast.FunctionDef]]:
    """Functions and methods of a module by qualified name; a function inside another is part of that."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef):
            yield node.name, node
        elif isinstance(node, ast.ClassDef):
            yield from ((f"{node.name}.{n.name}", n) for n in node.body if isinstance(n, ast.FunctionDef))


def _places(tree: ast.Module) -> Iterator[tuple[str, ast.expr, Callable[[ast.expr], str]]]:
    for name, function in _functions(tree):
        for node in (n for statement in function.body for n in _code(statement)):
            if isinstance(node, ast.BinOp | ast.UnaryOp | ast.BoolOp) and type(node.op) in SWAPS:
                yield name, node, _swap_operator
            elif isinstance(node, ast.Compare) and type(node.ops[0]) in SWAPS:
                yield name, node, _swap_comparison
            elif isinstance(node, ast.Constant) and _is_of_the_trade(node.value):
                yield name, node, _change_number
            elif isinstance(node, ast.Name | ast.Attribute) and _name(node) in NAMES:
                yield name, node, _swap_name


def _is_of_the_trade(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) > TOLERANCE


def _code(statement: ast.AST) -> Iterator[ast.AST]:
    """A statement and everything in it, but what is raised or asserted."""
    if not isinstance(statement, ast.Raise | ast.Assert):
        yield statement
        for child in ast.iter_child_nodes(statement):
            yield from _code(child)


def _name(node: ast.Name | ast.Attribute) -> str:
    return node.id if isinstance(node, ast.Name) else node.attr


def _swap_operator(node: ast.expr) -> str:
    assert isinstance(node, ast.BinOp | ast.UnaryOp | ast.BoolOp)
    old = type(node.op)
    node.op = SWAPS[old]()  # type: ignore[assignment]
    return f"{old.__name__} → {SWAPS[old].__name__}"


def _swap_comparison(node: ast.expr) -> str:
    assert isinstance(node, ast.Compare)
    old = type(node.ops[0])
    node.ops[0] = SWAPS[old]()  # type: ignore[call-overload]
    return f"{old.__name__} → {SWAPS[old].__name__}"


def _change_number(node: ast.expr) -> str:
    assert isinstance(node, ast.Constant) and isinstance(node.value, int | float)
    old = node.value
    node.value = old + 1 if isinstance(old, int) else old * 1.5
    return f"{old} → {node.value}"


def _swap_name(node: ast.expr) -> str:
    assert isinstance(node, ast.Name | ast.Attribute)
    old = _name(node)
    setattr(node, "id" if isinstance(node, ast.Name) else "attr", NAMES[old])
    return f"{old} → {NAMES[old]}"


def put_in(mutant: Mutant) -> None:
    """Gives the functions of the mutant's module the faulty code, wherever they were imported to."""
    module = importlib.import_module(f"app.{mutant.module.replace('/', '.')}")
    if mutant.function == TABLE:
        faulty = {"__name__": module.__name__}
        exec(mutant.code, faulty)
        for name, held in vars(module).items():
            if isinstance(held, dict) and not name.startswith("__"):
                held.update(faulty[name])  # type: ignore[arg-type]
        return
    for code in (c for c in mutant.code.co_consts if isinstance(c, CodeType)):
        parts = [code] if isinstance(_plain(vars(module).get(code.co_name)), FunctionType) else code.co_consts
        for part in (p for p in parts if isinstance(p, CodeType)):
            function = _function(module, part.co_qualname)
            if function:
                function.__code__ = part
    forget()


def _function(module: ModuleType, qualified: str) -> FunctionType | None:
    held: object = module
    for name in qualified.split("."):
        held = vars(held).get(name) if hasattr(held, "__dict__") else None
    function = _plain(held)
    return function if isinstance(function, FunctionType) else None


def _plain(held: object) -> object:
    """The function inside a property, a method or a cache."""
    for name in ("fget", "func", "__func__", "__wrapped__"):
        held = getattr(held, name, None) or held
    return held


def forget() -> None:
    """Empties the app's caches."""
    for held in _caches():
        held.cache_clear()


@functools.cache
def _caches() -> "list[functools._lru_cache_wrapper[object]]":
    held = [o for o in gc.get_objects() if isinstance(o, functools._lru_cache_wrapper)]
    return [cache for cache in held if cache.__module__.startswith("app.")]


def take_few_examples(item: pytest.Item) -> None:
    """Lets hypothesis try EXAMPLES examples and not look for a smaller one that fails."""
    test = getattr(item, "obj", None)
    given: hypothesis_settings | None = getattr(test, "_hypothesis_internal_use_settings", None)
    if given is not None:
        few = min(given.max_examples, EXAMPLES)
        phases = (Phase.explicit, Phase.generate)
        quick = hypothesis_settings(given, max_examples=few, phases=phases, deadline=None, database=None)
        test._hypothesis_internal_use_settings = quick  # type: ignore[union-attr]

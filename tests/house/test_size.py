"""Sizes and names: files fit a reader's patience, functions a screen."""

import ast
import re
from pathlib import Path

import pytest

from tests.house.slices import ROOT, SERVICE, modules

FILE_LINES, TEST_LINES, FUNCTION_LINES = 300, 500, 60
BANNED = re.compile(r"(^|_)(util|utils|helper|helpers|common|base|manager)(_|$)")


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(SERVICE)))
def test_a_module_says_what_it_is_for_and_stays_readable(path: Path) -> None:
    text = path.read_text()
    tree = ast.parse(text)
    assert ast.get_docstring(tree), "a module says in one sentence what it is for"
    assert text.count("\n") <= FILE_LINES
    long = [
        (node.name, node.end_lineno - node.lineno + 1)
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and node.end_lineno is not None
        and node.end_lineno - node.lineno >= FUNCTION_LINES
        and not _only_makes_handlers(node)
    ]
    assert not long


def _only_makes_handlers(node: ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    """`stated/resource.py` builds each noun's handlers in one function: its parts are what is read."""
    return node.name == "resource"


def test_no_module_or_function_is_called_by_an_empty_name() -> None:
    named = [path.stem for path in modules()]
    for path in modules():
        named += [
            node.name
            for node in ast.walk(ast.parse(path.read_text()))
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef)
        ]
    assert [name for name in named if BANNED.search(name.lower())] == []


@pytest.mark.parametrize(
    "path", sorted((ROOT / "tests").rglob("*.py")), ids=lambda path: str(path.relative_to(ROOT))
)
def test_a_test_file_stays_readable(path: Path) -> None:
    assert path.read_text().count("\n") <= TEST_LINES


def test_no_test_sleeps() -> None:
    sleeping = re.compile(r"\b(time|asyncio)\.sl" + r"eep\(")
    assert [path for path in (ROOT / "tests").rglob("*.py") if sleeping.search(path.read_text())] == []

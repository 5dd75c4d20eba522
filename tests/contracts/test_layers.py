"""What the layers promise beyond their imports: no SQL in the web, nothing idle in the domain."""

import ast
import re
from collections.abc import Iterator, Mapping

from tests.running import ROOT

Trees = Mapping[str, ast.Module]

PASSED_ON = {"Session", "SQLAlchemyError"}
"""What pages and the API may know of the database: what they pass on, and that it failed."""
MAKES_SQL = {"exec", "execute", "scalars", "scalar", "query", "add", "add_all", "merge", "flush"}
ONLY_TRIED = {
    "static_ratios": "the published formula that the replay of two baths is held against",
    "shelf_lines": "costs from the whole log at once, which the kept ones are held against",
    "disposal_lines": "costs from the whole log at once, which the kept ones are held against",
    "RoomFilter.beliefs": "what the judge asks the filter, besides the rows of pages",
    "from_density_with_baseline": "the reference that water told by a residue is held against",
    "water_that_looks_alike": "the reference that water told by density is held against",
}
"""Public names of the domain that only tests and the judge use, and why they stay."""


def sql_in(tree: ast.AST) -> Iterator[str]:
    """What builds or runs a statement."""
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith(
            ("sqlalchemy", "sqlmodel")
        ):
            yield from (f"imports {each.name}" for each in node.names if each.name not in PASSED_ON)
        if isinstance(node, ast.Import):
            named = [each.name for each in node.names]
            yield from (
                f"imports {name}" for name in named if name.startswith(("sqlalchemy", "sqlmodel"))
            )
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            held = ast.unparse(node.func.value)
            if node.func.attr in MAKES_SQL and held.rpartition(".")[2] == "session":
                yield f"line {node.lineno}: {held}.{node.func.attr}"


def test_the_search_for_sql_finds_it() -> None:
    for code in (
        "from sqlmodel import Session, select",
        "import sqlalchemy as sa",
        "visit.session.exec(query)",
        "session.execute(text('select 1'))",
    ):
        assert list(sql_in(ast.parse(code))), code
    assert not list(sql_in(ast.parse("from sqlmodel import Session\nqueries.room(visit.session)")))


def test_pages_and_api_make_no_sql(trees: Trees) -> None:
    shell = [name for name in trees if name.startswith(("app.web.", "app.api."))]
    assert len(shell) > 100
    assert {name: found for name in shell if (found := list(sql_in(trees[name])))} == {}


def public_names(tree: ast.Module) -> Iterator[str]:
    """Functions, classes and methods that others may use, `Class.method` for the latter."""
    kinds = (ast.FunctionDef, ast.ClassDef)
    for node in tree.body:
        if isinstance(node, kinds) and not node.name.startswith("_"):
            yield node.name
            methods = [each for each in node.body if isinstance(each, ast.FunctionDef)]
            yield from (f"{node.name}.{m.name}" for m in methods if not m.name.startswith("_"))


def used_names(trees: list[ast.Module]) -> set[str]:
    """Every name that is read, and every attribute; what is imported under another name too."""
    found: set[str] = set()
    for tree in trees:
        for node in ast.walk(tree):
            if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
                found.add(node.id)
            elif isinstance(node, ast.Attribute):
                found.add(node.attr)
            elif isinstance(node, ast.ImportFrom):
                found |= {each.name for each in node.names if each.asname}
    return found


def idle(trees: Trees) -> set[str]:
    """Public names of the domain that nothing in the program names, its templates included."""
    pages = " ".join(path.read_text("utf-8") for path in (ROOT / "templates").rglob("*.html"))
    used = used_names(list(trees.values())) | set(re.findall(r"\w+", pages))
    domain = [tree for name, tree in trees.items() if name.startswith("app.domain.")]
    named = {name for tree in domain for name in public_names(tree)}
    return {name for name in named if name.rpartition(".")[2] not in used}


def test_the_search_for_idle_names_finds_them() -> None:
    tree = ast.parse("class A:\n    def b(self): ...\ndef c(): ...\ndef _d(): ...\nc()\n")
    assert set(public_names(tree)) == {"A", "A.b", "c"}
    assert used_names([tree]) == {"c"}


def test_nothing_in_the_domain_is_there_for_tests_alone(trees: Trees) -> None:
    assert idle(trees) == set(ONLY_TRIED)

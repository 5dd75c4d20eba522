"""One door into the room log: by the syntax tree of the program, not by good intentions."""

import ast
from collections.abc import Iterator, Mapping

Trees = Mapping[str, ast.Module]

APPENDS, DOOR = "app.services.appending", "app.services.door"
TELL_WHAT_WAS = {
    "bring_in": ["app.services.demo"], "bring_in_slice": ["app.services.importing.storing"],
}  # fmt: skip
"""May bring in a log past the rules, since it tells what was: the demo's history, and an import."""
SETTLES_FOR_ITSELF = (
    "app.services.acts.inspections",
    "app.services.acts.swaps.closing",
    "app.services.acts.swaps.contents",
)
"""Whose acts name rules that they ask in their own way; each is tried in that subject's tests."""


def names_of_entry_table(node: ast.AST) -> bool:
    """It is about the table of entries: `EntryRow`, or a name that stands for its table."""
    return any(
        isinstance(part, ast.Name) and part.id in ("EntryRow", "ENTRIES") for part in ast.walk(node)
    )


def writes(tree: ast.AST) -> Iterator[str]:
    """What inserts into, changes or deletes from the table of entries, or marks a row as void."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            called = ast.unparse(node.func).rpartition(".")[2]
            if called in ("insert", "update", "delete") and any(
                names_of_entry_table(part) for part in (node.func, *node.args)
            ):
                yield f"line {node.lineno}: {called} of entries"
            if called == "EntryRow":
                yield f"line {node.lineno}: a row of its own"
            if any(word.arg == "voided_by" for word in node.keywords) and called != "EntryOut":
                yield f"line {node.lineno}: marks a row as void"
        targets = node.targets if isinstance(node, ast.Assign) else []
        if any(isinstance(one, ast.Attribute) and one.attr == "voided_by" for one in targets):
            yield f"line {node.lineno}: marks a row as void"


def imported(tree: ast.AST) -> Iterator[tuple[str, str]]:
    """Module and name of everything that a module imports from another."""
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module:
            yield from ((node.module, each.name) for each in node.names)
        if isinstance(node, ast.Import):
            yield from ((each.name, "") for each in node.names)


def used_of(tree: ast.AST, module: str) -> set[str]:
    """The names that a module takes from another, be it imported whole or in part."""
    package, _, name = module.rpartition(".")
    found = {what for source, what in imported(tree) if source == module and what}
    if (package, name) in set(imported(tree)):
        found |= {
            node.attr
            for node in ast.walk(tree)
            if isinstance(node, ast.Attribute)
            and isinstance(node.value, ast.Name)
            and node.value.id == name
        }
    return found


def test_the_search_finds_what_it_looks_for() -> None:
    for code in (
        "session.execute(insert(EntryRow), rows)",
        "session.execute(EntryRow.__table__.insert(), rows)",
        "session.execute(update(EntryRow).values(note=''))",
        "session.execute(delete(EntryRow))",
        "session.add(EntryRow(uid='x'))",
        "row.voided_by = 'x'",
        "session.execute(statement.values(voided_by='x'))",
    ):
        assert list(writes(ast.parse(code))), code
    assert not list(writes(ast.parse("select(EntryRow).where(EntryRow.voided_by.is_(None))")))
    assert used_of(ast.parse("from app.services import door\ndoor.bring_in(x)"), DOOR) == {
        "bring_in"
    }


def test_nobody_else_writes_to_the_table_of_entries(trees: Trees) -> None:
    found = {one: list(writes(tree)) for one, tree in trees.items() if one != APPENDS}
    assert {one: lines for one, lines in found.items() if lines} == {}


def test_the_one_that_writes_does_write(trees: Trees) -> None:
    assert len(list(writes(trees[APPENDS]))) >= 3


def test_only_the_door_appends(trees: Trees) -> None:
    users = {one: used_of(tree, APPENDS) for one, tree in trees.items()}
    assert [one for one, used in users.items() if "append" in used] == [DOOR]


def test_only_a_copy_of_a_database_takes_rows_over_as_they_are(trees: Trees) -> None:
    users = [one for one, tree in trees.items() if "append_as_stored" in used_of(tree, APPENDS)]
    assert users == ["app.services.copying"]


def test_only_an_import_and_the_demo_bring_in_what_was(trees: Trees) -> None:
    for way, allowed in TELL_WHAT_WAS.items():
        assert [one for one, tree in trees.items() if way in used_of(tree, DOOR)] == allowed


def test_pages_and_programs_open_no_transaction_of_their_own(trees: Trees) -> None:
    """What they store goes through `door.enter`, or a service that does."""
    ways = {"enter", "Act", "Recorded", "recorded_before", "said"}
    for one, tree in trees.items():
        if not one.startswith(("app.web", "app.api")):
            continue
        assert used_of(tree, DOOR) <= ways, one
        assert used_of(tree, "app.services.transaction") <= {"SubmissionReused"}, one
        assert not used_of(tree, APPENDS), one
        assert "writing" not in used_of(tree, "app.store.sessions"), one
        taken = {ast.unparse(node) for node in ast.walk(tree) if isinstance(node, ast.Attribute)}
        assert not [each for each in taken if each.endswith("store.writer")], one


def test_a_rule_is_passed_over_by_name_only_where_it_is_asked_otherwise(trees: Trees) -> None:
    """`Act` with names of rules that it settles: third in place, or by keyword."""
    users = [
        one
        for one, tree in trees.items()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and ast.unparse(node.func).rpartition(".")[2] == "Act"
        and (len(node.args) > 2 or any(word.arg == "settles" for word in node.keywords))
    ]
    assert sorted(set(users)) == sorted(SETTLES_FOR_ITSELF)

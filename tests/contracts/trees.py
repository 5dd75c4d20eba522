"""The syntax trees of the program, for contracts that read them."""

import ast

from tests.running import ROOT


def trees_of_program() -> dict[str, ast.Module]:
    """The tree of each module, by its dotted name; migrations are as they were once written.

    They take 120 MB, so tests ask for the fixture `trees`, which lets go of them again.
    """
    return {
        ".".join(path.relative_to(ROOT).with_suffix("").parts): ast.parse(path.read_text("utf-8"))
        for path in sorted((ROOT / "app").rglob("*.py"))
        if "migrations" not in path.parts
    }

"""docs/settings.md: the table of all settings, as the program reads and checks them.

`python -m tests.settings_page` writes the table anew.
"""

from app.environment import VARIABLES, Environment, fix_of, is_secret
from tests.running import ROOT

PAGE = ROOT / "docs" / "settings.md"
START, END = "<!-- settings -->\n", "<!-- end -->\n"


def table() -> str:
    """Each setting: its name, what it does, what it is where nothing is set, what it takes."""
    rows = ["| name | what it does | default | takes |", "| --- | --- | --- | --- |"]
    for variable, field in VARIABLES.items():
        found = Environment.model_fields[field]
        said = f"{found.description}{'; secret' if is_secret(field) else ''}"
        default = "" if found.default in (None, ()) else str(found.default)
        fix = fix_of(field).rpartition(". ")[2]
        rows.append(f"| `{variable}` | {said} | {default} | {fix.removesuffix('.')} |")
    return "\n".join(rows) + "\n"


def written(page: str) -> str:
    """The page with the table of today."""
    before, _, rest = page.partition(START)
    _, _, after = rest.partition(END)
    return f"{before}{START}{table()}{END}{after}"


if __name__ == "__main__":
    PAGE.write_text(written(PAGE.read_text("utf-8")), "utf-8")

"""Examples in docstrings give what they say; only files that have some are looked through."""

import doctest
import importlib
import io

import pytest

from tests.running import ROOT

WITH_EXAMPLES = sorted(
    str(path.relative_to(ROOT))
    for path in (ROOT / "app").rglob("*.py")
    if ">>>" in path.read_text("utf-8")
)


@pytest.mark.parametrize("path", WITH_EXAMPLES)
def test_the_examples_of_a_module_give_what_they_say(path: str) -> None:
    module = importlib.import_module(path.removesuffix(".py").replace("/", "."))
    said = io.StringIO()
    runner = doctest.DocTestRunner()
    for example in doctest.DocTestFinder().find(module):
        runner.run(example, out=said.write)
    assert runner.tries > 0
    assert runner.failures == 0, said.getvalue()

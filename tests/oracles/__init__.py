"""What heavy libraries answered, kept in a table; `python3 -m app test --oracles` asks them anew.

A test takes the fixture `ask` and names a function of a library, or one of `questions.py`, with
its arguments. In every run it is given the answer in `answers.jsonl`. With --oracles the library
itself is asked, in an environment of its own, and the test fails where the table says otherwise;
--write writes the table anew.
"""

import hashlib
import json
import math
from collections.abc import Callable
from dataclasses import dataclass, field
from importlib import import_module, metadata
from pathlib import Path
from typing import Any

from tests.oracles import questions

TABLE = Path(__file__).parent / "answers.jsonl"
LONGEST_KEY = 200
NEAR = {"rel_tol": 1e-6, "abs_tol": 1e-12}
"""How far an answer may lie from the kept one: solvers stop a little earlier or later elsewhere."""

Ask = Callable[..., Any]


@dataclass
class Oracles:
    """The table, and the libraries behind it where they are there.

    Attributes:
        rows: question, answer, unit, library and version by the question's key.
        is_live: the libraries are asked.
        asked: the keys that were asked for.
    """

    rows: dict[str, dict[str, Any]]
    is_live: bool = False
    is_written: bool = False
    asked: set[str] = field(default_factory=set)

    def ask(self, question: str, *given: Any, unit: str = "1") -> Any:
        """The answer to a question, as a number or nested lists of numbers.

        Raises:
            AssertionError: the table has no answer, or not the one that the library gives.
        """
        key = key_of(question, given)
        self.asked.add(key)
        if not self.is_live:
            assert key in self.rows, f"{key} was never asked: app test --oracles --write"
            return self.rows[key]["answer"]
        answer = plain(_function(question)(*given))
        if self.is_written:
            self.rows[key] = _row(key, question, answer, unit)
        assert key in self.rows, f"{key} is not in the table: app test --oracles --write"
        kept = self.rows[key]
        assert kept["unit"] == unit, key
        assert is_near(kept["answer"], answer), f"{key}: {kept['answer']} is kept, {answer} said"
        return answer


def read_table() -> dict[str, dict[str, Any]]:
    """The kept answers by their keys."""
    if not TABLE.exists():
        return {}
    rows = [json.loads(line) for line in TABLE.read_text("utf-8").splitlines()]
    return {row["question"]: row for row in rows}


def write_table(rows: dict[str, dict[str, Any]]) -> None:
    """Keep these answers and no others."""
    lines = [json.dumps(rows[key], ensure_ascii=False) for key in sorted(rows)]
    TABLE.write_text("".join(f"{line}\n" for line in lines), "utf-8")


def key_of(question: str, given: tuple[Any, ...]) -> str:
    """A question in words that stay the same; long arguments by their digest."""
    words = json.dumps(plain(given))[1:-1]
    if len(words) > LONGEST_KEY:
        words = f"sha256 {hashlib.sha256(words.encode()).hexdigest()[:16]}"
    return f"{question}({words})"


def plain(value: Any) -> Any:
    """Numbers, words and lists of them."""
    if hasattr(value, "tolist"):
        value = value.tolist()
    if isinstance(value, list | tuple):
        return [plain(one) for one in value]
    if isinstance(value, dict):
        return {name: plain(one) for name, one in value.items()}
    return value


def costs_of(log: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Of an exported log what says costs: the same in every run, whatever else is in it."""
    names = ("kind", "at", "item", "lot", "quantity", "price_cents", "cost_cents", "volume_l")
    return [{name: line[name] for name in names if name in line} for line in log]


def is_near(kept: Any, said: Any) -> bool:
    """Whether two answers are the same but for where a solver stops."""
    if isinstance(kept, list):
        same = isinstance(said, list) and len(kept) == len(said)
        return same and all(is_near(a, b) for a, b in zip(kept, said, strict=True))
    if isinstance(kept, int | float) and isinstance(said, int | float):
        return kept == said or math.isclose(kept, said, **NEAR)
    return bool(kept == said)


def _row(key: str, question: str, answer: Any, unit: str) -> dict[str, Any]:
    library = questions.LIBRARIES.get(question) or question.partition(".")[0]
    version = metadata.version(library)
    return {
        "question": key, "answer": answer, "unit": unit, "library": library, "version": version
    }  # fmt: skip


def _function(question: str) -> Callable[..., Any]:
    if question in questions.LIBRARIES:
        return getattr(questions, question)  # type: ignore[no-any-return]
    parts = question.split(".")
    for length in range(len(parts) - 1, 0, -1):
        try:
            found: Any = import_module(".".join(parts[:length]))
        except ModuleNotFoundError:
            continue
        for name in parts[length:]:
            found = getattr(found, name)
        return found  # type: ignore[no-any-return]
    raise ModuleNotFoundError(question)

"""The benchmark, which needs what the tests need."""

import argparse
import importlib

from app.domain.errors import DomainError


def bench(words: argparse.Namespace) -> int:
    """Run the benchmark with its own words.

    Raises:
        DomainError: the tests' libraries are not installed.
    """
    try:
        benchmark = importlib.import_module("tests.benchmark.__main__")
    except ModuleNotFoundError as error:
        raise DomainError(
            f"The benchmark needs {error.name}, which comes with the tests. "
            "Run this once: python3 -m app test --version"
        ) from None
    code: int = benchmark.main(words.rest)
    return code

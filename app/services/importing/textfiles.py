"""Text files from outside: their size, their encoding, their lines, without trusting any of it."""

import codecs
import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import TextIO

from app.domain.errors import DomainError

LARGEST_FILE_BYTES = 200 * 1024 * 1024
LONGEST_LINE = 100_000
MOST_LINES = 2_000_000
LONGEST_ROW = 1_000_000  # of a table: its cells may hold breaks
DELIMITERS, SAMPLE_LINES = ",;\t|", 20
_BLOCK = 1024 * 1024
_CONTROLS = bytes(set(range(32)) - set(b"\t\n\r\f"))
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


class UnreadableFile(DomainError):
    """The file as a whole cannot be read."""


@dataclass(frozen=True)
class TextFile:
    """A file whose encoding is known.

    Attributes:
        is_guessed: it is not Unicode; Western European letters were assumed.
    """

    path: Path
    encoding: str
    is_guessed: bool = False


def examine(path: Path) -> TextFile:
    """The file with its encoding: Unicode where it is, else Western European (cp1252).

    Raises:
        UnreadableFile: it is not there, empty, too large, or no text.
    """
    try:
        size = path.stat().st_size
        if not path.is_file():
            raise UnreadableFile(f"{path} is not a file.")
        if size > LARGEST_FILE_BYTES:
            most = LARGEST_FILE_BYTES // (1024 * 1024)
            raise UnreadableFile(
                f"The file has {size // (1024 * 1024)} MB; at most {most} MB can be imported at "
                "once. Split it into parts by time and import the oldest first."
            )
        with path.open("rb") as file:
            start = file.read(_BLOCK)
    except OSError as error:
        raise UnreadableFile(f"{path} cannot be read: {error.strerror or error}.") from None
    if not start.strip():
        raise UnreadableFile("The file is empty.")
    return _with_encoding(path, start)


def looks_like_json(file: TextFile) -> bool:
    """Whether the file holds JSON Lines rather than a table."""
    with file.path.open(encoding=file.encoding, errors="replace") as opened:
        return opened.read(1000).lstrip().startswith(("{", "["))


def lines(file: TextFile) -> Iterator[tuple[int, str | None]]:
    """Line numbers from 1 and lines without their break; None for a line that is too long.

    Raises:
        UnreadableFile: the encoding breaks on the way, or there are too many.
    """
    with file.path.open(encoding=file.encoding, errors=_errors(file)) as opened:
        number, text = 0, _next(opened, file)
        while text:
            number += 1
            _require_few(number)
            is_long = len(text.rstrip("\n")) > LONGEST_LINE
            while text and not text.endswith("\n") and len(text) > LONGEST_LINE:
                text = _next(opened, file)
            yield number, None if is_long else text.rstrip("\n")
            text = _next(opened, file)


def rows(file: TextFile) -> Iterator[tuple[int, list[str]]]:
    """Line numbers and cells of a table, with the delimiter that its first lines agree on.

    Raises:
        UnreadableFile: quotes are left open, a cell or a row is too long, or there are too many.
    """
    with file.path.open(encoding=file.encoding, errors=_errors(file), newline="") as opened:
        first, skipped = opened.readline(LONGEST_LINE), 0
        if first.lower().startswith("sep=") and len(first.strip()) == 5:
            delimiter, skipped = first[4], 1
        else:
            delimiter = delimiter_of([first, *islice(_pieces(opened), SAMPLE_LINES)])
            opened.seek(0)
        pieces = _Rows(opened)
        reader = csv.reader(pieces, delimiter=delimiter, strict=True)
        while True:
            pieces.left = LONGEST_ROW
            _require_few(reader.line_num)
            try:
                yield reader.line_num + 1 + skipped, next(reader)
            except StopIteration:
                return
            except (csv.Error, UnicodeError) as error:
                raise UnreadableFile(f"Line {reader.line_num + 1 + skipped}: {error}.") from None


class _Rows:
    """The lines of a table, as long as what they make up together is no longer than a row may be.

    Attributes:
        left: characters that the row may still have.
    """

    def __init__(self, opened: TextIO) -> None:
        self._opened, self.left = opened, LONGEST_ROW

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        text = self._opened.readline(self.left + 1)
        self.left -= len(text)
        if not text:
            raise StopIteration
        if self.left < 0:
            raise csv.Error(f"it has more than {LONGEST_ROW:,} characters")
        return text


def delimiter_of(lines: Sequence[str]) -> str:
    """The character that separates cells: the one that gives the first lines equally many.

    >>> delimiter_of(["Date;Tank;Volume (L, net, at 20 C)", "1/2/26;t1;1,5", "2/2/26;t1;2"])
    ';'
    """

    def score(mark: str) -> tuple[int, int]:
        try:
            counts = [len(next(csv.reader([line], delimiter=mark), [])) for line in lines]
        except csv.Error:
            return 0, 0  # reading it as a table says what is wrong
        same = sum(count == counts[0] for count in counts) if counts[0] > 1 else 0
        return same, counts[0]

    return max(DELIMITERS, key=score)


def _pieces(opened: TextIO) -> Iterator[str]:
    """The next lines, as far as they can be read; reading them as a table says what is wrong."""
    try:
        while text := opened.readline(LONGEST_LINE):
            if text.strip():
                yield text
    except UnicodeError:
        return


def _require_few(line: int) -> None:
    if line > MOST_LINES:
        raise UnreadableFile(
            f"The file has more than {MOST_LINES:,} lines. Split it into parts by time and import "
            "the oldest first."
        )


def _next(opened: TextIO, file: TextFile) -> str:
    try:
        return opened.readline(LONGEST_LINE + 1)
    except UnicodeError:
        raise UnreadableFile(
            f"The file is cut off: its {file.encoding} text ends too early."
        ) from None


def _errors(file: TextFile) -> str:
    return "replace" if file.is_guessed else "strict"


def _with_encoding(path: Path, start: bytes) -> TextFile:
    for mark, name in _MARKS:
        if start.startswith(mark):
            return TextFile(path, name)
    if len(start.translate(None, _CONTROLS)) < 0.99 * len(start):
        raise UnreadableFile("This is not a text file. Choose JSON Lines or a table (CSV).")
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        with path.open("rb") as file:
            while block := file.read(_BLOCK):
                decoder.decode(block)
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return TextFile(path, "cp1252", is_guessed=True)
    return TextFile(path, "utf-8")

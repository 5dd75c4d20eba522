"""The words of the command line and what they mean."""

import argparse
from collections.abc import Sequence
from pathlib import Path

DESCRIPTION = """\
Bathkeeper shows how much resin each wash bath of a print room holds, how sure that is, on which
day each will stop cleaning, and which swap is next.
"""
AFTER = """\
first steps:
  python3 -m app demo                               look around in a made-up room
  python3 -m app serve                              start with an empty room of your own
  python3 -m app import washes.csv --room my-room   bring in a spreadsheet

exit codes: 0 done, 1 refused because of the input or a rule, 2 wrong command line.
COMMAND --help says more about each command.
"""
_Parsers = argparse._SubParsersAction  # the library has no public name for it


def parse(argv: Sequence[str]) -> argparse.Namespace:
    """The words of a command line.

    Raises:
        SystemExit: with 0 after help, with 2 after wrong words; the text is printed.
    """
    parser = argparse.ArgumentParser(
        prog="python3 -m app",
        description=DESCRIPTION,
        epilog=AFTER,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for add in (
        _demo,
        _serve,
        _import,
        _imports,
        _export,
        _rooms,
        _verify,
        _copy,
        _delete_room,
        _backup,
        _restore,
        _doctor,
        _backtest,
        _bench,
        _heic,
        _s3,
        _test,
    ):
        add(commands)
    if list(argv[:1]) == ["bench"]:  # it knows its own words
        return argparse.Namespace(command="bench", rest=list(argv[1:]))
    return parser.parse_args(argv)


def _command(
    commands: "_Parsers[argparse.ArgumentParser]", name: str, short: str, more: str, example: str
) -> argparse.ArgumentParser:
    return commands.add_parser(
        name,
        help=short,
        description=f"{more.strip()}\n",
        epilog=f"example:\n  python3 -m app {example}\n",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )


def _data(parser: argparse.ArgumentParser, default: str) -> None:
    parser.add_argument(
        "--data", type=Path, metavar="DIR", help=f"folder of the database (default: {default})"
    )


def _serving(parser: argparse.ArgumentParser, default: str) -> None:
    parser.add_argument(
        "--host",
        default="127.0.0.1",
        help="address to listen on (default: 127.0.0.1, this machine only; 0.0.0.0 lets tablets on "
        "the network in)",
    )
    parser.add_argument(
        "--port", type=_port, default=8000, help="port (default: 8000; 0 picks any free one)"
    )
    parser.add_argument(
        "--https", action="store_true",
        help="serve with a certificate of this site's own, so that tablets can install it like an "
        "app; /tablets there leads them through it",
    )  # fmt: skip
    _data(parser, default)


def _signing(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--sign-in", choices=("on", "off"),
        help="whether people sign in (default: BATHKEEPER_SIGN_IN, else on where the site has a "
        "manager)",
    )  # fmt: skip
    parser.add_argument(
        "--new-manager", action="store_true",
        help="show a code that makes one more manager, if none can sign in any more",
    )  # fmt: skip


def _demo(commands: "_Parsers[argparse.ArgumentParser]") -> None:
    more = """
Serves a made-up room: six baths, 26 weeks of washes and readings. The first start loads
it. What you enter afterwards is kept. Stop it with Ctrl-C."""
    short = "serve a made-up room, to look around in"
    parser = _command(commands, "demo", short, more, "demo")
    _serving(parser, "data/demo")
    _signing(parser)


def _serve(commands: "_Parsers[argparse.ArgumentParser]") -> None:
    more = """
Serves your own rooms until you stop it with Ctrl-C. The first start begins with an empty
database; open the printed address to set up a room."""
    parser = _command(commands, "serve", "serve your rooms", more, "serve --host 0.0.0.0")
    _serving(parser, "data")
    _signing(parser)


def _import(commands: "_Parsers[argparse.ArgumentParser]") -> None:
    more = """
Brings the log of a room in, from JSON Lines (docs/room-log.md) or from a table (CSV). All of it
is checked first. Nothing is stored unless the whole file is sound, or you have seen the bad lines
and give --skip-bad. Others can keep entering. You can import the file again once it has grown or
was edited: what is new is stored, what changed becomes a correction, the rest is left. If an import
broke off, or you stopped it with Ctrl-C, the same command finishes it."""
    example = """import washes.csv --room my-room --kind wash --time-zone Europe/Dublin --check
  python3 -m app import w.csv --room my-room --column "Bath no=tank" --column "Vol=volume_l:ml"
"""
    parser = _command(commands, "import", "bring in a room log (JSON Lines or CSV)", more, example)
    parser.add_argument("log", type=Path, metavar="LOG", help="the file")
    parser.add_argument("--room", required=True, metavar="NAME", help="name or key of the room")
    parser.add_argument(
        "--create", action="store_true", help="set up the room if it does not exist"
    )
    parser.add_argument("--check", action="store_true", help="only say what would be stored")
    parser.add_argument("--skip-bad", action="store_true", help="leave out lines that do not fit")
    parser.add_argument(
        "--by", default="", metavar="NAME",
        help="who brings it in: a lead, if the file says what only a lead decides",
    )  # fmt: skip
    _table_words(parser)
    _data(parser, "data")


def _table_words(parser: argparse.ArgumentParser) -> None:
    table = parser.add_argument_group("tables (CSV)")
    table.add_argument("--csv", action="store_true", help="a table, whatever the file is called")
    table.add_argument(
        "--column",
        action="append",
        default=[],
        metavar="TITLE=FIELD[:UNIT]",
        help="what a column holds, if its title does not say; may be repeated",
    )
    table.add_argument("--kind", default="", help="kind of all rows, such as wash")
    table.add_argument("--method", default="", help="method of all readings, such as hydrometer")
    table.add_argument(
        "--time-zone", default="", metavar="ZONE", help="zone of the times (default: the room's)"
    )
    order = table.add_mutually_exclusive_group()
    order.add_argument(
        "--day-first", dest="is_day_first", action="store_true", default=None,
        help="03/02/2026 is the third of February",
    )  # fmt: skip
    order.add_argument(
        "--month-first", dest="is_day_first", action="store_false", help="it is the second of March"
    )
    mark = table.add_mutually_exclusive_group()
    mark.add_argument(
        "--decimal-comma", action="store_true", default=None, help="1,500 is one and a half"
    )
    mark.add_argument(
        "--decimal-point", dest="decimal_comma", action="store_false",
        help="1,500 is fifteen hundred",
    )  # fmt: skip


def _imports(commands: "_Parsers[argparse.ArgumentParser]") -> None:
    more = """
Lists a room's imports, each with a number. --undo takes one back: its entries are withdrawn, and
what it changed is restored. Entries that the room's rules protect, or that somebody has corrected
since, stay and are listed."""
    short = "list past imports, or take one back"
    parser = _command(commands, "imports", short, more, "imports my-room --undo 3 --by Wren")
    parser.add_argument("room", metavar="ROOM", help="name or key of the room")
    parser.add_argument("--undo", type=int, metavar="NUMBER", help="take this one back")
    parser.add_argument(
        "--by", default="", metavar="NAME",
        help="who does it: a lead, if the import brought what only a lead decides",
    )  # fmt: skip
    _data(parser, "data")


def _export(commands: "_Parsers[argparse.ArgumentParser]") -> None:
    more = """
Writes a room's whole log, including corrected and withdrawn entries. Importing it into an empty
room gives the same log."""
    parser = _command(commands, "export", "write a room log", more, "export my-room -o room.jsonl")
    parser.add_argument("room", metavar="ROOM", help="name or key of the room")
    parser.add_argument("--csv", action="store_true", help="one table instead of JSON Lines")
    parser.add_argument(
        "-o", "--output", type=Path, metavar="FILE", help="file (default: the screen)"
    )
    _data(parser, "data")


def _rooms(commands: "_Parsers[argparse.ArgumentParser]") -> None:
    more = "Lists the rooms of the database: key, name, number of entries."
    _data(_command(commands, "rooms", "list the rooms", more, "rooms"), "data")


def _verify(commands: "_Parsers[argparse.ArgumentParser]") -> None:
    more = """
Checks the chain of digests of a room's log, or of all logs, and names the first entry that
was changed, removed, inserted or moved. Changes nothing, and can run beside the server. --anchor
checks that the log still contains an end noted earlier: its code is on the page of the log and in
each backup. Exit code 1 if something is wrong."""
    short = "check that nobody changed a log outside the program"
    example = "verify --room my-room --anchor 4711-7KQ2-9XBD-M3TF-0HCH"
    parser = _command(commands, "verify", short, more, example)
    parser.add_argument("--room", metavar="NAME", help="name or key of the room (default: all)")
    parser.add_argument("--anchor", metavar="CODE", help="a code that was noted earlier")
    _data(parser, "data")


def _copy(commands: "_Parsers[argparse.ArgumentParser]") -> None:
    more = """
Copies a room, or all, into another database: from SQLite to PostgreSQL, or back. FROM and TO are
each a data folder (SQLite) or the address of a PostgreSQL database. Each room comes whole or not
at all: its entries are checked one by one against the chain of digests, and its photos against
theirs. A room that is there already is left alone. Accounts are not copied. Stop the server first:
what is entered while the copy is made stays behind."""
    example = (
        "copy --from data --to postgresql+psycopg://bathkeeper@db-host/bathkeeper --room my-room"
    )
    parser = _command(commands, "copy", "copy rooms to another database", more, example)
    parser.add_argument("--from", dest="source", required=True, metavar="DIR|URL",
                        help="where the rooms are")  # fmt: skip
    parser.add_argument("--to", dest="target", required=True, metavar="DIR|URL",
                        help="where they go")  # fmt: skip
    parser.add_argument("--room", metavar="NAME", help="name or key of the room (default: all)")
    parser.add_argument(
        "--photos", metavar="DIR|URL",
        help="data folder, or object storage (s3://bucket/folder), with the photos of a PostgreSQL "
        "database (default: BATHKEEPER_PHOTOS, else data)",
    )  # fmt: skip


def _delete_room(commands: "_Parsers[argparse.ArgumentParser]") -> None:
    more = """
Deletes an archived room for good: its log, figures, drafts and photos. Writes the log to a file
first. Other rooms stay as they are; the list of rooms keeps who deleted it and when, how many
entries it had, and the anchor of its end. On SQLite, stop the server first. Backups keep it."""
    example = 'delete --room old-room --name "Old room" --by Ada --output old-room.jsonl'
    parser = _command(commands, "delete", "delete an archived room for good", more, example)
    parser.add_argument("--room", required=True, metavar="KEY", help="name or key of the room")
    parser.add_argument("--name", required=True, metavar="NAME", help="its name, typed in full")
    parser.add_argument("--by", required=True, metavar="NAME", help="who deletes it: a manager")
    parser.add_argument("--output", type=Path, metavar="FILE", help="where its log is written to")
    parser.add_argument("--without-export", action="store_true", help="you already have its log")
    _data(parser, "data")


def _backup(commands: "_Parsers[argparse.ArgumentParser]") -> None:
    more = """
Takes a backup of all rooms and their photos while people work, and test-restores it. It keeps all
backups of two weeks, then one per week for two months, then one per month for a year. To take them
on schedule, set BATHKEEPER_BACKUPS to a folder and BATHKEEPER_BACKUP_HOURS to the hours between."""
    parser = _command(commands, "backup", "take a backup", more, "backup --to /mnt/other-disk")
    parser.add_argument(
        "--to", type=Path, metavar="DIR", help="folder of the backups (default: DATA/backups)"
    )
    _data(parser, "data")


def _restore(commands: "_Parsers[argparse.ArgumentParser]") -> None:
    more = """
Restores a backup into a data folder. A folder with data is left alone unless you add --replace.
Then what is there is moved into a folder beside it, never deleted."""
    example = "restore backups/bathkeeper-20260302T074000Z --data new"
    parser = _command(commands, "restore", "bring a backup back", more, example)
    parser.add_argument("backup", type=Path, metavar="BACKUP", help="the folder of the backup")
    parser.add_argument("--replace", action="store_true", help="move what is there aside")
    _data(parser, "data")


def _doctor(commands: "_Parsers[argparse.ArgumentParser]") -> None:
    more = """
Checks and says in words what is wrong: the data folder and its disk, the database, the clock,
stopped imports, photos against their digests and the log, backups. Changes nothing, and can run
beside the server. Exit code 1 if something is wrong."""
    _data(_command(commands, "doctor", "say what is wrong", more, "doctor"), "data")


def _backtest(commands: "_Parsers[argparse.ArgumentParser]") -> None:
    more = """
Replays a log as the program would have seen it. At each instant it knows what had been entered
by then, and nothing later. Prints a line of JSON for each tank after each reading and
swap and at each midnight up to two weeks after an entry, or at the instants of --at. Times
inside TIMES.json are ISO 8601 texts with an offset, in a list."""
    parser = _command(
        commands, "backtest", "compare past estimates and forecasts with what happened", more,
        "backtest room.jsonl --summary --zone Europe/Dublin",
    )  # fmt: skip
    parser.add_argument("log", type=Path, metavar="LOG", help="room log as JSON Lines")
    parser.add_argument("--at", type=Path, metavar="TIMES.json", help="instants to report at")
    parser.add_argument("--summary", action="store_true", help="say in words how good they were")
    parser.add_argument(
        "--zone", default="UTC", help="zone of midnights and weekdays (default: UTC)"
    )
    parser.add_argument("--skip-bad", action="store_true", help="leave out lines that do not fit")


def _bench(commands: "_Parsers[argparse.ArgumentParser]") -> None:
    more = "Measures speed and accuracy on this machine; bench --help says what can be left out."
    _command(commands, "bench", "measure speed and accuracy here", more, "bench pages")


def _test(commands: "_Parsers[argparse.ArgumentParser]") -> None:
    more = "Sets up what the tests need and runs them all; anything further goes to pytest."
    _command(commands, "test", "run the tests", more, "test tests/domain")


def _heic(commands: "_Parsers[argparse.ArgumentParser]") -> None:
    more = "Adds the decoder for HEIC photos, which has its own licences, to the set-up."
    _command(commands, "heic", "accept HEIC photos too", more, "heic")


def _s3(commands: "_Parsers[argparse.ArgumentParser]") -> None:
    more = """
Adds the library for object storage (S3) to the set-up. Then set BATHKEEPER_PHOTOS to
s3://bucket/folder, and BATHKEEPER_PHOTOS_ENDPOINT, _KEY and _SECRET where it needs them."""
    _command(commands, "s3", "keep photos in an object storage", more, "s3")


def _port(text: str) -> int:
    number = int(text)
    if not 0 <= number <= 65535:
        raise ValueError(text)
    return number

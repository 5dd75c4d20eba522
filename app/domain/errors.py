"""The errors a rule can raise. Their text is written for the person at the tank."""

from collections.abc import Sequence


class DomainError(Exception):
    """A rule of the room was broken; the message says what to do."""


class FieldError(DomainError):
    """One entered value does not fit.

    Attributes:
        field: name of the field the message belongs to.
        message: what is wrong and what to do about it.
        rule: name of the rule that says so; empty where the value itself does not fit.
    """

    def __init__(self, field: str, message: str, rule: str = "") -> None:
        super().__init__(f"{field}: {message}")
        self.field = field
        self.message = message
        self.rule = rule


class FieldErrors(DomainError):
    """Several entered values do not fit; each message belongs to one field.

    Attributes:
        place: place of the entry among those given together, from 0; None for one alone.
    """

    def __init__(self, errors: list[FieldError], place: int | None = None) -> None:
        super().__init__("; ".join(str(error) for error in errors))
        self.errors = errors
        self.place = place

    def by_field(self) -> dict[str, str]:
        """The first message of each field."""
        messages: dict[str, str] = {}
        for error in self.errors:
            messages.setdefault(error.field, error.message)
        return messages


class Doubt(str):
    """A question before something is stored: its sentence, with a name and the ways out.

    Attributes:
        name: what an answer names, so that it settles this question and no other.
        ways: what may be done instead, each a sentence.
        answers: what the two answers are called, the one that stores first; empty where they have
            their usual names.
    """

    name: str
    ways: tuple[str, ...]
    answers: tuple[str, ...]

    def __new__(
        cls, message: str, name: str, ways: Sequence[str] = (), answers: Sequence[str] = ()
    ) -> "Doubt":
        """A sentence that knows its name."""
        made = super().__new__(cls, message)
        made.name, made.ways, made.answers = name, tuple(ways), tuple(answers)
        return made


class Doubtful(DomainError):
    """What was said is odd; nothing is stored until that is answered.

    Attributes:
        doubts: what is odd, in sentences.
    """

    def __init__(self, doubts: Sequence[str]) -> None:
        super().__init__(" ".join(doubts))
        self.doubts = tuple(doubts)


class NotFound(DomainError):
    """The thing named does not exist in this room."""


class Conflict(DomainError):
    """The request contradicts what is already stored."""


class NotAllowed(DomainError):
    """Whoever is signed in may not do this; the message says who may."""


class LeadNeeded(DomainError):
    """A lead does this, and nobody has said which; where people sign in, their role says it.

    Attributes:
        field: where an entry says who enters it.
        leads: whose word counts.
    """

    field = "by"

    def __init__(self, leads: Sequence[str]) -> None:
        super().__init__(f"Only a lead or manager can do this: {', '.join(leads)}.")
        self.leads = tuple(leads)


class TooSoon(DomainError):
    """After wrong tries the next one is not taken yet.

    Attributes:
        retry_after_s: how long to wait, in seconds.
    """

    def __init__(self, message: str, retry_after_s: int) -> None:
        super().__init__(message)
        self.retry_after_s = retry_after_s


class Unavailable(DomainError):
    """Nothing is wrong with what was asked: the database or a disk cannot do it now.

    Attributes:
        retry_after_s: when it is worth trying again, in seconds.
    """

    retry_after_s = 60


class Busy(Unavailable):
    """Others are being served; a moment later there may be room."""

    retry_after_s = 5


class OutOfSpace(Unavailable):
    """There is no room left to store anything."""

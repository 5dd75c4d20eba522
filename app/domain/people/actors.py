"""Who acts in a request, where a site has its people sign in."""

from dataclasses import dataclass, replace

from app.domain.people.permissions import ROLES, allows


@dataclass(frozen=True)
class Actor:
    """The person who is signed in, or the program that sent a token.

    Attributes:
        name: as it stands under the entries.
        role: one of `ROLES`.
        is_program: it sent a token; it confirms for nobody.
        vouched: others who confirmed this request with their own PIN or password.
    """

    name: str
    role: str
    is_program: bool = False
    vouched: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        if self.role not in ROLES:
            raise ValueError(self.role)

    def may(self, action: str) -> bool:
        """Whether the table of permissions allows it."""
        return allows(self.role, action)

    def with_vouched(self, name: str) -> "Actor":
        """The same, confirmed by one more."""
        return replace(self, vouched=self.vouched | {name})

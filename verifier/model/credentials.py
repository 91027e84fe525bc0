"""Credentials, and the type that keeps them out of everything that is printed or stored."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NoReturn

Auth = Literal["MD5", "SHA", "SHA-224", "SHA-256", "SHA-384", "SHA-512"]
Priv = Literal["DES", "AES-128", "AES-192", "AES-256", "AES-192-R", "AES-256-R"]


class Secret:
    """A key or community. Only `reveal()` gives it; `str`, `repr`, `format` and pickling do not."""

    __slots__ = ("__value",)

    def __init__(self, value: str) -> None:
        self.__value = value

    def reveal(self) -> str:
        """The secret itself: for the library that sends it, and nothing else."""
        return self.__value

    def __repr__(self) -> str:
        return "Secret(***)"

    def __str__(self) -> str:
        return "***"

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Secret) and other.reveal() == self.__value

    def __hash__(self) -> int:
        return hash((Secret, self.__value))

    def __reduce__(self) -> NoReturn:
        raise TypeError("a secret is not stored")


@dataclass(frozen=True, slots=True, kw_only=True)
class SnmpEntry:
    """One entry `[snmp.NAME]` of the credentials file.

    Attributes:
        version: "1" and "2c" need `community`; "3" needs `user`.
        auth, priv: the algorithms used if `auth_key`, `priv_key` are given.
        port: UDP port of the agent.
    """

    name: str
    version: Literal["1", "2c", "3"]
    community: Secret | None = None
    user: str | None = None
    auth: Auth = "SHA-256"
    auth_key: Secret | None = None
    priv: Priv = "AES-128"
    priv_key: Secret | None = None
    port: int = 161

    @property
    def level(self) -> Literal["noAuthNoPriv", "authNoPriv", "authPriv"]:
        """Security level by the keys that are given (RFC 3411 3.4.3)."""
        if self.auth_key is None:
            return "noAuthNoPriv"
        return "authNoPriv" if self.priv_key is None else "authPriv"

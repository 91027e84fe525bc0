"""Addresses as the plan writes them: one host, a host with its prefix, a MAC."""

from __future__ import annotations

import functools
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol, Self

if TYPE_CHECKING:
    from pydantic_core import CoreSchema

import netaddr

_OCTETS = re.compile(r"\d{1,10}(\.\d{1,10}){3}")


def _leading_zero(text: str) -> str | None:
    """Returns both readings of a dotted quad with a leading zero, or None."""
    if not _OCTETS.fullmatch(text):
        return None
    octets = text.split(".")
    zeros = [o for o in octets if len(o) > 1 and o.startswith("0")]
    if not zeros:
        return None
    decimal = ".".join(str(int(o)) for o in octets)
    message = f"{text} has a leading zero: {decimal} if meant as decimal"
    if all(set(o) <= set("01234567") for o in zeros):
        octal = ".".join(str(int(o, 8)) if o in zeros else o for o in octets)
        message += f", {octal} if read as octal"
    return message + "; write it without the zero"


@dataclass(frozen=True, slots=True)
class Address:
    """One IPv4 or IPv6 host address; an IPv6 zone (`fe80::1%eth0`) is kept beside it (RFC 4007)."""

    ip: netaddr.IPAddress
    zone: str = ""

    @classmethod
    def parse(cls, text: str) -> Address:
        """Reads strict dotted-quad or RFC 4291 text. Raises ValueError with a plain message."""
        return _parse_address(text.strip())

    @property
    def version(self) -> int:
        """4 or 6."""
        return int(self.ip.version)

    @property
    def is_v4(self) -> bool:
        """Whether it is an IPv4 address."""
        return bool(self.ip.version == 4)  # noqa: PLR2004

    @property
    def bits(self) -> int:
        """Length of an address of this family: 32 or 128."""
        return 32 if self.is_v4 else 128

    @property
    def value(self) -> int:
        """The address as a number."""
        return int(self.ip)

    @property
    def is_loopback(self) -> bool:
        """127.0.0.0/8 or ::1 (RFC 1122 3.2.1.3, RFC 4291 2.5.3)."""
        return bool(self.ip.is_loopback())

    @property
    def is_link_local(self) -> bool:
        """169.254.0.0/16 or fe80::/10 (RFC 3927, RFC 4291 2.5.6)."""
        return bool(self.ip.is_link_local())

    def __str__(self) -> str:
        return f"{self.ip}%{self.zone}" if self.zone else str(self.ip)

    @classmethod
    def __get_pydantic_core_schema__(cls, source: object, handler: object) -> CoreSchema:
        return as_text(cls, "203.0.113.10")


@functools.lru_cache(maxsize=65536)
def _parse_address(text: str) -> Address:
    host, _, zone = text.partition("%")
    if (zeros := _leading_zero(host)) is not None:
        raise ValueError(zeros)
    try:
        ip = netaddr.IPAddress(host, flags=netaddr.INET_PTON)
    except (netaddr.AddrFormatError, ValueError, TypeError):
        raise ValueError(f"{text!r} is not an IPv4 or IPv6 address") from None
    if zone and ip.version == 4:  # noqa: PLR2004
        raise ValueError(f"{text!r}: an IPv4 address has no zone")
    return Address(ip, zone)


def prefix_of_mask(mask: str) -> int:
    """Returns the prefix length of a dotted mask (RFC 1878) or of a plain number of bits.

    Raises ValueError where the mask is not one run of ones (RFC 4632 5.1).
    """
    text = mask.strip().removeprefix("/")
    if text.isascii() and text.isdigit() and len(text) <= 3:  # noqa: PLR2004
        return int(text)
    address = Address.parse(text)
    if not address.is_v4 or not address.ip.is_netmask():
        raise ValueError(f"{mask!r} is not a mask: the ones must come first and be together")
    return int(address.ip.netmask_bits())


@dataclass(frozen=True, slots=True)
class Interface:
    """A host address with the length of its subnet's prefix: `198.18.20.11/24`."""

    address: Address
    prefix: int

    @classmethod
    def parse(cls, text: str) -> Interface:
        """Reads `address/prefix` or `address/mask`. Raises ValueError with a plain message."""
        host, slash, length = text.strip().partition("/")
        if not slash:
            raise ValueError(f"{text!r} has no prefix length: write {host}/24 or the like")
        address = Address.parse(host)
        return cls.of(address, prefix_of_mask(length))

    @classmethod
    def of(cls, address: Address, prefix: int) -> Interface:
        """Joins an address and a prefix length. Raises ValueError if the length is impossible."""
        if not 0 <= prefix <= address.bits:
            raise ValueError(f"/{prefix} is not a prefix length of {address}: 0 to {address.bits}")
        return cls(address, prefix)

    @property
    def version(self) -> int:
        """4 or 6."""
        return self.address.version

    @property
    def first(self) -> int:
        """Number of the subnet's first address."""
        host_bits = self.address.bits - self.prefix
        return self.address.value >> host_bits << host_bits

    @property
    def last(self) -> int:
        """Number of the subnet's last address."""
        return self.first | ((1 << (self.address.bits - self.prefix)) - 1)

    @property
    def mask(self) -> str:
        """The mask in dotted form; for IPv6 in address form."""
        return str(netaddr.IPNetwork(f"{self.address.ip}/{self.prefix}").netmask)

    @property
    def subnet(self) -> str:
        """The subnet the address lies in: `198.18.20.0/24`."""
        return f"{netaddr.IPAddress(self.first, self.address.ip.version)}/{self.prefix}"

    def holds(self, address: Address) -> bool:
        """Whether `address` lies in this subnet (same family, prefix bits equal)."""
        own, other = self.address.ip, address.ip
        host_bits = self.address.bits - self.prefix
        return own.version == other.version and int(own) >> host_bits == int(other) >> host_bits

    def __str__(self) -> str:
        return f"{self.address}/{self.prefix}"

    @classmethod
    def __get_pydantic_core_schema__(cls, source: object, handler: object) -> CoreSchema:
        return as_text(cls, "198.18.20.11/24")


@dataclass(frozen=True, slots=True)
class Mac:
    """An IEEE 802 48-bit address, in lower case with colons."""

    text: str

    @classmethod
    def parse(cls, text: str) -> Mac:
        """Reads the usual writings (colons, hyphens, dots, none). Raises ValueError."""
        try:
            mac = netaddr.EUI(text.strip(), version=48, dialect=netaddr.mac_unix_expanded)
        except (netaddr.AddrFormatError, ValueError, TypeError):
            raise ValueError(f"{text!r} is not a MAC address: six octets are expected") from None
        return cls(str(mac))

    def __str__(self) -> str:
        return self.text

    @classmethod
    def __get_pydantic_core_schema__(cls, source: object, handler: object) -> CoreSchema:
        return as_text(cls, "02:00:5e:10:00:01")


class Parsed(Protocol):
    """A value that is written as text."""

    @classmethod
    def parse(cls, text: str) -> Self:
        """Reads it. Raises ValueError."""


def as_text(cls: type[Parsed], example: str) -> CoreSchema:
    """The pydantic form of a `cls` that is written as text; pydantic is loaded only when asked."""
    from pydantic_core import core_schema  # noqa: PLC0415

    return core_schema.no_info_after_validator_function(
        lambda value: value if isinstance(value, cls) else cls.parse(value),
        core_schema.str_schema(metadata={"pydantic_js_extra": {"examples": [example]}}),
        serialization=core_schema.plain_serializer_function_ser_schema(str),
    )

"""Where a request comes from: the other end, or what a proxy that is believed says of it."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address, ip_network
from typing import NamedTuple

from advisor.errors import QuestionError

__all__ = ["LOCAL", "Address", "Addresses", "is_loopback", "names_loopback"]

IP = IPv4Address | IPv6Address
HOPS = 20
"""Entries of `X-Forwarded-For` that are looked at."""
LONGEST_HOST = 260


class Address(NamedTuple):
    """An address: as shown, as counted (IPv6 by its network of 64 bits), whether it is this machine."""

    shown: str
    group: str
    local: bool


LOCAL = Address("local", "local", True)
"""The other end of a socket that has no address: a file socket, or no socket at all."""


class Addresses:
    """Finds the address behind the proxies that are believed. Errors: ``QuestionError`` for a proxy that is none."""

    def __init__(self, proxies: Sequence[str]) -> None:
        self.networks: tuple[IPv4Network | IPv6Network, ...] = tuple(map(_network, proxies))
        self._believed = lru_cache(4_096)(self._believes)

    def _believes(self, host: str) -> bool:
        found = _read(host)
        return found is not None and any(found in network for network in self.networks)

    def believed(self, client: Sequence[object] | None) -> bool:
        """Whether the other end is a proxy that is believed."""
        return bool(self.networks) and client is not None and self._believed(str(client[0]))

    def of(self, client: Sequence[object] | None, forwarded: Sequence[bytes] = ()) -> Address:
        """The address of a caller: the rightmost of `X-Forwarded-For` that is no proxy of ours.

        What stands left of it, or of an entry that is no address, anybody may have written.
        """
        if client is None:
            return LOCAL
        host = str(client[0])
        if not forwarded or not self.believed(client):
            return _address(host)
        for entry in reversed(b",".join(forwarded).decode("latin-1").split(",")[-HOPS:]):
            one = _bare(entry.strip()).partition("%")[0]
            if _read(one) is None:
                break
            host = one
            if not self._believed(one):
                break
        return _address(host)


@lru_cache(4_096)
def _address(host: str) -> Address:
    found = _read(host)
    if found is None:
        return LOCAL
    group = str(found) if isinstance(found, IPv4Address) else str(ip_network((found, 64), strict=False))
    return Address(str(found), group, found.is_loopback)


def _read(host: str) -> IP | None:
    """The address; one of IPv4 in the clothes of IPv6 counts as what it is."""
    try:
        found = ip_address(host.partition("%")[0])
    except ValueError:
        return None
    return found.ipv4_mapped or found if isinstance(found, IPv6Address) else found


def _bare(text: str) -> str:
    """An address without its port: `[2001:db8::1]:443`, `192.0.2.1:443`."""
    if text.startswith("["):
        return text[1:].partition("]")[0]
    return text.partition(":")[0] if text.count(":") == 1 else text


def _network(text: str) -> IPv4Network | IPv6Network:
    try:
        return ip_network(text)
    except ValueError as error:
        raise QuestionError(
            "value-invalid", f"`ADVISOR_PROXIES` has `{text}`: {error}",
            help="addresses and networks with commas between them: `10.0.0.5, 192.168.0.0/16, fd00::/8`",
        ) from None  # fmt: skip


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach an address to listen on."""
    found = _read(host)
    return host.lower() == "localhost" if found is None else found.is_loopback


def names_loopback(host: bytes) -> bool:
    """Whether `Host` names this machine: a page from elsewhere whose name was pointed here says its own name."""
    return len(host) <= LONGEST_HOST and _names_loopback(host)


@lru_cache(1_024)
def _names_loopback(host: bytes) -> bool:
    return is_loopback(_bare(host.decode("latin-1").strip()))

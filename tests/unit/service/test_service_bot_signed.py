"""Interactions are signed, young and new, or they are refused."""

from __future__ import annotations

import asyncio
import hashlib

import pytest
from nacl.signing import SigningKey

from advisor.errors import AdvisorError, QuestionError
from advisor.service.bot.signed import WINDOW, Seen, Signed, public_key, verify
from tests.unit.service.platform_stand_in import KEY, PUBLIC

VECTORS = [
    ("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60", b"",
     "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe"
     "24655141438e7a100b", "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"),
    ("", bytes.fromhex("72"),
     "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302ae"
     "eb00d291612bb0c00", "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c"),
    ("", bytes.fromhex("af82"),
     "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28"
     "dc027beceea1ec40a", "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025"),
    ("833fe62409237b9d62ec77587520911e9a759cec1d19755b7da901b96dca3d42", hashlib.sha512(b"abc").digest(),
     "dc2a4459e7369633a52b1bf277839a00201009a3efbf3ecb69bea2186c26b58909351fc9ac90b3ecfdfbc7c66431e0303dca179c138ac17a"
     "d9bef1177331a704", ""),
]  # fmt: skip
"""RFC 8032, 7.1: tests 1, 2, 3 and SHA(abc); the public key, or the secret one that it follows from."""


@pytest.mark.parametrize(("secret", "message", "signature", "public"), VECTORS)
def test_signatures_of_the_standard_hold_and_altered_ones_do_not(
    secret: str, message: bytes, signature: str, public: str
) -> None:
    key = bytes.fromhex(public) if public else SigningKey(bytes.fromhex(secret)).verify_key.encode()
    raw = bytes.fromhex(signature)
    assert verify(key, message, raw)
    assert not verify(key, message + b"\0", raw)
    assert not verify(key, message, bytes([raw[0] ^ 1]) + raw[1:])
    assert not verify(bytes([key[0] ^ 1]) + key[1:], message, raw)
    assert not verify(key, message, raw[:-1])
    # The same signature with the group's order added to its scalar (5.1.7 asks to refuse it).
    order = 2**252 + 27742317777372353535851937790883648493
    scalar = int.from_bytes(raw[32:], "little") + order
    assert not verify(key, message, raw[:32] + scalar.to_bytes(32, "little"))


def check(guard: Signed, signature: str | None, stamp: str | None, body: bytes = b"{}") -> str:
    try:
        asyncio.run(guard.check(signature, stamp, body))
    except AdvisorError as error:
        assert error.code == "signature-invalid"
        return error.message
    return ""


def sign(stamp: int, body: bytes = b"{}") -> str:
    return KEY.sign(str(stamp).encode() + body).signature.hex()


def test_only_a_signed_young_interaction_is_let_in_and_once() -> None:
    now = 1_000_000
    guard = Signed(public_key(PUBLIC), Seen(), clock=lambda: now)
    good = sign(now)
    for bad in (None, "", good[:-2], good + "00", "g" * 128, " " + good[1:], "\u0661" * 128):
        assert "128 hexadecimal digits" in check(guard, bad, str(now))
    for bad in (None, "", "-5", "1e6", "\u0661", "1" * 13):
        assert "seconds since 1970" in check(guard, good, bad)
    assert "not by" in check(guard, good, str(now), b"{} ")
    assert "not by" in check(guard, good, str(now + 1))
    for age in (WINDOW + 1, -WINDOW - 1):
        assert "old" in check(guard, sign(now - age), str(now - age))
    for age in (WINDOW, -WINDOW):
        assert not check(guard, sign(now - age), str(now - age))
    assert not check(guard, good, str(now))
    assert "before" in check(guard, good, str(now))
    assert "before" in check(guard, good.upper(), str(now))


def test_remembered_signatures_are_bounded_and_what_was_forgotten_is_refused() -> None:
    seen = Seen(most=3)

    async def first(number: int, stamp: int, now: int) -> bool:
        return await seen.first(number.to_bytes(64, "big"), stamp, now)

    async def run() -> None:
        assert [await first(n, 100 + n, 100) for n in range(4)] == [True] * 4
        assert len(seen._known) == len(seen._order) == 3
        assert not await first(0, 100, 100), "forgotten for want of room, and still refused"
        assert not await first(3, 103, 100)
        assert await first(9, 104, 100)
        # Past the window all are forgotten, as their age refuses them by itself.
        assert await first(10, 1_000, 1_000)
        assert len(seen._known) == 1

    asyncio.run(run())


@pytest.mark.parametrize("text", ["", "ab", "g" * 64, PUBLIC + "00", "\n" + PUBLIC])
def test_a_public_key_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(QuestionError, match="ADVISOR_DISCORD_PUBLIC_KEY") as refused:
        public_key(text)
    assert "64 hexadecimal digits" in refused.value.help

"""The parts of access each by itself: keys, rates, addresses, origins, signatures."""

from __future__ import annotations

import hashlib
import hmac
import random
import time

import pytest

from advisor.errors import QuestionError
from advisor.service.access.addresses import Addresses, is_loopback, names_loopback
from advisor.service.access.caller import AccessError
from advisor.service.access.keys import hash_of, make_key, read_id
from advisor.service.access.origins import Origins
from advisor.service.access.rates import Limit, Rates
from advisor.service.access.signatures import check_signature, sign

KEY = make_key()[1]


def test_keys_are_random_and_read_back() -> None:
    made = [make_key() for _ in range(200)]
    assert len({id for id, _ in made}) == len({text[15:] for _, text in made}) == 200
    for id, text in made:
        assert read_id(text) == id
        assert len(text.removeprefix(f"sak_{id}_")) == 43  # 32 bytes
        assert text not in hash_of(text) and len(hash_of(text)) == 64


@pytest.mark.parametrize(
    "text",
    ["", "sak_", KEY[:-1], KEY + "x", KEY + "\n", KEY.upper(), " " + KEY, KEY[:20] + "\x00" + KEY[21:], "x" * 100_000,
     "sak_" + "1" * 10 + KEY[14:], KEY[:-1] + "\u00e9"],
    ids=lambda text: str(len(text)),  # a key is another one in each process
)  # fmt: skip
def test_what_is_no_key_has_no_id(text: str) -> None:
    assert read_id(text) is None


class Clock:
    now = 1_000.0

    def __call__(self) -> float:
        return self.now


def test_a_rate_gives_a_minute_at_once_and_an_even_pace_after() -> None:
    clock = Clock()
    rates = Rates(clock=clock)
    limit = Limit("key", "a", 6)
    first = rates.take(limit)
    assert (first.left, first.reset, first.wait) == (5, 10, 0)
    assert [rates.take(limit).left for _ in range(5)] == [4, 3, 2, 1, 0]
    refused = [rates.take(limit) for _ in range(3)][-1]
    assert (refused.allowed, refused.left, refused.reset, refused.wait) == (False, 0, 60, 10)
    assert rates.take(Limit("key", "b", 6)).allowed
    clock.now += 9.9
    assert not rates.take(limit).allowed and rates.take(limit).wait == 1
    clock.now += 0.1
    assert rates.look(limit).allowed and rates.take(limit).allowed and not rates.take(limit).allowed
    clock.now += 600
    assert [rates.take(limit).left for _ in range(2)] == [5, 4]


def test_waiting_as_long_as_told_is_enough_and_no_span_gives_more_than_it_may() -> None:
    draw, clock = random.Random(7), Clock()
    for quota in (1, 7, 60, 601, 10_000_000):
        rates, limit, times = Rates(clock=clock), Limit("key", "a", quota), []
        for _ in range(400):
            found = rates.take(limit)
            if found.allowed:
                times.append(clock.now)
            else:
                assert 1 <= found.wait <= 60
                clock.now += found.wait
                assert rates.take(limit).allowed
                times.append(clock.now)
            clock.now += draw.random() * 30 / quota
        for i, begin in enumerate(times):
            for j in range(i, len(times), 37):
                assert j - i + 1 <= quota + (times[j] - begin) * quota / 60 + 1.01


def test_rates_forget_who_was_not_seen_for_longest() -> None:
    rates = Rates(most=10)
    given = 0
    for i in range(50):
        rates.take(Limit("address", str(i), 1))
        given += rates.take(Limit("address", "busy", 1)).allowed
    assert (len(rates), given) == (10, 1)
    assert not rates.look(Limit("address", "busy", 1)).allowed
    assert rates.look(Limit("address", "3", 1)).allowed


def group(addresses: Addresses, client: str, *forwarded: bytes) -> str:
    return addresses.of((client, 1), forwarded).group


def test_forwarded_addresses_count_only_from_proxies_that_are_believed() -> None:
    none, some = Addresses(()), Addresses(("10.0.0.0/8", "127.0.0.1", "fd00::/8"))
    assert group(none, "127.0.0.1", b"203.0.113.9") == "127.0.0.1"
    assert group(some, "192.0.2.1", b"203.0.113.9") == "192.0.2.1"
    assert group(some, "127.0.0.1", b"203.0.113.9") == "203.0.113.9"
    assert group(some, "::ffff:10.1.1.1", b"203.0.113.9:4711") == "203.0.113.9"
    # What the client wrote itself stands on the left.
    assert group(some, "10.0.0.1", b"127.0.0.1, 1.1.1.1, 203.0.113.9, 10.0.0.2") == "203.0.113.9"
    assert group(some, "10.0.0.1", b"1.1.1.1", b"203.0.113.9, fd00::7") == "203.0.113.9"
    assert group(some, "10.0.0.1", b"1.1.1.1, nonsense") == "10.0.0.1"
    assert group(some, "10.0.0.1", b"1.1.1.1, unknown, 10.0.0.2") == "10.0.0.2"
    assert group(some, "10.0.0.1", b"10.0.0.3, 10.0.0.2") == "10.0.0.3"
    assert group(some, "10.0.0.1", b"", b",,,") == "10.0.0.1"
    assert group(some, "10.0.0.1", b"6.6.6.6," + b"10.0.0.9," * 5_000 + b"10.0.0.2") == "10.0.0.9"
    assert not some.of(("10.0.0.1", 1), [b"203.0.113.9"]).local
    assert some.of(("127.0.0.1", 1), [b"127.0.0.1"]).local


def test_addresses_of_one_network_count_together() -> None:
    plain = Addresses(())
    assert group(plain, "2001:db8:1:2::1") == group(plain, "2001:db8:1:2:ffff::9") == "2001:db8:1:2::/64"
    assert group(plain, "2001:db8:1:3::1") != group(plain, "2001:db8:1:2::1")
    assert group(plain, "192.0.2.1") == group(plain, "::ffff:192.0.2.1") != group(plain, "192.0.2.2")
    assert group(plain, "fe80::1%eth0") == "fe80::/64"
    assert group(Addresses(("10.0.0.1",)), "10.0.0.1", b"[2001:db8::7]:443") == "2001:db8::/64"
    assert plain.of(None).local and plain.of(("::1", 1)).local and plain.of(("127.9.9.9", 1)).local


def test_loopback_is_told_from_what_looks_like_it() -> None:
    for host in ("127.0.0.1", "127.255.0.9", "::1", "localhost", "LOCALHOST", "::ffff:127.0.0.1"):
        assert is_loopback(host)
    for host in ("0.0.0.0", "::", "", "192.168.0.1", "localhost.example.com", "127.0.0.1.example.com", "1270.0.0.1"):
        assert not is_loopback(host)
    for name in (b"127.0.0.1:80", b"localhost", b"[::1]:8345", b"localhost:1"):
        assert names_loopback(name)
    for name in (b"", b"example.com", b"localhost.example.com:1", b"127.0.0.1@example.com", b"\xff\x00", b"[::2]:1"):
        assert not names_loopback(name)


@pytest.mark.parametrize("wrong", ["10.0.0.0/33", "proxy", "10.0.0.1/8"])
def test_a_proxy_that_is_none_is_refused(wrong: str) -> None:
    with pytest.raises(QuestionError, match=f"`ADVISOR_PROXIES` has `{wrong}`"):
        Addresses(("127.0.0.1", wrong))


@pytest.mark.parametrize("wrong", ["example.com", "https://example.com/", "null", "https://*", "HTTPS://EXAMPLE.COM"])
def test_an_origin_that_is_none_is_refused(wrong: str) -> None:
    with pytest.raises(QuestionError, match="`ADVISOR_CORS` has"):
        Origins((wrong,))


# RFC 4231, 4.2 to 4.8, but for the one that is cut short: key, data, HMAC-SHA-256.
VECTORS = [
    (b"\x0b" * 20, b"Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"),
    (b"Jefe", b"what do ya want for nothing?", "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"),
    (b"\xaa" * 20, b"\xdd" * 50, "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"),
    (bytes(range(1, 26)), b"\xcd" * 50, "82558a389a443c0ea4cc819899f2083a85f0faa3e578f8077a2e3ff46729665b"),
    (b"\xaa" * 131, b"Test Using Larger Than Block-Size Key - Hash Key First",
     "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54"),
    (b"\xaa" * 131, b"This is a test using a larger than block-size key and a larger than block-size data. The key "
     b"needs to be hashed before being used by the HMAC algorithm.",
     "9b09ffa71b942fcb27635fbcd5b0e944bfdc63644f0713938a7f51535c3a35e2"),
]  # fmt: skip


@pytest.mark.parametrize(("key", "data", "right"), VECTORS)
def test_the_hash_of_signatures_is_that_of_the_standard(key: bytes, data: bytes, right: str) -> None:
    assert hmac.new(key, data, hashlib.sha256).hexdigest() == right


def test_a_signature_is_the_hmac_of_time_and_body() -> None:
    assert sign("Jefe", 12, b"body") == hmac.new(b"Jefe", b"12.body", hashlib.sha256).hexdigest()


SECRET, BODY, NOW = "a secret of ours", b'{"a": 1}', 1_800_000_000
GOOD = sign(SECRET, NOW, BODY)


def signed(*signatures: str, stamp: str = str(NOW)) -> list[tuple[bytes, bytes]]:
    return [
        (b"x-advisor-timestamp", stamp.encode("latin-1")),
        *((b"x-advisor-signature", s.encode("latin-1")) for s in signatures),
    ]


@pytest.mark.parametrize(
    "given",
    [(f"v1={GOOD}",), (f"v1={GOOD.upper()}",), (f" v1={'0' * 64} , v1={GOOD}",), (f"v1={'0' * 64}", f"v1={GOOD}"),
     (f"v2=later,v1={GOOD}",)],
)  # fmt: skip
def test_signatures_that_hold(given: tuple[str, ...]) -> None:
    for off in (-300, 0, 300):
        assert check_signature(SECRET, signed(*given), BODY, NOW + off) == f"{NOW}.{GOOD}".encode()


OLD = NOW - 301
FORGED = [
    ("another body", signed(f"v1={sign(SECRET, NOW, BODY + b' ')}")),
    ("another secret", signed(f"v1={sign('guess', NOW, BODY)}")),
    ("another time", signed(f"v1={GOOD}", stamp=str(NOW + 1))),
    ("old", signed(f"v1={sign(SECRET, OLD, BODY)}", stamp=str(OLD))),
    ("far ahead", signed(f"v1={sign(SECRET, NOW + 301, BODY)}", stamp=str(NOW + 301))),
    ("no version", signed(GOOD)),
    ("version unknown", signed(f"v2={GOOD}")),
    ("cut", signed(f"v1={GOOD[:-1]}")),
    ("longer", signed(f"v1={GOOD}0")),
    ("empty", signed("")),
    ("none", signed()),
    ("no time", [(b"x-advisor-signature", f"v1={GOOD}".encode())]),
    ("two times", [*signed(f"v1={GOOD}"), (b"x-advisor-timestamp", str(NOW).encode())]),
    ("a time in words", signed(f"v1={GOOD}", stamp="now")),
    ("a negative time", signed(f"v1={GOOD}", stamp=f"-{NOW}")),
    ("a time that is no end", signed(f"v1={GOOD}", stamp="9" * 5_000)),
    ("digits of another script", signed(f"v1={GOOD}", stamp="\xb2\xb3")),
    ("not ascii", signed("v1=\xff" + GOOD[1:])),
    ("too many", signed(",".join([f"v1={'0' * 64}"] * 8 + [f"v1={GOOD}"]))),
]


@pytest.mark.parametrize("headers", [h for _, h in FORGED], ids=[name for name, _ in FORGED])
def test_signatures_that_do_not_hold(headers: list[tuple[bytes, bytes]]) -> None:
    with pytest.raises(AccessError) as caught:
        check_signature(SECRET, headers, BODY, NOW)
    assert caught.value.code == "signature-invalid"
    assert GOOD not in caught.value.message + caught.value.help


def test_signatures_and_keys_are_compared_in_a_time_that_tells_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    from advisor.service.access import keys, known, signatures

    seen: list[tuple[str | bytes, str | bytes]] = []

    def compare(one: str | bytes, other: str | bytes) -> bool:
        seen.append((one, other))
        return False

    monkeypatch.setattr(hmac, "compare_digest", compare)
    with pytest.raises(AccessError):
        signatures.check_signature(SECRET, signed(f"v1={GOOD},v1={GOOD}"), BODY, NOW)
    assert len(seen) == 2
    assert not keys.same("a", "a") and known.same is keys.same


def test_a_body_of_many_megabytes_is_checked_quickly() -> None:
    body = b"x" * 8_000_000
    began = time.process_time()
    check_signature(SECRET, signed(f"v1={sign(SECRET, NOW, body)}"), body, NOW)
    assert time.process_time() - began < 1

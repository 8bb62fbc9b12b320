"""Whether keys are needed, and what has to hold before the service starts."""

from __future__ import annotations

from advisor.errors import QuestionError
from advisor.service.access.addresses import Addresses, is_loopback
from advisor.service.access.origins import Origins
from advisor.service.access.store import KeyStore, valid
from advisor.service.settings import Settings

__all__ = ["check_start", "keys_needed"]


def keys_needed(settings: Settings) -> bool:
    """Whether keys are needed: as set, or when others than this machine can reach the service."""
    return settings.access == "keys" or (settings.access == "auto" and not is_loopback(settings.host))


def check_start(settings: Settings) -> None:
    """Refuse to start where nobody could be let in, and with addresses that are none.

    Errors: ``QuestionError`` when keys are needed, reading too, and the store holds none that is valid; for a proxy or
    an origin that is none; for a store that cannot be opened.
    """
    Addresses(settings.proxies)
    Origins(settings.cors)
    if not keys_needed(settings) or settings.public_read == "yes":
        return
    store = KeyStore(settings.notebook)
    try:
        found = any(valid(record) for record in store.listed())
    finally:
        store.close()
    if not found:
        why = f"`{settings.host}` can be reached by others"
        if settings.access == "keys":
            why = "`ADVISOR_ACCESS` is `keys`"
        raise QuestionError(
            "value-invalid", f"{why}, so keys are needed, and there is none that is valid",
            help="make one with `advisor keys add NAME --scope read --scope live`, or let everybody in with "
            "`ADVISOR_ACCESS=open`",
        )  # fmt: skip

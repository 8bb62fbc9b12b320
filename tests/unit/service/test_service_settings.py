"""Settings from the environment."""

from __future__ import annotations

import os
from pathlib import Path
from typing import get_args

import msgspec
import pytest

from advisor.errors import QuestionError
from advisor.service.settings import Settings, read_settings


def test_nothing_set_gives_the_defaults() -> None:
    assert read_settings({"PATH": "/bin", "ADVISORY": "x", "ADVISOR_PORT": ""}) == Settings()


def test_everything_set() -> None:
    assert read_settings(
        {
            "ADVISOR_HOST": "::1", "ADVISOR_PORT": "0", "ADVISOR_PACKS": os.pathsep.join(["/a", "/b"]),
            "ADVISOR_RULES": "/r", "ADVISOR_DEFAULT_PACK": "p", "ADVISOR_ENGINE": "plain", "ADVISOR_WORKERS": "64",
            "ADVISOR_MAX_BODY": "1024",
        }
    ) == Settings(
        host="::1", port=0, packs=(Path("/a"), Path("/b")), rules=(Path("/r"),), default_pack="p", engine="plain",
        workers=64, max_body=1024,
    )  # fmt: skip


def test_every_setting_can_be_set() -> None:
    for field in msgspec.structs.fields(Settings):
        plain, *meta = get_args(field.type)
        least = next((m.ge for m in meta if m.ge is not None), None)
        words = [w for w in get_args(plain) if isinstance(w, str) and w != field.default]
        text = words[0] if words else "7" if least is None else str(least + (field.default == least))
        changed = read_settings({f"ADVISOR_{field.name.upper()}": text})
        assert getattr(changed, field.name) != field.default, field.name


@pytest.mark.parametrize(
    ("name", "text", "message", "help"),
    [
        ("ADVISOR_PROT", "1", "no setting is called `ADVISOR_PROT`", "did you mean `ADVISOR_PORT`?"),
        ("ADVISOR_PORT", "65536", "`ADVISOR_PORT` is `65536`", "a whole number from 0 to 65535"),
        ("ADVISOR_PORT", "-1", "`ADVISOR_PORT` is `-1`", "a whole number from 0 to 65535"),
        ("ADVISOR_PORT", "http", "`ADVISOR_PORT` is `http`", "a whole number from 0 to 65535"),
        ("ADVISOR_WORKERS", "65", "`ADVISOR_WORKERS` is `65`", "a whole number from 0 to 64"),
        ("ADVISOR_MAX_BODY", "9" * 30, f"`ADVISOR_MAX_BODY` is `{'9' * 30}`", "a whole number from 1024 to 16777216"),
        ("ADVISOR_ENGINE", "fast", "`ADVISOR_ENGINE` is `fast`", "one of auto, durable, plain"),
    ],
)
def test_a_faulty_setting_is_named(name: str, text: str, message: str, help: str) -> None:
    with pytest.raises(QuestionError) as caught:
        read_settings({name: text})
    assert (caught.value.message, caught.value.help) == (message, help)

"""A question in an address: ``?question=<JSON>&form=<json, svg or png>``."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from litestar import Request
from msgspec import UNSET, Meta, Struct, UnsetType

from advisor.errors import AdvisorError, did_you_mean
from advisor.pictures.offers import PNG, SVG
from advisor.service.asking.arriving import joined
from advisor.service.asking.media_types import media_type_of
from advisor.service.problems import ParameterError
from advisor.service.weighing.tasks import Task
from advisor.service.weighing.work import JSON

__all__ = ["PictureQuery", "PlainQuery", "asked_of"]

QUESTION, FORM = "question", "form"
FORMS = {"json": JSON, "svg": SVG, "png": PNG}


class PlainQuery(Struct, kw_only=True, forbid_unknown_fields=True):
    """The form of an answer that has one only."""

    form: Annotated[Literal["json"] | UnsetType, Meta(description="The form of the answer; goes before `Accept`.")] = (
        UNSET
    )


class PictureQuery(Struct, kw_only=True, forbid_unknown_fields=True):
    """The form of an answer that can be drawn."""

    form: Annotated[
        Literal["json", "svg", "png"] | UnsetType, Meta(description="The form of the answer; goes before `Accept`.")
    ] = UNSET


def asked_of(request: Request[Any, Any, Any], task: Task, most: int) -> tuple[bytes, str]:
    """The question as it stands in the address, and the media type of the answer; ``most`` bytes are taken.

    Errors: ``ParameterError`` naming the parameter that is missing, unknown, repeated or not what it should be;
    ``AdvisorError`` ``body-too-large`` and ``not-acceptable``.
    """
    given: dict[str, str] = {}
    for name, text in request.query_params.multi_items():
        if name not in (QUESTION, FORM):
            help = did_you_mean(name, (QUESTION, FORM)) or f"known here: {QUESTION}, {FORM}"
            raise ParameterError("value-invalid", f"`{name}` is not known here", name=name, help=help)
        if name in given:
            raise ParameterError("value-invalid", f"`{name}` is given more than once", name=name, help="give it once")
        given[name] = text
    if not given.get(QUESTION):
        help = f"add `?{QUESTION}=` and the URL-encoded JSON of what is sent with POST"
        raise ParameterError("value-invalid", f"`{QUESTION}` is missing", name=QUESTION, help=help)
    body = given[QUESTION].encode("utf-8", "surrogatepass")
    if len(body) > most:
        raise AdvisorError("body-too-large", f"the question is larger than {most} bytes", help="send it with POST")
    if FORM not in given:
        return body, media_type_of(joined(request.scope, b"accept"), task)
    forms = [name for name, kind in FORMS.items() if kind == JSON or kind in task.pictures]
    if given[FORM] not in forms:
        help = did_you_mean(given[FORM], forms) or f"one of {', '.join(forms)}"
        raise ParameterError("value-invalid", f"`{FORM}` is `{given[FORM]}`", name=FORM, help=help)
    return body, FORMS[given[FORM]]

"""Every operation of the contract, and a little more on top: what is asked for, with its types.

Each function makes the plan that both clients carry out under the function's name. The name is the operation id in
snake case, for studies without the ``study``; a test compares them with the contract.
"""

from __future__ import annotations

from typing import Any, Literal

import msgspec
from msgspec import Struct

from advisor.advice import Advice
from advisor.clients.api.calls import Call, Given, get, json_of, path_of, post, raw
from advisor.facts import Question
from advisor.pictures.offers import PNG, SVG
from advisor.service.jobs.wire import Job, JobPage
from advisor.service.listing.move_form import MoveForm
from advisor.service.listing.moves import Filter
from advisor.service.weighing.tasks import TASKS
from advisor.service.wire import CharacterForm, CharacterPage, Health, MovePage, PackInfo, PackPage
from advisor.studies import STUDIES
from advisor.studies.baits_model import Baits, BaitsRequest
from advisor.studies.beats_answer import Beats, BeatsAnswer
from advisor.studies.coverage import Coverage
from advisor.studies.coverage_answer import CoverageAnswer
from advisor.studies.defence import DefenceRequest
from advisor.studies.defence_answer import DefenceAnswer
from advisor.studies.exposed_answer import Exposed, ExposedAnswer
from advisor.studies.gaps_in_data import LabList, LabListAnswer
from advisor.studies.guess_model import Guess, GuessAnswer
from advisor.studies.parries import Parries, ParriesAnswer
from advisor.studies.replay import Replay
from advisor.studies.replay_answer import ReplayAnswer
from advisor.studies.round_answer import Round, RoundAnswer
from advisor.studies.setups_model import Setups, SetupsRequest
from advisor.studies.strings import StringsRequest
from advisor.studies.strings_answer import StringsAnswer

Form = Literal["svg", "png"]
_FORMS = {"svg": SVG, "png": PNG}


def advise(question: Question | Given) -> Call[Advice]:
    """Ranked responses to a situation."""
    return post("/v1/advice", question, json_of(Advice))


def baits(request: BaitsRequest | Given) -> Call[Baits]:
    """Own moves that invite a reply which an option of mine takes."""
    return post("/v1/baits", request, json_of(Baits))


def beats(request: Beats | Given) -> Call[BeatsAnswer]:
    """What beats an option, over its whole life."""
    return post("/v1/beats", request, json_of(BeatsAnswer))


def coverage(request: Coverage | Given) -> Call[CoverageAnswer]:
    """Which of my options cover which of theirs."""
    return post("/v1/coverage", request, json_of(CoverageAnswer))


def defence(request: DefenceRequest | Given) -> Call[DefenceAnswer]:
    """What defends against most of what they may do."""
    return post("/v1/defence", request, json_of(DefenceAnswer))


def exposed(request: Exposed | Given) -> Call[ExposedAnswer]:
    """What of mine loses, to what, and to whom."""
    return post("/v1/exposed", request, json_of(ExposedAnswer))


def guess(request: Guess | Given) -> Call[GuessAnswer]:
    """How often to do what, where nothing is guaranteed."""
    return post("/v1/guess", request, json_of(GuessAnswer))


def lab_list(request: LabList | Given) -> Call[LabListAnswer]:
    """The properties nobody has recorded that would decide most answers."""
    return post("/v1/lab_list", request, json_of(LabListAnswer))


def parries(request: Parries | Given) -> Call[ParriesAnswer]:
    """What my parries catch."""
    return post("/v1/parries", request, json_of(ParriesAnswer))


def replay(request: Replay | Given) -> Call[ReplayAnswer]:
    """One option against one other, frame by frame."""
    return post("/v1/replay", request, json_of(ReplayAnswer))


def round(request: Round | Given) -> Call[RoundAnswer]:
    """What a situation is worth near the end of a round. It may take long: see ``submit_job``."""
    return post("/v1/round", request, json_of(RoundAnswer))


def setups(request: SetupsRequest | Given) -> Call[Setups]:
    """Sequences of own actions whose last one meets their wake-up options. It may take long: see ``submit_job``."""
    return post("/v1/setups", request, json_of(Setups))


def strings(request: StringsRequest | Given) -> Call[StringsAnswer]:
    """Strings step by step: what jails, where the gap is."""
    return post("/v1/strings", request, json_of(StringsAnswer))


def study(name: str, request: Struct | Given) -> Call[Any]:
    """The answer of the study ``name``, a key of ``advisor.studies.STUDIES``. Errors: ``KeyError`` for a name that is
    none."""
    return post(path_of("v1", name), request, json_of(STUDIES[name].answer))


def submit(task: str, body: bytes) -> Call[bytes]:
    """What is asked of ``task`` (``advice`` or a study) and answered as JSON, both as bytes that nobody here reads."""
    return post(path_of("v1", task), body, raw)


def ask_by_address(task: str, request: Struct | Given) -> Call[Any]:
    """The answer of ``task`` (``advice`` or a study) with the request in the address, where what stands between may
    keep it. Errors: ``KeyError`` for a name that is none."""
    return get(path_of("v1", task), TASKS[task].answer, {"question": msgspec.json.encode(request).decode()})


def picture(name: str, request: Struct | Given, form: Form = "svg") -> Call[bytes]:
    """The answer of the study ``name`` as a picture."""
    return post(path_of("v1", name), request, raw, accept=_FORMS[form])


def list_packs() -> Call[PackPage]:
    """All loaded packs."""
    return get("/v1/packs", PackPage)


def get_pack(pack: str) -> Call[PackInfo]:
    """One pack: its conventions in short."""
    return get(path_of("v1", "packs", pack), PackInfo)


def list_characters(pack: str) -> Call[CharacterPage]:
    """The characters of a pack."""
    return get(path_of("v1", "packs", pack, "characters"), CharacterPage)


def get_character(pack: str, character: str) -> Call[CharacterForm]:
    """One character with the ids of its moves."""
    return get(path_of("v1", "packs", pack, "characters", character), CharacterForm)


def list_moves(pack: str, character: str, wanted: Filter | Given | None = None) -> Call[MovePage]:
    """A page of the moves of a character that meet the bounds of ``wanted``, in its order."""
    query = msgspec.to_builtins(wanted) if isinstance(wanted, Filter) else wanted
    return get(path_of("v1", "packs", pack, "characters", character, "moves"), MovePage, query)


def get_move(pack: str, character: str, move: str) -> Call[MoveForm]:
    """One move or system option in full."""
    return get(path_of("v1", "packs", pack, "characters", character, "moves", move), MoveForm)


def submit_job(study: str, request: Struct | Given) -> Call[Job]:
    """Run the long study ``study`` in the background. It is not sent twice by itself: that would be two jobs."""
    return post("/v1/jobs", {"study": study, "request": request}, json_of(Job), changes=True)


def list_jobs() -> Call[JobPage]:
    """The jobs that are remembered, the oldest first."""
    return get("/v1/jobs", JobPage)


def get_job(job: Job | str) -> Call[Job]:
    """How far a job is."""
    return get(_job(job), Job)


def get_job_answer(job: Job) -> Call[Any]:
    """The answer of a job that is done, of the type of its study; of a failed one its problem is raised."""
    return get(f"{_job(job)}/answer", STUDIES[job.study].answer)


def get_job_picture(job: Job | str, form: Form = "svg") -> Call[bytes]:
    """The answer of a job that is done as a picture."""
    return Call(method="GET", path=f"{_job(job)}/answer", read=raw, accept=_FORMS[form])


def cancel_job(job: Job | str) -> Call[Job]:
    """Cancel a job; one that is over stays as it is."""
    return Call(method="DELETE", path=_job(job), read=json_of(Job))


def _job(job: Job | str) -> str:
    return path_of("v1", "jobs", job if isinstance(job, str) else job.id)


def live() -> Call[Health]:
    """Health: the service is up, and what was lost on the way."""
    return get("/v1/health/live", Health)


__all__ = [
    "Form", "advise", "ask_by_address", "baits", "beats", "cancel_job", "coverage", "defence", "exposed",
    "get_character", "get_job", "get_job_answer", "get_job_picture", "get_move", "get_pack", "guess", "lab_list",
    "list_characters", "list_jobs", "list_moves", "list_packs", "live", "parries", "picture", "replay", "round",
    "setups", "strings", "study", "submit", "submit_job",
]

"""Totals say what a recount of the trials says, whatever was added and corrected, before and after migrations."""

from __future__ import annotations

import random
import subprocess
import sys
from collections import Counter

import msgspec
import pytest

from advisor.advice import TrialRules
from advisor.errors import AdvisorError
from advisor.facts.question import Fighter, Neutral, Question
from advisor.library import bundled_rules
from advisor.notebook import Notebook, Situation, Trial, situation_of
from advisor.notebook.connection import version_of
from advisor.notebook.schema import downgrade, upgrade, versions
from advisor.notebook.tables import VERSION
from advisor.notebook.trial import Side, situation_key
from advisor.notebook.tried import tried_for
from advisor.pack.load import load_pack

PLACES = [
    Situation(pack="p", me=Side(character="a"), them=Side(character="b"), moment=Neutral(), distance=float(i))
    for i in range(3)
]  # fmt: skip
PLAYERS, WINDOWS, REPLIES = (None, "ann", "bo"), (None, 1.0, 2.5), (None, "poke", "guard")


def scribble(notebook: Notebook, rng: random.Random, times: int) -> None:
    """Add trials, correct some (the newest of a chain or, refused, another), and give some keys twice."""
    ids: list[str] = []
    tag = rng.random()
    for number in range(times):
        n = rng.randrange(1, 10)
        given = Trial(
            situation=rng.choice(PLACES), response=rng.choice(("jab", "kick")), reply=rng.choice(REPLIES), tries=n,
            successes=rng.randrange(n + 1), player=rng.choice(PLAYERS), window=rng.choice(WINDOWS),
            key=f"{tag} {number}", corrects=rng.choice(ids) if ids and rng.random() < 0.4 else None,
        )  # fmt: skip
        try:
            ids.append(notebook.add(given).id)
            if rng.random() < 0.2:
                notebook.add(given)
        except AdvisorError as error:
            assert error.code == "trial-corrected"


def check(notebook: Notebook) -> int:
    """The totals against the trials themselves; how many rows there were."""
    counts: dict[str, Counter[tuple[str, str | None, int]]] = {situation_key(place): Counter() for place in PLACES}
    timed: dict[str, Counter[tuple[float, int]]] = {"ann": Counter(), "bo": Counter()}
    for one in notebook.trials(limit=1000).trials:
        for i, number in enumerate((one.successes, one.tries)):
            counts[situation_key(one.situation)][one.response, one.reply, i] += number
            if one.player and one.window:
                timed[one.player][one.window, i] += number
    for key, wanted in counts.items():
        pairs = {(mine, theirs) for mine, theirs, i in wanted}
        assert notebook.counted(key) == {pair: (wanted[*pair, 0], wanted[*pair, 1]) for pair in pairs}
    for player, seen in timed.items():
        assert notebook.timed(player) == [(w, seen[w, 0], seen[w, 1]) for w in sorted({w for w, _ in seen})]
    return sum(len(c) for c in counts.values()) + sum(len(c) for c in timed.values())


def test_totals_are_those_of_a_recount(notebook: Notebook) -> None:
    rng = random.Random(11)
    for _ in range(3):
        scribble(notebook, rng, 25)
        assert check(notebook) > 20


def test_totals_are_filled_from_the_trials_that_are_there(notebook: Notebook) -> None:
    scribble(notebook, random.Random(5), 40)
    downgrade(notebook.engine, "0002")
    upgrade(notebook.engine)
    assert check(notebook) > 20
    scribble(notebook, random.Random(6), 3)
    assert check(notebook) > 20


def test_a_refused_record_leaves_the_totals(notebook: Notebook) -> None:
    first = notebook.add(Trial(situation=PLACES[0], response="jab", successes=1, tries=2))
    notebook.add(msgspec.structs.replace(first, id="", time="", cursor="", key=None, corrects=first.id))
    for corrects in (first.id, "none"):
        with pytest.raises(AdvisorError):
            notebook.add(Trial(situation=PLACES[0], response="jab", successes=1, tries=2, corrects=corrects))
    assert notebook.counted(situation_key(PLACES[0])) == {("jab", None): (1, 2)}


def test_the_revision_moves_with_each_record(notebook: Notebook) -> None:
    given = Trial(situation=PLACES[0], response="jab", successes=1, tries=2, key="k")
    seen = [notebook.revision()]
    first = notebook.add(given)
    seen.append(notebook.revision())
    notebook.add(given)
    assert notebook.revision() == seen[-1] == int(first.cursor)
    notebook.add(msgspec.structs.replace(given, key="l", corrects=first.id))
    seen.append(notebook.revision())
    assert seen[0] == 0 and len(set(seen)) == 3 and seen == sorted(seen)


def test_a_current_notebook_opens_without_what_migrates_it(address: str) -> None:
    with Notebook(address) as notebook:
        assert version_of(notebook.engine) == VERSION == versions()[-1]
    script = (
        "import sys\nfrom advisor.notebook import Notebook\n"
        f"with Notebook({address!r}) as notebook:\n    print(notebook.revision(), 'alembic' in sys.modules)\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout == "0 False\n"


def test_a_question_finds_its_trials(notebook: Notebook) -> None:
    pack = load_pack(bundled_rules() / "packs" / "cold_frame").pack
    question = Question(me=Fighter(character="wenna"), them=Fighter(character="marl"), moment=Neutral(), distance=1.0)
    assert tried_for(notebook, question, pack) is None
    here = situation_of(question, pack)
    for k, window in ((3, 2.0), (7, 4.0)):
        notebook.add(Trial(situation=here, response="putty_jab", successes=k, tries=8, window=window, player="ann"))
    rules = TrialRules(least=5)
    found = tried_for(notebook, question, pack, "show", rules)
    assert found is not None and found.counts == {("putty_jab", None): (10, 16)}
    assert (found.mode, found.rules, found.spread) == ("show", rules, None)
    ann = msgspec.structs.replace(question, player="ann", trials="follow")
    timed = tried_for(notebook, ann, pack, "ignore")
    assert timed is not None and timed.mode == "follow"
    assert timed.spread is not None and timed.spread.tries == 16
    assert tried_for(notebook, msgspec.structs.replace(question, trials="ignore"), pack) is None
    assert tried_for(notebook, msgspec.structs.replace(question, distance=2.0), pack) is None


def test_totals_that_are_remembered_keep_up_with_other_writers(address: str) -> None:
    rng = random.Random(3)
    with Notebook(address) as reader, Notebook(address) as writer:
        for times in (3, 1, 1, 2, 120, 1):
            scribble(writer, rng, times)
            check(reader)
        plain = Trial(situation=PLACES[0], response="jab", successes=1, tries=2)
        check(reader)
        writer.add(plain)
        assert check(reader) > 20

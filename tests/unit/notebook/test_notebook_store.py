"""Trials: what was added is there once, what was corrected does not count, the same key means the same trial."""

from __future__ import annotations

import threading
from pathlib import Path

import msgspec
import pytest
from sqlalchemy import text

from advisor.errors import AdvisorError, QuestionError, Unanswerable
from advisor.facts.question import Blocked, Fighter, Neutral, Question
from advisor.library import bundled_rules
from advisor.notebook import Notebook, Situation, Trial, notebook_url, situation_of
from advisor.notebook.schema import current, downgrade, upgrade, versions
from advisor.notebook.totals import COUNTED
from advisor.notebook.trial import Side, situation_key
from advisor.pack.load import load_pack

HERE = Situation(
    pack="p", me=Side(character="a"), them=Side(character="b"), moment=Blocked(attacker="them", move="m"), distance=1.5
)
THERE = msgspec.structs.replace(HERE, distance=2.0)


def made(k: int = 7, n: int = 12, **more: object) -> Trial:
    return Trial(**{"situation": HERE, "response": "jab", "successes": k, "tries": n, **more})  # type: ignore[arg-type]


def test_a_retry_may_come_when_other_data_are_loaded(notebook: Notebook) -> None:
    first = notebook.add(made(key="again", data_version="1.0", pack_hash="aa"))
    assert notebook.add(made(key="again", data_version="1.1", pack_hash="bb")) == first


def test_a_record_comes_back_as_it_was_given(notebook: Notebook) -> None:
    given = made(reply="poke", delay=2, window=3.0, player="ann", data_version="1.2", pack_hash="ff", note="n", key="k")
    added = notebook.add(given)
    assert msgspec.structs.replace(added, id="", time="", cursor="") == given
    assert added.id and added.time.endswith("+00:00")
    assert notebook.trial(added.id) == added
    assert notebook.trials().trials == [added]


def test_counts_are_summed_by_response_and_reply(notebook: Notebook) -> None:
    for k, n, more in ((1, 2, {}), (3, 4, {}), (5, 6, {"reply": "poke"}), (1, 1, {"response": "kick"})):
        notebook.add(made(k, n, **more))
    notebook.add(made(9, 9, situation=THERE))
    told = {("jab", None): (4, 6), ("jab", "poke"): (5, 6), ("kick", None): (1, 1)}
    assert notebook.counted(situation_key(HERE)) == told
    assert notebook.counted("0" * 64) == {}


def test_the_same_key_with_the_same_content_gives_the_first_record(notebook: Notebook) -> None:
    first = notebook.add(made(key="once"))
    assert notebook.add(made(key="once")) == first
    assert notebook.counted(situation_key(HERE)) == {("jab", None): (7, 12)}


@pytest.mark.parametrize("other", [{"k": 8}, {"note": "x"}, {"situation": THERE}, {"reply": "poke"}])
def test_the_same_key_with_other_content_is_refused(notebook: Notebook, other: dict[str, object]) -> None:
    first = notebook.add(made(key="once"))
    with pytest.raises(AdvisorError, match=first.id) as caught:
        notebook.add(made(**{**other, "key": "once"}))  # type: ignore[arg-type]
    assert caught.value.code == "idempotency-conflict"
    assert len(notebook.trials().trials) == 1


def test_a_correction_counts_in_place_of_what_it_corrects(notebook: Notebook) -> None:
    first = notebook.add(made(7, 12))
    second = notebook.add(made(1, 12, corrects=first.id))
    assert notebook.counted(situation_key(HERE)) == {("jab", None): (1, 12)}
    third = notebook.add(made(2, 12, corrects=second.id, situation=THERE))
    assert notebook.counted(situation_key(HERE)) == {}
    assert notebook.counted(situation_key(THERE)) == {("jab", None): (2, 12)}
    assert notebook.trials().trials == [third]
    assert [t.id for t in notebook.trials(corrected=True).trials] == [first.id, second.id, third.id]


def test_only_the_newest_of_a_chain_is_corrected(notebook: Notebook) -> None:
    first = notebook.add(made())
    second = notebook.add(made(corrects=first.id))
    third = notebook.add(made(corrects=second.id))
    with pytest.raises(AdvisorError) as caught:
        notebook.add(made(corrects=first.id))
    assert caught.value.code == "trial-corrected"
    assert third.id in caught.value.help
    with pytest.raises(AdvisorError) as unknown:
        notebook.add(made(corrects="no such"))
    assert unknown.value.code == "trial-unknown"


def test_pages_meet_without_gap_or_overlap(notebook: Notebook) -> None:
    ids = [notebook.add(made(k, 12, player="ann" if k % 2 else "bo")).id for k in range(7)]
    seen: list[str] = []
    after = None
    while True:
        page = notebook.trials(after=after, limit=3)
        seen += [t.id for t in page.trials]
        after = page.next
        if after is None:
            break
    assert seen == ids
    assert [t.id for t in notebook.trials(player="ann").trials] == ids[1::2]
    assert notebook.trials(limit=7).next is None


def test_filters_narrow(notebook: Notebook) -> None:
    a, b = notebook.add(made(reply="poke")), notebook.add(made(response="kick", situation=THERE))
    assert notebook.trials(situation=HERE).trials == [a]
    assert notebook.trials(response="kick").trials == [b]
    assert notebook.trials(reply="poke").trials == [a]
    assert notebook.trials(response="kick", reply="poke").trials == []


@pytest.mark.parametrize(
    ("more", "said"),
    [({"k": 13}, "13"), ({"n": 0, "k": 0}, ">= 1"), ({"k": -1}, ">= 0"), ({"response": ""}, "length"),
     ({"window": 0.0}, "> 0"), ({"note": "x" * 2001}, "length")],
)  # fmt: skip
def test_a_faulty_trial_is_refused_and_nothing_written(notebook: Notebook, more: dict[str, object], said: str) -> None:
    with pytest.raises(QuestionError, match=said) as caught:
        notebook.add(made(**more))  # type: ignore[arg-type]
    assert caught.value.pointer.startswith("/")
    assert notebook.trials(corrected=True).trials == []


@pytest.mark.parametrize(("name", "value"), [("after", "x"), ("after", "-1"), ("limit", 0), ("limit", 1001)])
def test_a_faulty_page_is_refused(notebook: Notebook, name: str, value: object) -> None:
    with pytest.raises(QuestionError):
        notebook.trials(**{name: value})  # type: ignore[arg-type]


def test_windows_of_a_player_are_summed(notebook: Notebook) -> None:
    for k, window, player in ((3, 2.0, "ann"), (4, 2.0, "ann"), (9, 5.0, "ann"), (1, 2.0, "bo"), (1, None, "ann")):
        notebook.add(made(k, 12, window=window, player=player))
    assert notebook.timed("ann") == [(2.0, 7, 24), (5.0, 9, 12)]


def test_threads_lose_nothing_and_one_key_is_one_record(notebook: Notebook) -> None:
    ids: list[str] = []

    def work(number: int) -> None:
        for i in range(5):
            ids.append(notebook.add(made(note=f"{number} {i}")).id)
        ids.append(notebook.add(made(key="shared")).id)

    threads = [threading.Thread(target=work, args=(n,)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(ids) == 24
    assert sorted(t.id for t in notebook.trials().trials) == sorted(set(ids))
    assert len(set(ids)) == 21


def test_the_database_itself_refuses_impossible_counts(notebook: Notebook) -> None:
    kept = notebook.add(made())
    with pytest.raises(Exception, match="trials_counts"), notebook.engine.begin() as connection:
        connection.execute(text("UPDATE trials SET successes = 99"))
    assert notebook.trial(kept.id) == kept


def test_counting_uses_the_index(notebook: Notebook) -> None:
    notebook.add(made())
    if notebook.engine.dialect.name == "sqlite":
        with notebook.engine.connect() as connection:
            rows = [
                row for query in (COUNTED.replace("?", "''"), "SELECT * FROM trials WHERE situation_key = 'x'")
                for row in connection.execute(text(f"EXPLAIN QUERY PLAN {query}"))
            ]  # fmt: skip
        plan = " ".join(str(row[3]) for row in rows)
        assert "trials_counted" in plan and "SEARCH totals" in plan
        assert "SCAN" not in plan
    with notebook.engine.connect() as connection:
        from sqlalchemy import inspect

        names = {index["name"] for index in inspect(connection).get_indexes("trials")}
    assert {"trials_counted", "trials_player"} <= names


def test_tables_go_down_and_up_with_data_in_them(address: str) -> None:
    with Notebook(address) as notebook:
        kept = notebook.add(made())
        assert current(notebook.engine) == versions()[-1]
        downgrade(notebook.engine, "0001")
        assert current(notebook.engine) == "0001"
        assert notebook.trial(kept.id) == kept
        upgrade(notebook.engine)
        assert notebook.trial(kept.id) == kept
        downgrade(notebook.engine, "base")
        assert current(notebook.engine) is None
        upgrade(notebook.engine)
        assert notebook.trials().trials == []
        with pytest.raises(QuestionError, match="0009"):
            downgrade(notebook.engine, "0009")


def test_the_migrations_make_the_tables_that_the_code_reads(notebook: Notebook) -> None:
    from alembic.autogenerate import compare_metadata
    from alembic.runtime.migration import MigrationContext

    from advisor.notebook.tables import METADATA

    with notebook.engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), METADATA) == []


def test_a_notebook_of_a_newer_release_is_left_alone(address: str) -> None:
    with Notebook(address) as notebook, notebook.engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(QuestionError, match="newer"):
        Notebook(address)


def test_a_file_that_is_no_database_is_named(tmp_path: Path) -> None:
    file = tmp_path / "x.sqlite"
    file.write_bytes(b"not a database at all, " * 100)
    with pytest.raises(QuestionError, match="not a database"):
        Notebook(f"sqlite:///{file}")


@pytest.mark.parametrize("url", ["nonsense", "mysql://a/b", "sqlite://", "sqlite:///:memory:"])
def test_an_address_that_is_none_is_refused(url: str) -> None:
    with pytest.raises(QuestionError) as caught:
        Notebook(url)
    assert "sqlite:///" in caught.value.help


def test_commits_are_synced_to_disk(notebook: Notebook) -> None:
    with notebook.engine.connect() as connection:
        if notebook.engine.dialect.name == "sqlite":
            assert connection.execute(text("PRAGMA journal_mode")).scalar() == "wal"
            assert connection.execute(text("PRAGMA synchronous")).scalar() == 2
        else:
            assert connection.execute(text("SHOW synchronous_commit")).scalar() == "on"
            assert connection.execute(text("SHOW fsync")).scalar() == "on"


def test_a_database_without_its_driver_is_told_before_anything_is_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("advisor.notebook.connection.find_spec", lambda name: None)
    with pytest.raises(QuestionError) as caught:
        Notebook("postgresql://someone@localhost/lab")
    assert caught.value.message == "the driver of PostgreSQL is not installed"
    assert "situation-advisor[postgres]" in caught.value.help


def test_where_the_notebook_is() -> None:
    assert notebook_url({"ADVISOR_NOTEBOOK": "sqlite:////x", "XDG_DATA_HOME": "/d"}) == "sqlite:////x"
    assert notebook_url({"XDG_DATA_HOME": "/d"}) == "sqlite:////d/situation-advisor/notebook.sqlite"
    assert notebook_url({"XDG_DATA_HOME": "d"}).endswith("/.local/share/situation-advisor/notebook.sqlite")


def test_what_counts_as_the_same_situation() -> None:
    pack = load_pack(bundled_rules() / "packs" / "cold_frame").pack
    name, micro = next(iter(pack.conventions.distances.items()))
    asked = Question(me=Fighter(character="wenna"), them=Fighter(character="marl"), moment=Neutral(), distance=name)
    key = situation_key(situation_of(asked, pack))

    def other(**more: object) -> str:
        return situation_key(situation_of(msgspec.structs.replace(asked, **more), pack))

    rich = Fighter(character="wenna", health=3.0, meter=2)
    assert key == other(distance=micro / 1_000_000) == other(me=rich) == other(limit=3) == other(pack=pack.id)
    apart = [
        other(distance=None), other(me=Fighter(character="wenna", near_wall=True)),
        other(me=Fighter(character="wenna", near_wall=False)), other(me=Fighter(character="wenna", stance="low")),
        other(me=asked.them, them=asked.me), other(moment=Blocked(attacker="me", move="m")),
    ]  # fmt: skip
    assert len({key, *apart}) == len(apart) + 1
    with pytest.raises(Unanswerable):
        other(distance="no such")

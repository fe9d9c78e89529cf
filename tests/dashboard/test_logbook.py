"""The logbook: entries are only added, a double tap is one, and taking back is an entry too."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from collector.store.schema import Locked, NotYet, StoreError
from dashboard.entry_check import KINDS
from dashboard.fold import preferences
from dashboard.logbook import Logbook, LogbookReader
from dashboard.panel import Event
from dashboard.step_check import LogbookError
from dashboard.words import DID

NOW = 1_795_629_600_000
BODY = {"name": "Lid 4", "zone": "shed", "surface_probe": "S1", "air_probe": None, "substrate": "wood"}


def event(id_: str, kind: str, at: int = NOW, panel: str | None = "lid-4", **body: Any) -> Event:
    return Event(id_, at, NOW, "somebody", kind, panel, body)


@pytest.fixture
def logbook(tmp_path: Path) -> Logbook:
    book = Logbook(tmp_path / "shop.db", lambda: ["own-25min"]).open()
    book.append(event("registered", "panel registered", **BODY))
    return book


def mixed(id_: str, at: int = NOW) -> Event:
    body = {"card": "own-25min", "applied_at": None, "kind": "laminate"}
    return Event(id_, at, NOW, "somebody", "coat mixed", "lid-4", body)


def test_a_double_tap_is_one_entry(logbook: Logbook) -> None:
    """The id is made where the button is; the second arrival of it changes nothing."""
    assert logbook.append(mixed("tap"))
    assert not logbook.append(mixed("tap"))
    assert len(logbook.panels()["lid-4"].coats) == 1


def test_what_is_taken_back_stays_readable_and_counts_no_more(logbook: Logbook) -> None:
    """Withdrawing a coat gives the panel back as it was; both entries can still be read."""
    logbook.append(mixed("one", NOW - 3_600_000))
    logbook.append(mixed("two"))
    logbook.append(event("back", "withdrawn", event="two"))
    assert [coat.event for coat in logbook.panels()["lid-4"].coats] == ["one"]
    assert [item.id for item in logbook.events("lid-4")] == ["registered", "one", "two", "back"]


def test_a_new_coat_needs_a_new_wash(logbook: Logbook) -> None:
    """A wash prepares the surface for the next coat only."""
    logbook.append(mixed("one", NOW - 7_200_000))
    logbook.append(event("wash", "washed", NOW - 3_600_000))
    assert logbook.panels()["lid-4"].washed_at == NOW - 3_600_000
    logbook.append(mixed("two"))
    assert logbook.panels()["lid-4"].washed_at is None


def test_the_newest_coat_is_on_when_somebody_says_so(logbook: Logbook) -> None:
    """Applied belongs to the coat that was mixed last, and never lies before its mixing."""
    logbook.append(mixed("one", NOW - 1_800_000))
    with pytest.raises(LogbookError, match="before the newest coat was mixed"):
        logbook.append(event("early", "coat applied", NOW - 3_600_000))
    logbook.append(event("on", "coat applied", NOW - 600_000))
    newest = logbook.panels()["lid-4"].newest
    assert newest is not None
    assert newest.applied_at == NOW - 600_000


def test_another_pot_belongs_to_the_newest_coat(logbook: Logbook) -> None:
    """One coat, two pots: the first mixing stays, the last is remembered, and it is not on until said again."""
    logbook.append(mixed("one", NOW - 1_800_000))
    logbook.append(event("on", "coat applied", NOW - 1_200_000))
    logbook.append(event("pot", "pot mixed", NOW - 600_000))
    newest = logbook.panels()["lid-4"].newest
    assert newest is not None
    assert (newest.mixed_at, newest.last_pot_at, newest.applied_at) == (NOW - 1_800_000, NOW - 600_000, None)


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        (Event("x", NOW + 600_000, NOW, "", "coat mixed", "lid-4", {"card": "own-25min"}), "still to come"),
        (Event("x", 1, NOW, "", "coat mixed", "lid-4", {"card": "own-25min"}), "31 days ago"),
        (Event("x", NOW, NOW, "", "coat mixed", "lid-4", {"card": "no-such"}), "no resin card"),
        (Event("x", NOW, NOW, "", "washed", "lid-4", {}), "no coat yet"),
        (Event("x", NOW, NOW, "", "washed", "rib-9", {}), "register it first"),
        (Event("x", NOW, NOW, "", "polished", "lid-4", {}), "allowed"),
        (Event("x", NOW, NOW, "", "panel registered", "lid-5", BODY), "another name"),
        (Event("x", NOW, NOW, "", "panel registered", "Lid/5", {**BODY, "name": "Lid 5"}), "id"),
        (Event("x", NOW, NOW, "", "panel registered", "lid-5", {**BODY, "name": "Lid\x00"}), "printable"),
        (
            Event("x", NOW, NOW, "", "panel registered", "l5", {**BODY, "name": "L5", "substrate": "ice"}),
            "laid on",
        ),
        (
            Event("x", NOW, NOW, "", "panel registered", "l5", {**BODY, "name": "L5", "zone": " "}),
            "a zone of 1 to 64",
        ),
        (Event("x", NOW, NOW, "", "withdrawn", "lid-4", {"event": "none"}), "no such entry"),
    ],
)
def test_an_entry_that_makes_no_sense_is_refused_and_nothing_is_written(
    logbook: Logbook, entry: Event, says: str
) -> None:
    """The error says what is allowed."""
    before = logbook.version()
    with pytest.raises(LogbookError, match=says):
        logbook.append(entry)
    assert logbook.version() == before


def test_no_time_is_changed_to_one_that_a_lost_clock_told(logbook: Logbook) -> None:
    """Each minute of a coat's life is followed: one of 1970 would keep watch from every other panel."""
    logbook.append(mixed("one"))
    with pytest.raises(LogbookError, match="31 days ago"):
        logbook.append(event("x", "time changed", event="one", to=1))
    month = NOW - 30 * 24 * 3_600_000
    assert logbook.append(event("y", "time changed", event="one", to=month))
    assert logbook.panels()["lid-4"].coats[0].mixed_at == month


def test_a_coat_before_the_one_already_logged_is_refused(logbook: Logbook) -> None:
    """Coats are numbered in the order in which they were mixed."""
    logbook.append(mixed("one"))
    with pytest.raises(LogbookError, match="take that one back"):
        logbook.append(mixed("zero", NOW - 60_000))


def test_one_writer_and_readers_beside_it(tmp_path: Path, logbook: Logbook) -> None:
    """A second writer is refused by name; a reader sees what is committed, and knows when nothing is there yet."""
    with pytest.raises(Locked, match="serve runs already"):
        Logbook(tmp_path / "shop.db").open()
    assert list(LogbookReader(tmp_path / "shop.db").panels()) == ["lid-4"]
    with pytest.raises(NotYet, match="serve has not started"):
        LogbookReader(tmp_path / "other.db").panels()


def test_a_newer_and_a_foreign_file_are_refused_untouched(tmp_path: Path, logbook: Logbook) -> None:
    """An older program never writes into a newer file."""
    import apsw

    logbook.close()
    connection = apsw.Connection(str(tmp_path / "shop.db"))
    connection.pragma("user_version", 99)
    with pytest.raises(StoreError, match="newer coldshed"):
        Logbook(tmp_path / "shop.db").open()
    connection.pragma("user_version", 1)
    connection.pragma("application_id", 1)
    with pytest.raises(StoreError, match="is not a shop"):
        LogbookReader(tmp_path / "shop.db").events()
    connection.close()


def test_a_preference_is_the_last_one_chosen_and_alarms_seen_are_kept(logbook: Logbook) -> None:
    """Units are the shop's choice; an alarm's occurrence knows who has seen it."""
    assert logbook.preference("unit") is None
    for number, unit in enumerate(("degF", "degC", "degF")):
        logbook.append(event(f"unit{number}", "preference", panel=None, key="unit", value=unit))
    assert logbook.preference("unit") == "degF"
    logbook.append(event("seen", "alarm seen", panel=None, alarm="too-cold.lid-4.1"))
    assert logbook.seen() == {"too-cold.lid-4.1": (NOW, "somebody")}


def test_choices_are_taken_from_the_log_once_however_long_it_is(
    logbook: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Until an entry is added: then all of them anew."""
    logbook.append(event("unit0", "preference", panel=None, key="unit", value="degF"))
    looked: list[int] = []

    def counted(events: list[Event]) -> dict[str, str]:
        looked.append(len(events))
        return preferences(events)

    monkeypatch.setattr("dashboard.logbook.preferences", counted)
    assert [logbook.preference(key) for key in ("unit", "measures", "unit")] == ["degF", None, "degF"]
    assert looked == [2]
    logbook.append(event("sign", "preference", panel=None, key="decimal", value="comma"))
    logbook.append(event("back", "withdrawn", panel=None, event="unit0"))
    assert logbook.preferences() == {"decimal": "comma"}
    assert looked == [2, 4]


def test_a_preference_and_a_seen_alarm_that_are_taken_back_count_no_more(logbook: Logbook) -> None:
    for number, unit in enumerate(("degC", "degF")):
        logbook.append(event(f"unit{number}", "preference", panel=None, key="unit", value=unit))
    logbook.append(event("seen", "alarm seen", panel=None, alarm="probe silent.A1.1"))
    logbook.append(event("back-1", "withdrawn", panel=None, event="unit1"))
    logbook.append(event("back-2", "withdrawn", panel=None, event="seen"))
    assert logbook.preference("unit") == "degC"
    assert logbook.seen() == {}
    logbook.append(event("back-3", "withdrawn", panel=None, event="unit0"))
    assert logbook.preference("unit") is None


def test_every_kind_of_entry_can_be_read() -> None:
    """An entry without words would break the panel's page for good, because nothing is ever deleted."""
    assert set(DID) == KINDS

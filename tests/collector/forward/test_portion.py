"""Whatever lines a server refuses: those and no others are set aside; what is safe is what is old and was found."""

from __future__ import annotations

import math

from hypothesis import given
from hypothesis import strategies as st

from collector.forward.link import Refused, TooLarge
from collector.forward.portion import Sender
from collector.forward.read_back import Sent
from collector.forward.waiting import ASK_EVERY_S, ASK_S, SAFE_S, Acknowledged, Waiting


class Picky:
    """Takes at most so many lines in one request, and none of a request with a bad one."""

    def __init__(self, bad: set[str], most: int) -> None:
        self._bad = bad
        self._most = most
        self.taken: list[str] = []
        self.requests = 0

    def write(self, lines: list[str]) -> None:
        self.requests += 1
        if len(lines) > self._most:
            raise TooLarge("413", "413")
        if bad := self._bad & set(lines):
            raise Refused("400", f"an objection to {len(bad)}")
        self.taken += lines


@given(lines=st.integers(1, 300), bad=st.sets(st.integers(0, 299), max_size=8), most=st.integers(1, 400))
def test_bad_lines_are_set_aside_with_words_of_their_own_and_all_others_are_taken_once_in_order(
    lines: int, bad: set[int], most: int
) -> None:
    every = [str(number) for number in range(lines)]
    refused = {str(number) for number in bad if number < lines}
    server = Picky(refused, most)
    kept, too_old = Sender(server.write).send(every)
    assert [item.line for item in kept] == [line for line in every if line in refused]
    assert {item.words for item in kept} <= {"an objection to 1"}
    assert server.taken == [line for line in every if line not in refused]
    assert too_old == 0
    smaller = math.ceil(math.log2(lines / most)) + 1 if lines > most else 0
    chunks = math.ceil(lines / max(1, most // 2))
    assert server.requests <= smaller + 2 * chunks + len(refused) * (math.ceil(math.log2(lines)) + 4)


def test_a_line_that_is_taken_on_its_own_after_all_is_not_set_aside() -> None:
    """Something between us and the server refused nine requests, whatever was in them."""
    taken: list[str] = []
    refusals = iter(range(9))

    def write(lines: list[str]) -> None:
        if next(refusals, None) is not None:
            raise Refused("400", "not now")
        taken.extend(lines)

    every = [str(number) for number in range(300)]
    assert Sender(write).send(every) == ([], 0)
    assert taken == every


def test_lines_older_than_the_server_keeps_are_counted_and_the_others_are_not_sent_twice() -> None:
    """The words are those of InfluxDB 1.6.7 (tests/faults/test_forward_lost.py has them from the server itself)."""
    requests: list[int] = []

    def write(lines: list[str]) -> None:
        requests.append(len(lines))
        raise Refused("400", "partial write: points beyond retention policy dropped=7")

    assert Sender(write).send([str(number) for number in range(20)]) == ([], 7)
    assert requests == [20]


def sent(seq: int, n: int = 10, revised: bool = False) -> Sent:
    return Sent(seq - 1, seq, revised, 1000 * seq, 1000 * seq + 999, n)


def test_nothing_is_safe_before_it_was_found_and_is_a_minute_old() -> None:
    waiting = Waiting()
    waiting.add(Acknowledged(sent(1), 0.0))
    assert waiting.take_due(ASK_S - 1) is None
    item = waiting.take_due(ASK_S)
    assert item is not None
    assert waiting.safe(SAFE_S + 100)[0] == 0, "not before the server said that it has it"
    waiting.found(item)
    assert waiting.safe(SAFE_S - 1)[0] == 0
    assert waiting.safe(SAFE_S)[0] == 1


def test_what_was_missing_and_sent_again_holds_up_what_came_after() -> None:
    waiting = Waiting()
    for seq in (1, 2):
        waiting.add(Acknowledged(sent(seq, revised=True), 0.0))
    first = waiting.take_due(ASK_S)
    assert first is not None
    waiting.add_first(Acknowledged(first.sent, ASK_S, missed=1))
    assert waiting.take_due(ASK_S + ASK_EVERY_S) is None, "the second has to wait for it"
    assert waiting.safe(1000.0)[0] == 0


def test_what_is_asked_for_at_once_is_new_follows_one_another_and_is_bounded() -> None:
    waiting = Waiting()
    for seq in (1, 2, 3):
        waiting.add(Acknowledged(sent(seq), 0.0))
    waiting.add(Acknowledged(sent(4, revised=True), 0.0))
    waiting.add(Acknowledged(sent(5, n=49_995), 0.0))
    waiting.add(Acknowledged(sent(6), 0.0))
    asked = []
    while (item := waiting.take_due(ASK_S)) is not None:
        asked.append((item.sent.since, item.sent.seq, item.sent.n))
    assert asked == [(0, 3, 30), (3, 4, 10), (4, 5, 49_995), (5, 6, 10)]
    assert waiting.take_due(10 * ASK_S) is None

"""A notice as text: first what to do, then with what, then what is over by now."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from dashboard.alarm import Alarm
from dashboard.alarm_kinds import KINDS
from dashboard.display import TIE, View
from dashboard.notice import TEST, Standing
from dashboard.words import LABELS
from dashboard.words.alarms import ACTS, GROUPED

ORDER = list(KINDS)


@dataclass(frozen=True)
class Message:
    """What one person is sent."""

    title: str
    body: str


def message(so: Sequence[Standing], over: Sequence[Standing], view: View, site: str, pages: str) -> Message:
    """One message of all notices that are due: `so` those that are true, `over` those that no longer are.

    pages   address of the pages for a phone, or ""
    """
    lines: list[str] = []
    titles: list[str] = []
    for one in sorted(so, key=_first):
        title, more = _lines(one, view)
        titles.append(title)
        lines += [title, *more] if len(so) > 1 else more
    gone = [alarm for one in (*so, *over) for alarm in one.over if KINDS[alarm.kind].late]
    if gone:
        lines.append(LABELS["notice_over"])
        lines += [_gone(alarm, view) for alarm in gone]
    title = titles[0] if titles else LABELS["notice_only_over"]
    if len(titles) > 1:
        title += LABELS["notice_more"].format(n=len(titles) - 1)
    marks = " ".join(mark(one.notice.key) for one in (*so, *over))
    lines.append(LABELS["notice_from"].format(site=site, at=view.clock(view.now), mark=marks))
    if pages:
        lines.append(f"{pages.rstrip('/')}/more/alarms")
    # Phones and mail programs show a no-break space in many ways.
    return Message(*(text.replace(TIE, " ") for text in (title, "\n".join(lines))))


def mark(key: str) -> str:
    """Six letters of a notice: the same again if it is sent twice."""
    return hashlib.sha256(key.encode()).hexdigest()[:6]


def sentences(alarms: Iterable[Alarm], view: View) -> list[str]:
    """Alarms of one notice, those of one kind and several panels in one sentence."""
    by_key: dict[str, list[Alarm]] = {}
    for alarm in sorted(alarms, key=lambda item: (ORDER.index(item.kind), item.raised_at)):
        by_key.setdefault(alarm.say.key, []).append(alarm)
    found = []
    for key, group in by_key.items():
        named = key in GROUPED and len(group) > 1
        if not named:
            found += [view.sentence(alarm.say) for alarm in group]
            continue
        names = sorted({name for alarm in group for name in (alarm.panels or (alarm.of,))})
        if {"probe", "site"} & group[0].say.values.keys():
            names = sorted({alarm.of for alarm in group})
        found.append(GROUPED[key].format(n=len(names), names=", ".join(names)))
    return found


def _first(one: Standing) -> int:
    return min((ORDER.index(alarm.kind) for alarm in one.so), default=len(ORDER))


def _lines(one: Standing, view: View) -> tuple[str, list[str]]:
    if one.notice.cause == TEST:
        return LABELS["notice_test"], [LABELS["notice_test_body"]]
    told = sentences(one.so, view)
    more = told[1:]
    kinds = sorted({alarm.kind for alarm in one.so}, key=ORDER.index)
    more += [ACTS[kind] for kind in kinds]
    probes = [alarm for alarm in one.so if alarm.panel is None and alarm.of]
    panels = sorted({name for alarm in probes for name in alarm.panels})
    if panels:
        more.append(LABELS["notice_panels"].format(names=", ".join(panels)))
    elif probes:
        more.append(LABELS["notice_no_panels"])
    return told[0], more


def _gone(alarm: Alarm, view: View) -> str:
    assert alarm.returned_at is not None
    return LABELS["notice_gone"].format(
        said=view.sentence(alarm.say), since=view.clock(alarm.raised_at), to=view.clock(alarm.returned_at)
    )

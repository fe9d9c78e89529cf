"""What is so right now and asks for somebody: conditions, from what was worked out of every panel and probe.

Each carries its sentence, which begins with the one thing to do at that hour. Whether and when it rings is decided in
dashboard.alarms, whom it reaches in dashboard.notice.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from zoneinfo import ZoneInfo

from collector.reading import ProbeFacts, silent_after_ms
from collector.store.reads import Where
from collector.store.site_state import UNHEARD_MS
from collector.store.trouble import Kind, Trouble, read
from dashboard.alarm import Alarm
from dashboard.alarm_kinds import HOUR_MS, MINUTE_MS
from dashboard.alarms import Condition
from dashboard.assessment import Assessment, Passing
from dashboard.cold_night import cold_tonight
from dashboard.doubts import QUIET, words
from dashboard.follow import Follower
from dashboard.margin import closing
from dashboard.panel import Panel
from dashboard.site_conditions import holding_sites, of_sites
from model.verdict import Flag, Mark, Say, State, Value

POT_LEAD_MS = 10 * MINUTE_MS
"""A pot is told of so long before it must be out, or in the last third of its life, if that is shorter."""
OPENS_LEAD_MS = 30 * MINUTE_MS
SHUTS_LEAD_MS = 60 * MINUTE_MS
GRID_MS = 5 * MINUTE_MS
"""A sentence is not told anew for each minute by which a limit moves."""
READY = {
    "sandable": ("ready to sand", "alarm_ready_sand"),
    "sandable_cold": ("ready to sand", "alarm_ready_sand_cold"),
    "ply_pull": ("peel ply off", "alarm_ready_ply"),
    "clamps_off": ("clamps off", "alarm_ready_clamps"),
    "demouldable": ("ready to demould", "alarm_ready_demould"),
    "fully_cured": ("fully cured", "alarm_cured"),
}
PLACES_BY_WEIGHT = ("surface", "air", "bottles")
"""Places of probes, as they are told when several ask for somebody at once: without its surface probe nothing is known
of a panel, without an air probe nothing of its margin; of the bottles only the next mix asks.
"""
CHORES = {"trim": "alarm_trim", "carve": "alarm_carve", "tape": "alarm_tape"}
OPEN_KEYS = ("recoatable", "recoatable_last", "wash_recoat")


def conditions(
    assessments: Iterable[Assessment],
    probes: Mapping[str, ProbeFacts],
    follower: Follower,
    at: int,
    zone: ZoneInfo,
    panels: Mapping[str, Panel],
) -> list[Condition]:
    """All that is so at `at` (UTC ms); `panels` are those still open, `zone` the shop's."""
    listed = list(assessments)
    found = [so for item in listed for so in of_panel(item, panels.get(item.panel), at, zone)]
    found += of_sites(follower.sites, follower.site_of, panels, at)
    holding = holding_sites(follower.sites, at)
    heard = [probe for probe in probes.values() if follower.site_of.get(probe.id, "") not in holding]
    of_probes = [
        (probe.id, one)
        for probe in sorted(heard, key=lambda probe: PLACES_BY_WEIGHT.index(probe.place))
        for one in (*_silent(probe, follower, at), *_suspect(probe, follower, at))
    ]
    if not of_probes:
        return found
    users = _Users(panels, listed, at)
    return found + [users.named(one, probe) for probe, one in of_probes]


def of_panel(item: Assessment, panel: Panel | None, at: int, zone: ZoneInfo) -> list[Condition]:
    """What one panel's answer asks for. One that is too old asks for nothing, and of a panel on hold only its pot."""
    if item.is_old(at):
        return []
    if panel is not None and panel.hold is not None:
        return _pot(item, at)
    window = _window(item, at) if panel is None or _more_coats(panel) else []
    found = [*_pot(item, at), *window, *_chore(item, at), *_too_cold(item), *_exposed(item), *_ready(item)]
    tonight = cold_tonight(item, at, zone)
    if tonight is not None:
        low_C, firm = tonight
        values: dict[str, Value] = {"panel": item.name, "low_C": low_C, "minimum_C": item.minimum_C or 0.0}
        found.append(_of(item, "too cold tonight", Say("alarm_cold_tonight", values), firm=firm))
    margin = closing(item, at)
    if margin is not None:
        margin_K, firm = margin
        say = Say("alarm_margin", {"panel": item.name, "left_K": margin_K})
        found.append(_of(item, "margin closing", say, firm=firm))
    return found


def _more_coats(panel: Panel) -> bool:
    """Whether another coat is to come, for all anybody has planned."""
    return not panel.plan or len(panel.coats) < len(panel.plan)


def young(item: Assessment, at: int) -> bool:
    """Whether the newest coat's film can still be hurt, or its window still runs: an hour not measured costs a wash."""
    if item.mixed_at is None:
        return False
    free = passing(item, "tack_free")
    return free is None or free.late is None or free.late > at


def passing(item: Assessment, name: str) -> Passing | None:
    return next((one for one in item.milestones if one.name == name), None)


def _of(item: Assessment, kind: str, say: Say, *, firm: bool = True) -> Condition:
    return Condition(kind, item.panel, None, say, firm=firm, panels=(item.name,))


def _pot(item: Assessment, at: int) -> list[Condition]:
    by = item.verdict.headline.values.get("pour_by")
    if item.verdict.state is not State.IN_THE_POT or by is None or item.mixed_at is None:
        return []
    if int(by) - at > min(POT_LEAD_MS, (int(by) - item.mixed_at) // 3):
        return []
    return [_of(item, "pot about to go", Say("alarm_pot", {"panel": item.name, "pour_by": int(by)}))]


def _window(item: Assessment, at: int) -> list[Condition]:
    headline = item.verdict.headline
    if headline.key == "setting" and int(headline.values["open_from"]) - at <= OPENS_LEAD_MS:
        opens = -(-int(headline.values["open_from"]) // GRID_MS) * GRID_MS
        return [
            _of(
                item, "window opens soon", Say("alarm_window_opens", {"panel": item.name, "open_from": opens})
            )
        ]
    if headline.key not in OPEN_KEYS:
        return []
    shuts = passing(item, "recoat_until")
    by = headline.values.get("shut_by", shuts.early if shuts else None)
    if by is None or int(by) - at > SHUTS_LEAD_MS:
        return []
    say = Say("alarm_window_shuts", {"panel": item.name, "shut_by": int(by) // GRID_MS * GRID_MS})
    return [_of(item, "window shuts soon", say)]


def _chore(item: Assessment, at: int) -> list[Condition]:
    """A knife, a rasp or a hand has its last safe hour."""
    headline = item.verdict.headline
    if headline.key not in CHORES or int(headline.values["done_by"]) - at > SHUTS_LEAD_MS:
        return []
    by = int(headline.values["done_by"]) // GRID_MS * GRID_MS
    return [_of(item, "chore soon", Say(CHORES[headline.key], {"panel": item.name, "done_by": by}))]


def _too_cold(item: Assessment) -> list[Condition]:
    if Flag.STOPPED_BY_COLD not in item.verdict.flags or item.verdict.state is State.NOT_KNOWN:
        return []
    head = item.verdict.headline
    # A film that is hard from cold moves only well above the card's minimum: what its page holds it at.
    warm = [say.values["warm_C"] for say in item.verdict.why if "warm_C" in say.values]
    move = head.values.get("move_C", warm[0] if warm else item.minimum_C or 0.0)
    say = Say("alarm_stopped", {"panel": item.name, "move_C": move})
    if head.key in ("wash_heavy", "wash_wet"):
        # As its page says: warmth would bake in what water takes off.
        say = Say("alarm_stopped_wash", {"panel": item.name})
    return [_of(item, "too cold", say)]


def _exposed(item: Assessment) -> list[Condition]:
    """Rings only when the page itself says to wash: a tacky film must be left alone, and "some" can wait."""
    film = item.film
    if film is None or film.level not in ("heavy", "wet") or item.verdict.mark is not Mark.DROP:
        return []
    return [_of(item, "blush exposure", Say("alarm_blush", {"panel": item.name, "level": film.level}))]


def _ready(item: Assessment) -> list[Condition]:
    found = READY.get(item.verdict.headline.key)
    return [_of(item, found[0], Say(found[1], {"panel": item.name}))] if found else []


class _Users:
    """By probe the panels that it stands for; looked up once for all probes."""

    def __init__(self, panels: Mapping[str, Panel], assessments: Iterable[Assessment], at: int) -> None:
        young_ones = {item.panel for item in assessments if young(item, at)}
        self._by: dict[str, list[tuple[str, bool]]] = {}
        for key, panel in panels.items():
            for probe in {panel.surface_probe, panel.air_probe} - {None}:
                self._by.setdefault(str(probe), []).append((panel.name, key in young_ones))

    def named(self, condition: Condition, probe: str) -> Condition:
        """It names the panels that the probe stands for, and is urgent if one of them has a young film."""
        used = self._by.get(probe, [])
        return condition.naming(
            tuple(sorted(name for name, _ in used)), any(is_young for _, is_young in used)
        )


def _silent(probe: ProbeFacts, follower: Follower, at: int) -> list[Condition]:
    """By the settings. A probe known to be slower than they say is one alarm that stays, not one each pause."""
    heard = follower.heard(probe.id)
    if heard is None:
        # Before it can have spoken, on the first day, nothing is wrong with it.
        say, on_ms = Say("alarm_never_heard", {"probe": probe.id}), silent_after_ms(probe.interval_s)
        return [Condition("probe silent", None, probe.id, say, on_ms)]
    slow = next((item for item in follower.doubts(probe.id) if item.kind == "slow"), None)
    if slow is not None and at - heard <= 3 * HOUR_MS * float(slow.numbers["learned_h"]):
        say = Say("alarm_slow", {"probe": probe.id, "learned_h": round(float(slow.numbers["learned_h"]), 2)})
        return [Condition("probe silent", None, probe.id, say)]
    # Of a site that is cut off the site is told, and not first each of its probes.
    way_ms = UNHEARD_MS if follower.site_of.get(probe.id) else 0
    if at - heard > silent_after_ms(probe.interval_s) + way_ms:
        say = Say("alarm_silent", {"probe": probe.id, "silent_at": heard})
        return [Condition("probe silent", None, probe.id, say)]
    return []


def _suspect(probe: ProbeFacts, follower: Follower, at: int) -> list[Condition]:
    """One alarm for a probe whatever speaks against it, none for notices and leans. Numbers that move are left out."""
    told = next((item for item in follower.doubts(probe.id) if item.kind not in QUIET), None)
    if told is not None:
        say = words(told, "alarm")
        kept = {name: value for name, value in say.values.items() if name in ("probe", "other")}
        return [Condition("probe suspect", None, probe.id, Say(say.key, kept))]
    newest = follower.unusable(probe.id, at)
    if newest is None:
        return []
    say = Say("alarm_unusable", {"probe": probe.id, "read_C": newest.value})
    return [Condition("probe suspect", None, probe.id, say)]


def recording(readings: Where, at: int) -> list[Condition]:
    """What keeps collect from storing, the gravest. A file that is locked for less than a minute rings nothing.

    Where readings come from a server nobody stores here: each site tells of its own.
    """
    if not isinstance(readings, Path):
        return []
    return [Condition("recording", None, None, _recording(item)) for item in _grave(read(readings), at)[:1]]


def untold(troubles: Iterable[Trouble], stored: Iterable[Alarm], at: int) -> list[Alarm]:
    """The gravest that keeps collect from storing, if watch could not store its alarm: one disk is full for both."""
    if any(alarm.kind == "recording" and alarm.returned_at is None for alarm in stored):
        return []
    return [
        Alarm(f"recording.untold.{item.since}", "recording", None, None, item.since, None, _recording(item))
        for item in _grave(troubles, at)[:1]
    ]


def _grave(troubles: Iterable[Trouble], at: int) -> list[Trouble]:
    return [item for item in troubles if item.kind is not Kind.LOCKED or at - item.since >= MINUTE_MS]


def _recording(item: Trouble) -> Say:
    return Say("alarm_recording", {"trouble": item.kind.value})

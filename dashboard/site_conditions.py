"""Sites that are cut off, that lag, or whose clock runs ahead: what a dashboard that reads from a server must tell."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from collector.store.site_state import UNHEARD_MS, SiteState
from dashboard.alarm_kinds import MINUTE_MS
from dashboard.alarms import Condition
from dashboard.panel import Panel
from model.verdict import Say

FIRST_MS = 3 * MINUTE_MS
"""Before a site that was never heard rings: after our own start it is looked for first."""


def holding_sites(sites: Iterable[SiteState], at: int) -> frozenset[str]:
    """Sites that are cut off at `at` (UTC ms), or hold back what their probes said: these do not ring one by one."""
    return frozenset(site.name for site in sites if site.is_cut(at) or site.lags(at) or site.catches_up)


def of_sites(
    sites: Iterable[SiteState], site_of: Mapping[str, str], panels: Mapping[str, Panel], at: int
) -> Iterator[Condition]:
    """What is so of them at `at` (UTC ms), each with the panels that its probes stand for. site_of: by probe."""
    listed = list(sites)
    if listed and all(site.why and site.is_cut(at) for site in listed):
        names = tuple(sorted(panel.name for panel in panels.values() if panel.probes))
        yield Condition("site unheard", None, None, Say("alarm_sites_away", {}), FIRST_MS, panels=names)
        return
    for site in listed:
        names = tuple(
            sorted(
                panel.name
                for panel in panels.values()
                if any(site_of.get(probe) == site.name for probe in panel.probes)
            )
        )
        for condition in _of_one(site, at):
            yield condition.naming(names, urgent=True)


def _of_one(site: SiteState, at: int) -> Iterator[Condition]:
    name = {"site": site.name}
    if site.heard_at is None:
        yield Condition("site unheard", None, None, Say("alarm_site_never", {**name}), FIRST_MS)
    elif site.is_cut(at):
        # After the server was away its sites come back one by one: none is blamed before it could have.
        could = at - site.answers_since >= FIRST_MS + UNHEARD_MS
        say = Say("alarm_site_cut", {**name, "silent_at": site.heard_at})
        yield Condition("site unheard", None, None, say, 0 if could else FIRST_MS)
    elif site.shared:
        yield Condition("site unheard", None, None, Say("alarm_site_shared", {**name}))
    elif site.is_ahead:
        yield Condition("site unheard", None, None, Say("alarm_site_ahead", {**name}))
    elif site.lags(at) and site.lags_since is not None:
        say = Say("alarm_site_lags", {**name, "lags_at": site.lags_since})
        yield Condition("site lags", None, None, say)

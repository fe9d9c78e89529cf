"""How each site stands, in words, for the Probes page."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from collector.store.site_state import SiteState
from dashboard.display import View
from dashboard.words import LABELS

OLD_MS = 10 * 60_000
"""What was measured so long before it came is old, for whatever reason."""


@dataclass(frozen=True)
class SiteLine:
    """late: somebody should see to it. head: the gravest that there is to say; more: the rest."""

    name: str
    late: bool
    head: str
    more: tuple[str, ...]


def site_lines(sites: Iterable[SiteState], view: View) -> list[SiteLine]:
    """Those first that somebody should see to."""
    return sorted((site_line(site, view) for site in sites), key=lambda line: not line.late)


def site_line(site: SiteState, view: View) -> SiteLine:
    """One site as of now."""
    wrong = site.shared or site.is_ahead or site.lags(view.now) or not site.known
    late = wrong or site.is_cut(view.now)
    head, more = _heard(site, view), list(_told(site, view))
    if wrong and not site.is_cut(view.now):
        head, *more = *more, head
    return SiteLine(site.name, late, head, tuple(more))


def _heard(site: SiteState, view: View) -> str:
    if site.heard_at is None:
        return LABELS["site_never"]
    if site.is_cut(view.now):
        return LABELS["site_cut"].format(at=view.clock(site.heard_at))
    if site.newest_at is None:
        return LABELS["site_heard_only"].format(age=view.age(site.heard_at))
    return LABELS["site_heard"].format(age=view.age(site.heard_at), at=view.clock(site.newest_at))


def _told(site: SiteState, view: View) -> Iterator[str]:
    if site.heard_at is None:
        yield LABELS["site_never_so"]
        return
    if site.is_cut(view.now):
        if not site.why:
            yield LABELS["site_cut_so"]
            yield LABELS["site_cut_keeps"]
        return
    if site.shared:
        yield LABELS["site_shared"]
        yield LABELS["site_shared_so"]
        return
    if site.is_ahead:
        yield LABELS["site_ahead"].format(span=view.span(site.ahead_ms, up=False))
        yield LABELS["site_ahead_so"]
    elif not site.known:
        yield LABELS["site_unknown"]
        yield LABELS["site_odd_so" if site.odd else "site_unknown_so"]
    if site.lags(view.now) and site.lags_since is not None:
        yield LABELS["site_lags"].format(n=site.behind, at=view.clock(site.lags_since))
        yield LABELS["site_lags_so"]
    elif (
        site.arrived_at is not None
        and site.newest_at is not None
        and site.arrived_at - site.newest_at > OLD_MS
    ):
        yield LABELS["site_late"].format(at=view.clock(site.newest_at))
    if site.missing:
        yield LABELS["site_missing"].format(n=site.missing)
    if site.left_out.n:
        when = "" if site.left_out.at is None else f", {view.clock(site.left_out.at)}"
        yield LABELS["site_left_out"].format(n=site.left_out.n, of=site.left_out.of + when)
    if site.kept:
        yield LABELS["site_kept"].format(n=site.kept)

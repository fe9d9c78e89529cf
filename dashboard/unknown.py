"""Why an answer is not known: what is missing, since when, and the way out."""

from __future__ import annotations

from collector.reading import Quality, Suspicion, silent_after_ms
from collector.store.site_state import SiteState
from dashboard.doubts import words
from dashboard.follow import Trace
from dashboard.panel import Coat, Panel
from model.decide import not_known
from model.verdict import Flag, Say, State, Verdict


def no_card(card: str) -> Verdict:
    return not_known(Say("no_card", {"card": card}), (Say("why_no_card"),))


def clock_back() -> Verdict:
    return not_known(Say("clock_back"), (Say("why_clock_back"),))


def failed() -> Verdict:
    return not_known(Say("failed"), (Say("why_failed"),))


def probe_missing(panel: Panel) -> Verdict:
    """The panel names no probe, or one that the settings do not have."""
    named = panel.surface_probe or panel.air_probe
    if named is None:
        return not_known(Say("no_probe"), (Say("why_no_probe"),))
    return never_heard(named)


def never_heard(probe: str) -> Verdict:
    return not_known(Say("never_heard", {"probe": probe}), (Say("why_never_heard"),), Flag.PROBE_SILENT)


def nothing_usable(trace: Trace, newest: Coat | None) -> Verdict:
    """Not one usable reading so far."""
    if trace.doubt is not None:
        return doubted(trace.doubt)
    if trace.newest is None or newest is None:
        return never_heard(trace.probe)
    why = Say("why_no_readings", {"mixed_at": newest.mixed_at})
    return not_known(Say("no_readings"), (why,), Flag.PROBE_SUSPECT)


def unheard(panel: Panel, trace: Trace | None, at: int) -> Verdict | None:
    """Why nothing is known of a panel's temperature at `at` (UTC ms); None if it is."""
    if trace is None:
        return probe_missing(panel)
    last = trace.last_usable(at)
    if last is None:
        return nothing_usable(trace, None)
    return quiet(trace, last, at, None) if trace.unheard(at) else None


def quiet(trace: Trace, last: int, at: int, then: State | None) -> Verdict:
    """Nothing usable for three intervals since `last` (UTC ms): the probe is silent, or sends what cannot be true."""
    if trace.doubt is not None:
        return doubted(trace.doubt)
    newest = trace.newest
    if newest is not None and newest.at > last and at - newest.at <= silent_after_ms(trace.interval_s):
        headline = Say("probe_suspect", {"probe": trace.probe, "read_C": newest.value})
        return not_known(headline, (Say(_suspect_why(newest.quality)),), Flag.PROBE_SUSPECT)
    why = Say("why_probe_silent", {"was": then.value}) if then else Say("why_probe_silent_early")
    headline = Say("silent_probe", {"probe": trace.probe, "silent_at": last})
    return not_known(headline, (why,), Flag.PROBE_SILENT)


def of_its_site(verdict: Verdict, site: SiteState | None, at: int) -> Verdict:
    """A probe is silent because of its site at `at` (UTC ms), where that is cut off or has not sent all it keeps; it is
    not there at all where nothing of its site is believed.
    """
    if site is None or site.heard_at is None:
        return verdict
    if verdict.headline.key == "never_heard" and (site.shared or site.is_ahead):
        headline, why = Say("silent_doubted", {"site": site.name}), Say("why_silent_doubted")
        return not_known(headline, (why,), Flag.PROBE_SILENT, Say("next_site"))
    if verdict.headline.key != "silent_probe":
        return verdict
    if site.is_cut(at):
        what, since = "server" if site.why else "site", site.heard_at
    elif site.lags(at) or site.catches_up:
        what, since = "late", int(verdict.headline.values["silent_at"])
    else:
        return verdict
    was = {name: value for say in verdict.why for name, value in say.values.items() if name == "was"}
    why = Say(f"why_silent_{what}" + ("" if was else "_early"), was)
    headline = Say(f"silent_{what}", {"site": site.name, "silent_at": since})
    return not_known(headline, (why,), Flag.PROBE_SILENT, Say("next_site"))


def unread(site: SiteState) -> Verdict:
    """The server does not give the readings that the answer needs."""
    headline = Say("silent_server", {"silent_at": site.heard_at or 0})
    return not_known(headline, (Say("why_silent_server_early"),), Flag.PROBE_SILENT, Say("next_site"))


def doubted(item: Suspicion) -> Verdict:
    """The probe speaks, but compared with the others it is not to be believed."""
    return not_known(
        words(item, "head"), (words(item, "why_doubt"),), Flag.PROBE_SUSPECT, Say("next_put_right")
    )


def _suspect_why(quality: Quality) -> str:
    for flag, key in (
        (Quality.POWER_ON_VALUE, "why_suspect_power_on"),
        (Quality.DISCONNECTED, "why_suspect_disconnected"),
        (Quality.SELF_HEATED, "why_suspect_heated"),
        (Quality.STUCK, "why_suspect_stuck"),
        (Quality.OUT_OF_RANGE, "why_suspect_range"),
        (Quality.CONTRADICTED, "why_suspect_contradicted"),
    ):
        if flag in quality:
            return key
    return "why_suspect_rate"

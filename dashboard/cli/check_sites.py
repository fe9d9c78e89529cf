"""Checks of a server that readings are read from: reachable, its sites heard, their clocks, how far they lag."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing

from collector.read_from_table import ReadFrom
from collector.settings import Settings
from collector.store.reads import open_store
from collector.store.schema import StoreError
from collector.store.site_state import APART_MS, SiteState
from dashboard.cli.check_probes import by_probe, probe_findings
from dashboard.cli.findings import Finding, ago, note, ok, wrong
from dashboard.cli.read_from import readings_of


def site_findings(settings: Settings, table: ReadFrom, now: int) -> Iterator[Finding]:
    """All that the server tells of the sites and their probes, at `now` (UTC ms)."""
    try:
        with closing(open_store(readings_of(settings))) as reader:
            sites = {site.name: site for site in reader.sites()}
            probes, newest = reader.probes(), by_probe(reader.newest())
            of = {probe.id: reader.site_of(probe.id) for probe in probes}
    except StoreError as error:
        yield wrong(f"read_from: {error}", "start the server, or correct url, bucket or token_file")
        return
    if why := next((site.why for site in sites.values() if site.why), ""):
        yield wrong(f"read_from: {why}", "start the server, or correct url, bucket or token_file")
        return
    yield ok(f"read_from: {table.url} answers")
    for site in sites.values():
        yield from one_site(site, now)
    for probe in probes:
        if not sites[of[probe.id]].is_cut(now):
            yield from probe_findings(probe, newest.get(probe.id, []), now)


def one_site(site: SiteState, now: int) -> Iterator[Finding]:
    """One site; the probes of one that is cut off are not asked for besides."""
    name = f"site {site.name}"
    if site.heard_at is None:
        do = "is this what its own settings call it, and does 'coldshed forward' run there?"
        yield wrong(f"{name}: never heard", do)
        return
    heard = f"{name}: last heard {ago(max(0, now - site.heard_at))} ago"
    if site.is_cut(now):
        yield wrong(
            heard, "see to its network and power; it goes on recording, and sends all once it is back"
        )
    elif site.shared:
        do = "give each a name of its own, one that neither had: all is then sent once more under it"
        yield wrong(f"{name}: two computers send under this name, nothing of it is believed", do)
    elif not site.known and site.odd:
        yield wrong(site.odd, "is coldshed of the same version there and here?")
    elif not site.known:
        yield wrong(
            f"{name}: what it says of its probes is not whole", "wait ten minutes: it says it again then"
        )
    else:
        yield ok(heard)
    yield from _beside(site, name, now)


def _beside(site: SiteState, name: str, now: int) -> Iterator[Finding]:
    if site.is_ahead:
        do = "set the clock there and here by a time service: nothing of it is believed meanwhile"
        yield wrong(f"{name}: its clock is {ago(site.ahead_ms)} ahead of ours", do)
    elif site.ahead_ms < -APART_MS and not site.is_cut(now):
        do = "set the clock there and here by a time service: its readings seem older than they are"
        yield wrong(f"{name}: its clock is {ago(-site.ahead_ms)} behind ours", do)
    if site.lags(now):
        do = "'coldshed check' there says why; the answers here are that much older"
        yield wrong(f"{name}: sends late, {site.behind} batches wait there", do)
    if site.missing:
        do = "see how long the server keeps readings; they are looked for again, and are gaps meanwhile"
        yield note(f"{name}: {site.missing} readings that it sent are not on the server", do)
    if site.left_out.n:
        do = "see who else writes there; meanwhile they are gaps"
        about = f"{site.left_out.n} rows on the server make no sense and are left out, the last of {site.left_out.of}"
        yield note(f"{name}: {about}", do)
    if site.kept:
        yield note(f"{name}: the server refused {site.kept} lines", "'coldshed check' there shows them")

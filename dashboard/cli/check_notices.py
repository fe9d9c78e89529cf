"""Checks of who is told: the library, the addresses, and whether the last notices arrived. Nothing is sent."""

from __future__ import annotations

import os
from collections.abc import Iterator

from collector.notice_tables import NoticeAddressError, addresses
from collector.settings import Settings
from collector.store.schema import StoreError
from dashboard.cli.check_settings import secret_finding
from dashboard.cli.findings import Finding, ago, note, ok, wrong
from dashboard.notice_store import NoticeReader
from dashboard.send_notice import AddressError, check_addresses


def notice_findings(settings: Settings, now: int) -> Iterator[Finding]:
    """Of everybody who is told, at `now` (UTC ms); nothing where nobody is."""
    if settings.notices is None:
        return
    for to in settings.notices.to:
        who = f"notices to {to.name}"
        if to.url_file is not None:
            yield secret_finding(who, settings.folder / to.url_file)
        try:
            found = addresses(to, settings.folder, os.environ)
            check_addresses(to.name, found)
        except NoticeAddressError as error:
            if to.url_env is not None:  # a file is told of above
                yield note(str(error), "it may be set only where coldshed is started")
        except AddressError as error:
            yield wrong(f"{who}: {error}", "then 'coldshed notify --test' sends one to everybody")
        else:
            yield ok(f"{who}: {len(found)} addresses that can be used; 'coldshed notify --test' tries them")
    yield from _arrived(settings, now)


def _arrived(settings: Settings, now: int) -> Iterator[Finding]:
    reader = NoticeReader(settings.notices_db)
    try:
        troubles, waiting = reader.troubles(), reader.waiting()
    except StoreError:
        return  # told by the check of the files
    for one in troubles:
        due = f"in {ago(one.next_at - now)}" if one.next_at > now else "now"
        do = f"it is tried again {due}; 'coldshed notify --test' says more"
        yield wrong(f"notices to {one.person}: {one.tries} tries in vain: {one.why}", do)
    if waiting and not troubles:
        yield ok(f"notices: {waiting} wait for the end of somebody's quiet hours")

"""Checks of what was written down: the settings file, the secrets it names, the cards, and the panels' use of them."""

from __future__ import annotations

import stat
from collections.abc import Iterable, Iterator
from pathlib import Path
from zoneinfo import ZoneInfo

from collector import settings as settings_file
from collector.last_good import good_copy
from collector.settings import BrokerLogin, MqttSource, Settings, SettingsError
from collector.source_tables import JsonMap
from dashboard.cards import CardShelf
from dashboard.cli.doors import has_accounts, why_reached
from dashboard.cli.findings import Finding, note, ok, wrong
from dashboard.cli.house import forecast_of
from dashboard.display import TIE, View
from dashboard.label import leads_nowhere
from dashboard.panel import Panel


def settings_findings(path: Path) -> tuple[Settings | None, list[Finding]]:
    """The settings if they can be used, and what is wrong with them: file, line, key, what is allowed."""
    copy = good_copy(path)
    try:
        settings = settings_file.load(path)
    except SettingsError as error:
        found = [
            wrong(line, "correct it, then 'coldshed check settings'") for line in str(error).splitlines()
        ]
        if copy.exists():
            found.append(note(f"until then what starts by itself goes on with {copy}", "as it was last good"))
        return None, found
    found = [ok(f"{path}: {len(settings.source)} sources, {len(settings.probe)} probes")]
    if copy.exists() and copy.read_text(encoding="utf-8") != path.read_text(encoding="utf-8"):
        found.append(
            note(f"{path} was changed since coldshed last started", "start it again, so that it counts")
        )
    url = settings.serve.public_url
    if url is not None and leads_nowhere(url):
        do = "name what a phone calls this computer by, or take the line out: until then no label is drawn"
        found.append(note(f"[serve] public_url {url} leads a phone to itself", do))
    heard = {probe.source for probe in settings.probe}
    for source in settings.source:
        if source.id not in heard:
            do = "add a [[probe]] table with this source; 'coldshed listen' shows the names that it sends"
            found.append(note(f"source {source.id}: no probe is heard there", do))
    return settings, found


def secret_findings(settings: Settings) -> Iterator[Finding]:
    """Files with passwords and tokens: there, readable by us, and by nobody else."""
    logins: list[tuple[str, BrokerLogin]] = [
        (f"source {source.id}", source) for source in settings.source if isinstance(source, MqttSource)
    ]
    if settings.announce is not None:
        logins.append(("announce", settings.announce))
    named = [(who, name) for who, login in logins for name in (login.password_file, login.key_file)]
    if settings.forward is not None:
        named.append(("forward", settings.forward.token_file))
    if settings.read_from is not None:
        named.append(("read_from", settings.read_from.token_file))
    for who, name in named:
        if name is not None:
            yield secret_finding(who, settings.folder / name)


def secret_finding(who: str, path: Path) -> Finding:
    """One such file."""
    try:
        with path.open("rb") as file:
            empty = not file.read(4096).strip()
        mode = path.stat().st_mode
    except OSError as error:
        return wrong(
            f"{who}: {path} cannot be read ({error.strerror})",
            "put the secret there, readable by the user who runs coldshed",
        )
    if empty:
        return wrong(f"{who}: {path} is empty", "put the secret there, in one line")
    if mode & (stat.S_IRWXG | stat.S_IRWXO):
        return note(f"{who}: {path} can be read by others", f"chmod 600 {path}")
    return ok(f"{who}: {path} holds a secret")


def door_findings(settings: Settings) -> Iterator[Finding]:
    """Whether what others can reach has accounts, and nobody else can read those."""
    path, why = settings.data_folder / "accounts.db", why_reached(settings)
    if why and not has_accounts(settings):
        yield wrong(
            f"{why}, and nobody has an account", "coldshed account add NAME --role manage: serve waits for it"
        )
    if path.exists() and path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO):
        yield wrong(
            f"{path} can be read by others", f"chmod 600 {path}; then have everybody take a new password"
        )

    if settings.data_folder.is_dir() and settings.data_folder.stat().st_mode & stat.S_IWOTH:
        yield wrong(
            f"{settings.data_folder} can be changed by others: they can put accounts of their own there",
            f"chmod o-w {settings.data_folder}",
        )


def topic_findings(settings: Settings) -> Iterator[Finding]:
    """Probes of a broker with users for which any device can speak, since no topic of theirs is written down."""
    for source in settings.source:
        if not isinstance(source, MqttSource) or source.user is None:
            continue
        if isinstance(source.decode, JsonMap) and source.decode.name is None:
            continue  # there the topic is the name
        told = [probe.id for probe in settings.probe if probe.source == source.id and probe.topic is None]
        if told:
            yield note(
                f"source {source.id}: every device of the broker can speak for {', '.join(told)}",
                "give each [[probe]] the topic that it speaks on (broker.md)",
            )


def forecast_findings(settings: Settings, now: int) -> Iterator[Finding]:
    """Whether the forecast file that the settings name can be used now (UTC ms)."""
    file = forecast_of(settings)
    if file is None:
        return
    found = file.at(now)
    text = View(ZoneInfo(settings.time_zone), "degC", now).sentence(found.say).replace(TIE, " ")
    if found.forecast is not None:
        yield ok(f"{file.path}: {text}")
        return
    yield note(f"{file.path}: {text}", "mend what writes it, or take [forecast] out of the settings")


def card_findings(shelf: CardShelf, panels: Iterable[Panel]) -> Iterator[Finding]:
    """Cards that cannot be used, and open panels whose coats have no card: nothing can be said of those."""
    for text in shelf.errors():
        yield wrong(text, "'coldshed check card FILE' shows what the corrected card means")
    for path, card in shelf.replaced():
        do = "give it an 'id' of its own, or leave it if it is meant to stand in that card's place"
        yield note(f"{path}: calls itself {card!r}, as another card does", do)
    names = shelf.names()
    yield ok(f"cards: {', '.join(names)}")
    for panel in panels:
        for card in sorted({coat.card for coat in panel.coats} - set(names)):
            if not panel.closed:
                do = "put the card's file into the folder cards, or log the coat with one that is there"
                yield wrong(f"panel {panel.name}: no card is called {card!r}", do)

"""What an assessment rests on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from collector.store.runs import Unsure
from collector.store.site_state import SiteState
from dashboard.follow import Trace
from dashboard.lot_known import LotKey, LotKnown
from dashboard.panel import Coat, Panel
from dashboard.settled import Settled
from dashboard.weather import Weather
from model.resin_card import ResinCard

RUN_UP_MS = 86_400_000


@dataclass(frozen=True)
class Facts:
    """One panel's facts.

    cards   by id, those of the panel's coats that can be read
    surface, air, humidity   the panel's probes as they are followed; None: no such probe
    batch   the newest batch of readings among them
    unsure  stretches of time whose place is not known exactly
    weather what the shop's forecast file says of the air outdoors; None: there is no such file
    lots    what other coats have taught of the lots of the panel's coats, by the coat's number
    settled what of its course before a full hour was worked out before, from these facts; the traces need no more
            than what follows it. None: they hold all of the coats' lives
    seqs    what `batch` means for each site, where it is a sum over several
    site    how the site stands whose probe stands for the panel; None in a house of one
    """

    panel: Panel
    cards: Mapping[str, ResinCard]
    surface: Trace | None
    air: Trace | None
    humidity: Trace | None
    batch: int
    unsure: tuple[Unsure, ...] = ()
    weather: Weather | None = None
    lots: Mapping[int, LotKnown] = field(default_factory=dict)
    settled: Settled | None = field(default=None, repr=False)
    seqs: Mapping[str, int] = field(default_factory=dict)
    site: SiteState | None = None

    @property
    def temperature(self) -> Trace | None:
        """The probe that stands for the panel: the one on its surface, else the one in the air."""
        return self.surface or self.air

    @property
    def corrections(self) -> tuple[str, ...]:
        """Ids of the logbook's entries that the readings were corrected by."""
        traces = (self.surface, self.air, self.humidity)
        return tuple(sorted({version for trace in traces if trace for version in trace.corrections}))

    @property
    def measures_moisture(self) -> bool:
        """Whether the air probe has ever told a humidity: then hours without one are a gap, not "nobody measures"."""
        return self.humidity is not None and self.humidity.newest is not None


def last_start_of(coat: Coat, card: ResinCard) -> int:
    """When the youngest part of the coat began: its last pot, or when it was said to be on."""
    if coat.last_pot_at is None or (card.times_from == "application" and coat.applied_at is not None):
        return start_of(coat, card)
    return coat.last_pot_at


def start_of(coat: Coat, card: ResinCard) -> int:
    """When the sheet's clock starts: at mixing, or at application if the card says so and somebody told when."""
    if card.times_from == "application" and coat.applied_at is not None:
        return coat.applied_at
    return coat.mixed_at


def counting(facts: Facts) -> list[Coat]:
    """The newest coat of each card, the newest of all last: with the same card, an older coat is never less cured.

    Unless a thumb found it slow: so every coat that was felt counts. Or unless others of its lot were slow: so do
    those of each lot of which something is known.
    """

    def alike(coat: Coat) -> tuple[str, LotKey | None]:
        known = facts.lots.get(coat.number)
        return coat.card, known.key if known else None

    newest = {alike(coat): coat.number for coat in facts.panel.coats}
    return [coat for coat in facts.panel.coats if coat.thumb_tests or newest[alike(coat)] == coat.number]


def run_up_from(facts: Facts) -> int:
    """From when on (UTC ms) a panel's readings are looked at: a day before the first coat that counts, six lags of the
    slowest panel behind the air.
    """
    return min(coat.mixed_at for coat in counting(facts)) - RUN_UP_MS

"""The pages' server is dead: the warning goes out all the same, and whoever still looks at an old answer reads "Not
known" once its time is over. The shop's clock runs fast, so that minutes pass in seconds."""

from __future__ import annotations

import json
import signal
import time
from pathlib import Path

from collector.clock import DemoClock
from dashboard.announce import GONE, HERE, read_verdict, verdict_topic, watch_topic
from tests.journeys.senders import Wire, announce, retained, shop_broker, usb
from tests.journeys.shop import PROCESSES, now_ms, opened, wait_until
from tests.journeys.window import Chromium
from tests.services import Server, running

RATE = 20.0
INTERVAL_S = 60
"""Three of them, the time that an answer is trusted, are nine real seconds."""
SITE = "invented-shed"


def test_with_serve_dead_old_answers_expire_and_the_warning_goes_out(
    tmp_path: Path, chromium: Chromium
) -> None:
    clock = DemoClock(now_ms(), time.monotonic(), RATE)
    with Wire() as wire, running(shop_broker(tmp_path / "broker")) as broker:
        tables = usb(wire.port, INTERVAL_S) + announce(broker.port)
        with opened(tmp_path / "shop", tables) as shop:
            _, watch, serve = (shop.start(name, "--demo-clock", clock.spell()) for name in PROCESSES)
            shop.ready()
            page = chromium.open(shop.url)
            shop.coat(shop.register("Deck", "S1", "A1"), clock.now())
            said = page.says("deck", "Wet out before")

            def told() -> str:
                """What a lamp would show now."""
                held = retained(broker, f"coldshed/{SITE}/#")
                verdict = held.get(verdict_topic(SITE, "deck"))
                return read_verdict(verdict, held.get(watch_topic(SITE)), clock.now()) if verdict else ""

            wait_until(lambda: told().startswith("Wet out before"), "the verdict is on the broker")

            serve.kill()
            watch.signal(signal.SIGSTOP)
            wait_until(lambda: told().startswith("Not known. Last said: Wet out before"), "it is too old")
            held = retained(broker, watch_topic(SITE))
            assert held == {watch_topic(SITE): HERE}, (
                "a frozen watch has not gone: its verdict's time is over"
            )
            page.says("deck", "Not known: this answer is too old")
            assert said in page.why("deck")
            wait_until(lambda: bool(page.lost()), "the page says that the server does not answer")

            watch.signal(signal.SIGCONT)
            wait_until(lambda: told().startswith("Wet out before"), "watch goes on telling")
            wire.fall_silent()
            wait_until(
                lambda: "alarm: Check probe S1: silent since" in watch.said(), "S1's warning in watch's log"
            )
            wait_until(lambda: silent(broker) == {"S1", "A1"}, "the warnings on the broker")
            wait_until(lambda: told().startswith("Not known: S1 silent since"), "the verdict says so too")

            watch.kill()
            wait_until(
                lambda: retained(broker, watch_topic(SITE)) == {watch_topic(SITE): GONE}, "the last will"
            )
            assert told().startswith("Not known. Last said: Not known: S1 silent")
            assert page.headline("deck") == "Not known: this answer is too old"
            page.close()


def silent(broker: Server) -> set[str]:
    """The probes that the alarms on the broker call silent."""
    alarms = [json.loads(item) for item in retained(broker, f"coldshed/{SITE}/alarm/+").values() if item]
    return {alarm["probe"] for alarm in alarms if alarm["kind"] == "probe silent"}

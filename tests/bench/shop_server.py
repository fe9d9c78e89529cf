"""Serves an invented shop in a process of its own: python -P -m tests.bench.shop_server FOLDER PORT. Fifty panels
that are open, two hundred that were closed long ago.
"""

from __future__ import annotations

import sys
from pathlib import Path

import uvicorn

from dashboard.panel import Event
from dashboard.serving import Server
from tests.browser.fake_shop import NOW, many, open_shop, register

OPEN, CLOSED = 50, 200


def main(folder: Path, port: int) -> None:
    shop = open_shop(folder, port=port, heard=True, told=("Kim", "Robin"))
    for number in range(CLOSED):
        panel = register(shop, f"Old {number}", 3)
        shop.logbook.append(Event(f"{panel}-closed", NOW, NOW, "Kim", "closed", panel, {}))
    many(shop, OPEN - 5)
    Server(shop.app, uvicorn.Config(shop.app, host="127.0.0.1", port=port, log_level="error")).run()


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))

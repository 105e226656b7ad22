"""Pictures of the bench as SVG, for the README: no fonts from outside, same bytes each time."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from textual.pilot import Pilot

    from matrixdoc.bench.app import BenchApp
    from matrixdoc.case.case import Case

Size = tuple[int, int]


async def settle(app: BenchApp, pilot: Pilot[int], seconds: float = 20.0) -> None:
    """Wait until the app has its case and nothing is being worked out, at most ``seconds``."""
    for _ in range(int(seconds / 0.01)):
        if app.view is not None and not app.view.busy and all(w.is_finished for w in app.workers):
            break
        await pilot.pause(0.01)
    await pilot.pause()


def take_picture(case: Case, size: Size = (120, 40), keys: Sequence[str] = (), name: str = "") -> str:
    """The bench on ``case`` after pressing ``keys``, ``size`` columns by rows, as SVG text."""
    from matrixdoc.bench.app import BenchApp
    from matrixdoc.bench.opening import Opened

    async def shoot() -> str:
        app = BenchApp(Opened(case, None, name), clock=lambda: "")
        async with app.run_test(size=size, notifications=False) as pilot:
            await settle(app, pilot)
            await pilot.press(*keys)
            await settle(app, pilot)
            return app.export_screenshot(title="matrixdoc bench")

    return asyncio.run(shoot())


def export_picture(
    path: Path, case: Case, size: Size = (120, 40), keys: Sequence[str] = (), name: str = ""
) -> None:
    """Write :func:`take_picture` to ``path``."""
    path.write_text(take_picture(case, size, keys, name), encoding="utf-8")

"""The first window when no machine was named: open cases, then machines."""

from __future__ import annotations

from collections.abc import Iterable

from textual.content import Content
from textual.widget import Widget
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from matrixdoc.bench.dialogs import Dialog
from matrixdoc.bench.opening import Offer, Offers
from matrixdoc.bench.panes import StraightList


class Chooser(Dialog[Offer | None]):
    """Answers the offer that was chosen; None to leave."""

    heading = "What is on the bench?"
    keys_line = "Up, Down: move · Enter: open · q: leave"

    def __init__(self) -> None:
        super().__init__(classes="chooser")
        self.offers: tuple[Offer, ...] = ()

    def controls(self) -> Iterable[Widget]:
        """The list, filled as soon as it was read."""
        yield Static("reading cases and machines ...", id="wait", markup=False)
        yield StraightList(markup=False)

    def show(self, offers: Offers) -> None:
        """Fill the list."""
        self.offers = (*offers.cases, *offers.machines)
        options: list[Option | None] = []
        if offers.cases:
            options.append(Option(Content.styled("GO ON WITH", "bold $bench-head"), disabled=True))
            options.extend(self._option(i, one) for i, one in enumerate(offers.cases))
        if offers.machines:
            options.append(Option(Content.styled("BEGIN A NEW CASE ON", "bold $bench-head"), disabled=True))
            options.extend(self._option(i, one) for i, one in enumerate(offers.machines, len(offers.cases)))
        wait = self.query_one("#wait", Static)
        wait.update(
            "" if self.offers else "no machine is defined: matrixdoc validate FILE, then matrixdoc bench FILE"
        )
        wait.display = not self.offers
        listing = self.query_one(OptionList)
        listing.set_options(options)
        self.set_focus(listing)
        listing.highlighted = 1 if self.offers else None

    @staticmethod
    def _option(index: int, offer: Offer) -> Option:
        content = Content.assemble((f"  {offer.title}", "bold"), f"  {offer.detail}")
        return Option(content, id=str(index), disabled=not offer.usable)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """One was chosen."""
        event.stop()
        self.dismiss(self.offers[int(event.option_id or 0)])

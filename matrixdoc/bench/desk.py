"""The one screen of the bench: it draws a :class:`View` and holds nothing of its own."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.css.query import NoMatches
from textual.message import Message
from textual.screen import Screen
from textual.widgets import Static

from matrixdoc.bench import rows
from matrixdoc.bench.actions import footer_actions
from matrixdoc.bench.cells import GridModel
from matrixdoc.bench.grid import DeviceGrid
from matrixdoc.bench.history import log_rows
from matrixdoc.bench.panes import CautionBar, FooterBar, Line, RowList, TabBar
from matrixdoc.bench.signs import clean
from matrixdoc.bench.state import View

WIDE_COLUMNS = 110
"""From this width on, causes and checks stand beside the grid."""


def context_of(view: View | None) -> str:
    """Which part of the action table holds here."""
    if view is None:
        return "bench"
    if view.choosing is not None:
        return "choosing"
    if view.pane != "place":
        return view.pane
    return view.place.device if view.place is not None else "bench"


class Side(Vertical):
    """The left side: it tells when its room changes, so that the grid is laid out anew."""

    class Resized(Message):
        """There is more room, or less."""

    def on_resize(self) -> None:
        """Tell it."""
        self.post_message(self.Resized())


class Desk(Screen[None], inherit_bindings=False):
    """Grids and position on one side, causes, checks and log on the other, or behind tabs."""

    HORIZONTAL_BREAKPOINTS = [  # noqa: RUF012 - as Textual types it
        (0, "-narrow"),
        (WIDE_COLUMNS, "-wide"),
    ]
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("tab", "app.key('tab')", show=False),
        Binding("shift+tab", "app.key('shift+tab')", show=False),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.view: View | None = None
        self.case_name = ""
        self.plain = False
        self.grids: list[DeviceGrid] = []
        self._widths: tuple[int, ...] = ()

    def compose(self) -> ComposeResult:
        """Everything but the grids, which come with the machine."""
        yield Line(id="title")
        yield TabBar(id="tabs")
        yield CautionBar(id="caution")
        with Vertical(id="desk"):
            with Side(id="left"):
                yield Vertical(id="grids")
                yield Line(id="position")
                yield Line(id="around")
                yield Line(id="said")
                yield Line(id="strip")
                with Vertical(id="pane-log", classes="pane"):
                    yield Static("LOG, newest first", classes="head", markup=False)
                    yield RowList("log", id="log")
            with Vertical(id="right"):
                with Vertical(id="pane-causes", classes="pane"):
                    yield Static("CAUSES, most likely first", classes="head", markup=False)
                    yield RowList("causes", id="causes")
                    yield Static("", id="causes-foot", classes="foot", markup=False)
                with Vertical(id="pane-checks", classes="pane"):
                    yield Static("NEXT CHECKS, best first", classes="head", id="checks-head", markup=False)
                    yield RowList("checks", id="checks")
        yield FooterBar(id="footer")

    def on_mount(self) -> None:
        """Something to look at while the machine is read."""
        self.query_one("#title", Line).show(rows.title_line(None, "", 80))

    @property
    def wide(self) -> bool:
        """Whether there is room for everything side by side."""
        return self.app.size.width >= WIDE_COLUMNS

    @property
    def grid(self) -> DeviceGrid | None:
        """The grid that is shown."""
        if self.view is None or not self.grids:
            return None
        return self.grids[self.view.place_index]

    async def set_up(self, view: View, name: str) -> None:
        """Make the grids of a machine and show the view."""
        self.case_name = name
        holder = self.query_one("#grids", Vertical)
        await holder.remove_children()
        self.grids = [DeviceGrid(GridModel(place)) for place in view.places]
        for grid in self.grids:
            grid.display = False
        await holder.mount(*self.grids)
        self.view = None
        self.show(view)

    # -- drawing -----------------------------------------------------------------------------

    def show(self, view: View) -> None:
        """Draw ``view``; parts that did not change are left alone."""
        old, self.view = self.view, view
        try:
            self._show_bars(view)
            self._show_grid(view, old)
            self._show_lists(view, old)
        except NoMatches:
            # The screen is on its way out: there is nothing left to draw on.
            return
        self._focus(view)
        if old is not None and old.pane != view.pane and not self.wide:
            # A list that was hidden has no width before it is laid out.
            self.call_after_refresh(self.draw_again)

    def _show_bars(self, view: View) -> None:
        self.query_one("#title", Line).show(rows.title_line(view, self.case_name, self.app.size.width))
        self.query_one("#tabs", TabBar).show(rows.tab_items(view, narrow=not self.wide))
        bar = self.query_one("#caution", CautionBar)
        cautions = [clean(c) for c in view.case.cautions()]
        if cautions != bar.cautions:
            bar.warn(cautions)
        self.query_one("#position", Line).show(rows.position_line(view))
        self.query_one("#around", Line).show(rows.around_line(view))
        self.query_one("#said", Line).show(Content.styled(clean(view.said, 300), "$bench-dim"))
        strip = self.query_one("#strip", Line)
        if not self.wide:
            width = max(20, strip.size.width)
            lines = rows.strip_lines(view, max(2, strip.size.height), width, plain=self.plain)
            strip.show(Content("\n").join(lines))
        self.query_one("#footer", FooterBar).show(footer_actions(context_of(view)), rows.legend(view))

    def _model(self, view: View) -> GridModel | None:
        if view.place is None:
            return None
        choosing = view.choosing
        return GridModel(
            view.place,
            view.cursor,
            view.seen,
            view.suspects,
            view.suspect_lines,
            choosing.chosen if choosing is not None else None,
            choosing.spot.reference if choosing is not None and choosing.spot is not None else "",
            self.plain,
        )

    def _show_grid(self, view: View, old: View | None) -> None:
        model = self._model(view)
        if model is None or not self.grids:
            return
        shown = self.grids[view.place_index]
        shown.show(model)
        if old is None or old.place_index != view.place_index:
            for grid in self.grids:
                grid.display = grid is shown
            self.lay_out()

    def lay_out(self) -> None:
        """Give the grid the lines it wants, and leave at least two for what stands below."""
        grid = self.grid
        if grid is None:
            return
        side = self.query_one("#left", Side).size
        # Below it: position, around and two lines of talk, or position and a few lines of ranking.
        below = 8 if self.wide else (3 if grid.model.place.grid else 6)
        room = max(3, side.height - below)
        roomy = self.wide and grid.lines_wanted(roomy=True) <= room
        grid.styles.height = min(grid.lines_wanted(roomy=roomy), room)
        grid.lay_out(side.width, roomy=roomy)
        self.call_after_refresh(self.draw_again)

    def draw_again(self) -> None:
        """Draw what depends on sizes that are known only now."""
        if self.view is not None:
            self.show(self.view)

    def on_side_resized(self) -> None:
        """The window changed."""
        self.lay_out()

    def _show_lists(self, view: View, old: View | None) -> None:
        lists = not self.wide and view.pane != "place"
        self.set_class(lists, "lists")
        for pane in ("causes", "checks", "log"):
            self.set_class(lists and view.pane == pane, f"show-{pane}")
        causes, checks, log = (self.query_one(f"#{name}", RowList) for name in ("causes", "checks", "log"))
        widths = tuple(
            max(20, one.scrollable_content_region.width or one.size.width) for one in (causes, checks, log)
        )
        fresh = old is None or widths != self._widths
        self._widths = widths
        if (
            fresh
            or old is None
            or (old.diagnosis, old.stale, old.cause_index) != (view.diagnosis, view.stale, view.cause_index)
        ):
            found = [rows.cause_row(c, widths[0], plain=self.plain, faint=view.stale) for c in view.causes]
            causes.show(found, view.cause_index)
            foot = rows.causes_footnote(view) if found else rows.causes_empty(view)
            if found and view.stale:
                foot = "working them out again ...\n" + foot
            self.query_one("#causes-foot", Static).update(foot)
        checks.show(rows.check_rows(view, widths[1]), view.check_index)
        if fresh or old is None or old.case is not view.case or old.log_index != view.log_index:
            log.show([rows.log_row(r, widths[2]) for r in log_rows(view.case)], view.log_index)

    def _focus(self, view: View) -> None:
        if self.app.screen is not self:
            return
        target = self.grid if view.pane == "place" else self.query_one(f"#{view.pane}", RowList)
        if target is not None and self.focused is not target:
            self.set_focus(target)

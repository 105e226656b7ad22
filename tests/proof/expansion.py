"""The second expansion of a definition, straight from its text: supplies, feeds, matrices.

Made from the words of the authoring form, the published grammar of part references and the default
figures; loads with a drive of their own are in ``expansion_loads.py``. Nets have names of this
expansion, so only (part reference, terminal) can be compared with the package.
"""

from __future__ import annotations

from typing import Any

from tests.proof import expansion_loads
from tests.proof.authoring import EMPTY_CELL, chain, chart, definition, line_facts, quantity, styles
from tests.proof.machine import EARTH, Cell, Command, Decoder, Grid, Input, Machine, Rail, Winding


def expand(text: str) -> Machine:
    """Everything that a definition says, and what it leaves to the published defaults."""
    return Expander(definition(text)).machine


class Expander:
    """Works through one definition."""

    def __init__(self, form: dict[str, Any]) -> None:
        self.form = form
        self.machine = Machine(form["title"])
        self.defaults = styles()["defaults"]
        link = form.get("link")
        self.link_boards = list(link["boards"]) if link else []
        self.feed_ends: dict[str, str] = {}
        boards = list(form.get("boards", {}))
        self.drive_board = self.link_boards[1] if link else boards[0] if len(boards) == 1 else ""
        for name, matrix in form.get("matrices", {}).items():
            self._matrix(name, matrix)
        expansion_loads.expand_loads(self)
        for name in form.get("supplies", {}):
            self.rail(name)
        for name in form.get("feeds", {}):
            self.feed(name)

    # -- supplies --------------------------------------------------------------------------------------

    def rail(self, name: str) -> Rail:
        """A rail, made with its alternating side when first asked for."""
        found = self.machine.rails.get(name)
        if found is None:
            found = self.machine.rails[name] = self._supply(name)
        return found

    def _supply(self, name: str) -> Rail:
        stated = self.form.get("supplies", {}).get(name)
        facts = stated or {}
        usual = styles()["supply"].get(name, styles()["supply"]["other"])
        undescribed = "volts" not in facts and "bridge" not in facts
        alternating = facts.get("alternating") == "yes" or (undescribed and usual.get("alternating", False))
        regulated = "regulator" in facts or (
            undescribed and usual.get("regulated", False) and not alternating
        )
        source = styles()["source"]
        made = "alternating" if alternating else "regulated" if regulated else "unregulated"
        stiff = regulated if "stiff" not in facts else facts["stiff"] == "yes"
        rail = Rail(
            name,
            f"rail {name}",
            quantity(facts.get("volts"), usual["volts"]),
            quantity(facts.get("source"), source[f"{made}_ohm"]),
            quantity(facts.get("load"), usual["load_a"]),
            stiff,
        )
        rectified = facts.get("bridge") != "none" and not alternating
        self._alternating_side(name, facts, usual, rail, rectified=rectified, regulated=regulated)
        return rail

    def _alternating_side(
        self,
        name: str,
        facts: dict[str, Any],
        usual: dict[str, Any],
        rail: Rail,
        *,
        rectified: bool,
        regulated: bool,
    ) -> None:
        add, own = self.machine.add, f"supply/{name}"
        far = f"{own} far" if rectified else EARTH
        near = f"{own} near" if rectified else rail.net
        winding_ohm = {"ohm": quantity(facts["winding_ohms"])} if "winding_ohms" in facts else {}
        add(f"{own}/winding", "winding", f"{own} start", far, values=winding_ohm)
        add(f"{own}/pin", "pin", f"{own} start", f"{own} pinned")
        fuse = facts.get("winding_fuse")
        if fuse == "none":
            add(f"{own}/wire", "wire", f"{own} pinned", near)
        else:
            add(f"{own}/wire", "wire", f"{own} pinned", f"{own} wired")
            self.fuse(f"{own}/fuse", f"{own} wired", near, fuse, usual["fuse_a"])
        raw = f"{own} raw" if regulated else rail.net
        if rectified:
            bridge = facts.get("bridge", {})
            type_name = bridge if isinstance(bridge, str) else bridge.get("type", "")
            for number, (anode, cathode) in enumerate(
                ((near, raw), (far, raw), (EARTH, near), (EARTH, far)), start=1
            ):
                made = type_name or self.defaults["rectifier"]
                add(f"{own}/rectifier{number}", "rectifier", anode, cathode, type_name=made)
        alternating = facts.get("alternating") == "yes" or usual.get("alternating", False)
        farad = quantity(facts.get("capacitor"), 0.0 if alternating else usual["capacitance_f"])
        if farad:
            add(f"{own}/capacitor", "electrolytic", raw, EARTH, capacitance_f=farad)
        if regulated:
            add(f"{own}/regulator", "regulator", raw, rail.net)

    def fuse(self, reference: str, near: str, far: str, facts: Any, usual_a: float | None = None) -> None:
        """A fuse between two nets; the rating alone, or with more facts."""
        rating = facts if isinstance(facts, str) else (facts or {}).get("rating")
        own = {} if rating is None and usual_a is None else {"rated_a": quantity(rating, usual_a or 0.0)}
        self.machine.add(reference, "fuse", near, far, values=own)

    def feed(self, name: str) -> str:
        """Harness end of a feed: rail, fuse where stated, header, pin, wire. A supply's name stands
        for a feed of its own without a fuse."""
        if name in self.feed_ends:
            return self.feed_ends[name]
        facts = self.form.get("feeds", {}).get(name, {"supply": name})
        own, inner = f"feed/{name}", self.rail(facts["supply"]).net
        if "interlock" in facts:
            inner = self._interlock(facts["interlock"], inner)
        if facts.get("fuse", "none") != "none":
            self.fuse(f"{own}/fuse", inner, f"{own} fused", facts["fuse"])
            inner = f"{own} fused"
        self.header(own, inner, f"{own} outside")
        self.machine.add(f"{own}/wire", "wire", f"{own} outside", f"{own} end")
        self.feed_ends[name] = f"{own} end"
        return self.feed_ends[name]

    def _interlock(self, name: str, rail: str) -> str:
        """Out from the rail to a switch at a door, and back."""
        own, add = f"interlock/{name}", self.machine.add
        if f"{own}/contact" not in self.machine.elements:
            self.header(own, rail, f"{own} outside")
            self.header(own, f"{own} cut", f"{own} returned", "return header", "return pin")
            add(f"{own}/wire", "wire", f"{own} outside", f"{own} near")
            add(f"{own}/return wire", "wire", f"{own} far", f"{own} returned")
            self.machine.resting.append(add(f"{own}/contact", "contact", f"{own} near", f"{own} far"))
        return f"{own} cut"

    def header(self, own: str, inner: str, outside: str, joint: str = "header", pin: str = "pin") -> None:
        """From a board into the harness: solder joint of the header, then the connector pin."""
        self.machine.add(f"{own}/{joint}", "joint", inner, f"{own} {joint}")
        self.machine.add(f"{own}/{pin}", "pin", f"{own} {joint}", outside)

    # -- signals ---------------------------------------------------------------------------------------

    def has_link(self, board: str) -> bool:
        """Whether a signal for that board crosses the link between boards."""
        return bool(self.link_boards) and board in ("", self.link_boards[1])

    def command(
        self,
        own: str,
        facts: dict[str, Any],
        board: str,
        output: str,
        *,
        from_logic: bool = True,
        decoder: tuple[Decoder, int] | None = None,
    ) -> Command:
        """Signal parts of a drive: logic output and link pin, or a decoder; pre-driver where stated."""
        add, path = self.machine.add, []
        if decoder is not None:
            path.append(decoder[0].part)
        elif from_logic:
            path.append(add(f"{own}/logic", "logic_output"))
            if self.has_link(facts.get("board", board)):
                path.append(add(f"{own}/link", "link_pin"))
        if facts.get("pre_driver"):
            path.append(add(f"{own}/predriver", "pre_driver"))
        lines, number = (decoder[0].lines, decoder[1]) if decoder else ((), 0)
        return Command(tuple(path), output, lines, number)

    def decoder(self, root: str, part: str, facts: dict[str, Any], board: str) -> Decoder:
        """A decoder with its select lines from the logic."""
        lines = []
        for number, _ in enumerate(facts["lines"], start=1):
            parts = [self.machine.add(f"{root}/select{number}/logic", "logic_output")]
            if self.has_link(facts.get("board", board)):
                parts.append(self.machine.add(f"{root}/select{number}/link", "link_pin"))
            lines.append(tuple(parts))
        return Decoder(self.machine.add(part, "decoder"), tuple(lines))

    # -- matrices --------------------------------------------------------------------------------------

    def _matrix(self, name: str, matrix: dict[str, Any]) -> None:
        device, style_name, style = self._style(name, matrix)
        grid = Grid(name, style_name, style.get("strobed", "columns"))
        names = chart(matrix)
        fitted = [place for place, title in names.items() if title not in EMPTY_CELL]
        numbers = {"C": sorted({c for c, _ in names}), "R": sorted({r for _, r in names})}
        grid.columns = tuple(f"C{n}" for n in numbers["C"])
        grid.rows = tuple(f"R{n}" for n in numbers["R"])
        decoder = None
        if "decoder" in matrix:
            board = matrix.get("board", "")
            decoder = self.decoder(name, f"{name}/decoder", matrix["decoder"], board)
        lugs: dict[str, dict[str, str]] = {}
        for letter in ("C", "R"):
            for index, number in enumerate(numbers[letter]):
                chosen = (decoder, index) if decoder and letter == "C" else None
                facts = line_facts(matrix, letter, number)
                own = f"{name}/{letter}{number}"
                crossing = sorted(
                    (r if letter == "C" else c) for c, r in fitted if (c if letter == "C" else r) == number
                )
                if device != "switch":
                    inner = self._driven_line(
                        grid, own, matrix, style, facts, chosen, clamped=device == "coil"
                    )
                elif letter == "C":
                    inner = self._switch_column(grid, own, matrix, style, facts, chosen)
                else:
                    inner = self._switch_row(grid, own, matrix, style, facts)
                key = f"C{number}R{{}}" if letter == "C" else f"C{{}}R{number}"
                cells = {
                    key.format(n): "" if before is None else key.format(before)
                    for n, before in chain(facts, letter, crossing)
                }
                lugs[f"{letter}{number}"] = self._line_wires(own, inner, cells, pinned="pin" in facts)
        for column, row in fitted:
            key = f"C{column}R{row}"
            facts = matrix.get("cells", {}).get(key, {})
            ends = (lugs[f"C{column}"][key], lugs[f"R{row}"][key])
            build = {"switch": self._switch_cell, "lamp": self._lamp_cell, "coil": self._coil_cell}[device]
            grid.cells[key] = build(f"{name}/{key}", matrix, style, facts, ends)
        if device == "coil":
            self._coil_matrix(grid, style)
        else:
            (self.machine.switches if device == "switch" else self.machine.lamps)[name] = grid

    def _style(self, name: str, matrix: dict[str, Any]) -> tuple[str, str, dict[str, Any]]:
        """What a matrix holds, and its drive style."""
        tables = {"switch": "switch", "lamp": "lamp", "coil": "coil_matrix"}
        device = matrix.get("device", "")
        if not device:
            styled = [d for d, table in tables.items() if matrix.get("style") in styles()[table]]
            named = [d for d in tables if d in name]
            device = styled[0] if len(styled) == 1 else (named or ["switch"])[0]
        style_name = matrix.get("style") or self.defaults[f"{tables[device]}_style"]
        return device, style_name, styles()[tables[device]][style_name]

    def _coil_matrix(self, grid: Grid, style: dict[str, Any]) -> None:
        """Each crossing is a winding that its column and its row pull together."""
        self.machine.coil_matrices.append(grid.name)
        column_feeds = style["column"].startswith("high_side")
        for key, cell in grid.cells.items():
            ends = [grid.drivers[cell.column], grid.drivers[cell.row]]
            feeding, sinking = ends if column_feeds else ends[::-1]
            own = f"{grid.name}/{key}"
            self.machine.windings[own] = Winding(own, cell.element, sinking, also=(feeding,))

    def _line_wires(self, own: str, inner: str, cells: dict[str, str], *, pinned: bool) -> dict[str, str]:
        """Wires from the connector on; ``cells``: each with the one whose lug its wire comes from."""
        if not cells and not pinned:
            return {}
        self.header(own, inner, f"{own} outside")
        lugs = {"": f"{own} outside"}
        for number, (cell, before) in enumerate(cells.items(), start=1):
            lugs[cell] = f"{own} lug {number}"
            part = f"{own}/wire" if number == 1 else f"{own}/segment{number}"
            self.machine.add(part, "wire", lugs[before], lugs[cell])
        return lugs

    def _switch_column(
        self,
        grid: Grid,
        own: str,
        matrix: dict[str, Any],
        style: dict[str, Any],
        facts: dict[str, Any],
        decoder: tuple[Decoder, int] | None,
    ) -> str:
        inner, rail = f"{own} inner", self.rail(matrix.get("supply", "logic")).net
        on, idle = (EARTH, rail) if style["closed"] == "low" else (rail, EARTH)
        ohm = quantity(matrix.get("column_drive"), style["drive_ohm"])
        held = style["driver"].endswith("push_pull")
        values = {"on_ohm": ohm, **({"idle_ohm": ohm} if held else {})}
        nets = (inner, on, idle) if held else (inner, on)
        self.machine.add(f"{own}/driver", style["driver"], *nets, values=values)
        board = matrix.get("board", "")
        command = self.command(own, facts, board, f"{own}/driver", decoder=decoder)
        grid.drivers[own.split("/")[1]] = command
        pull = quantity(matrix.get("column_pull"), style["column_pull_ohm"])
        if pull:
            self.machine.add(f"{own}/pull", "resistor", inner, idle, ohm=pull)
        return inner

    def _switch_row(
        self, grid: Grid, own: str, matrix: dict[str, Any], style: dict[str, Any], facts: dict[str, Any]
    ) -> str:
        inner, rail = f"{own} inner", self.rail(matrix.get("supply", "logic"))
        pulled_to = rail.net if style["closed"] == "low" else EARTH
        ohm = quantity(matrix.get("row_pull"), style["row_pull_ohm"])
        self.machine.add(f"{own}/pull", "resistor", inner, pulled_to, ohm=ohm)
        sensing = styles()["sensing"][matrix.get("sensing") or self.defaults["sensing"]]
        made = self.sensing(own, inner, sensing, facts.get("drive_type", ""), rail, style["closed"])
        path = []
        if self.has_link(facts.get("board", matrix.get("board", ""))):
            path.append(self.machine.add(f"{own}/link", "link_pin"))
        path.append(self.machine.add(f"{own}/input", "logic_input"))
        grid.inputs[own.split("/")[1]] = Input(
            made.sensing,
            quantity(matrix.get("reads_low_at"), made.low_v),
            quantity(matrix.get("reads_high_at"), made.high_v),
            made.closed,
            made.floating,
            tuple(path),
        )
        return inner

    def sensing(
        self, own: str, inner: str, style: dict[str, Any], type_name: str, rail: Rail, closed: str
    ) -> Input:
        """The sensing part of an input, and its thresholds."""
        part = f"{own}/sensing"
        self.machine.add(part, "sensing", inner, EARTH, type_name=type_name or style["type"])
        scale = 1.0 if style["volts"] else rail.nominal_v
        return Input(part, style["low"] * scale, style["high"] * scale, closed, style["floating"], ())

    def _stubs(self, own: str, ends: tuple[str, str]) -> None:
        self.machine.add(f"{own}/column_stub", "wire", ends[0], f"{own} column")
        self.machine.add(f"{own}/row_stub", "wire", ends[1], f"{own} row")

    def _switch_cell(
        self,
        own: str,
        matrix: dict[str, Any],
        style: dict[str, Any],
        facts: dict[str, Any],
        ends: tuple[str, str],
    ) -> Cell:
        column, row, middle = f"{own} column", f"{own} row", f"{own} middle"
        self._stubs(own, ends)
        diode_first = facts.get("order", matrix.get("order", "")) == "diode first"
        contact = (middle, row) if diode_first else (column, middle)
        diode = (column, middle) if diode_first else (middle, row)
        if style["closed"] == "low":  # the column sinks: current comes out of the row
            diode = diode[::-1]
        closed = facts.get("normally") == "closed"
        element = f"{own}/contact"
        if (facts.get("element") or matrix.get("element")) == "opto":
            known = {**matrix.get("opto", {}), **facts.get("opto", {})}
            flow = contact[::-1] if style["closed"] == "low" else contact
            element, closed = self.optical_pair(own, known, flow)
        else:
            self.machine.add(element, "contact", *contact)
        type_name = facts.get("diode") or matrix.get("diode") or self.defaults["switch_diode"]
        self.machine.add(f"{own}/diode", "diode", *diode, type_name=type_name)
        if "capacitor" in facts:
            farad = quantity(facts["capacitor"])
            self.machine.add(f"{own}/capacitor", "capacitor", *contact, capacitance_f=farad)
        places = own.split("/")[1].replace("R", " R").split()
        return Cell(places[0], places[1], element, f"{own}/diode", closed)

    def optical_pair(self, own: str, facts: dict[str, Any], flow: tuple[str, ...]) -> tuple[str, bool]:
        """An optical pair that conducts along ``flow``: its contact, and whether that rests closed."""
        style, add = styles()["opto"], self.machine.add
        supply = facts.get("supply", style["supply"])
        rail = self.rail(self.form["feeds"][facts["feed"]]["supply"] if "feed" in facts else supply)
        net = self.feed(facts["feed"]) if "feed" in facts else rail.net
        ohm = quantity(facts.get("emitter_resistor"), style["emitter_resistor_ohm"])
        add(f"{own}/emitter_feed", "wire", net, f"{own} fed")
        add(f"{own}/emitter_resistor", "resistor", f"{own} fed", f"{own} lit", ohm=ohm)
        add(f"{own}/emitter", "emitter", f"{own} lit", f"{own} dimmed")
        add(f"{own}/emitter_return", "wire", f"{own} dimmed", EARTH)
        if facts.get("blocked", style["blocked"]) == "open":
            return add(f"{own}/phototransistor", "phototransistor", *flow), True
        received = f"{own} received"
        pull = quantity(facts.get("receiver_pull"), style["receiver_pull_ohm"])
        add(f"{own}/receiver_pull", "resistor", received, net, ohm=pull)
        add(f"{own}/phototransistor", "phototransistor", received, EARTH)
        add(
            f"{own}/buffer",
            "sensing",
            received,
            EARTH,
            type_name=styles()["sensing"][style["buffer"]]["type"],
        )
        return add(f"{own}/output", "low_side_npn", *flow, type_name=style["output_type"]), False

    def _driven_line(
        self,
        grid: Grid,
        own: str,
        matrix: dict[str, Any],
        style: dict[str, Any],
        facts: dict[str, Any],
        decoder: tuple[Decoder, int] | None,
        *,
        clamped: bool,
    ) -> str:
        inner, key = f"{own} inner", own.split("/")[1]
        side = "column" if key.startswith("C") else "row"
        kind = style[side]
        rail = self._line_feed(grid.name, own, matrix["feed"], kind) if "feed" in matrix else ""
        rail = rail or self.rail(matrix.get("supply", "coil" if clamped else "lamp")).net
        type_name = facts.get("drive_type") or matrix.get(f"{side}_type") or style[f"{side}_type"]
        other = rail if kind.startswith("high_side") else EARTH
        self.machine.add(f"{own}/driver", kind, inner, other, type_name=type_name)
        board = matrix.get("board", "")
        grid.drivers[key] = self.command(own, facts, board, f"{own}/driver", decoder=decoder)
        if clamped:  # the kick-back of a released winding finds its way to the rail, or from ground
            ends = (inner, rail) if other == EARTH else (EARTH, inner)
            self.machine.add(f"{own}/clamp", "diode", *ends, type_name=self.defaults["coil_diode"])
            return inner
        ohm = quantity(matrix.get("row_resistor"), style["row_resistor_ohm"])
        if side == "row" and ohm:
            self.machine.add(f"{own}/resistor", "resistor", inner, f"{own} limited", ohm=ohm)
            return f"{own} limited"
        return inner

    def _line_feed(self, matrix: str, own: str, feed: str, kind: str) -> str:
        """Where a drive has its supply on a feed: a wire of its line, of the matrix, or the feed's end."""
        line = expansion_loads.tap(self, own, feed) if kind.startswith("high_side") else None
        return line or expansion_loads.tap(self, matrix, feed) or self.feed(feed)

    def _lamp_cell(
        self,
        own: str,
        matrix: dict[str, Any],
        style: dict[str, Any],
        facts: dict[str, Any],
        ends: tuple[str, str],
    ) -> Cell:
        self._stubs(own, ends)
        column, row, middle, inside = (f"{own} {word}" for word in ("column", "row", "middle", "inside"))
        diode_first = facts.get("order", matrix.get("order", "")) == "diode first"
        start, end = (middle, row) if diode_first else (column, middle)
        diode = (column, middle) if diode_first else (middle, row)
        column_feeds = style["column"].startswith("high_side")
        led = facts.get("element", matrix.get("element", "")) == "LED"
        self.machine.add(f"{own}/socket", "joint", start, inside)
        lamp = (inside, end)
        if not column_feeds:
            diode = diode[::-1]
            lamp = lamp[::-1] if led else lamp
        usual = matrix.get("lamp") if led == (matrix.get("element") == "LED") else ""
        type_name = facts.get("lamp") or usual or self.defaults["led" if led else "lamp"]
        self.machine.add(f"{own}/lamp", "led" if led else "lamp", *lamp, type_name=type_name)
        type_name = facts.get("diode") or matrix.get("diode") or self.defaults["lamp_diode"]
        self.machine.add(f"{own}/diode", "diode", *diode, type_name=type_name)
        places = own.split("/")[1].replace("R", " R").split()
        return Cell(places[0], places[1], f"{own}/lamp", f"{own}/diode")

    def _coil_cell(
        self,
        own: str,
        matrix: dict[str, Any],
        style: dict[str, Any],
        facts: dict[str, Any],
        ends: tuple[str, str],
    ) -> Cell:
        self._stubs(own, ends)
        column, row, middle = f"{own} column", f"{own} row", f"{own} middle"
        diode_first = facts.get("order", matrix.get("order", "")) == "diode first"
        winding = (middle, row) if diode_first else (column, middle)
        diode = (column, middle) if diode_first else (middle, row)
        known = {**matrix, **facts}
        ohm = quantity(known.get("resistance"), self.defaults["coil_ohm"])
        henry = {"inductance_h": quantity(known["inductance"])} if "inductance" in known else {}
        self.machine.add(f"{own}/winding", "coil", *winding, ohm=ohm, values=henry)
        column_feeds = style["column"].startswith("high_side")
        type_name = facts.get("diode") or matrix.get("diode") or self.defaults["coil_diode"]
        self.machine.add(
            f"{own}/diode", "diode", *(diode if column_feeds else diode[::-1]), type_name=type_name
        )
        places = own.split("/")[1].replace("R", " R").split()
        return Cell(places[0], places[1], f"{own}/winding", f"{own}/diode")

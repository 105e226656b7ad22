"""What hangs on a feed, and in which order its wire runs from one to the next."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from matrixdoc.definition.chains import links
from matrixdoc.definition.compile_builder import Builder, FormPath, coloured
from matrixdoc.definition.compile_flippers import flipper_name
from matrixdoc.definition.compile_loads import chained_net, high_side
from matrixdoc.definition.compile_supplies import rail_of
from matrixdoc.definition.errors import choice, near_miss, quoted
from matrixdoc.definition.references import line_number
from matrixdoc.definition.styles import picked


@dataclass(frozen=True)
class _Taker:
    """Something that takes current from a feed: its reference, what people say, its title.

    ``whole`` is the reference of the matrix that a line is part of.
    """

    prefix: str
    said: str
    title: str = ""
    whole: str = ""

    @property
    def words(self) -> str:
        return f"{self.said} ({self.title})" if self.title else self.said


def compile_feed_chains(builder: Builder, kinds: Mapping[str, str]) -> None:
    """Look up what hangs on each feed in wiring order; ``kinds``: what each matrix consists of."""
    takers = _takers(builder, kinds)
    for name in builder.form.feeds:
        builder.feed_chains[name] = _order(builder, name, takers)


def _takers(builder: Builder, kinds: Mapping[str, str]) -> list[tuple[_Taker, str | None]]:
    """Everything that may hang on a feed, with the name of the feed that it states."""
    form = builder.form
    found: list[tuple[_Taker, str | None]] = []
    for key, coil in form.coils.items():
        if coil.shares is None or not _grounded(builder, coil.shares):
            found.append((_Taker(f"coil/{key}", f"coil {key}", coil.title), coil.feed))
    for key, flipper in form.flippers.items():
        name = flipper_name(key)
        found.append((_Taker(f"coil/{name}", name, flipper.title), flipper.feed))
    for key, flash in form.flash_lamps.items():
        found.append((_Taker(f"flash/{key}", f"flash {key}", flash.title), flash.feed))
    for key, lamp in form.direct_lamps.items():
        found.append((_Taker(f"direct lamp/{key}", f"direct lamp {key}", lamp.title), lamp.feed))
    for key, light in form.illumination.items():
        found.append((_Taker(f"illumination/{key}", f"illumination {key}", light.title), light.feed))
    for name, device in kinds.items():
        matrix = form.matrices[name]
        found.append((_Taker(name, name), matrix.feed))
        found.extend((_Taker(f"{name}/{line}", f"{name} {line}", whole=name), matrix.feed)
                     for line in _feeding_lines(builder, name, device))  # fmt: skip
    return found


def _grounded(builder: Builder, key: str) -> bool:
    coil = builder.form.coils.get(key)
    return coil is not None and high_side(builder, coil.style, builder.styles.defaults.coil_output)


def _feeding_lines(builder: Builder, name: str, device: str) -> list[str]:
    """The lines of a matrix that switch its supply: those with a drive on the high side."""
    form, styles, usual = builder.form.matrices[name], builder.styles, builder.styles.defaults
    if device == "lamp":
        lamp = picked(styles.lamp, form.style, usual.lamp_style)
        kinds = (lamp.column, lamp.row)
    elif device == "coil":
        coil = picked(styles.coil_matrix, form.style, usual.coil_matrix_style)
        kinds = (coil.column, coil.row)
    else:
        return []
    columns, rows = _size(builder, name)
    letter, count = ("C", columns) if kinds[0].startswith("high_side") else ("R", rows)
    return [f"{letter}{number}" for number in range(form.numbered_from, form.numbered_from + count)]


def _size(builder: Builder, name: str) -> tuple[int, int]:
    """Columns and rows of a chart as it is written; its faults are told where it is read."""
    form = builder.form.matrices[name]
    if form.size is not None:
        return form.size
    rows = form.chart or ()
    across = max((len(row) for row in rows), default=0)
    return (len(rows), across) if form.across == "rows" else (across, len(rows))


def _order(builder: Builder, name: str, takers: list[tuple[_Taker, str | None]]) -> dict[str, str]:
    """References in the order of a feed's chain, each with the one that its wire comes from.

    That is empty for the end of the feed. Nothing where no chain is stated.
    """
    path: FormPath = ("feeds", name, "chain")
    here = [taker for taker, feed in takers if feed == name]
    by_name, everywhere = _names(builder, here), _names(builder, [taker for taker, _ in takers])
    feeds = {taker.prefix: feed for taker, feed in takers}
    found: dict[str, _Taker] = {}
    chain = links(builder.form.feeds[name].chain)
    bad = False
    for link in chain:
        taken, spot = _called(by_name, link.name), (*path, *link.path)
        if taken is None:
            other = _called(everywhere, link.name)
            _astray(builder, spot, link.name, name, other, feeds.get(other.prefix if other else ""), here)
        elif taken.prefix in found or taken.whole in found:
            builder.problem(spot, f"{quoted(link.name)} again", "each once")
        elif any(one.whole == taken.prefix for one in found.values()):
            builder.problem(spot, f"{quoted(link.name)} beside a line of it", "the matrix, or its lines")
        else:
            found[taken.prefix] = taken
            continue
        bad = True
    if not found or bad:
        return {}
    _complete(builder, path, found, here)
    return {prefix: [*found][link.before] if link.before >= 0 else ""
            for prefix, link in zip(found, chain, strict=True)}  # fmt: skip


def _names(builder: Builder, takers: list[_Taker]) -> dict[str, _Taker]:
    found: dict[str, _Taker] = {}
    for taker in takers:
        found.setdefault(taker.said, taker)
    for taker in takers:
        if taker.prefix in builder.form.matrices:
            found.setdefault(f"matrix {taker.said}", taker)
    return found


def _called(names: Mapping[str, _Taker], entry: str) -> _Taker | None:
    return names.get(entry) or names.get(f"coil {entry}") or names.get(f"{entry} flipper")


def _astray(
    builder: Builder,
    path: FormPath,
    entry: str,
    name: str,
    taker: _Taker | None,
    feed: str | None,
    here: list[_Taker],
) -> None:
    """Note an entry that does not hang on the feed, unless the reason is told elsewhere already."""
    matrix = entry.removeprefix("matrix ")
    if taker is None and (matrix in builder.unread or (" " in matrix and builder.of_unread(matrix))):
        return
    if taker is not None and feed is not None and feed not in builder.form.feeds:
        return
    said = [one.said for one in here if not one.whole]
    expected = f"what hangs on this feed: {choice(said)}" if said else "something on this feed"
    if taker is None:
        hint = near_miss(entry, said)
    elif feed is None:
        hint = f"{taker.said} names no feed: write 'feed: {name}' there"
    else:
        hint = f"{taker.said} names the feed {feed}"
    builder.problem(path, quoted(entry), expected, hint)


def _complete(builder: Builder, path: FormPath, found: Mapping[str, _Taker], here: list[_Taker]) -> None:
    """Note what hangs on the feed and is not in its chain."""
    by_line = {taker.whole for taker in found.values()} - {""}
    missing = [
        taker
        for taker in here
        if taker.prefix not in found
        and ((taker.whole in by_line) if taker.whole else taker.prefix not in by_line)
    ]
    if missing:
        names = ", ".join(taker.words for taker in missing)
        expected = "everything that hangs on this feed, in wiring order"
        builder.problem(path, f"a chain without {names}", expected)


def line_rail(builder: Builder, matrix: str, line: str, rail: str, *, feeding: bool, place: str) -> str:
    """The net that a drive of a matrix line has its supply from.

    ``rail``, unless the feed's chain names the matrix or, for a line that switches the supply
    (``feeding``), the line: then it is the end of a wire of its own from the one before in the chain.
    """
    feed = builder.form.matrices[matrix].feed
    chain = builder.feed_chains.get(feed or "", {})
    own = f"{matrix}/{line}"
    prefix = own if feeding and own in chain else matrix
    if feed is None or prefix not in chain:
        return rail
    words = f"{matrix} {'column' if line_number(line, 'C') is not None else 'row'} {line[1:]}"
    return feed_tap(builder, feed, prefix, words if prefix == own else matrix, place)


def feed_tap(builder: Builder, feed: str, prefix: str, words: str, place: str) -> str:
    """The wire from the one before in a feed's chain to ``prefix``; returns its far net."""
    supplied = f"{prefix}/supplied"
    if f"{prefix}/feed" not in builder.parts:
        net, before = chained_net(builder, feed, prefix)
        colour = builder.form.feeds[feed].wire
        builder.add(
            f"{prefix}/feed",
            "wire",
            (net, supplied),
            title=f"{words}, feed wire{coloured(colour)}{before}",
            place=place,
            colour=colour,
            origin="stated",
        )
    return supplied


def light_rail(builder: Builder, key: str, place: str) -> str:
    """The net that feeds an illumination line: a rail, the end of a feed, or its place in a chain."""
    facts = builder.form.illumination[key]
    path: FormPath = ("illumination", key)
    net, _ = rail_of(builder, facts.supply, "illumination", (*path, "supply"), facts.feed, (*path, "feed"))
    prefix = f"illumination/{key}"
    if facts.feed and prefix in builder.feed_chains.get(facts.feed, {}):
        return feed_tap(builder, facts.feed, prefix, facts.title or f"illumination {key}", place)
    return net

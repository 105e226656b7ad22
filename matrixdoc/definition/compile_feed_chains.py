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

    ``key`` and ``number`` are its key in the definition and its running number, where it has them.
    ``whole`` is the reference of the matrix that a line is part of; ``open_style``: nobody knows whether
    such lines switch its supply, since its style is not known.
    """

    prefix: str
    said: str
    title: str = ""
    key: str = ""
    number: str = ""
    whole: str = ""
    open_style: bool = False

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
            found.append((_Taker(f"coil/{key}", f"coil {key}", coil.title, key, coil.number), coil.feed))
    for key, flipper in form.flippers.items():
        name = flipper_name(key)
        short = name.removesuffix(" flipper")
        found.append((_Taker(f"coil/{name}", name, flipper.title, short, flipper.number), flipper.feed))
    for key, flash in form.flash_lamps.items():
        found.append((_Taker(f"flash/{key}", f"flash {key}", flash.title, key, flash.number), flash.feed))
    for key, lamp in form.direct_lamps.items():
        found.append(
            (_Taker(f"direct lamp/{key}", f"direct lamp {key}", lamp.title, key, lamp.number), lamp.feed)
        )
    for key, light in form.illumination.items():
        found.append((_Taker(f"illumination/{key}", f"illumination {key}", light.title, key), light.feed))
    for name, device in kinds.items():
        matrix = form.matrices[name]
        found.append((_Taker(name, name), matrix.feed))
        unknown = _style_unknown(builder, name, device)
        for line in _feeding_lines(builder, name, device):
            taker = _Taker(f"{name}/{line}", f"{name} {line}", whole=name, open_style=unknown)
            found.append((taker, matrix.feed))
    return found


def _grounded(builder: Builder, key: str) -> bool:
    coil = builder.form.coils.get(key)
    return coil is not None and bool(high_side(builder, coil.style, builder.styles.defaults.coil_output))


def _feeding_lines(builder: Builder, name: str, device: str) -> list[str]:
    """The lines of a matrix that switch its supply: those with a drive on the high side.

    Where its style is not known they may be columns or rows.
    """
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
    feeding = [("C", columns) if kinds[0].startswith("high_side") else ("R", rows)]
    if _style_unknown(builder, name, device):
        feeding = [("C", columns), ("R", rows)]
    first = form.numbered_from
    return [f"{letter}{number}" for letter, count in feeding for number in range(first, first + count)]


def _style_unknown(builder: Builder, name: str, device: str) -> bool:
    """Whether a matrix names a style that there is not, which is told where the matrices are read."""
    styles = builder.styles.lamp if device == "lamp" else builder.styles.coil_matrix
    return builder.form.matrices[name].style not in ("", *styles)


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
    on_feed, everywhere = _Called(here), _Called([taker for taker, _ in takers])
    feeds = {taker.prefix: feed for taker, feed in takers}
    found: dict[str, _Taker] = {}
    chain = links(builder.form.feeds[name].chain)
    bad = False
    for link in chain:
        entry, spot = link.name, (*path, *link.path)
        meant = on_feed.find(entry)
        if len(meant) > 1:
            several = ", ".join(taker.words for taker in meant)
            expected = f"the one that is meant: {choice([taker.said for taker in meant])}"
            builder.problem(spot, f"{quoted(entry)}, which is {several}", expected)
        elif not meant:
            other = next(iter(everywhere.find(entry)), None)
            feed = feeds[other.prefix] if other else None
            _astray(builder, spot, entry, name, other, feed, here)
        elif meant[0].prefix in found or meant[0].whole in found:
            builder.problem(spot, f"{quoted(entry)} again", "each once")
        elif any(one.whole == meant[0].prefix for one in found.values()):
            builder.problem(spot, f"{quoted(entry)} beside a line of it", "the matrix, or its lines")
        else:
            found[meant[0].prefix] = meant[0]
            continue
        bad = True
    if not found or bad:
        return {}
    _complete(builder, path, found, here)
    return {prefix: [*found][link.before] if link.before >= 0 else ""
            for prefix, link in zip(found, chain, strict=True)}  # fmt: skip


class _Called:
    """What an entry of a chain may mean: names with the kind of thing before them, then short ones.

    ``5`` is coil 5 and ``left`` the left flipper before they are anything else; then come titles, running
    numbers and the keys of other things, with or without a word such as ``lamp`` before them.
    """

    def __init__(self, takers: list[_Taker]) -> None:
        self._by_name: tuple[dict[str, dict[_Taker, None]], ...] = ({}, {}, {})
        for taker in takers:
            for names, layer in zip(_names(taker), self._by_name, strict=True):
                for name in names:
                    layer.setdefault(_plain(name), {})[taker] = None

    def find(self, entry: str) -> list[_Taker]:
        """All that go by that name, in the order of the definition."""
        return next((list(names[key]) for names in self._by_name if (key := _plain(entry)) in names), [])


def _plain(name: str) -> str:
    return " ".join(name.lower().split())


def _names(taker: _Taker) -> tuple[tuple[str, ...], ...]:
    """Names in three layers: of those that share one, the earlier layer is meant."""
    if not taker.key:
        return (taker.said, *(() if taker.whole else (f"matrix {taker.said}",))), (), ()
    root = taker.prefix.partition("/")[0]
    words = [word for word in (taker.key, taker.title, taker.number) if word]
    long = tuple(f"{kind} {word}" for kind in ("", *_KINDS[root]) for word in words)
    return (taker.said,), (taker.key,) if root == "coil" else (), long


_KINDS = {
    "coil": ("coil",),
    "flash": ("flash", "flash lamp", "lamp"),
    "direct lamp": ("direct lamp", "lamp"),
    "illumination": ("illumination", "string"),
}
"""First word of a reference -> words that people put before the name of such a thing."""


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
        hint = near_miss(entry, [*said, *(one.title for one in here if one.title)])
    elif feed is None:
        hint = f"{taker.said} names no feed: write 'feed: {name}' there"
    else:
        hint = f"{taker.said} names the feed {feed}"
    builder.problem(path, quoted(entry), expected, hint)


def _complete(builder: Builder, path: FormPath, found: Mapping[str, _Taker], here: list[_Taker]) -> None:
    """Note what hangs on the feed and is not in its chain."""
    by_line = {taker.whole for taker in found.values()} - {""}
    here = [taker for taker in here if not (taker.open_style and taker.whole in by_line)]
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

"""Disjoint sets: what hangs together after some things were joined."""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from typing import Generic, TypeVar

Item = TypeVar("Item", bound=Hashable)


class Joins(Generic[Item]):
    """Sets of items that were joined; an item that was never joined is a set of its own."""

    __slots__ = ("parent",)

    def __init__(self) -> None:
        self.parent: dict[Item, Item] = {}

    def find(self, item: Item) -> Item:
        """The item that stands for the set of ``item``."""
        parent = self.parent
        root = item
        while (above := parent.get(root, root)) != root:
            root = above
        while item != root:
            parent[item], item = root, parent.get(item, root)
        return root

    def join(self, items: Iterable[Item]) -> None:
        """Make one set of the sets of all ``items``."""
        several = iter(items)
        for first in several:
            root = self.find(first)
            for other in several:
                self.parent[self.find(other)] = root

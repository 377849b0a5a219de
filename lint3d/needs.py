"""What needs what: in which order do things come, and do they go round in a circle?

Plain dictionaries, `{name: names that it needs}`, and the standard library's sorter: to import a
graph library takes longer than to plan a hundred steps. Guarded by tests/test_needs.py.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Mapping
from graphlib import CycleError, TopologicalSorter

Needs = Mapping[str, Iterable[str]]


def in_order(needs: Needs) -> list[str]:
    """Every name after all that it needs, and by the alphabet where that leaves a choice.

    Raises
    ------
    ValueError : it goes round in a circle (`circle_in` tells which)

    Examples
    --------
    >>> in_order({"wall": ["spans"], "gap": ["spans"], "spans": []})
    ['spans', 'gap', 'wall']
    """
    sorter = TopologicalSorter(needs)
    sorter.prepare()
    ready = sorted(sorter.get_ready())
    found = []
    while ready:
        name = heapq.heappop(ready)
        found.append(name)
        sorter.done(name)
        for freed in sorter.get_ready():
            heapq.heappush(ready, freed)
    return found


def circle_in(needs: Needs) -> list[str]:
    """A circle, each name needed by the next, the last the same as the first; empty: there is none.

    Examples
    --------
    >>> circle_in({"b": ["a"], "a": ["b"], "c": []})
    ['a', 'b', 'a']
    """
    try:
        TopologicalSorter(needs).prepare()
    except CycleError as error:
        circle: list[str] = error.args[1][1:]
        first = circle.index(min(circle))
        return [*circle[first:], *circle[: first + 1]]
    return []


def users_of(name: str, needs: Needs, order: Iterable[str]) -> set[str]:
    """Whoever needs it, directly or through others; itself too.

    Parameters
    ----------
    order : names in an order in which each comes after what it needs; what is not in it ends a way

    Examples
    --------
    >>> sorted(users_of("a", {"a": [], "b": ["a"], "c": ["b"], "d": []}, ["a", "b", "c", "d"]))
    ['a', 'b', 'c']
    """
    found = {name}
    for user in order:
        if not found.isdisjoint(needs[user]):
            found.add(user)
    return found

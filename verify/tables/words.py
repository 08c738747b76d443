"""Code words sent back to back without a separator: can every message be read in one way only?

Sardinas & Patterson 1953, "A necessary and sufficient condition for the unique decomposition of
coded messages". Two readings of one message are followed side by side; what the one that is
ahead has still to be matched is a *dangling suffix*. The suffixes are the nodes of a graph, the
words that the reading behind may go on with its edges. The words are uniquely decodable if and
only if the empty suffix cannot be reached; then the delay of decisions is bounded if and
only if the graph has no cycle.

Symbols may be anything. ``alike`` says which symbols may be taken for one another (lengths of
pulses that jitter makes overlap); it need not be transitive, for every symbol of a message is
one symbol in each of two readings.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from typing import Any

import networkx as nx

Symbol = Hashable
Word = tuple[Symbol, ...]
Alike = Callable[[Any, Any], bool]

_START = "start"


@dataclass(frozen=True)
class Ambiguity:
    """One message, shortest in symbols and then in words, and its two readings (word numbers).

    ``symbols``: as the first reading has them; the second may have symbols alike.
    """

    symbols: Word
    first: tuple[int, ...]
    second: tuple[int, ...]


@dataclass(frozen=True)
class Delay:
    """How many symbols after the end of a word may have to come before it is certain.

    ``symbols`` None: no number is enough. Then a message that begins with ``before`` and goes on
    with ``again``, over and over, stays open for as long as it goes on.
    """

    symbols: int | None
    before: Word = ()
    again: Word = ()


@dataclass
class _Node:
    """Of the trie of all words."""

    children: dict[Symbol, _Node]
    ends: list[int]


class WordTable:
    """Words, none of them empty, and the graph of their dangling suffixes."""

    def __init__(self, words: Sequence[Sequence[Symbol]], alike: Alike | None = None) -> None:
        self.words: tuple[Word, ...] = tuple(tuple(word) for word in words)
        if not all(self.words):
            raise ValueError("an empty word")
        self._alike = alike
        self._trie = _Node({}, [])
        for i, word in enumerate(self.words):
            node = self._trie
            for symbol in word:
                node = node.children.setdefault(symbol, _Node({}, []))
            node.ends.append(i)

    @cached_property
    def graph(self) -> Any:
        """Of dangling suffixes (a networkx DiGraph); "start" leads to the first ones.

        An edge has ``word`` (the one that the reading behind goes on with; two words from
        "start"), ``cost`` (symbols that it makes the message longer) and ``ahead`` (the other
        reading is ahead afterwards).
        """
        graph = nx.DiGraph()
        graph.add_node(_START)
        todo: list[Word] = []
        for i, word in enumerate(self.words):
            for j, _, _ in self._continuations(word):
                longer = len(self.words[j])
                if j != i and (longer > len(word) or (longer == len(word) and i < j)):
                    self._edge(graph, todo, _START, self.words[j][len(word) :], (i, j), longer)
        while todo:
            suffix = todo.pop()
            if not suffix:
                continue
            for j, length, shorter in self._continuations(suffix):
                if shorter:
                    self._edge(graph, todo, suffix, suffix[length:], j, 0)
                else:
                    rest = self.words[j][len(suffix) :]
                    self._edge(graph, todo, suffix, rest, j, len(rest))
        return graph

    @staticmethod
    def _edge(
        graph: Any, todo: list[Word], source: object, target: Word, word: object, cost: int
    ) -> None:
        if target not in graph:
            todo.append(target)
        if graph.has_edge(source, target):
            known = graph.edges[source, target]
            if (known["cost"], known["word"]) <= (cost, word):
                return
        graph.add_edge(source, target, word=word, cost=cost)

    def _continuations(self, suffix: Word) -> Iterator[tuple[int, int, bool]]:
        """Words that agree with ``suffix`` as far as both go: (word, its length, it is shorter)."""
        nodes = [self._trie]
        for depth, symbol in enumerate(suffix):
            nodes = [child for node in nodes for child in self._next(node, symbol)]
            if depth + 1 < len(suffix):
                for node in nodes:
                    for i in node.ends:
                        yield i, depth + 1, True
        while nodes:
            node = nodes.pop()
            for i in node.ends:
                yield i, len(self.words[i]), False
            nodes += node.children.values()

    def _next(self, node: _Node, symbol: Symbol) -> list[_Node]:
        if self._alike is None:
            child = node.children.get(symbol)
            return [] if child is None else [child]
        return [child for s, child in node.children.items() if self._alike(symbol, s)]

    # -- answers -----------------------------------------------------------------

    @property
    def is_uniquely_decodable(self) -> bool:
        """No message can be read in two ways."""
        return () not in self.graph

    @property
    def is_prefix_free(self) -> bool:
        """No word begins another: every word is certain when it ends."""
        return not list(self.graph.successors(_START))

    @cached_property
    def ambiguity(self) -> Ambiguity | None:
        """The shortest message with two readings; None if there is none."""
        graph = self.graph
        if () not in graph:
            return None
        many = sum(map(len, self.words)) + 2  # more than a shortest path has words
        path = nx.dijkstra_path(
            graph, _START, (), weight=lambda a, b, edge: edge["cost"] * many + 1
        )
        return self._readings(path)

    def _readings(self, path: Sequence[Any]) -> Ambiguity:
        behind, ahead = ([i] for i in self.graph.edges[path[0], path[1]]["word"])
        for a, b in pairwise(path[1:]):
            edge = self.graph.edges[a, b]
            behind.append(edge["word"])
            if len(self.words[edge["word"]]) > len(a):
                behind, ahead = ahead, behind
        first, second = sorted((tuple(behind), tuple(ahead)))
        return Ambiguity(tuple(s for i in first for s in self.words[i]), first, second)

    @cached_property
    def delay(self) -> Delay | None:
        """Of decisions; None if the words are not uniquely decodable at all."""
        graph = self.graph
        if () in graph:
            return None
        if not nx.is_directed_acyclic_graph(graph):
            return self._endless()
        further: dict[Any, int] = {}
        for node in reversed(list(nx.topological_sort(graph))):
            if node == _START:
                continue
            steps = [
                min(len(node), len(self.words[graph.edges[node, b]["word"]])) + further[b]
                for b in graph.successors(node)
            ]
            further[node] = max([self._agreement(node), *steps])
        first = [further[node] + 1 for node in graph.successors(_START)]
        return Delay(max(first, default=0))

    def _agreement(self, suffix: Word) -> int:
        """Symbols that some word has in common with the beginning of ``suffix``."""
        nodes = [self._trie]
        for depth, symbol in enumerate(suffix):
            nodes = [child for node in nodes for child in self._next(node, symbol)]
            if not nodes:
                return depth
        return len(suffix)

    def _endless(self) -> Delay:
        cycle = nx.find_cycle(self.graph, _START)
        path = nx.shortest_path(self.graph, _START, cycle[0][0])
        before = self.words[self.graph.edges[path[0], path[1]]["word"][1]]
        for a, b in pairwise(path[1:]):
            before += self._added(a, b)
        return Delay(None, before, tuple(s for a, b in cycle for s in self._added(a, b)))

    def _added(self, suffix: Word, then: Word) -> Word:
        """Symbols by which an edge makes the message longer."""
        word = self.words[self.graph.edges[suffix, then]["word"]]
        return word[len(suffix) :]

    @property
    def kraft_sum(self) -> Fraction:
        """Sum of k^-length over the words, k symbols; above 1: not uniquely decodable.

        Kraft 1949, McMillan 1956. At most 1 says nothing by itself.
        """
        symbols = len({s for word in self.words for s in word})
        return sum((Fraction(1, symbols ** len(word)) for word in self.words), Fraction(0))

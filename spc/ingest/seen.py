"""What was read of a growing file, known again later without keeping it: a checksum of each of its blocks."""

import zlib
from typing import BinaryIO

BLOCK = 1 << 20
"""Bytes of one block."""

AT_ONCE = 8
"""Blocks that one look goes through: a file of up to so many is looked at whole each time, in a few milliseconds."""


class SeenBytes:
    """The first `length` bytes of a file, block by block.

    A look goes through the first block, the last two and some of those between, in turn: what it costs does not grow
    with the file, and a change in any block is found after as many looks as it takes to go round.
    """

    def __init__(self) -> None:
        self.length = 0
        self.due = 0
        """Blocks that nobody has looked at since `expect_change`."""
        self._sums: list[int] = []
        self._next = 0

    def copy(self) -> "SeenBytes":
        """Return the same, to be added to."""
        other = SeenBytes()
        other.length, other.due, other._sums, other._next = self.length, self.due, list(self._sums), self._next
        return other

    def add(self, data: bytes) -> None:
        """Take in the bytes that follow."""
        left = memoryview(data)
        while left:
            room = BLOCK - self.length % BLOCK
            part, left = left[:room], left[room:]
            if room == BLOCK:
                self._sums.append(0)
            self._sums[-1] = zlib.crc32(part, self._sums[-1])
            self.length += len(part)

    def expect_change(self) -> None:
        """Have every block looked at again: the file is not as it was."""
        self.due = len(self._sums)

    def stands_in(self, file: BinaryIO, *, whole: bool) -> bool:
        """Return whether a file still begins with these bytes, as far as one look shows; with `whole`, for certain."""
        n = len(self._sums)
        if whole or n <= AT_ONCE:
            self.due, places = 0, list(range(n))
        else:
            turn = [(self._next + i) % n for i in range(AT_ONCE - 3)]
            self._next, self.due = (self._next + len(turn)) % n, max(0, self.due - len(turn))
            places = [0, *turn, n - 2, n - 1]
        return all(self._stands(file, place) for place in places)

    def _stands(self, file: BinaryIO, place: int) -> bool:
        start = place * BLOCK
        size = min(BLOCK, self.length - start)
        file.seek(start)
        data = file.read(size)
        return len(data) == size and zlib.crc32(data) == self._sums[place]

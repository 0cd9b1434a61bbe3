"""A file that grows, is cut, edited, rotated and replaced at random: followed, it says what it says read whole."""

import os
import tempfile
from pathlib import Path
from unittest.mock import patch

from hypothesis import Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from spc.errors import LogError
from spc.ingest import seen
from spc.ingest.csv_log import CheckLog, LogReader
from spc.ingest.follow import LogFollower
from tests.ingest.made_log import CATALOGUE, HEADER, ZONE, contents, reading

BLOCK, AT_ONCE = 50, 4
"""Bytes of a block, and blocks of one look, so that a file of a few rows is a large one here."""

VALUES = st.sampled_from(["0.21", "0.22", "<0.05", "x", "not run", '"0,22"', '"0\n23"', '"open', ""])
ROWS = st.lists(
    st.tuples(VALUES, st.integers(0, 23)).map(lambda cell: reading(cell[0]).replace("06:10", f"{cell[1]:02}:10") + "\n")
    | st.sampled_from(["\n", "short\n", '"\n', "04/03/2025 06:10,,,,,,,,,,\n", "µ,,,,,,,,,,\n"]),
    min_size=1,
    max_size=12,
).map("".join)


class FollowedFile(RuleBasedStateMachine):
    """What other programs do to a log, and a look after each; what a crowd of looks must have found is checked."""

    @initialize(rows=ROWS)
    def begin(self, rows: str) -> None:
        self.small = patch.multiple(seen, BLOCK=BLOCK, AT_ONCE=AT_ONCE)
        self.small.start()
        self.folder = tempfile.TemporaryDirectory(prefix="followed-")
        self.path = Path(self.folder.name) / "log.csv"
        self.files, self.ticks, self.edited = 0, 0, False
        self.put(f"{HEADER}\n{rows}".encode())
        self.follower = LogFollower(self.path, CATALOGUE, zone=ZONE)
        self.known: CheckLog | str = ""
        self.look()

    def put(self, data: bytes) -> None:
        """Write the file anew under the name that it has, as an editor does that keeps the file."""
        self.path.write_bytes(data)
        self.tick()

    def tick(self) -> None:
        """Let time pass: a clock's tick is coarser than two steps here are apart."""
        self.ticks += 1
        os.utime(self.path, ns=(self.ticks * 10**9, self.ticks * 10**9))

    def look(self) -> bool:
        """Look once; return whether anything was new."""
        try:
            log = self.follower.poll()
        except LogError as refusal:
            new, self.known = str(refusal) != self.known, str(refusal)
            return new
        if log is not None:
            self.known = log
        return log is not None

    @rule(rows=ROWS, cut=st.integers(0, 400))
    def append(self, rows: str, cut: int) -> None:
        with self.path.open("ab") as file:
            file.write(rows.encode()[: cut or None])
        self.tick()
        self.look()

    @rule(keep=st.floats(0, 1))
    def truncate(self, keep: float) -> None:
        os.truncate(self.path, int(self.path.stat().st_size * keep))
        self.tick()
        self.look()

    @rule(place=st.floats(0, 1), digit=st.integers(0, 9), rows=ROWS)
    def edit_and_append(self, place: float, digit: int, rows: str) -> None:
        data = bytearray(self.path.read_bytes())
        digits = [at for at, byte in enumerate(data) if 48 <= byte < 58]
        if digits:
            data[digits[int(place * (len(digits) - 1))]] = 48 + digit
        self.put(bytes(data) + rows.encode())
        self.edited = True
        self.look()

    @rule(place=st.floats(0, 1), digit=st.integers(0, 9))
    def edit(self, place: float, digit: int) -> None:
        data = bytearray(self.path.read_bytes())
        digits = [at for at, byte in enumerate(data) if 48 <= byte < 58]
        if digits:
            data[digits[int(place * (len(digits) - 1))]] = 48 + digit
        self.put(bytes(data))
        self.look()

    @rule(rows=ROWS, goes_on=st.booleans())
    def rotate(self, rows: str, goes_on: bool) -> None:
        self.files += 1
        other = self.path.with_name(f"new-{self.files}.csv")
        other.write_bytes((self.path.read_bytes() if goes_on else f"{HEADER}\n".encode()) + rows.encode())
        os.replace(other, self.path)
        self.tick()
        self.look()

    @rule()
    def touch(self) -> None:
        self.tick()
        self.look()

    @rule()
    def go_away_and_come_back(self) -> None:
        data = self.path.read_bytes()
        self.path.unlink()
        self.look()
        assert "no such file" in str(self.known)
        self.put(data)
        self.look()

    @precondition(lambda self: self.edited)
    @rule()
    def look_round(self) -> None:
        for _ in range(2 + self.path.stat().st_size // BLOCK):
            self.look()
        self.edited = False
        self.says_what_the_whole_file_says()

    @invariant()
    def says_what_the_whole_file_says(self) -> None:
        if not hasattr(self, "path") or self.edited:
            return
        assert not self.look()  # nothing happened since
        data = self.path.read_bytes()
        try:
            whole: CheckLog | str = LogReader(self.path, CATALOGUE, zone=ZONE, goes_on=True).feed(data, final=False)
        except LogError as refusal:
            whole = str(refusal)
        if not data:
            assert "the file is empty" in str(self.known)
        elif isinstance(whole, str) or isinstance(self.known, str):
            assert self.known == whole
        else:
            assert contents(self.known) == contents(whole)
            assert (self.known.rows, self.known.quarantine, self.known.notes) == (
                whole.rows,
                whole.quarantine,
                whole.notes,
            )

    def teardown(self) -> None:
        if hasattr(self, "folder"):
            self.small.stop()
            self.folder.cleanup()


PHASES = (Phase.explicit, Phase.generate)
"""One that fails is told as it was found: making it shorter takes minutes."""

FollowedFile.TestCase.settings = settings(max_examples=80, stateful_step_count=25, phases=PHASES)
TestAFollowedFile = FollowedFile.TestCase

"""Bytes of a file to text of whole lines, whichever way they are encoded."""

from spc.errors import LogError

HEAD = 1024  # bytes at the start of a file that must hold no NUL for it to be text
WORKBOOK = b"PK\x03\x04"

LONGEST_LINE = 1_000_000
"""Characters of the longest line that is read; a file with a longer one is no log, and is refused."""

BYTES_OF_ONE = 4  # that a character takes at most


class Decoder:
    """Bytes of a growing file to text of whole lines; every line end becomes a line feed.

    UTF-8 and UTF-16, each with or without its mark. A line that is no UTF-8 is Windows-1252: each line for itself, so a
    file put together from both is read as meant.
    """

    def __init__(self, file: str) -> None:
        self.encoding = ""
        self.windows_lines = 0  # lines read as Windows-1252
        self.damaged_lines = 0  # lines with bytes that no encoding explains
        self._file = file
        self._held = b""
        self._taken = 0  # bytes given out as text

    @property
    def holds(self) -> bool:
        """Whether an unfinished line is waiting for its end."""
        return bool(self._held)

    def feed(self, data: bytes, *, final: bool) -> str:
        """Return the text of the lines that `data` completes; with `final`, of everything.

        Raises:
            LogError: the file is not text.
        """
        self._held += data
        if not self.encoding and not self._recognise(final=final):
            return ""
        wide = self.encoding.startswith("utf-16")
        if not wide and b"\0" in self._held[: max(0, HEAD - self._taken)]:
            raise LogError(f"{self._file}: not text (it holds NUL bytes); save the log as CSV and give that file")
        text = self._wide_lines(final=final) if wide else self._lines(final=final)
        text = text.replace("\r\n", "\n").replace("\r", "\n") if "\r" in text else text
        if len(self._held) > LONGEST_LINE * BYTES_OF_ONE or has_longer_line(text):
            raise LogError(
                f"{self._file}: a line of more than {LONGEST_LINE:,} characters; a log has a line for each reading, so "
                "see whether its line ends were lost, or whether this is another file"
            )
        return text

    def _recognise(self, *, final: bool) -> bool:
        head = self._held[:4]
        if len(head) < 4 and not final:
            return False
        if head == WORKBOOK:
            raise LogError(
                f"{self._file}: a workbook or an archive, not text; save its sheet as CSV and give that file"
            )
        for mark, encoding in ((b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"), (b"\xef\xbb\xbf", "utf-8")):
            if head.startswith(mark):
                self.encoding = encoding
                self._held = self._held[len(mark) :]
                self._taken = len(mark)
                return True
        nul = [byte == 0 for byte in head]
        wide = {"utf-16-le": [False, True] * 2, "utf-16-be": [True, False] * 2}
        self.encoding = next((encoding for encoding, zeros in wide.items() if zeros == nul), "utf-8")
        return True

    def _lines(self, *, final: bool) -> str:
        held = self._held
        # A carriage return at the very end may be the first half of a line end.
        cut = len(held) if final else max(held.rfind(b"\n"), held.rfind(b"\r", 0, len(held) - 1)) + 1
        whole, self._held = held[:cut], held[cut:]
        self._taken += cut
        try:
            return whole.decode("utf-8")
        except UnicodeDecodeError:
            return "".join(map(self._line, whole.splitlines(keepends=True)))

    def _line(self, line: bytes) -> str:
        try:
            return line.decode("utf-8")
        except UnicodeDecodeError:
            text = line.decode("cp1252", errors="replace")
            self.windows_lines += 1
            self.damaged_lines += "\ufffd" in text
            return text

    def _wide_lines(self, *, final: bool) -> str:
        held = self._held
        text = held[: len(held) if final else len(held) // 2 * 2].decode(self.encoding, errors="replace")
        cut = len(text) if final else max(text.rfind("\n"), text.rfind("\r", 0, len(text) - 1)) + 1
        whole = text[:cut]
        used = len(held) if final else len(whole.encode(self.encoding))
        self._held = held[used:]
        self._taken += used
        if "\ufffd" in whole:
            self.damaged_lines += sum("\ufffd" in line for line in whole.split("\n"))
        return whole


def has_longer_line(text: str) -> bool:
    """Return whether a line of `text` is longer than LONGEST_LINE."""
    at = 0
    while len(text) - at > LONGEST_LINE:
        end = text.rfind("\n", at, at + LONGEST_LINE + 1)
        if end < 0:
            return True
        at = end + 1
    return False

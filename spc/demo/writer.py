"""The demo line at work: a thread that writes new readings down while people watch."""

from threading import Event, Thread

from spc.demo.history import DemoFiles, append, live_rows


class Writer(Thread):
    """Appends the demo line's next row to its files, one every few seconds, until stopped."""

    def __init__(self, files: DemoFiles, *, seconds: float) -> None:
        """Prepare to write one row every `seconds`; `start()` begins, `stop()` ends it."""
        super().__init__(name="demo line", daemon=True)
        self._files, self._seconds, self._stop_asked = files, seconds, Event()

    def run(self) -> None:
        """Write rows until stopped."""
        for row in live_rows():
            if self._stop_asked.wait(self._seconds):
                return
            append(row, self._files)

    def stop(self) -> None:
        """End the writing before the next row."""
        self._stop_asked.set()

"""Where the demo lays its files: the folder that was named, else one of its own that is gone when the demo ends."""

import shutil
import signal
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType


@contextmanager
def demo_folder(named: Path | None) -> Iterator[Path]:
    """Give the folder of a demo; one that nobody named is removed at the end, also when the demo is asked to end.

    Args:
        named: the folder to use and to leave there; None: a new temporary one.
    """
    if named is not None:
        yield named
        return
    in_main = threading.current_thread() is threading.main_thread()  # elsewhere no signal can be caught
    before = signal.signal(signal.SIGTERM, _end) if in_main else None
    folder = Path(tempfile.mkdtemp(prefix="spc-demo-"))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)
        if before is not None:
            signal.signal(signal.SIGTERM, before)


def _end(number: int, frame: FrameType | None) -> None:
    raise SystemExit(128 + number)

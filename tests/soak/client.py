"""A browser's way to the server: HTTP/1.1 over one kept connection, no more of it than a board speaks."""

import asyncio
import json
import time
from dataclasses import dataclass, field
from typing import Any


@dataclass(slots=True)
class Times:
    """How long each kind of request took, in seconds, in the order asked."""

    by_kind: dict[str, list[float]] = field(default_factory=dict)

    def add(self, kind: str, seconds: float) -> None:
        """Keep one."""
        self.by_kind.setdefault(kind, []).append(seconds)


class Connection:
    """One kept connection; opened anew when the server closed it."""

    def __init__(self, host: str, port: int, times: Times) -> None:
        self._where, self._times = (host, port), times
        self._streams: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None

    async def get(self, path: str, kind: str) -> tuple[int, Any]:
        """Ask for something."""
        return await self._ask("GET", path, None, kind)

    async def post(self, path: str, body: object, kind: str) -> tuple[int, Any]:
        """Send JSON."""
        return await self._ask("POST", path, json.dumps(body).encode(), kind)

    async def close(self) -> None:
        """End the connection."""
        if self._streams is not None:
            self._streams[1].close()
            self._streams = None

    async def _ask(self, method: str, path: str, body: bytes | None, kind: str) -> tuple[int, Any]:
        head = f"{method} {path} HTTP/1.1\r\nHost: {self._where[0]}:{self._where[1]}\r\nAccept-Encoding: gzip\r\n"
        if body is not None:
            head += f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n"
        started = time.perf_counter()
        for last_try in (False, True):
            try:
                answer = await self._round(f"{head}\r\n".encode() + (body or b""))
                break
            except (OSError, asyncio.IncompleteReadError):
                await self.close()
                if last_try:
                    raise
        self._times.add(kind, time.perf_counter() - started)
        return answer

    async def _round(self, asked: bytes) -> tuple[int, Any]:
        if self._streams is None:
            self._streams = await asyncio.open_connection(*self._where)
        reader, writer = self._streams
        writer.write(asked)
        await writer.drain()
        lines = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1").split("\r\n")
        headers = {name.lower(): value.strip() for name, _, value in (line.partition(":") for line in lines[1:])}
        data = b""
        if headers.get("transfer-encoding") == "chunked":
            while size := int(await reader.readline(), 16):
                data += (await reader.readexactly(size + 2))[:-2]
            await reader.readline()
        elif "content-length" in headers:
            data = await reader.readexactly(int(headers["content-length"]))
        if headers.get("content-encoding") == "gzip":
            import gzip

            data = gzip.decompress(data)
        if headers.get("connection") == "close":
            await self.close()
        told = (
            json.loads(data) if data and "json" in headers.get("content-type", "") else data.decode("utf-8", "replace")
        )
        return int(lines[0].split()[1]), told

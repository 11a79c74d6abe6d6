"""Something between a browser and the server that can lose a connection, as a telephone network does."""

import socket
import threading
from urllib.parse import urlsplit


class Cutting:
    """Passes every byte on; while `bad`, uploads are cut after `after` bytes. A browser may try one again by itself."""

    def __init__(self, url: str, after: int) -> None:
        """Listen on a port of its own in front of the server at `url`."""
        there = urlsplit(url)
        self._server = (there.hostname, there.port)
        self._after = after
        self.bad = True
        self.cuts = 0
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.url = f"http://127.0.0.1:{self._listening.getsockname()[1]}"
        threading.Thread(target=self._accept, daemon=True).start()

    def close(self) -> None:
        """Take no more connections."""
        self._listening.close()

    def _accept(self) -> None:
        while True:
            try:
                browser, _ = self._listening.accept()
            except OSError:  # closed
                return
            server = socket.create_connection(self._server)
            threading.Thread(target=self._pass_on, args=(browser, server, True), daemon=True).start()
            threading.Thread(target=self._pass_on, args=(server, browser, False), daemon=True).start()

    def _pass_on(self, source: socket.socket, target: socket.socket, from_browser: bool) -> None:
        sent = -1  # bytes of the upload so far; -1 while there is none
        try:
            while chunk := source.recv(8192):
                if from_browser and b"/photos HTTP/1.1" in chunk and chunk.startswith(b"POST"):
                    sent = 0
                if sent >= 0:
                    sent += len(chunk)
                    if self.bad and sent > self._after:
                        self.cuts += 1
                        break
                target.sendall(chunk)
        except OSError:  # one side has hung up
            pass
        for end in (source, target):
            try:
                end.shutdown(socket.SHUT_RDWR)
            except OSError:
                continue

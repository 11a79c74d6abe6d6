"""What a server gives back: the calls are glibc's own, and elsewhere nothing happens."""

import platform
import subprocess
import sys

import pytest

from api import memory

HOLD_AND_FREE = """
from pathlib import Path
from api.memory import give_back_large_pieces
def resident_mib():
    return int(Path("/proc/self/statm").read_text().split()[1]) * 4096 / 2**20
{call}
bytearray(24 * 2**20)
kept, above = [bytearray(b"x") * (4 * 2**20) for _ in range(20)], [bytearray(b"x") * 2**12]
before = resident_mib()
above.append(bytearray(b"x") * 2**17)
kept.clear()
print(before - resident_mib())
"""


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="glibc alone")
def test_large_pieces_are_given_back_when_they_are_free() -> None:
    given = {
        call: float(subprocess.check_output([sys.executable, "-c", HOLD_AND_FREE.format(call=call)], text=True))
        for call in ("", "give_back_large_pieces()")
    }
    assert given["give_back_large_pieces()"] > given[""] + 50


def test_another_c_library_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(memory.ctypes, "CDLL", lambda _: object())
    memory.give_back_large_pieces()
    memory.give_back_what_is_free()

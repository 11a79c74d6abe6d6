"""How a server keeps memory: what a large photo took is given back. Elsewhere than with glibc nothing happens."""

import ctypes

LARGE_BYTES = 2**20
"""From here on a piece of memory is given back as soon as it is free, whichever thread took it."""

M_MMAP_THRESHOLD = -3
"""Of glibc's malloc.h. Set, it no longer grows with the pieces that were freed."""


def give_back_large_pieces() -> None:
    """From now on."""
    if hasattr(libc := ctypes.CDLL(None), "mallopt"):
        libc.mallopt(M_MMAP_THRESHOLD, LARGE_BYTES)


def give_back_what_is_free() -> None:
    """Once, such as what loading the networks took beside them."""
    if hasattr(libc := ctypes.CDLL(None), "malloc_trim"):
        libc.malloc_trim(0)

"""Work on many units in chunks, two of them at a time: chunks are independent and numpy lets other threads run."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

__all__ = ["side_by_side"]

Part = TypeVar("Part")
Answer = TypeVar("Answer")
# A second processor is nearly always there, and what Python does between numpy's calls leaves nothing for more.
THREADS = 2


def side_by_side(answer: Callable[[Part], list[Answer]], parts: Sequence[Part]) -> list[Answer]:
    """Return the answers for all parts, in their order."""
    if len(parts) < 2:
        return [one for part in parts for one in answer(part)]
    with ThreadPoolExecutor(THREADS) as pool:
        return [one for answers in pool.map(answer, parts) for one in answers]

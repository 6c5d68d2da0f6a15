"""How far a long command is: words on a terminal, silence without one, and a way on after Ctrl-C."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest

from fleet.progress import INTERRUPTED, Stopped, Watched
from thermal.adapter import chunks
from thermal.adapter.chunks import Chunks


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_nothing_is_said_where_nobody_watches() -> None:
    out = io.StringIO()
    with Watched("worlds", total=3, go_on="", stream=out) as watched:
        for _ in range(3):
            watched.step()
    assert out.getvalue() == ""


def test_a_terminal_shows_count_and_rate(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm")
    out = Terminal()
    with Watched("worlds", total=8, go_on="", stream=out) as watched:
        watched.to(5)
    assert "5 of 8 worlds" in out.getvalue()
    assert "/s" in out.getvalue()


def test_ctrl_c_says_how_far_it_got_and_how_to_go_on() -> None:
    def work() -> None:
        with Watched("worlds", total=9, go_on="Run it again.") as watched:
            watched.to(4)
            raise KeyboardInterrupt

    with pytest.raises(Stopped) as caught:
        work()
    assert str(caught.value) == "Stopped after 4 of 9 worlds. Run it again."
    assert caught.value.returncode == INTERRUPTED


def test_a_share_stands_beside_a_count_without_an_end() -> None:
    with Watched("events", total=None, go_on="") as watched:
        watched.to(1200, share=0.25)
        assert watched.so_far == "1200 events, 25%"


def test_what_an_earlier_run_did_is_not_in_the_rate() -> None:
    with Watched("worlds", total=1000, go_on="", skipped=1000) as watched:
        assert watched.rate_per_s == 0


def test_a_stopped_calibration_goes_on_where_it_was_and_ends_with_the_same_numbers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(chunks, "CHUNK", 4)
    whole = list(Chunks(tmp_path / "whole", seed=3).run(worlds=10))
    first = Chunks(tmp_path, seed=3)
    for _, part in zip(range(2), first.run(worlds=10), strict=False):
        assert len(part[0]) == 4
    with first.path.open("a") as torn:
        torn.write('{"start": 8, "col')  # the process died while it wrote
    again = Chunks(tmp_path, seed=3)
    assert again.done(worlds=10) == 8
    for kept, made in zip(again.run(worlds=10), whole, strict=True):
        for one, other in zip(kept, made, strict=True):
            assert np.array_equal(one, other)
    assert Chunks(tmp_path, seed=4).done(worlds=10) == 0
    again.drop()
    assert not again.path.exists()


def test_chunks_of_other_code_do_not_count(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chunks, "CHUNK", 2)
    list(Chunks(tmp_path, seed=3).run(worlds=2))
    monkeypatch.setattr(chunks, "code_digest", lambda: "another state of the sources")
    assert Chunks(tmp_path, seed=3).done(worlds=2) == 0
